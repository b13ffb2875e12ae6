"""The ground: a wide plane that all else stands on; it may slope, be uneven, or be absent."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pithline.geometry.robust import reweighted, spread
from pithline.scan.voxels import voxelise

Array = NDArray[np.float64]

SEED = 11
TRIALS = 1500
CELL = 60.0
"""Ground is sought among means of voxels of this size, so that dense parts weigh no more than thin ones. [mm]"""
TOLERANCE = 25.0
"""Voxels this near a plane are of it: grass, clods, a rutted yard. [mm]"""
SPARSE = 0.008
"""Voxels with fewer points than this part of the usual hold strays."""
STEEPEST = np.cos(np.radians(45.0))
BELOW_MOST = 0.03
"""Fraction of the voxels that may lie well below the ground: strays, a ditch."""
LEAST_SHARE = 0.08
"""Least part of all voxels that ground holds."""
LEAST_WIDTH = 450.0
"""Least width of ground: wider than the strip of a big log's flank that lies near one plane. [mm]"""
ROUGHEST = 18.0
"""Rougher planes are no ground. [mm]"""
GROUND_SKIN, GROUND_SPREADS = 30.0, 4.0
"""What stands no higher over the ground than the first [mm] or this many times its roughness is ground."""
LEAST_VOXELS, REFINING_VOXELS = 50, 10
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
        height: Array = points @ self.normal - self.offset
        return height


def find_ground(points: Array, up: Array | None = None) -> Ground | None:
    """The ground among points (n, 3) in mm, or None. RANSAC with a fixed seed, then trimmed least squares.

    Where the vertical `up` (3,) is known, nothing steeper than STEEPEST is ground: the tops of a row of logs lie near a plane
    with all else on one side too.
    """
    voxels = voxelise(points, CELL)
    # a voxel with next to nothing in it holds strays
    typical = float(np.median(voxels.count[voxels.of]))
    means = voxels.mean(points)[voxels.count >= SPARSE * typical]
    if len(means) < LEAST_VOXELS:
        return None
    best = _best_plane(means, up)
    ground = None if best is None else _refined(means, best)
    return ground if ground is not None and ground.spread <= ROUGHEST and _lies_free(means, ground) else None


def _best_plane(means: Array, up: Array | None) -> Ground | None:
    """The plane that most voxels (m, 3) lie on with next to nothing below it (RANSAC)."""
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
            best = Ground(sign * normals[start + at], float(sign * offsets[start + at]), TOLERANCE)
    return best


def _refined(means: Array, start: Ground) -> Ground | None:
    """Least squares over the voxels (m, 3) near the plane, trimmed by their own spread."""

    def weigh(height: Array, last: Array | None) -> Array:
        rough = TOLERANCE if last is None else spread(height[last > 0])
        near = np.abs(height) < np.clip(2.5 * rough, 0.8 * TOLERANCE, 1.5 * TOLERANCE)
        return np.asarray(near, np.float64)

    def solve(ground: Ground, height: Array, weight: Array) -> Ground | None:
        near = weight > 0
        if near.sum() < REFINING_VOXELS:
            return None
        middle = means[near].mean(0)
        turned = np.linalg.svd(means[near] - middle, full_matrices=False)[2][2]
        normal = turned if turned @ ground.normal > 0 else -turned
        return Ground(normal, float(normal @ middle), spread((means[near] - middle) @ normal))

    fitted = reweighted(start, lambda ground: ground.height(means), weigh, solve, rounds=4)
    return None if fitted is None else fitted.found


def _lies_free(means: Array, ground: Ground) -> bool:
    """Whether enough of the plane has nothing above it (see LEAST_FREE)."""
    height = ground.height(means)
    if (height < -2 * TOLERANCE).mean() > BELOW_MOST:
        return False
    near, above = np.abs(height) < max(TOLERANCE, 3.0 * ground.spread), height > 2 * TOLERANCE
    away = means[near] - means[near].mean(0)
    across = np.linalg.svd(away, full_matrices=False)[2][:2]
    if np.ptp(np.quantile(away @ across[1], [0.03, 0.97])) < LEAST_WIDTH:
        return False
    flat = np.floor((means @ across.T) / (1.5 * CELL)).astype(np.int64)
    flat -= flat.min(0)
    cell = flat[:, 0] * (flat[:, 1].max() + 1) + flat[:, 1]
    covered = np.unique(cell[near])
    return bool((~np.isin(covered, cell[above])).mean() > LEAST_FREE)
