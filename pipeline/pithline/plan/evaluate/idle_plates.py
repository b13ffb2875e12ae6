"""Which slabs and billets of a carried-out plan come to nothing: their plates fail, or others fill the demand without them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from pithline.plan.evaluate.judge import Judge, plate_counts
from pithline.plan.execute.ledger import Ledger, Plate
from pithline.plan.problem.economics import Economics

ALIKE = 1e-9
"""Worths that differ by less are the same."""
Flags = NDArray[np.bool_]
Counts = NDArray[np.int64]


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
    """Groups of plates without which all count as much, each asked without those before it that were found.

    A group holds whole billets, and mates are of one billet: so plates of a kind are counted group by group.
    """
    rows: Flags = np.unique(judge.passing(plates), axis=0)  # on many logs the same plates pass
    money = judge.context.money
    sold = [judge.context.economics, *([] if money is None else [money])]
    own = {name: [plates[number] for number in numbers] for name, numbers in groups.items()}
    passing = {name: rows[:, list(numbers)] for name, numbers in groups.items()}
    left = [[plate_counts(plates, one.kinds, row) for one in sold] for row in rows]
    worth = [_worth(sold, counts) for counts in left]
    out = set()
    for name in groups:
        less: list[list[Counts]] = []
        for row, counts, before in zip(passing[name], left, worth, strict=True):
            if not row.any():
                less.append(counts)
                continue
            less.append([n - plate_counts(own[name], one.kinds, row) for n, one in zip(counts, sold, strict=True)])
            if not _as_much(_worth(sold, less[-1]), before):
                break  # one log on which they count is enough
        else:
            left = less
            out.add(name)
    return frozenset(out)


def _as_much(one: Sequence[float], other: Sequence[float]) -> bool:
    return all(abs(a - b) <= ALIKE for a, b in zip(one, other, strict=True))


def _worth(sold: Sequence[Economics], counts: Sequence[Counts]) -> list[float]:
    """What plates by kind count by each of some economics."""
    return [one.market.worth(plates[:, 0], plates[:, 1])[0] for one, plates in zip(sold, counts, strict=True)]
