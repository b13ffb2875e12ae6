"""Slope of grain and what it costs in strength.

The slope is the tangent of the angle between fibres and the piece's edge, written 1 in N.

References
----------
Wood Handbook, FPL-GTR-190, 2010, p. 5-31: definitions, and Table 5-12 (percent of the strength of straight-grained wood).
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

SLOPES = (0.0, 1 / 25, 1 / 20, 1 / 15, 1 / 10, 1 / 5)
STRENGTH_KEPT: Mapping[str, tuple[float, ...]] = {
    "bending": (100.0, 96.0, 93.0, 89.0, 81.0, 55.0),
    "impact": (100.0, 95.0, 90.0, 81.0, 62.0, 36.0),
    "compression": (100.0, 100.0, 100.0, 100.0, 99.0, 93.0),
}
"""Percent kept at `SLOPES`: modulus of rupture, impact bending, compression parallel to the grain (Table 5-12)."""


def angle_of_one_in(n: float) -> float:
    """Angle of a slope of 1 in N. [radians]"""
    return math.atan2(1.0, n)


def strength_kept(slope: float, strength: str) -> float:
    """Strength kept at a slope of grain, in percent of straight grain, straight lines between the rows of Table 5-12.

    Parameters
    ----------
    slope : float
        Slope of grain, as a fraction (1 in 15 is 1/15).
    strength : str
        "bending" (modulus of rupture), "impact" (impact bending) or "compression" (parallel to the grain).

    Raises
    ------
    ValueError
        If the slope is steeper than 1 in 5, where the table ends, or the strength is none of the three.
    """
    if strength not in STRENGTH_KEPT:
        raise ValueError(f'strength is one of {", ".join(STRENGTH_KEPT)}, not "{strength}"')
    if not abs(slope) <= SLOPES[-1]:
        raise ValueError(f"the handbook's table ends at a slope of 1 in 5; {slope:.3f} is steeper")
    return float(np.interp(abs(slope), SLOPES, STRENGTH_KEPT[strength]))
