"""Points of rectangles in space."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def box_grid(corner: Array, first: Array, second: Array, pitch: float) -> Array:
    """Points of a rectangle, edges included, no two neighbours further apart than `pitch`, (n, m, 3); in the unit of its edges.

    Parameters
    ----------
    corner, first, second : (3,) arrays
        A corner, and the edges that leave it.
    pitch : float
        [mm]
    """
    n = int(np.ceil(np.linalg.norm(first) / pitch - 1e-9)) + 1
    m = int(np.ceil(np.linalg.norm(second) / pitch - 1e-9)) + 1
    a, b = np.linspace(0, 1, max(n, 2)), np.linspace(0, 1, max(m, 2))
    return corner + a[:, None, None] * first + b[None, :, None] * second
