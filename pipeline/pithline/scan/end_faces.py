"""End faces in the scan: the plane of each, as it was sawn, where enough of it was seen."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pithline.geometry.robust import TUKEY_WIDTH, reweighted, spread, tukey
from pithline.scan.normals import Patches
from pithline.scan.rough_log import RoughLog

Array = NDArray[np.float64]

SEED = 5
TRIALS = 400
STEEPEST = np.cos(np.radians(20.0))
"""No end is sawn farther off square than 20°. Common practice: a chain saw cuts within some degrees."""
FLAT_PATCH = 0.85
"""Cosine to the axis from which on a patch may be of an end face: 32°."""
WITHIN_BARK = 0.93
"""A face is sought within this part of the rough radius, clear of the bark's own roundness."""
OUTER_PART = 0.55
"""Faces lie in the outer 45 % of each half of the log."""
ON_PLANE = 7.0
"""Patches this near a trial plane vote for it. [mm] Saw marks and noise stay within it."""
NEAR_PLANE = 25.0
"""Points this near the voted plane refine it. [mm]"""
LEAST_PATCHES, LEAST_POINTS, LEAST_WEIGHT = 20, 40, 20.0
FIRST_SPREAD, LEAST_SPREAD = 6.0, 0.5
"""Spread of a face's points in the first round, and the least believed: chain saws leave marks of half a millimetre. [mm]"""
LEAST_SEEN = 0.25
"""Least fraction of the end face that must have been seen to take its plane from it."""
BIN = 25.0
"""Cells in which a face counts as seen. [mm]"""
SECTOR_DEG = 30.0
SECTOR_POINTS = 50
"""Where no face was seen, bark's end is told sector by sector of the girth, by sectors of more points than this."""
INNERMOST, OUTERMOST = 0.6, 1.6
"""Bark of an end that was not seen lies between these parts of the rough radius: a flare stands out by half."""
REACH_STEP, REACH_GAP = 30.0, 150.0
"""Bark is followed outwards in such steps, over gaps of up to the second. [mm]"""
REACH_SHARE = 0.2
"""And as far as a step holds this part of the points it holds elsewhere: strays hold less."""
UNEVEN_SHARE = 0.5
"""Part of how much the sectors' ends differ that the middle may be off."""
UNSEEN_ERROR = 10.0
"""Standard error of an end that was not seen. [mm] Measured on generated logs: docs/fit.md."""


@dataclass(frozen=True, slots=True)
class ScannedFace:
    """One end: a `point` (3,) of its plane, outward unit `normal` (3,), whether it was `seen` or assumed square."""

    point: Array
    normal: Array
    seen: bool
    stderr: float  # mm, of the plane at its middle
    spread: float  # mm, of its points about it; 0 where it was not seen


@dataclass(frozen=True, slots=True)
class _Plane:
    """normal·p = normal·middle."""

    normal: Array
    middle: Array

    def height(self, points: Array) -> Array:
        height: Array = points @ self.normal - float(self.normal @ self.middle)
        return height


def find_faces(points: Array, patches: Patches, rough: RoughLog) -> tuple[ScannedFace, ScannedFace]:
    """The faces at the low and the high end of the rough axis, from points (n, 3) of the log's lump."""
    means, normals = patches.means, patches.normals
    u, away, radius = rough.polar(means)
    axis = rough.turn[0]
    flat = (np.abs(normals @ axis) > FLAT_PATCH) & (away < WITHIN_BARK * radius)
    middle, half = 0.5 * (rough.u[0] + rough.u[-1]), 0.5 * rough.length
    faces = []
    for sign in (-1.0, 1.0):
        outer = flat & (sign * (u - middle) > OUTER_PART * half)
        face = _seen_face(points, means[outer], rough, sign)
        faces.append(face if face is not None else _square_face(points, rough, sign))
    return faces[0], faces[1]


def _seen_face(points: Array, means: Array, rough: RoughLog, sign: float) -> ScannedFace | None:
    """The plane that most flat patches (m, 3) of an end lie on (RANSAC), refined on its points; None without one."""
    if len(means) < LEAST_PATCHES:
        return None
    axis = sign * rough.turn[0]
    rng = np.random.default_rng(SEED)
    picks = means[rng.integers(0, len(means), (TRIALS, 3))]
    normals = np.cross(picks[:, 1] - picks[:, 0], picks[:, 2] - picks[:, 0])
    size = np.linalg.norm(normals, axis=1)
    real = size > 1e3  # mm²: thinner triangles tell no plane
    normals = normals[real] / size[real, None]
    normals *= np.sign(normals @ axis)[:, None]
    steep = normals @ axis > STEEPEST
    if not steep.any():
        return None
    normals, origin = normals[steep], picks[real][steep, 0]
    near = np.abs(means @ normals.T - (normals * origin).sum(1)) < ON_PLANE
    at = int(np.argmax(near.sum(0)))
    return _refined_face(points, rough, _Plane(normals[at], origin[at]))


def _refined_face(points: Array, rough: RoughLog, plane: _Plane) -> ScannedFace | None:
    """Plane by reweighted least squares (Tukey) over points well inside the bark."""
    _, away, radius = rough.polar(points)
    near = (np.abs(plane.height(points)) < NEAR_PLANE) & (away < WITHIN_BARK * radius)
    inner = points[near]
    if len(inner) < LEAST_POINTS:
        return None

    def scale(miss: Array, weight: Array | None) -> float:
        return FIRST_SPREAD if weight is None else max(spread(miss[weight > 0]), LEAST_SPREAD)

    def weigh(miss: Array, weight: Array | None) -> Array:
        return tukey(miss, TUKEY_WIDTH * scale(miss, weight))

    def solve(plane: _Plane, miss: Array, weight: Array) -> _Plane | None:
        if weight.sum() < LEAST_WEIGHT:
            return None
        middle = weight @ inner / weight.sum()
        away_from = inner - middle
        turned = np.linalg.eigh((away_from * weight[:, None]).T @ away_from)[1][:, 0]
        return _Plane(turned if turned @ plane.normal > 0 else -turned, middle)

    fitted = reweighted(plane, lambda trial: trial.height(inner), weigh, solve, rounds=8)
    if fitted is None:
        return None
    last = scale(fitted.miss, fitted.weight)
    on = np.abs(fitted.miss) < 4.0 * last
    if _seen_share(inner[on], rough) < LEAST_SEEN:
        return None
    return ScannedFace(fitted.found.middle, fitted.found.normal, True, last / np.sqrt(on.sum()), last)


def _seen_share(points: Array, rough: RoughLog) -> float:
    """Fraction of the rough section at the points (n, 3) that they cover."""
    local = points @ rough.turn.T
    cells = np.unique(np.floor(local[:, 1:] / BIN).astype(np.int64), axis=0)
    radius = np.interp(np.median(local[:, 0]), rough.u, rough.radius)
    return float(len(cells) * BIN**2 / (np.pi * radius**2))


def _square_face(points: Array, rough: RoughLog, sign: float) -> ScannedFace:
    """No face was seen: square to the axis where the bark ends, by the middle over twelve sectors of the girth.

    Bark is followed outwards sector by sector as far as it is scanned about as densely as elsewhere, flare and flutes included. The
    more the sectors differ, the less sure the end.
    """
    u, away, radius = rough.polar(points)
    bark = (away > INNERMOST * radius) & (away < OUTERMOST * radius)
    local = points[bark] @ rough.turn.T
    centre = np.column_stack([np.interp(local[:, 0], rough.u, rough.centre[:, i]) for i in (0, 1)])
    turned = np.arctan2(*(local[:, 1:] - centre).T)
    sector = np.floor((turned + np.pi) / np.radians(SECTOR_DEG)).astype(int)
    outwards = sign * (local[:, 0] - 0.5 * (rough.u[0] + rough.u[-1]))
    found = [
        _bark_reach(outwards[sector == k], 0.5 * rough.length) for k in range(12) if (sector == k).sum() > SECTOR_POINTS
    ]
    reach = np.array([one for one in found if one is not None])
    middle = 0.5 * (rough.u[0] + rough.u[-1])
    if len(reach):
        at = middle + sign * float(np.median(reach))
        error = float(np.hypot(UNSEEN_ERROR, UNEVEN_SHARE * spread(reach - np.median(reach))))
    else:
        at, error = sign * float(np.quantile(sign * u, 0.995)), UNSEEN_ERROR
    place = np.array([at, *(np.interp(at, rough.u, rough.centre[:, i]) for i in (0, 1))])
    return ScannedFace(rough.turn.T @ place, sign * rough.turn[0], False, error, 0.0)


def _bark_reach(outwards: Array, half: float) -> float | None:
    """How far out from the middle of the log a sector's bark goes, from its points' distances outwards (n,); None without any.

    `half` is half the log's rough length. [mm]
    """
    steps = np.arange(0.0, max(float(outwards.max()), 0.0) + REACH_STEP, REACH_STEP)
    counts = np.histogram(outwards, np.append(steps, steps[-1] + REACH_STEP))[0]
    usual = counts[: max(int(0.7 * half / REACH_STEP), 1)]
    usual = usual[usual > 0]
    if not len(usual):
        return None
    dense = np.flatnonzero(counts >= max(REACH_SHARE * float(np.median(usual)), 1.0))
    gaps = np.flatnonzero(np.diff(dense) > REACH_GAP / REACH_STEP)
    last = steps[dense[gaps[0]] if len(gaps) and steps[dense[gaps[0]]] > 0.7 * half else dense[-1]] + REACH_STEP
    inside = outwards[(outwards >= 0.0) & (outwards <= last)]
    return float(np.quantile(inside, 0.999)) if len(inside) else None
