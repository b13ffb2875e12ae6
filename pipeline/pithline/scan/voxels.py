"""Voxels: grouping points, counting neighbours, lumps that hang together. Independent of the order of the points."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

Array = NDArray[np.float64]
Index = NDArray[np.int64]

_HALF = np.array([(i, j, k) for i in (-1, 0, 1) for j in (-1, 0, 1) for k in (-1, 0, 1) if (i, j, k) > (0, 0, 0)])

CELLS_PER_POINT, TABLE_CELLS = 24, 120_000_000
"""Voxels are counted in a table where it has at most this many cells for a point, and this many in all."""
COARSE, FINEST = 16.0, 2.0
"""Large scans are measured in voxels of the first size, and thinned to voxels no smaller than the second. [mm]"""


@dataclass(frozen=True, slots=True)
class Voxels:
    """Occupied voxels: `cell` (m, 3) indices sorted by `key` (m,), `of` (n,) each point's voxel, `count` (m,)."""

    size: float
    cell: Index
    key: Index
    strides: Index
    of: Index
    count: Index

    def mean(self, values: Array) -> Array:
        """Mean of values (n, d) or (n,) in each voxel."""
        if values.ndim == 1:
            return np.bincount(self.of, values, len(self.key)) / self.count
        return np.column_stack([np.bincount(self.of, column, len(self.key)) / self.count for column in values.T])

    def neighbours(self) -> tuple[Index, Index]:
        """Pairs of touching voxels (faces, edges and corners), each pair once."""
        left, right = [], []
        for offset in _HALF:
            wanted = self.key + int(offset @ self.strides)
            at = np.minimum(np.searchsorted(self.key, wanted), len(self.key) - 1)
            met = self.key[at] == wanted
            left.append(np.flatnonzero(met))
            right.append(at[met])
        return np.concatenate(left), np.concatenate(right)

    def crowd(self) -> Index:
        """Points in each voxel and those that touch it. (m,)"""
        left, right = self.neighbours()
        total = self.count.astype(float)
        total += np.bincount(left, self.count[right], len(self.key))
        total += np.bincount(right, self.count[left], len(self.key))
        return total.astype(np.int64)

    def lumps(self) -> Index:
        """Label (m,) of the lump each voxel hangs together with."""
        left, right = self.neighbours()
        links = coo_matrix((np.ones(len(left), bool), (left, right)), shape=(len(self.key),) * 2)
        labels: Index = connected_components(links, directed=False)[1].astype(np.int64)
        return labels


def voxelise(points: Array, size: float) -> Voxels:
    """Group points (n, 3) into cubes of `size`. A rim of one free voxel keeps neighbours of the edge from wrapping."""
    low, high = _bounds(points)
    spans = np.floor((high - low) / size).astype(np.int64) + 3
    strides = np.array([spans[1] * spans[2], spans[2], 1], dtype=np.int64)
    at = _keys(points, low, size, strides)
    key, of, count = _grouped(at, int(spans.prod()))
    cells = np.column_stack([key // strides[0], key % strides[0] // strides[1], key % strides[1]])
    return Voxels(size, cells, key, strides, of, count)


@njit(cache=True)
def _bounds(points: Array) -> tuple[Array, Array]:
    """Least and greatest of each column, (3,) each, in one pass: points (n, 3) may be very many."""
    low, high = points[0].copy(), points[0].copy()
    for k in range(1, len(points)):
        for axis in range(3):
            low[axis] = min(low[axis], points[k, axis])
            high[axis] = max(high[axis], points[k, axis])
    return low, high


@njit(cache=True)
def _keys(points: Array, low: Array, size: float, strides: Index) -> Index:
    """Key (n,) of the voxel that each point (n, 3) lies in."""
    at = np.empty(len(points), np.int64)
    for k in range(len(points)):
        key = 0
        for axis in range(3):
            key += (int(np.floor((points[k, axis] - low[axis]) / size)) + 1) * strides[axis]
        at[k] = key
    return at


def _grouped(at: Index, most: int) -> tuple[Index, Index, Index]:
    """Distinct values of `at` (n,), all below `most`, in rising order; each one's place among them; how many of each.

    Counting in a table beats sorting while the table is small.
    """
    if most > max(CELLS_PER_POINT * len(at), 1_000_000) or most > TABLE_CELLS:
        key, of, count = np.unique(at, return_inverse=True, return_counts=True)
        return key, of.reshape(-1), count
    return _tabled(at, most)


@njit(cache=True)
def _tabled(at: Index, most: int) -> tuple[Index, Index, Index]:
    """What `_grouped` gives, by a table of `most` cells that holds counts first and then places."""
    table = np.zeros(most, np.int32)
    for k in range(len(at)):
        table[at[k]] += 1
    filled = 0
    for cell in range(most):
        filled += table[cell] > 0
    key, count = np.empty(filled, np.int64), np.empty(filled, np.int64)
    place = 0
    for cell in range(most):
        if table[cell] > 0:
            key[place], count[place] = cell, table[cell]
            table[cell] = place
            place += 1
    of = np.empty(len(at), np.int64)
    for k in range(len(at)):
        of[k] = table[at[k]]
    return key, of, count


def reduced(points: Array, most: int) -> Array:
    """`points` themselves, or where there are more than `most` the means of voxels just coarse enough. [mm]

    Surfaces fill voxels by the square of their size, which gives a size that mostly does at once. The result is sorted, so that
    the order in which points come does not matter.
    """
    out = points
    if len(out) > most:
        rough = len(voxelise(points, COARSE).key)
        size = max(COARSE * np.sqrt(rough / (0.8 * most)), FINEST)
        while len(out) > most:
            # from the points again, not from means: each point counts the same
            out = voxelise(points, size).mean(points)
            size *= 1.15
    return out[_order(out)]


def _order(points: Array) -> Index:
    """Order (n,) of points by x, of those with one x by y, and by z."""
    order = np.argsort(points[:, 0], kind="stable")
    x = points[order, 0]
    same = np.zeros(len(x), bool)
    same[1:] = x[1:] == x[:-1]
    same[:-1] |= same[1:]
    # few share an x: sorting by three columns is left to them
    shared = order[same]
    order[same] = shared[np.lexsort(points[shared].T[::-1])]
    return order
