"""End faces in the scan: the plane of each, as it was sawn, where enough of it was seen."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pithline.scan.normals import Patches
from pithline.scan.rough_log import Rough

Array = NDArray[np.float64]

SEED = 5
TRIALS = 400
STEEPEST = np.cos(np.radians(20.0))
LEAST_SEEN = 0.25
"""Least fraction of the end face that must have been seen to take its plane from it."""
BIN = 25.0


@dataclass(frozen=True, slots=True)
class Face:
    """One end: a `point` (3,) of its plane, outward unit `normal` (3,), whether it was `seen` or assumed square."""

    point: Array
    normal: Array
    seen: bool
    stderr: float  # mm, of the plane at its middle


def find_faces(points: Array, patches: Patches, rough: Rough) -> tuple[Face, Face]:
    """The faces at the low and the high end of the rough axis, from points (n, 3) of the log's lump."""
    means, normals = patches.means, patches.normals
    u, away, radius = rough.polar(means)
    axis = rough.turn[0]
    flat = (np.abs(normals @ axis) > 0.85) & (away < 0.93 * radius)
    middle, half = 0.5 * (rough.u[0] + rough.u[-1]), 0.5 * rough.length
    faces = []
    for sign in (-1.0, 1.0):
        outer = flat & (sign * (u - middle) > 0.55 * half)
        face = _face(points, means[outer], rough, sign)
        faces.append(face if face is not None else _square(points, rough, sign))
    return faces[0], faces[1]


def _face(points: Array, means: Array, rough: Rough, sign: float) -> Face | None:
    if len(means) < 20:
        return None
    axis = sign * rough.turn[0]
    rng = np.random.default_rng(SEED)
    picks = means[rng.integers(0, len(means), (TRIALS, 3))]
    normals = np.cross(picks[:, 1] - picks[:, 0], picks[:, 2] - picks[:, 0])
    size = np.linalg.norm(normals, axis=1)
    real = size > 1e3
    normals = normals[real] / size[real, None]
    normals *= np.sign(normals @ axis)[:, None]
    steep = normals @ axis > STEEPEST
    if not steep.any():
        return None
    normals, origin = normals[steep], picks[real][steep, 0]
    near = np.abs(means @ normals.T - (normals * origin).sum(1)) < 7.0
    at = int(np.argmax(near.sum(0)))
    return _refined(points, rough, normals[at], origin[at])


def _refined(points: Array, rough: Rough, normal: Array, origin: Array) -> Face | None:
    """Plane by reweighted least squares (Tukey) over points well inside the bark."""
    _, away, radius = rough.polar(points)
    offset = float(normal @ origin)
    near = (np.abs(points @ normal - offset) < 25.0) & (away < 0.93 * radius)
    inner = points[near]
    if len(inner) < 40:
        return None
    scale = 6.0
    for _ in range(8):
        miss = inner @ normal - offset
        weight = np.clip(1.0 - (miss / (4.685 * scale)) ** 2, 0.0, None) ** 2
        if weight.sum() < 20:
            return None
        middle = weight @ inner / weight.sum()
        away_from = inner - middle
        turned = np.linalg.eigh((away_from * weight[:, None]).T @ away_from)[1][:, 0]
        normal = turned if turned @ normal > 0 else -turned
        offset = float(normal @ middle)
        scale = max(1.4826 * float(np.median(np.abs(inner @ normal - offset)[weight > 0])), 0.5)
    on = np.abs(inner @ normal - offset) < 4.0 * scale
    if _seen(inner[on], rough) < LEAST_SEEN:
        return None
    return Face(middle, normal, True, scale / np.sqrt(on.sum()))


def _seen(points: Array, rough: Rough) -> float:
    """Fraction of the rough section at the points (n, 3) that they cover."""
    local = points @ rough.turn.T
    cells = np.unique(np.floor(local[:, 1:] / BIN).astype(np.int64), axis=0)
    radius = np.interp(np.median(local[:, 0]), rough.u, rough.radius)
    return float(len(cells) * BIN**2 / (np.pi * radius**2))


def _square(points: Array, rough: Rough, sign: float) -> Face:
    """No face was seen: square to the axis where the bark ends, by the middle over twelve sectors of the girth."""
    u, away, radius = rough.polar(points)
    bark = np.abs(away - radius) < np.maximum(25.0, 0.08 * radius)
    local = points[bark] @ rough.turn.T
    centre = np.column_stack([np.interp(local[:, 0], rough.u, rough.centre[:, i]) for i in (0, 1)])
    turned = np.arctan2(*(local[:, 1:] - centre).T)
    sector = np.floor((turned + np.pi) / np.radians(30.0)).astype(int)
    reach = [np.quantile(sign * local[sector == k, 0], 0.999) for k in range(13) if (sector == k).sum() > 50]
    at = sign * float(np.median(reach)) if reach else sign * float(np.quantile(sign * u, 0.995))
    place = np.array([at, *(np.interp(at, rough.u, rough.centre[:, i]) for i in (0, 1))])
    return Face(rough.turn.T @ place, sign * rough.turn[0], False, 10.0)
