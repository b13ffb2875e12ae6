"""Logs that touch, in a row or on common bearers: one lump of points parted into its logs."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pithline.scan.normals import Patches, axis_direction, surface_patches
from pithline.scan.rough_log import Rough, axis_frame, most_upon, refined_circle, rough_log

Array = NDArray[np.float64]
Index = NDArray[np.int64]

SEED = 13
TRIALS = 1500
NEAR = 300.0
"""Three patches that may tell one circle lie this near to one another. [mm]"""
SLAB = 0.3
"""Circles are sought in the middle part of the lump, this much of its length."""
MOST_LOGS = 12
LEAST_VOTES = 0.2
"""A circle with fewer patches on it than this part of the first's is no log."""
LEAST_ARC = np.radians(50.0)
APART = 0.8
"""Logs side by side lie this part of the sum of their radii or more apart; circles nearer are flanks of one oval log."""


def parted(points: Array, patches: Patches) -> list[tuple[NDArray[np.bool_], Patches, Rough]]:
    """The logs that a lump of points (n, 3) holds, if they lie side by side: member mask (n,), patches, rough log each.

    Circles are peeled off the middle of the lump one by one; each point belongs to the log in whose radii it is nearest
    to the centre, first by those circles and then by the logs found through them.
    """
    circles = _circles(patches)
    if len(circles) < 2:
        return []
    turn, table = axis_frame(axis_direction(patches.normals)), np.array(circles)
    across = (points @ turn.T)[:, None, 1:] - table[:, :2]
    owner = np.argmin(np.hypot(across[..., 0], across[..., 1]) / table[:, 2], axis=1)
    logs = _by_owner(points, owner)
    if len(logs) < 2:
        return []
    shares = []
    for _, _, rough in logs:
        _, away, radius = rough.polar(points)
        shares.append(away / radius)
    return _by_owner(points, np.argmin(shares, axis=0))


def _by_owner(points: Array, owner: Index) -> list[tuple[NDArray[np.bool_], Patches, Rough]]:
    logs = []
    for name in np.unique(owner):
        member = owner == name
        if member.sum() < 300:
            continue
        patches = surface_patches(points[member])
        rough = rough_log(patches)
        if rough is not None:
            logs.append((member, patches, rough))
    return logs


def _circles(patches: Patches) -> list[tuple[float, float, float]]:
    """Circles (y, z, radius) in the middle of the lump, square to the axis of most of its bark."""
    axis = axis_direction(patches.normals)
    turn = axis_frame(axis)
    local, facing = patches.means @ turn.T, patches.normals @ turn.T
    bark = np.abs(facing[:, 0]) < 0.5
    low, high = np.quantile(local[bark, 0], [0.02, 0.98])
    slab = bark & (np.abs(local[:, 0] - 0.5 * (low + high)) < 0.5 * SLAB * (high - low))
    left, normals = np.ascontiguousarray(local[slab, 1:]), np.ascontiguousarray(facing[slab, 1:])
    rng, found, first = np.random.default_rng(SEED), [], 0
    while len(left) >= 30 and len(found) < MOST_LOGS:
        centre, radius = _drawn(left, normals, rng)
        if not len(radius):
            break
        at, on = most_upon(left, normals, centre, radius)
        if on.sum() < max(20, LEAST_VOTES * first):
            break
        middle, size = refined_circle(left[on], centre[at], float(radius[at]))
        first = first or int(on.sum())
        turned = np.sort(np.arctan2(*(left[on] - middle).T))
        gap = float(np.diff(turned, append=turned[0] + 2 * np.pi).max())
        clear = all(np.hypot(middle[0] - y, middle[1] - z) > APART * (size + other) for y, z, other in found)
        if 2 * np.pi - gap > LEAST_ARC and clear:
            found.append((float(middle[0]), float(middle[1]), size))
        away = np.hypot(*(left - middle).T)
        keep = ~on & (away > size + max(8.0, 0.05 * size))
        left, normals = np.ascontiguousarray(left[keep]), np.ascontiguousarray(normals[keep])
    return found


def _drawn(points: Array, normals: Array, rng: np.random.Generator) -> tuple[Array, Array]:
    """Circles through pairs of neighbouring patches (n, 2): their normals meet at the centre."""
    one = rng.integers(0, len(points), TRIALS)
    other = rng.integers(0, len(points), (TRIALS, 8))
    away = np.linalg.norm(points[other] - points[one][:, None], axis=2)
    chosen = np.argmin(np.where(away > 0.2 * NEAR, away, np.inf), axis=1)
    two = other[np.arange(TRIALS), chosen]
    p, n, q, m = points[one], normals[one], points[two], normals[two]
    cross = n[:, 0] * m[:, 1] - n[:, 1] * m[:, 0]
    step = np.where(np.abs(cross) > 0.1, cross, np.nan)
    t = ((q - p)[:, 0] * m[:, 1] - (q - p)[:, 1] * m[:, 0]) / step
    centre = p + t[:, None] * n
    radius = 0.5 * (np.linalg.norm(centre - p, axis=1) + np.linalg.norm(centre - q, axis=1))
    real = np.isfinite(radius) & (radius > 25.0) & (radius < 1500.0) & (away.min(axis=1) < NEAR)
    return centre[real], radius[real]
