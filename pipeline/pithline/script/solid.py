"""The wood under bark as a closed solid, rebuilt from a script's model alone, and the one primitive: a cut."""

from __future__ import annotations

import os
from contextlib import suppress
from functools import cache
from typing import Any

import manifold3d
import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from pithline.errors import ScriptError

CLOCKS = 144  # every 2.5°: chord error of a 300 mm radius is 0.07 mm


@cache
def _on_one_core() -> None:
    """Have the library of solids begin on one core: it looks at its first work, and then alone, for how many threads it shall have.

    On solids of some thousand triangles its threads save an eighth of the time, and cost twice the work: they go round between two cuts.
    """
    if not hasattr(os, "sched_setaffinity"):
        return
    cores = os.sched_getaffinity(0)
    with suppress(OSError):
        os.sched_setaffinity(0, {min(cores)})
        manifold3d.Manifold.sphere(1.0, 16).trim_by_plane((0.0, 0.0, 1.0), 0.0).volume()
    with suppress(OSError):
        os.sched_setaffinity(0, cores)


def log_solid(model: dict[str, Any], clocks: int = CLOCKS) -> manifold3d.Manifold:
    """The under-bark log between its end planes (log frame, mm). `model` is a log model in JSON form.

    Periodic cubic spline in clock angle, natural in x (design section 6). ScriptError where no closed solid results.
    """
    _on_one_core()
    stations = model["stations"]
    x = np.array([one["x"] for one in stations], float)
    if len(x) < 2 or np.any(np.diff(x) <= 0.0):
        raise ScriptError("model.stations do not rise in x; fit the log anew with `pithline fit`")
    centre = np.array([one["centre"] for one in stations], float)
    radii = np.array([one["radius_under_bark"] for one in stations], float)
    fine_x = np.linspace(x[0], x[-1], max(2, int(np.ceil((x[-1] - x[0]) / 25.0)) + 1))
    rows = CubicSpline(x, radii, axis=0, bc_type="natural")(fine_x)
    middle = CubicSpline(x, centre, axis=0, bc_type="natural")(fine_x)
    knots = np.linspace(0.0, 2.0 * np.pi, radii.shape[1] + 1)
    clock = np.arange(clocks) * (2.0 * np.pi / clocks)
    fine = CubicSpline(knots, np.column_stack([rows, rows[:, 0]]), axis=1, bc_type="periodic")(clock)
    skin = np.empty((len(fine_x), clocks, 3))
    skin[..., 0] = fine_x[:, None]
    skin[..., 1] = middle[:, :1] - fine * np.sin(clock)
    skin[..., 2] = middle[:, 1:] + fine * np.cos(clock)
    caps = np.column_stack([fine_x[[0, -1]], middle[[0, -1]]])
    points = np.concatenate([skin.reshape(-1, 3), caps])
    solid = manifold3d.Manifold(manifold3d.Mesh(points.astype(np.float32), _faces(len(fine_x), clocks)))
    if solid.status() != manifold3d.Error.NoError or solid.volume() <= 0.0:
        raise ScriptError("model.stations do not make a closed log; fit the log anew with `pithline fit`")
    for end in ("butt", "top"):
        normal = np.asarray(model["ends"][end]["normal"], float)
        solid = solid.trim_by_plane(tuple(-normal), -float(normal @ np.asarray(model["ends"][end]["point"], float)))
    return solid


def _faces(n: int, clocks: int) -> NDArray[np.uint32]:
    """Triangles of the skin and both caps, wound outwards (clock angle runs from +z towards −y)."""
    i, j = np.meshgrid(np.arange(n - 1), np.arange(clocks), indexing="ij")
    a, b = (i * clocks + j).ravel(), (i * clocks + (j + 1) % clocks).ravel()
    here, k = np.arange(clocks), (np.arange(clocks) + 1) % clocks
    last = (n - 1) * clocks
    return np.concatenate(
        [
            np.column_stack([a, a + clocks, b]),
            np.column_stack([b, a + clocks, b + clocks]),
            np.column_stack([np.full(clocks, n * clocks), here, k]),
            np.column_stack([np.full(clocks, n * clocks + 1), last + k, last + here]),
        ]
    )[:, ::-1].astype(np.uint32)


def cut(
    solid: manifold3d.Manifold, normal: tuple[float, float, float], offset: float, kerf: float
) -> tuple[manifold3d.Manifold, manifold3d.Manifold]:
    """What lies above and below the kerf."""
    n = np.asarray(normal, float)
    above = solid.trim_by_plane(tuple(n), offset + kerf / 2.0)
    below = solid.trim_by_plane(tuple(-n), -(offset - kerf / 2.0))
    return above, below


def sawdust(solid: manifold3d.Manifold, normal: tuple[float, float, float], offset: float, kerf: float) -> float:
    """Volume that the kerf takes, measured for itself: not as what its two sides leave over. [mm³]

    Height over a plane, 0 under it, along the normal has divergence 1 over the plane and 0 under it: its flux through the solid's
    skin is the volume over the plane. The kerf lies over one plane and under another.
    """
    n, mesh = np.asarray(normal, float), solid.to_mesh64()
    points, faces = np.asarray(mesh.vert_properties, float)[:, :3], np.asarray(mesh.tri_verts, np.intp)
    high = (points @ n - offset)[faces]
    reached = high.max(axis=1) > -kerf / 2.0
    corners, high = points[faces[reached]], high[reached]
    facing = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]) @ n / 2.0
    return float(facing @ (_mean_over(high + kerf / 2.0) - _mean_over(high - kerf / 2.0)))


def _mean_over(high: NDArray[np.float64]) -> NDArray[np.float64]:
    """Mean over each triangle of its height over a plane, 0 under it; from the heights (n, 3) of its corners."""
    over: NDArray[np.float64] = np.maximum(high, 0.0).sum(axis=1) / 3.0
    mixed = np.nonzero((high.max(axis=1) > 0.0) & (high.min(axis=1) < 0.0))[0]
    for sign in (1.0, -1.0):  # the one corner that lies on its own side of the plane, over it or under it
        alone = mixed[(sign * high[mixed] > 0.0).sum(axis=1) == 1]
        h = np.sort(sign * high[alone], axis=1)
        part = h[:, 2] ** 3 / ((h[:, 2] - h[:, 1]) * (h[:, 2] - h[:, 0])) / 3.0
        over[alone] = part if sign > 0.0 else high[alone].sum(axis=1) / 3.0 + part
    return over


def vertices(solid: manifold3d.Manifold) -> NDArray[np.float64]:
    """Corner points (n, 3) of a solid, log frame. [mm]"""
    return np.asarray(solid.to_mesh().vert_properties, float)[:, :3]


def largest_share(solid: manifold3d.Manifold) -> float:
    """Share of a solid's volume in its largest lump; 1 where it holds nothing."""
    whole = solid.volume()
    return max(one.volume() for one in solid.decompose()) / whole if whole > 0.0 else 1.0
