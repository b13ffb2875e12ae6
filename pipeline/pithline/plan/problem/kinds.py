"""Kinds of plates as they are priced: every part, and its figured plates apart from the others.

Zones of figure are stations of the card, so what a plate is priced at follows from its part and from where it lies along the log. A
part that shows figure (a product's widest) has a kind for each factor that zones can give its plates; every plate is of one kind.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pithline.logmodel.card import Figure, figure_factor
from pithline.plan.problem.parts import SawnPart

Array = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class PlateKinds:
    """The N kinds of plates of some parts.

    Attributes
    ----------
    parts : tuple of SawnPart
        P of them.
    part : tuple of int, (N,)
        Of each kind, the number of its part. The first P kinds are the parts in order, each at its least factor.
    factor : tuple of float, (N,)
        By which figure multiplies the price of such plates.
    figures : tuple of Figure
        The card's zones, which tell the kinds of a part apart.
    """

    parts: tuple[SawnPart, ...]
    part: tuple[int, ...]
    factor: tuple[float, ...]
    figures: tuple[Figure, ...] = ()

    @property
    def sawn(self) -> tuple[SawnPart, ...]:
        """The part of each kind, (N,)."""
        return tuple(self.parts[p] for p in self.part)

    @property
    def apart(self) -> bool:
        """Whether some part's plates are of several kinds."""
        return len(self.part) > len(self.parts)

    def of_part(self, part: int) -> tuple[int, ...]:
        """The kinds of one part, by rising factor."""
        return tuple(kind for kind, own in enumerate(self.part) if own == part)

    def at(self, part: int, low: Array, high: Array) -> Ints:
        """Of which kind plates of a part are that reach from stations `low` to `high`, alike in shape. [mm]

        A factor that no kind has counts as the next lower one.
        """
        kinds = np.array(self.of_part(part))
        out = np.full(np.shape(low), -np.inf)
        for zone in self.figures:
            held = np.ones(np.shape(low), bool)
            if zone.start is not None:
                held &= low >= zone.start
            if zone.end is not None:
                held &= high <= zone.end
            out = np.where(held, np.maximum(out, zone.factor), out)
        out = np.where(np.isfinite(out), out, 1.0)
        level = np.searchsorted([self.factor[kind] for kind in kinds], out, side="right") - 1
        found: Ints = kinds[np.maximum(level, 0)]
        return found


def plate_kinds(parts: Sequence[SawnPart], figures: Sequence[Figure] = (), length: float = 0.0) -> PlateKinds:
    """The kinds of plates of parts that a log of this length can give; each part is one kind where no zone is told. [mm]"""
    least: list[float] = []
    more: list[tuple[int, float]] = []
    for p, part in enumerate(parts):
        factors = _factors(figures, part.length, length) if part.widest and figures else (1.0,)
        least.append(factors[0])
        more += [(p, factor) for factor in factors[1:]]
    return PlateKinds(
        tuple(parts),
        (*range(len(parts)), *(p for p, _ in more)),
        (*least, *(factor for _, factor in more)),
        tuple(figures),
    )


def _factors(figures: Sequence[Figure], long: float, length: float) -> tuple[float, ...]:
    """The factors that plates so long may have somewhere in a log of this length, rising. [mm]

    They change only where a plate's end crosses the end of a zone, so places there and between them tell all.
    """
    last = max(length - long, 0.0)
    ends = [zone.start for zone in figures if zone.start is not None]
    ends += [zone.end - long for zone in figures if zone.end is not None]
    turns = sorted({0.0, last, *(end for end in ends if 0.0 < end < last)})
    places = [*turns, *((one + next_one) / 2.0 for one, next_one in itertools.pairwise(turns))]
    return tuple(sorted({figure_factor(figures, place, place + long) for place in places}))
