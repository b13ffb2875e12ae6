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
        out[k] = np.sqrt(y * y + z * z) - (low + u * (high - low))
        clock[k] = angle
    return out, clock


@njit(cache=True)
def gathered(
    points: Array, out: Array, clock: Array, limit: float, first: float, step: float, shape: tuple[int, int]
) -> tuple[Array, Array]:
    """Weight of points (m, 3) by Tukey's biweight and their weighted mean distance, in each cell of stations × clock angles.

    `out` and `clock` (m,) are as `outside` gives them; points farther out than `limit` weigh nothing. Cells lie about stations
    `step` apart from `first` on, and about even clock angles from 0 on. Two arrays of `shape`.
    """
    rows, columns = shape
    total, sums = np.zeros(shape), np.zeros(shape)
    for k in range(len(points)):
        part = 1.0 - (out[k] / limit) ** 2
        row = int(np.rint((points[k, 0] - first) / step))
        if part > 0.0 and 0 <= row < rows:
            column = int(np.rint(clock[k] * (columns / (2.0 * np.pi)))) % columns
            total[row, column] += part * part
            sums[row, column] += part * part * out[k]
    for row in range(rows):
        for column in range(columns):
            if total[row, column] > 0.0:
                sums[row, column] /= total[row, column]
    return total, sums
