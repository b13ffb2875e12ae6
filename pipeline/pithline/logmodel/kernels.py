"""Compiled kernels of the fit: how far points lie outside a surface. That is asked some thirty times of every point."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

Array = NDArray[np.float64]


class SurfaceGrid(NamedTuple):
    """A surface tabulated for reading: stations from `first` in steps of `step`, beyond whose ends the ends hold. [mm]

    `centre` (k, 2) is the centreline (y, z), linear between stations; `table` (k, clocks + 1) the radii at even clock angles from
    0 to 2π, both included, bilinear between.
    """

    first: float
    step: float
    centre: Array
    table: Array


class CellGrid(NamedTuple):
    """Cells about stations `step` apart from `first` on [mm] and about even clock angles from 0 on."""

    first: float
    step: float
    stations: int
    clocks: int


@njit(cache=True)
def radial_residuals(points: Array, surface: SurfaceGrid) -> tuple[Array, Array]:
    """Radial distance outside a surface and clock angle about its centreline, of points (m, 3).

    Returns
    -------
    two (m,) arrays
        [mm], and [rad] in [0, 2π).
    """
    centre, table = surface.centre, surface.table
    count, rows, turns = len(points), len(table), table.shape[1] - 1
    whole = 2.0 * np.pi
    out, clock = np.empty(count), np.empty(count)
    for k in range(count):
        at = min(max((points[k, 0] - surface.first) / surface.step, 0.0), rows - 1.0)
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
def weighted_cell_means(
    x: Array, out: Array, clock: Array, limit: float, cells: CellGrid
) -> tuple[Array, Array, float]:
    """Weight of points by Tukey's biweight and their weighted mean distance, in each cell of stations × clock angles.

    Parameters
    ----------
    x, out, clock : (m,) arrays
        Each point's station [mm], and what `radial_residuals` gives.
    limit : float
        Points farther out than this weigh nothing. [mm]

    Returns
    -------
    two (stations, clocks) arrays, and the variance of points within their cells [mm²], −1 where no cell holds two
    """
    shape = (cells.stations, cells.clocks)
    total, sums, squares, weights = np.zeros(shape), np.zeros(shape), np.zeros(shape), np.zeros(shape)
    for k in range(len(x)):
        part = 1.0 - (out[k] / limit) ** 2
        row = int(np.rint((x[k] - cells.first) / cells.step))
        if part > 0.0 and 0 <= row < cells.stations:
            column = int(np.rint(clock[k] * (cells.clocks / (2.0 * np.pi)))) % cells.clocks
            total[row, column] += part * part
            sums[row, column] += part * part * out[k]
            squares[row, column] += part * part * out[k] ** 2
            weights[row, column] += part**4
    scatter, spare = 0.0, 0.0
    for row in range(cells.stations):
        for column in range(cells.clocks):
            whole = total[row, column]
            if whole > 0.0:
                sums[row, column] /= whole
                # of weights w, Σw − Σw²/Σw are free to scatter about their mean
                free = whole - weights[row, column] / whole
                if free > 0.3:
                    scatter += squares[row, column] - whole * sums[row, column] ** 2
                    spare += free
    return total, sums, scatter / spare if spare > 30.0 else -1.0
