"""Compiled kernel of the fit: how far points lie outside a surface. It is asked some thirty times of every point."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

Array = NDArray[np.float64]


@njit(cache=True)
def outside(points: Array, first: float, step: float, centre: Array, table: Array) -> tuple[Array, Array]:
    """Radial distance outside a surface and clock angle about its centreline, of points (m, 3).

    Parameters
    ----------
    first, step : float
        Where the grid along x begins, and its spacing. Beyond its ends the ends hold. [mm]
    centre : (k, 2) array
        The centreline (y, z) on that grid, linear between.
    table : (k, clocks + 1) array
        Radii on that grid at even clock angles from 0 to 2π, both included; bilinear between.

    Returns
    -------
    two (m,) arrays
        [mm], and [rad] in [0, 2π).
    """
    count, rows, turns = len(points), len(table), table.shape[1] - 1
    whole = 2.0 * np.pi
    out, clock = np.empty(count), np.empty(count)
    for k in range(count):
        at = min(max((points[k, 0] - first) / step, 0.0), rows - 1.0)
        i = min(int(at), rows - 2)
        u = at - i
        y = points[k, 1] - (centre[i, 0] + u * (centre[i + 1, 0] - centre[i, 0]))
        z = points[k, 2] - (centre[i, 1] + u * (centre[i + 1, 1] - centre[i, 1]))
        angle = np.arctan2(-y, z)
        if angle < 0.0:
            angle += whole
            if angle >= whole:  # the smallest negative angles round up to a whole turn
                angle = 0.0
        turned = angle * (turns / whole)
        j = min(int(turned), turns - 1)
        v = turned - j
        low = table[i, j] + v * (table[i, j + 1] - table[i, j])
        high = table[i + 1, j] + v * (table[i + 1, j + 1] - table[i + 1, j])
        out[k] = np.hypot(y, z) - (low + u * (high - low))
        clock[k] = angle
    return out, clock
