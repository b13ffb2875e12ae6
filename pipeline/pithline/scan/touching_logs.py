"""Logs that touch, in a row or on common bearers: one lump of points parted into its logs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pithline.scan.normals import Patches, axis_direction, surface_patches
from pithline.scan.rough_log import ROUND, Circle, RoughLog, axis_frame, most_upon, refined_circle, rough_log

Array = NDArray[np.float64]
Index = NDArray[np.int64]
Mask = NDArray[np.bool_]

SEED = 13
TRIALS = 1500
NEAR = 300.0
"""Patches that may tell one circle lie this near to one another, and a fifth of it at least. [mm]"""
NEIGHBOURS = 8
"""Of so many patches drawn for each, the nearest is its partner."""
THINNEST, THICKEST = 25.0, 1500.0
"""Radii of circles that are tried. [mm]"""
SLAB = 0.3
"""Circles are sought in the middle part of the lump, this much of its length."""
MOST_LOGS = 12
LEAST_PATCHES, LEAST_POINTS = 30, 300
LEAST_VOTES = 0.2
"""A circle with fewer patches on it than this part of the first's is no log."""
LEAST_ARC = np.radians(50.0)
APART = 0.8
"""Logs side by side lie this part of the sum of their radii or more apart; circles nearer are flanks of one oval log."""


@dataclass(frozen=True, slots=True)
class PartOfLump:
    """A log and which of the points (n,) are its own, its patches of surface, its rough form."""

    member: Mask
    patches: Patches
    rough: RoughLog


def part_touching_logs(points: Array, patches: Patches, patch: float) -> list[PartOfLump]:
    """The logs that a lump of points (n, 3) holds, if they lie side by side; `patch` is the size of its patches. [mm]

    Circles are peeled off the middle of the lump one by one; each point belongs to the log in whose radii it is nearest
    to the centre, first by those circles and then by the logs found through them.
    """
    circles = _circles(patches)
    if len(circles) < 2:
        return []
    turn = axis_frame(axis_direction(patches.normals))
    centres, radii = np.array([circle.centre for circle in circles]), np.array([circle.radius for circle in circles])
    across = (points @ turn.T)[:, None, 1:] - centres
    owner = np.argmin(np.hypot(across[..., 0], across[..., 1]) / radii, axis=1)
    logs = _by_owner(points, owner, patch)
    if len(logs) < 2:
        return []
    shares = []
    for log in logs:
        _, away, radius = log.rough.polar(points)
        shares.append(away / radius)
    return _by_owner(points, np.argmin(shares, axis=0), patch)


def _by_owner(points: Array, owner: Index, patch: float) -> list[PartOfLump]:
    logs = []
    for name in np.unique(owner):
        member = owner == name
        if member.sum() < LEAST_POINTS:
            continue
        patches = surface_patches(points[member], patch)
        rough = rough_log(patches)
        if rough is not None:
            logs.append(PartOfLump(member, patches, rough))
    return logs


def _circles(patches: Patches) -> list[Circle]:
    """Circles in the middle of the lump, square to the axis of most of its bark."""
    axis = axis_direction(patches.normals)
    turn = axis_frame(axis)
    local, facing = patches.means @ turn.T, patches.normals @ turn.T
    bark = np.abs(facing[:, 0]) < 0.5
    low, high = np.quantile(local[bark, 0], [0.02, 0.98])
    slab = bark & (np.abs(local[:, 0] - 0.5 * (low + high)) < 0.5 * SLAB * (high - low))
    left, normals = np.ascontiguousarray(local[slab, 1:]), np.ascontiguousarray(facing[slab, 1:])
    rng, first = np.random.default_rng(SEED), 0
    found: list[Circle] = []
    while len(left) >= LEAST_PATCHES and len(found) < MOST_LOGS:
        centre, radius = _drawn(left, normals, rng)
        if not len(radius):
            break
        at, on = most_upon(left, normals, centre, radius, ROUND)
        if on.sum() < max(20, LEAST_VOTES * first):
            break
        circle = refined_circle(left[on], Circle(centre[at], float(radius[at])))
        first = first or int(on.sum())
        turned = np.sort(np.arctan2(*(left[on] - circle.centre).T))
        gap = float(np.diff(turned, append=turned[0] + 2 * np.pi).max())
        if 2 * np.pi - gap > LEAST_ARC and all(_side_by_side(circle, other) for other in found):
            found.append(circle)
        away = np.hypot(*(left - circle.centre).T)
        keep = ~on & (away > circle.radius + max(8.0, 0.05 * circle.radius))
        left, normals = np.ascontiguousarray(left[keep]), np.ascontiguousarray(normals[keep])
    return found


def _side_by_side(circle: Circle, other: Circle) -> bool:
    return bool(np.hypot(*(circle.centre - other.centre)) > APART * (circle.radius + other.radius))


def _drawn(points: Array, normals: Array, rng: np.random.Generator) -> tuple[Array, Array]:
    """Circles through pairs of neighbouring patches (n, 2): their normals meet at the centre. (k, 2) and (k,)"""
    first = rng.integers(0, len(points), TRIALS)
    others = rng.integers(0, len(points), (TRIALS, NEIGHBOURS))
    away = np.linalg.norm(points[others] - points[first][:, None], axis=2)
    chosen = np.argmin(np.where(away > 0.2 * NEAR, away, np.inf), axis=1)
    second = others[np.arange(TRIALS), chosen]
    p, n, q, m = points[first], normals[first], points[second], normals[second]
    cross = n[:, 0] * m[:, 1] - n[:, 1] * m[:, 0]
    step = np.where(np.abs(cross) > 0.1, cross, np.nan)
    t = ((q - p)[:, 0] * m[:, 1] - (q - p)[:, 1] * m[:, 0]) / step
    centre = p + t[:, None] * n
    radius = 0.5 * (np.linalg.norm(centre - p, axis=1) + np.linalg.norm(centre - q, axis=1))
    real = np.isfinite(radius) & (radius > THINNEST) & (radius < THICKEST) & (away.min(axis=1) < NEAR)
    return centre[real], radius[real]
