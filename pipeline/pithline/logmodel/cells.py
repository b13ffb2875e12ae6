"""The grid of cells, stations × 72 clock angles, on which bark is seen or not."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_dilation

from pithline.logmodel.model import CLOCK_SAMPLES

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Index = NDArray[np.int64]

SEEN_WEIGHT = 0.5
"""Weight of points from which on a cell counts as seen: half a point well on the surface."""
EXPECTED_POINTS, MOST_ALONG = 3.0, 21
"""Points that a strip of seen bark, one cell wide, is expected to hold, and the longest strip looked at. [cells]"""
TOUCHING = np.ones((3, 3))
"""Cells that touch a cell, corners included."""


def cell_of(x: Array, clock: Array, stations: Array) -> tuple[Index, Index]:
    """Nearest station and clock sample of points (m,) at stations `x` and clock angles `clock`."""
    row = np.rint((x - stations[0]) / (stations[1] - stations[0])).astype(int)
    column = np.rint(clock * (CLOCK_SAMPLES / (2.0 * np.pi))).astype(int) % CLOCK_SAMPLES
    return np.clip(row, 0, len(stations) - 1), column


def dilated(mask: Mask, rounds: int = 1) -> Mask:
    """A mask of cells and those that touch it, the seam at 12 o'clock taken for an edge."""
    out: Mask = binary_dilation(mask, structure=TOUCHING, iterations=rounds)
    return out


def dilated_round(mask: Mask) -> Mask:
    """A mask of cells (stations, 72) and the cells that touch it, across the seam too."""
    wide = np.concatenate([mask[:, -1:], mask, mask[:, :1]], axis=1)
    return dilated(wide)[:, 1:-1]


def seen_cells(weight: Array) -> Mask:
    """Which cells were seen, from the weight of points in each: (stations, 72).

    Two stations along are looked at, and in a thin scan so many more that seen bark holds some points.
    """
    filled = weight > SEEN_WEIGHT
    rows = filled.any(axis=1)
    density = float(weight[rows].mean()) if rows.any() else 1.0
    along = int(np.clip(np.ceil(EXPECTED_POINTS / max(density, 1e-3)), 5, MOST_ALONG)) | 1
    structure = np.zeros((along, 3), bool)
    structure[:, 1] = True
    if along > 5:  # thin: the next angle counts too
        structure[along // 4 : along - along // 4] = True
    seen: Mask = binary_dilation(np.concatenate([filled[:, -1:], filled, filled[:, :1]], axis=1), structure=structure)
    return seen[:, 1:-1] & _between_first_and_last(filled)


def _between_first_and_last(filled: Mask) -> Mask:
    """Rows between the first and the last with anything in them."""
    rows = np.flatnonzero(filled.any(axis=1))
    out = np.zeros_like(filled)
    if len(rows):
        out[rows[0] : rows[-1] + 1] = True
    return out
