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
    """Which cells were seen, looking two stations along, from the weight of points in each: (stations, 72)."""
    filled = weight > SEEN_WEIGHT
    along: Mask = binary_dilation(filled, structure=np.array([[0, 1, 0]] * 5).astype(bool))
    return along & _between_first_and_last(filled)


def _between_first_and_last(filled: Mask) -> Mask:
    """Rows between the first and the last with anything in them."""
    rows = np.flatnonzero(filled.any(axis=1))
    out = np.zeros_like(filled)
    if len(rows):
        out[rows[0] : rows[-1] + 1] = True
    return out
