"""The wood field of a fitted log: growth layers, ring normals, fibre directions (docs/method.md).

Everything is tabulated once, R(x, θ) about the pith and its slopes on a fine grid, and read bilinearly; points are in
the log frame, mm.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from pithline.geometry.splines import closed_places, natural_slopes
from pithline.logmodel.model import LogModel, clock_angles, clock_direction, clock_of
from pithline.wood import kernels
from pithline.wood.kernels import CLOCKS, FieldTables

Array = NDArray[np.float64]

STEP_X = 12.5
"""Stations of a field lie this far apart at most. [mm]"""
ROUND = closed_places(np.arange(CLOCKS + 1) * (2.0 * np.pi / CLOCKS))
"""Periodic splines through radii at the clock angles of a field."""
OUTLINE_CLOCKS = 720
"""Points of a section's outline that its radii about the pith are read from."""


@dataclass(frozen=True, eq=False)
class WoodField:
    """Tables of one log's wood: k stations from `x0` in steps of `dx`, 360 clock angles (one each degree, wrapped once).

    `doubt` is that of the under-bark surface (one standard error, mm) and `pith_doubt` that of the pith (mm), both on the
    same stations. Fields are told apart by identity.
    """

    x0: float
    dx: float
    radius: Array  # (k, 361) R(x, θ) about the pith
    slope_clock: Array  # (k, 361) ∂R/∂θ
    slope_x: Array  # (k, 361) ∂R/∂x
    pith: Array  # (k, 2)
    pith_slope: Array  # (k, 2)
    doubt: Array  # (k, 361)
    pith_doubt: Array  # (k,)
    spiral: float

    @cached_property
    def exact_tables(self) -> FieldTables:
        """The tables that the kernels read the wood as fitted from, made once."""
        return tables(self)


def _about_pith(model: LogModel, radii: Array, x: Array) -> tuple[Array, Array]:
    """Distances from the pith to a surface given about the centre, and the pith, at stations `x`."""
    fine = np.arange(OUTLINE_CLOCKS, dtype=np.float64) * (2.0 * np.pi / OUTLINE_CLOCKS)
    angles = np.append(clock_angles(), 2.0 * np.pi)
    rows = CubicSpline(model.x, radii, axis=0, bc_type="natural")(x)
    outline = CubicSpline(angles, np.concatenate([rows, rows[:, :1]], axis=1), axis=1, bc_type="periodic")(fine)
    centre = CubicSpline(model.x, model.centre, axis=0, bc_type="natural")(x)
    pith = CubicSpline(model.x, model.pith, axis=0, bc_type="natural")(x)
    points = centre[:, None, :] + outline[:, :, None] * clock_direction(fine)[None] - pith[:, None, :]
    distance = np.hypot(points[..., 0], points[..., 1])
    clock = clock_of(points)
    want = np.arange(CLOCKS) * (2.0 * np.pi / CLOCKS)
    out = np.empty((len(x), CLOCKS))
    for i in range(len(x)):
        order = np.argsort(clock[i])
        c, d = clock[i][order], distance[i][order]
        c = np.concatenate([c[-3:] - 2 * np.pi, c, c[:3] + 2 * np.pi])
        d = np.concatenate([d[-3:], d, d[:3]])
        out[i] = CubicSpline(c, d)(want)
    return out, pith


def wood_field(model: LogModel) -> WoodField:
    """Tabulate a log model's wood field.

    Stations reach from the model's first to its last; R keeps ρ = s / R(x, θ) with s and θ about the pith.
    """
    first, last = float(model.x[0]), float(model.x[-1])
    count = max(4, int(np.ceil((last - first) / STEP_X)) + 1)
    x = np.linspace(first, last, count)
    radius, pith = _about_pith(model, model.radius_under_bark, x)
    spline = CubicSpline(x, radius, axis=0, bc_type="natural")
    closed = np.concatenate([radius, radius[:, :1]], axis=1)
    slope_x = spline(x, 1)
    pith_spline = CubicSpline(model.x, model.pith, axis=0, bc_type="natural")
    stderr = CubicSpline(model.x, model.stderr_radius, axis=0, bc_type="natural")(x)
    want = np.arange(CLOCKS + 1) * (360.0 / CLOCKS)
    held = np.arange(73) * 5.0
    doubt = np.stack([np.interp(want, held, np.append(row, row[0])) for row in np.maximum(stderr, 0.0)])
    return WoodField(
        x0=first,
        dx=float(x[1] - x[0]),
        radius=np.ascontiguousarray(closed),
        slope_clock=np.ascontiguousarray(ROUND.slopes(closed.T).T),
        slope_x=np.ascontiguousarray(np.concatenate([slope_x, slope_x[:, :1]], axis=1)),
        pith=pith,
        pith_slope=pith_spline(x, 1),
        doubt=doubt,
        pith_doubt=np.interp(x, model.x, model.stderr_pith),
        spiral=model.spiral,
    )


def disturbed(field: WoodField, surface: Array, shift: Array) -> WoodField:
    """A field with its surface moved outwards by `surface` (k, 361) and its pith by `shift` (k, 2), the wood else in place."""
    clock = np.arange(CLOCKS + 1, dtype=np.float64) * (2 * np.pi / CLOCKS)
    return reshaped(field, field.radius + surface - shift @ clock_direction(clock).T, field.pith + shift)


def reshaped(field: WoodField, radius: Array, pith: Array) -> WoodField:
    """A field with another surface (k, 361) about another pith (k, 2), its slopes made anew."""
    radius = np.ascontiguousarray(radius)
    radius[:, -1] = radius[:, 0]
    x = np.arange(len(pith)) * field.dx
    return replace(
        field,
        radius=radius,
        slope_clock=np.ascontiguousarray(ROUND.slopes(radius.T).T),
        slope_x=np.ascontiguousarray(natural_slopes(x, radius)),
        pith=pith,
        pith_slope=natural_slopes(x, pith),
    )


def cropped(field: WoodField, low: float, high: float) -> WoodField:
    """The field's stations from the last at or before `low` to the first at or after `high`. [mm]"""
    first = max(int(np.floor((low - field.x0) / field.dx)), 0)
    last = min(int(np.ceil((high - field.x0) / field.dx)), len(field.pith) - 1) + 1

    def cut(table: Array) -> Array:
        return np.ascontiguousarray(table[first:last])

    return replace(
        field,
        x0=field.x0 + first * field.dx,
        radius=cut(field.radius),
        slope_clock=cut(field.slope_clock),
        slope_x=cut(field.slope_x),
        pith=cut(field.pith),
        pith_slope=cut(field.pith_slope),
        doubt=cut(field.doubt),
        pith_doubt=cut(field.pith_doubt),
    )


def moved_pith(field: WoodField, by: Array) -> WoodField:
    """A field with its pith moved by (y, z) all along, the bark in place. [mm]"""
    return disturbed(field, np.zeros_like(field.radius), np.broadcast_to(by, field.pith.shape))


def tables(field: WoodField, surface: float = 1.0, pith: float = 1.0) -> FieldTables:
    """The field's arrays as the compiled kernels take them, the doubts multiplied.

    0 grades the log as fitted; more keeps away from what is not known.
    """
    skin = np.stack([field.radius, field.slope_clock, field.slope_x, field.doubt * surface], axis=-1)
    core = np.column_stack([field.pith, field.pith_slope, field.pith_doubt * pith])
    return FieldTables(field.x0, field.dx, np.ascontiguousarray(skin), np.ascontiguousarray(core), field.spiral)


@dataclass(frozen=True, slots=True)
class Planes:
    """A grid of points on parallel planes: point (k, i, j) is origin + i·steps[0]·first + j·steps[1]·second + heights[k]·normal.

    `first`, `second` and `normal` are unit vectors (3,), lengths mm; `along_first` tells which of the first two plates have their
    length in.
    """

    origin: Array
    first: Array
    second: Array
    normal: Array
    heights: Array
    counts: tuple[int, int]
    steps: tuple[float, float]
    along_first: bool = True

    @property
    def points(self) -> Array:
        """All points, (k, i, j, 3)."""
        i, j = (np.arange(n) * step for n, step in zip(self.counts, self.steps, strict=True))
        plane = self.origin + i[:, None, None] * self.first + j[None, :, None] * self.second
        points: Array = plane[None] + np.asarray(self.heights)[:, None, None, None] * self.normal
        return points

    def beyond(self, normal: Array, offset: float) -> NDArray[np.bool_]:
        """Which points have normal·X > offset, (k, i, j)."""
        i = np.arange(self.counts[0]) * (self.steps[0] * float(self.first @ normal))
        j = np.arange(self.counts[1]) * (self.steps[1] * float(self.second @ normal))
        k = np.asarray(self.heights) * float(self.normal @ normal) + float(self.origin @ normal) - offset
        past: NDArray[np.bool_] = (i[None, :, None] + j[None, None, :] + k[:, None, None]) > 0.0
        return past


@dataclass(frozen=True, slots=True)
class Seen:
    """Wood on parallel planes, (k, i, j) arrays: what it is, and how far off that may be for the doubts of pith and surface."""

    angle: NDArray[np.float32]  # ring angle [rad]
    runout: NDArray[np.float32]  # [rad]
    depth: NDArray[np.float32]  # under the under-bark surface, along the radius [mm]
    from_pith: NDArray[np.float32]  # [mm]
    turn: NDArray[np.float32]  # doubt of the ring angle [rad]
    sink: NDArray[np.float32]  # doubt of the depth [mm]
    slope: NDArray[np.float32]  # of the fibres within the planes, from the direction of plates' lengths [rad]

    def keeping(self, share: float) -> Seen:
        """The same wood with a share of the doubts in reserve."""
        part = np.float32(share)
        return replace(self, angle=self.angle - part * self.turn, depth=self.depth - part * self.sink)


def plane_stack(arrays: FieldTables, planes: Planes) -> Seen:
    """Read a field's arrays (`tables`) on parallel planes."""
    heights = np.asarray(planes.heights, float)
    out = kernels.StackReadings(*(np.empty((len(heights), *planes.counts), np.float32) for _ in range(7)))
    origin, first, second, normal = (
        np.ascontiguousarray(v, dtype=float) for v in (planes.origin, planes.first, planes.second, planes.normal)
    )
    steps = (float(planes.steps[0]), float(planes.steps[1]))
    along = first if planes.along_first else second
    kernels.stack(kernels.PlaneGrid(origin, first, second, normal, heights, planes.counts, steps, along), out, arrays)
    return Seen(*out)


def at_points(field: WoodField, points: Array, normal: Array) -> tuple[Array, Array, Array, Array]:
    """Ring angle, runout, depth under the under-bark surface, distance from the pith at (n, 3) points, doubts left out."""
    flat = np.ascontiguousarray(points, dtype=float).reshape(-1, 3)
    out = np.empty((len(flat), 4))
    kernels.at(flat, np.asarray(normal, float), out, field.exact_tables)
    shape = np.shape(points)[:-1]
    return out[:, 0].reshape(shape), out[:, 1].reshape(shape), out[:, 2].reshape(shape), out[:, 3].reshape(shape)
