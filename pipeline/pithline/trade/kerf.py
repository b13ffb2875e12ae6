"""What the saw turns to dust when boards or plates are sliced side by side. Geometry; any one unit of length."""

from __future__ import annotations

import math


def stack_height(count: int, thickness: float, kerf: float) -> float:
    """Height of wood that gives `count` boards, with a kerf between each two: ``n t + (n - 1) k``."""
    if count < 1:
        raise ValueError("a stack needs at least one board")
    return count * thickness + (count - 1) * kerf


def boards_from(height: float, thickness: float, kerf: float) -> int:
    """Boards that a height of wood gives, no kerf outside the outer ones: ``floor((h + k)/(t + k))``."""
    return math.floor((height + kerf) / (thickness + kerf))


def kerf_share(thickness: float, kerf: float) -> float:
    """Share of a long run of boards that becomes sawdust: ``k/(t + k)``."""
    return kerf / (thickness + kerf)
