"""Which slabs and billets of a carried-out plan come to nothing: their plates fail, or others fill the demand without them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from pithline.plan.evaluate.judge import Judge, plate_counts
from pithline.plan.execute.ledger import Ledger, Plate

ALIKE = 1e-9
"""Worths that differ by less are the same."""
Flags = NDArray[np.bool_]


def slabs_of_nothing(judge: Judge, ledger: Ledger) -> frozenset[str]:
    """Slabs without which the plan is worth as much on every sampled log; asked in the order in which they were sawn.

    Each is asked without those before it of which nothing comes.
    """
    return _idle(judge, ledger.plates, _by_slab(ledger))


def billets_of_nothing(judge: Judge, ledger: Ledger) -> frozenset[str]:
    """Billets without which the plan is worth as much on every sampled log: all those of slabs of which nothing comes, then others."""
    slabs, by_billet = _by_slab(ledger), _by_billet(ledger.plates)
    first = {number for name in slabs_of_nothing(judge, ledger) for number in slabs[name]}
    order = sorted(by_billet, key=lambda name: not set(by_billet[name]) <= first)
    return _idle(judge, ledger.plates, {name: by_billet[name] for name in order})


def _by_slab(ledger: Ledger) -> dict[str, list[int]]:
    """The numbers of each slab's plates."""
    parent = {side: cut.piece for cut in ledger.cuts for side in cut.sides}
    slabs = {name for name, piece in ledger.pieces.items() if piece.kind == "slab"}
    # what ripping leaves of a slab is of its kind too
    out: dict[str, list[int]] = {name: [] for name in ledger.pieces if name in slabs and parent.get(name) not in slabs}
    for number, plate in enumerate(ledger.plates):
        piece: str | None = plate.id
        while piece is not None and piece not in out:
            piece = parent.get(piece)
        if piece is not None:
            out[piece].append(number)
    return out


def _by_billet(plates: Sequence[Plate]) -> dict[str, list[int]]:
    out: dict[str, list[int]] = {}
    for number, plate in enumerate(plates):
        out.setdefault(plate.billet, []).append(number)
    return out


def _idle(judge: Judge, plates: Sequence[Plate], groups: Mapping[str, Sequence[int]]) -> frozenset[str]:
    """Groups of plates without which all count as much, each asked without those before it that were found."""
    rows: Flags = np.unique(judge.passing(plates), axis=0)  # on many logs the same plates pass
    kept = np.ones(len(plates), bool)
    worth = [_worth(judge, plates, row) for row in rows]
    out = set()
    for name, numbers in groups.items():
        less = kept.copy()
        less[list(numbers)] = False
        pairs = zip(rows, worth, strict=True)
        # one log on which they count is enough
        if all(
            not (row & kept & ~less).any() or _as_much(_worth(judge, plates, row & less), own) for row, own in pairs
        ):
            kept = less
            out.add(name)
    return frozenset(out)


def _as_much(one: Sequence[float], other: Sequence[float]) -> bool:
    return all(abs(a - b) <= ALIKE for a, b in zip(one, other, strict=True))


def _worth(judge: Judge, plates: Sequence[Plate], row: Flags) -> list[float]:
    """What the plates that pass on one log, a row (plates,), count by the objective and, where things have a price, by money."""
    money = judge.context.money
    out = []
    for sold in [judge.context.economics, *([] if money is None else [money])]:
        counts = plate_counts(plates, sold.kinds, row)
        out.append(sold.market.worth(counts[:, 0], counts[:, 1])[0])
    return out
