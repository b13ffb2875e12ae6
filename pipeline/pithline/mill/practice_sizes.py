"""Sizes of the practice layout that stands beside every plan: common practice, no source. Lengths in mm."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Practice:
    """A slab through the pith, one from the middle of each half, radial flitches from each bolt (design section 5)."""

    centre_slab: float
    half_slab: float
    flitch: float
    flitches: tuple[int, ...]  # how many to try in a bolt, such as 2 or 3
