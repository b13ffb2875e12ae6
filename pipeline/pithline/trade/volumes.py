"""Cubic volume of a log from its end (and middle) areas. Any one unit of length throughout.

References
----------
University of Missouri forestry pages: Smalian, cone and neiloid frustum with worked figures (second-hand). Huber and
Newton from memory.
"""

from __future__ import annotations

import math


def circle_area(diameter: float) -> float:
    """Area of a round section: ``π d²/4``."""
    return math.pi * diameter**2 / 4.0


def smalian(small: float, large: float, length: float) -> float:
    """Smalian: ``L (A_s + A_l)/2``; too much for a cone, exact for a paraboloid."""
    return length * (small + large) / 2.0


def huber(middle: float, length: float) -> float:
    """Huber: ``L A_m``; too little for a cone, exact for a paraboloid."""
    return length * middle


def newton(small: float, middle: float, large: float, length: float) -> float:
    """Newton: ``L (A_s + 4 A_m + A_l)/6``; exact for cylinder, paraboloid, cone and neiloid alike."""
    return length * (small + 4.0 * middle + large) / 6.0


def cone_frustum(small: float, large: float, length: float) -> float:
    """Frustum of a cone: ``L (A_s + √(A_s A_l) + A_l)/3``."""
    return length * (small + math.sqrt(small * large) + large) / 3.0


def neiloid_frustum(small: float, large: float, length: float) -> float:
    """Frustum of a neiloid: ``L (A_s + ∛(A_s² A_l) + ∛(A_s A_l²) + A_l)/4``."""
    s, t = math.cbrt(small), math.cbrt(large)
    return length * (s**3 + s * s * t + s * t * t + t**3) / 4.0
