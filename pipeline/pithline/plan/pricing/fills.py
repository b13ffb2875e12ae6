"""How slabs are filled with strips at given prices; what was looked up once is kept."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from pithline.plan.pricing.log_grid import GridSlab, LogGrid
from pithline.plan.programmes.slab_strips import PlateWorths, best_fills, worths_of
from pithline.plan.programmes.slab_values import FillRules, PlateWorth

Array = NDArray[np.float64]
Counts = NDArray[np.int64]
MOST_BILLETS = 64
MOST_KNOWN = 48
"""Prices whose fills a slab keeps: about a family's, for masters of alike columns ask one after the other. More would take much memory."""
ALL_COUNT_WHOLE = np.zeros((0, 0, 0), np.float32)
THREADS = 2
"""Slabs filled at a time; the compiled programme lets other threads run."""
WORTH_SHARING = 16
"""Fewer fills than this are sooner made than handed to threads."""


@dataclass(frozen=True, slots=True)
class Fill:
    """Mated and single plates by kind (P, 2) of one slab's best strips at some prices, the strips, and what their cuts cost.

    See `best_fill`; the cost is in the objective's unit, and holds nothing of the plates' own.
    """

    counts: Counts
    strips: NDArray[np.int64]
    cost: float = 0.0


class Fillable(Protocol):
    """A slab, of the grid or as it truly lies, that can be filled at any prices."""

    def fills(self, worths: PlateWorths) -> list[tuple[float, Fill]]:
        """The value of the best strips at each of some prices, net of what sawing them costs, and the strips."""
        ...


@dataclass(frozen=True, slots=True)
class PlateMap:
    """Plates of the billet begun at each place of one slab, and the places across that bound it; a `Fillable`.

    `some` (P, across) tells where any place along has one, `held` (P,) of which kinds the slab has any between its bounds; `known` keeps
    what it was filled with at prices asked lately.
    """

    plates: NDArray[np.int16]
    some: NDArray[np.bool_]
    weight: NDArray[np.float32]
    span: tuple[int, int]
    rules: FillRules
    held: NDArray[np.bool_]
    known: dict[bytes, tuple[float, Fill]] = field(default_factory=dict, repr=False, compare=False)

    def fills(self, worths: PlateWorths) -> list[tuple[float, Fill]]:
        """See `Fillable`."""
        # prices of parts that it holds no plate of change nothing
        rows = np.concatenate([worths.mated[:, self.held], worths.single[:, self.held], worths.cuts], axis=1)
        keys = [row.tobytes() for row in rows]
        found = {key: self.known[key] for key in keys if key in self.known}
        new = {key: number for number, key in enumerate(keys) if key not in found}
        if new:
            made = self._filled(worths.some(list(new.values())))
            found |= dict(zip(new, made, strict=True))
            self.known.update(zip(new, made, strict=True))
            for _ in range(len(self.known) - MOST_KNOWN):
                self.known.pop(next(iter(self.known)))  # the oldest
        return [found[key] for key in keys]

    def _filled(self, worths: PlateWorths) -> list[tuple[float, Fill]]:
        """Filled anew."""
        n, parts = len(worths.cuts), len(self.plates)
        values, numbers = np.zeros(n), np.zeros((n, 2), np.int64)
        counts, strips = np.zeros((n, parts, 2), np.int64), np.full((n, MOST_BILLETS, 4), -1, np.int64)
        low, high = self.span
        best_fills(self.plates, self.some, self.weight, low, high, self.rules, worths, values, counts, strips, numbers)
        out = []
        for k, (billets, ripped) in enumerate(numbers.tolist()):
            billet, strip, slab = worths.cuts[k].tolist()
            cost = slab + ripped * strip + billets * billet if billets else 0.0
            out.append((float(values[k]), Fill(counts[k].copy(), strips[k, :billets].copy(), cost)))
        return out


def plate_map(
    plates: NDArray[np.int16], weight: NDArray[np.float32], span: tuple[int, int], rules: FillRules
) -> PlateMap:
    """A slab with these plates; see `best_fill`."""
    some = np.asarray(plates.any(axis=(2, 3)))
    held = np.asarray(some[:, max(span[0], 0) : max(span[1], 0)].any(axis=1))
    return PlateMap(plates, some, weight, span, rules, held)


@dataclass(slots=True)
class GridFills:
    """The slabs of some logs' grids that a search has met, each looked up once."""

    grids: Sequence[LogGrid]
    maps: dict[tuple[int, GridSlab], PlateMap] = field(default_factory=dict)

    def slab(self, log: int, slab: GridSlab) -> PlateMap:
        """One slab of the log with this number."""
        key = log, slab
        if key not in self.maps:
            grid = self.grids[log]
            self.maps[key] = plate_map(grid.plates_of(slab), ALL_COUNT_WHOLE, (slab.low, slab.high), grid.rules)
        return self.maps[key]


_FILLERS = ThreadPoolExecutor(THREADS, thread_name_prefix="fill")
"""Begins its threads with the first slabs that are worth sharing; searches fill slabs thousands of times."""


def fill_all(slabs: Iterable[Fillable], worth: PlateWorth) -> list[tuple[float, Fill]]:
    """All of some slabs filled at the same prices, in their order."""
    return [at_each[0] for at_each in fill_at_each(slabs, (worth,))]


def fill_at_each(slabs: Iterable[Fillable], worths: Sequence[PlateWorth]) -> list[list[tuple[float, Fill]]]:
    """Each of some slabs filled at each of some prices; by slab, in order."""
    wanted, asked = list(slabs), worths_of(worths)

    def filled(some: Sequence[Fillable]) -> list[list[tuple[float, Fill]]]:
        return [slab.fills(asked) for slab in some]

    if len(wanted) * len(worths) < WORTH_SHARING:
        return filled(wanted)
    out: list[list[tuple[float, Fill]]] = [[]] * len(wanted)
    for first, share in enumerate(_FILLERS.map(filled, [wanted[first::THREADS] for first in range(THREADS)])):
        out[first::THREADS] = share
    return out
