"""The ground: a wide plane that all else stands on; it may slope, be uneven, or be absent."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pithline.scan.voxels import voxelise

Array = NDArray[np.float64]

SEED = 11
TRIALS = 1500
CELL = 60.0
"""Ground is sought among means of voxels of this size, so that dense parts weigh no more than thin ones. [mm]"""
TOLERANCE = 25.0
SPARSE = 0.008
STEEPEST = np.cos(np.radians(45.0))
BELOW_MOST = 0.03
"""Fraction of the voxels that may lie well below the ground: strays, a ditch."""
LEAST_SHARE = 0.08
LEAST_WIDTH = 450.0
"""Least width of ground: wider than the strip of a big log's flank that lies near one plane. [mm]"""
ROUGHEST = 18.0
LEAST_FREE = 0.35
"""Least fraction of the ground's own area with nothing above it. The end or flank of a log is a plane with the rest of
the scan on one side too, but the log lies all over it."""


@dataclass(frozen=True, slots=True)
class Ground:
    """Plane normal·p = offset; `normal` points up from it; `spread` is its roughness. [mm]"""

    normal: Array
    offset: float
    spread: float

    def height(self, points: Array) -> Array:
        """Height of points (n, 3) over the ground. [mm]"""
        return points @ self.normal - self.offset


def find_ground(points: Array, up: Array | None = None) -> Ground | None:
    """The ground among points (n, 3) in mm, or None. RANSAC with a fixed seed, then trimmed least squares.

    Where the vertical `up` (3,) is known, nothing steeper than STEEPEST is ground: the tops of a row of logs lie near a plane
    with all else on one side too.
    """
    voxels = voxelise(points, CELL)
    # a voxel with next to nothing in it holds strays
    typical = float(np.median(voxels.count[voxels.of]))
    means = voxels.mean(points)[voxels.count >= SPARSE * typical]
    if len(means) < 50:
        return None
    best = _best_plane(means, up)
    if best is None:
        return None
    normal, offset, spread = _refined(means, *best)
    if normal is None or spread > ROUGHEST or not _lies_free(means, normal, offset, max(TOLERANCE, 3.0 * spread)):
        return None
    return Ground(normal, offset, spread)


def _best_plane(means: Array, up: Array | None) -> tuple[Array, float] | None:
    rng = np.random.default_rng(SEED)
    picks = means[rng.integers(0, len(means), (TRIALS, 3))]
    normals = np.cross(picks[:, 1] - picks[:, 0], picks[:, 2] - picks[:, 0])
    size = np.linalg.norm(normals, axis=1)
    normals = normals[size > 1e3] / size[size > 1e3, None]
    offsets = (normals * picks[size > 1e3, 0]).sum(1)
    best, most = None, LEAST_SHARE * len(means)
    for start in range(0, len(normals), 250):
        part = slice(start, start + 250)
        height = means @ normals[part].T - offsets[part]
        near = (np.abs(height) < TOLERANCE).sum(0)
        low, high = (height < -2 * TOLERANCE).mean(0), (height > 2 * TOLERANCE).mean(0)
        near = np.where(np.minimum(low, high) < BELOW_MOST, near, 0)
        if up is not None:
            near = np.where(np.where(high >= low, 1.0, -1.0) * (normals[part] @ up) > STEEPEST, near, 0)
        at = int(np.argmax(near))
        if near[at] > most:
            most = near[at]
            sign = 1.0 if high[at] >= low[at] else -1.0
            best = (sign * normals[start + at], float(sign * offsets[start + at]))
    return best


def _refined(means: Array, normal: Array, offset: float) -> tuple[Array | None, float, float]:
    spread = TOLERANCE
    for _ in range(4):
        height = means @ normal - offset
        near = np.abs(height) < np.clip(2.5 * spread, 0.8 * TOLERANCE, 1.5 * TOLERANCE)
        if near.sum() < 10:
            return None, 0.0, 0.0
        middle = means[near].mean(0)
        turned = np.linalg.svd(means[near] - middle, full_matrices=False)[2][2]
        normal = turned if turned @ normal > 0 else -turned
        offset = float(normal @ middle)
        spread = 1.4826 * float(np.median(np.abs((means[near] - middle) @ normal)))
    return normal, offset, spread


def _lies_free(means: Array, normal: Array, offset: float, tolerance: float) -> bool:
    """Whether enough of the plane has nothing above it (see LEAST_FREE)."""
    height = means @ normal - offset
    if (height < -2 * TOLERANCE).mean() > BELOW_MOST:
        return False
    near, above = np.abs(height) < tolerance, height > 2 * tolerance
    spread = means[near] - means[near].mean(0)
    across = np.linalg.svd(spread, full_matrices=False)[2][:2]
    if np.ptp(np.quantile(spread @ across[1], [0.03, 0.97])) < LEAST_WIDTH:
        return False
    flat = np.floor((means @ across.T) / (1.5 * CELL)).astype(np.int64)
    flat -= flat.min(0)
    key = flat[:, 0] * (flat[:, 1].max() + 1) + flat[:, 1]
    ground = np.unique(key[near])
    return bool((~np.isin(ground, key[above])).mean() > LEAST_FREE)
