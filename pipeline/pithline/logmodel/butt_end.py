"""Which end is the butt: by the card, by its marks, else by both diameters and the flare; and what speaks against it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pithline.logmodel.card import Card, ScanPoint

Array = NDArray[np.float64]

MIDDLE = (0.15, 0.85)
"""The trunk's taper is told between these parts of the length, clear of flare and fork."""
END_PART = 0.1
"""The thickness of an end is the mean over this part of the length."""
FLARE_COUNTS = 0.5
"""What an end swells beyond the trunk's taper counts half: a fork swells too. Common practice, no source."""
DOUBTFUL = 0.015
"""A lean to one end by less than this part of the thickness tells no butt…"""
CONTRADICTED = 0.025
"""… and one by more than this to the other end contradicts a card or its marks: logs of 3 m taper by 3 to 10 %, common practice."""


@dataclass(frozen=True, slots=True)
class LogEnds:
    """Both ends of the centreline `low` and `high` (3,) in the working frame, and `radius` (k,) evenly from low to high. [mm]"""

    low: Array
    high: Array
    radius: Array

    @property
    def diameters(self) -> tuple[float, float]:
        """Of the low and the high end. [mm]"""
        part = max(round(END_PART * len(self.radius)), 1)
        return 2.0 * float(self.radius[:part].mean()), 2.0 * float(self.radius[-part:].mean())


@dataclass(frozen=True, slots=True)
class ButtEnd:
    """Whether the butt is the `low` end, and `doubt`: a sentence where that is doubtful or contradicted, else empty."""

    low: bool
    doubt: str = ""


def tell_butt(card: Card, ends: LogEnds, axis: Array, inward: Callable[[Array], Array]) -> ButtEnd:
    """The butt end by the card, by its marks, else by the log's form.

    Parameters
    ----------
    card : Card
    ends : LogEnds
    axis : (3,) array
        Unit vector from the low to the high end, in the working frame.
    inward : callable
        A scan point (3,) to the working frame. [mm]
    """
    lean = _lean_to_low(ends.radius)
    sizes = ends.diameters
    if card.butt is not None:
        lead = int(np.argmax(np.abs(axis)))
        low = bool((axis[lead] > 0) == (card.butt == "min"))
        return ButtEnd(low, _contradicted("`butt` on the card puts", low, lean, sizes))
    marked = _by_marks(card, ends, axis, inward)
    if marked is not None:
        return ButtEnd(marked, _contradicted("the marks on the card put", marked, lean, sizes))
    low = lean >= 0.0
    if abs(lean) >= DOUBTFUL:
        return ButtEnd(low)
    here, there = sizes if low else sizes[::-1]
    return ButtEnd(
        low,
        f"Which end is the butt is in doubt: its diameter is {here:.0f} mm, that of the other end {there:.0f} mm. Mark the pith on "
        "both ends, or put `butt` on the card.",
    )


def _by_marks(card: Card, ends: LogEnds, axis: Array, inward: Callable[[Array], Array]) -> bool | None:
    """Whether the first mark that is a point of the scan makes the low end the butt; None without one."""
    for mark, of_butt in (
        (card.pith_butt, True),
        (card.pith_top, False),
        (card.twelve_butt, True),
        (card.twelve_top, False),
    ):
        if isinstance(mark, ScanPoint):
            point = inward(np.asarray(mark.xyz, float))
            return bool((abs((point - ends.low) @ axis) < abs((point - ends.high) @ axis)) == of_butt)
    return None


def _lean_to_low(radius: Array) -> float:
    """How much thicker the low end is as a trunk thickens to its butt, as a part of the mean thickness."""
    place = np.linspace(0.0, 1.0, len(radius))
    middle = (place >= MIDDLE[0]) & (place <= MIDDLE[1])
    line = np.polyfit(place[middle], radius[middle], 1)
    part = max(round(END_PART * len(radius)), 1)
    beyond = radius - np.polyval(line, place)
    flare = float(beyond[:part].mean() - beyond[-part:].mean())
    return float((-line[0] + FLARE_COUNTS * flare) / radius[middle].mean())


def _contradicted(says: str, low: bool, lean: float, sizes: tuple[float, float]) -> str:
    against = -lean if low else lean
    if against < CONTRADICTED:
        return ""
    here, there = sizes if low else sizes[::-1]
    return (
        f"{says[0].upper()}{says[1:]} the butt at the end towards which the trunk grows thinner ({here:.0f} mm, the other end "
        f"{there:.0f} mm): if butt and top were swapped, swap them on the card."
    )
