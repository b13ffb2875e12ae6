"""What the trade calls a board by the angle of its rings to the wide face. Angles in radians.

No single definition exists: sources put the lower limit of quartersawn at 45, 60 or 75°, and two of the names overlap.
A limit is therefore always shown with the definition it follows.

References
----------
"forest service": page summarising US Forest Service publications (second-hand). "architectural": usage of
architectural woodwork, three trade pages that agree (second-hand; the standard not seen). "flooring": a flooring
trade's description (second-hand). "distributor": a hardwood distributor's page on red oak.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

QUARTERSAWN, RIFT, PLAINSAWN = "quartersawn", "rift", "plainsawn"

DEFINITIONS: Mapping[str, Mapping[str, tuple[float, float]]] = {
    "forest service": {QUARTERSAWN: (45.0, 90.0), RIFT: (30.0, 60.0), PLAINSAWN: (0.0, 45.0)},
    "architectural": {QUARTERSAWN: (60.0, 90.0), RIFT: (30.0, 60.0), PLAINSAWN: (0.0, 30.0)},
    "flooring": {QUARTERSAWN: (45.0, 90.0), RIFT: (30.0, 60.0), PLAINSAWN: (0.0, 45.0)},
    "distributor": {QUARTERSAWN: (75.0, 90.0), RIFT: (45.0, 75.0), PLAINSAWN: (0.0, 45.0)},
}
"""For each definition the names and their ranges of ring angle, in degrees, both limits included."""

_ROUNDING = 1e-9  # degrees, so that a limit stated in degrees survives its way through radians


def ring_names(ring_angle: float, definition: str) -> tuple[str, ...]:
    """Names a board bears at a ring angle, most quartered first; two where a definition's ranges meet or overlap.

    Raises
    ------
    ValueError
        If the angle is not from 0 to π/2, or the definition is not known.
    """
    degrees = math.degrees(ring_angle)
    if not -_ROUNDING <= degrees <= 90.0 + _ROUNDING:
        raise ValueError(f"a ring angle lies between 0 and 90°, not at {degrees:.1f}°")
    ranges = _ranges(definition)
    return tuple(name for name, (low, high) in ranges.items() if low - _ROUNDING <= degrees <= high + _ROUNDING)


def _ranges(definition: str) -> Mapping[str, tuple[float, float]]:
    if definition not in DEFINITIONS:
        raise ValueError(f'definition is one of {", ".join(DEFINITIONS)}, not "{definition}"')
    return DEFINITIONS[definition]
