"""Cubic volume of a log from its end areas. Any one unit of length throughout.

References
----------
University of Missouri forestry pages: Smalian, with worked figures (second-hand).
"""

from __future__ import annotations

import math


def circle_area(diameter: float) -> float:
    """Area of a round section: ``π d²/4``."""
    return math.pi * diameter**2 / 4.0


def smalian(small: float, large: float, length: float) -> float:
    """Smalian: ``L (A_s + A_l)/2``; too much for a cone, exact for a paraboloid."""
    return length * (small + large) / 2.0
