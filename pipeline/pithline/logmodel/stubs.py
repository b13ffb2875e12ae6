"""Stubs and swellings of the bark: found, listed, kept out of the outline and in the envelope."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import label

from pithline.logmodel.cells import TOUCHING, Index, Mask, cell_of, dilated, dilated_round
from pithline.logmodel.model import CLOCK_SAMPLES, SuspectedKnot, clock_angles
from pithline.logmodel.surface import Surface

Array = NDArray[np.float64]

LEAST_POINTS, LEAST_CELLS = 12, 2
LEAST_HEIGHT = 0.04
"""Least height of a stub or swelling. [radii]"""
LEAST_SPREADS = 4.0
"""And in standard deviations of the points about the outline."""
MOST_HEIGHT, MOST_DIAMETER = 1.0, 1.6
"""What stands out farther, or is wider, is no stub. [radii]"""
CELL_SHARE = 0.25
"""Part of a cell's points that must stand out."""
TOUCHED = 0.3
"""A swelling this much of which lies against a bearer is the bearer's."""
EDGE = 0.02
"""A stub's points count for cells this near too, as the scan seldom holds its very edge. [radii]"""
UPPER_BARK = 0.97
"""The upper bark: above it lies measuring noise."""


def least_height(surface: Surface) -> float:
    """How far bark must stand out of the outline to be a stub. [mm]"""
    return max(LEAST_HEIGHT * surface.radius, LEAST_SPREADS * surface.scale)


def find_stubs(points: Array, surface: Surface, foreign: Array) -> tuple[tuple[SuspectedKnot, ...], Mask]:
    """Stubs and swellings among the log's own points (n, 3): a list, and a mask (stations, 72) of where they stand.

    `foreign` (m, 3) are points of bearers: what stands out of the bark against them is theirs.

    A stub is a patch of cells in which a good part of the points stands out of the surface farther than bark does.
    """
    out, clock = surface.residuals(points)
    row, column = cell_of(points[:, 0], clock, surface.x)
    shape = (len(surface.x), CLOCK_SAMPLES)
    index = row * CLOCK_SAMPLES + column
    limit = least_height(surface)
    size = surface.radius
    high = (out > limit) & (out < MOST_HEIGHT * size)
    count = np.bincount(index[high], minlength=shape[0] * shape[1]).reshape(shape)
    total = np.bincount(index[out > -limit], minlength=shape[0] * shape[1]).reshape(shape)
    grid = (count >= 2) & (count > CELL_SHARE * total)
    names, number = _labels_round(grid)
    touched = np.zeros(shape, bool)
    touched[cell_of(foreign[:, 0], surface.residuals(foreign)[1], surface.x)] = True
    touched = dilated(touched, rounds=2)
    knots, mask = [], np.zeros(shape, bool)
    for name in range(1, number + 1):
        cells = names == name
        member = high & cells[row, column]
        if member.sum() < LEAST_POINTS or cells.sum() < LEAST_CELLS or touched[cells].mean() > TOUCHED:
            continue
        knot = _knot(points[member, 0], out[member], clock[member], surface, int(cells.sum()))
        if knot.height > LEAST_HEIGHT * size and knot.diameter < MOST_DIAMETER * size:
            knots.append(knot)
            mask |= cells
    knots.sort(key=lambda knot: (knot.x, knot.clock))
    return tuple(knots), mask


def _labels_round(grid: Mask) -> tuple[Index, int]:
    """Labels of connected cells, joined across the seam at 12 o'clock."""
    names, _ = label(grid, structure=TOUCHING)
    for row in range(len(grid)):
        for other in (row - 1, row, row + 1):
            if 0 <= other < len(grid) and names[row, 0] and names[other, -1]:
                names[names == names[other, -1]] = names[row, 0]
    kept = np.unique(names[names > 0])
    return np.searchsorted(kept, names) * (names > 0) + (names > 0), len(kept)


def _knot(x: Array, out: Array, clock: Array, surface: Surface, cells: int) -> SuspectedKnot:
    """The stub that points at stations `x`, `out` of the surface at clock angles `clock` (k,) in so many `cells` make."""
    mean = np.angle(np.sum(out * np.exp(1j * clock))) % (2.0 * np.pi)
    middle = float((out @ x) / out.sum())
    radius = max(float(surface.radii(np.array([middle]), np.array([mean]))[0, 0]), 1.0)
    area = cells * (surface.x[1] - surface.x[0]) * radius * (2.0 * np.pi / CLOCK_SAMPLES)
    return SuspectedKnot(middle, float(mean), float(2.0 * np.sqrt(area / np.pi)), float(np.quantile(out, 0.95)))


def envelope(points: Array, surface: Surface, stubs: Mask, stderr: Array, seen: Mask) -> Array:
    """The farthest the log reaches in each cell (stations, 72). [mm]

    Where seen, the outline and what stands out of it: on stubs the farthest point, else the upper bark (97 %), which
    leaves measuring noise out. Where unseen, the outline plus two standard errors. Never inside the outline.

    Parameters
    ----------
    points : (n, 3) array
        The log's own points in the log frame. [mm]
    surface : Surface
        The fitted outline.
    stubs, seen : (stations, 72) masks
        Where stubs stand, and what was seen.
    stderr : (stations, 72) array
        Standard errors of the outline. [mm]
    """
    outline = surface.radii(surface.x, clock_angles())
    out, clock = surface.residuals(points)
    stubs = dilated_round(stubs)
    limit = least_height(surface)
    row, column = cell_of(points[:, 0], clock, surface.x)
    reach = _upper_bark(row, column, out, out < limit, outline.shape)
    high = (out >= limit) & (out < MOST_HEIGHT * surface.radius) & stubs[row, column]
    radius = np.maximum(outline[row[high], column[high]] + out[high], 1.0)
    edge = EDGE * surface.radius
    for along in (-edge, 0.0, edge):
        for round_ in (-edge, 0.0, edge):
            near = cell_of(points[high, 0] + along, clock[high] + round_ / radius, surface.x)
            np.maximum.at(reach, near, out[high])
    return outline + np.where(seen | (reach > 0.0), reach, 2.0 * stderr)


def _upper_bark(row: Index, column: Index, out: Array, chosen: Mask, shape: tuple[int, ...]) -> Array:
    """97 % of the chosen points' residuals in each cell, not below 0."""
    index, out = (row * CLOCK_SAMPLES + column)[chosen], out[chosen]
    order = np.lexsort((out, index))
    names, start, count = np.unique(index[order], return_index=True, return_counts=True)
    reach = np.zeros(shape[0] * shape[1])
    reach[names] = np.maximum(out[order][start + np.floor(UPPER_BARK * (count - 1)).astype(int)], 0.0)
    return reach.reshape(shape)
