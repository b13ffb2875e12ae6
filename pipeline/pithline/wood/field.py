"""The wood field of a fitted log: growth layers, ring normals, fibre directions (design section 4).

Everything is tabulated once, R(x, θ) about the pith and its slopes on a fine grid, and read bilinearly; points are in
the log frame, mm.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit, prange
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from pithline.logmodel.model import LogModel, clock_angles, clock_direction, clock_of

Array = NDArray[np.float64]

CLOCKS = 360
STEP_X = 12.5
PITH_EPSILON = 1.0
"""The ring normal has no limit at the pith; this near to it (mm) the direction is taken as if that far away."""


@dataclass(frozen=True, slots=True)
class WoodField:
    """Tables of one log's wood: k stations from `x0` in steps of `dx`, 360 clock angles (one each degree, wrapped once).

    `margin` is the doubt of the under-bark surface (one standard error, mm) and `pith_doubt` that of the pith (mm), both
    on the same stations.
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


def _about_pith(model: LogModel, radii: Array, x: Array) -> tuple[Array, Array]:
    """Distances from the pith to a surface given about the centre, and the pith, at stations `x`."""
    fine = np.arange(720) * (2.0 * np.pi / 720)
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
    around = CubicSpline(np.arange(CLOCKS + 1) * (2.0 * np.pi / CLOCKS), closed, axis=1, bc_type="periodic")
    slope_clock = around(np.arange(CLOCKS + 1) * (2.0 * np.pi / CLOCKS), 1)
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
        slope_clock=np.ascontiguousarray(slope_clock),
        slope_x=np.ascontiguousarray(np.concatenate([slope_x, slope_x[:, :1]], axis=1)),
        pith=pith,
        pith_slope=pith_spline(x, 1),
        doubt=doubt,
        pith_doubt=np.interp(x, model.x, model.stderr_pith),
        spiral=model.spiral,
    )


@njit(cache=True, fastmath=True)
def _point(px, py, pz, nx, ny, nz, x0, dx, radius, slope_clock, slope_x, pith, pith_slope, doubt, pith_doubt, spiral):
    """(s, R, |n·m|, |n·f|, surface doubt, pith doubt) at one point for faces with unit normal (nx, ny, nz)."""
    k = radius.shape[0]
    t = (px - x0) / dx
    if t < 0.0:
        t = 0.0
    if t > k - 1.000001:
        t = k - 1.000001
    i = int(t)
    a = t - i
    b = 1.0 - a
    ry = py - (pith[i, 0] * b + pith[i + 1, 0] * a)
    rz = pz - (pith[i, 1] * b + pith[i + 1, 1] * a)
    s = np.sqrt(ry * ry + rz * rz)
    far = s if s > PITH_EPSILON else PITH_EPSILON
    if s < 1e-9:
        ey, ez = 0.0, 1.0
    else:
        ey, ez = ry / s, rz / s
    clock = np.arctan2(-ey, ez)
    if clock < 0.0:
        clock += 2.0 * np.pi
    c = clock * (CLOCKS / (2.0 * np.pi))
    j = int(c)
    if j > CLOCKS - 1:
        j = CLOCKS - 1
    g = c - j
    h = 1.0 - g
    w00, w01, w10, w11 = b * h, b * g, a * h, a * g
    r = w00 * radius[i, j] + w01 * radius[i, j + 1] + w10 * radius[i + 1, j] + w11 * radius[i + 1, j + 1]
    rc = (
        w00 * slope_clock[i, j]
        + w01 * slope_clock[i, j + 1]
        + w10 * slope_clock[i + 1, j]
        + w11 * slope_clock[i + 1, j + 1]
    )
    rx = w00 * slope_x[i, j] + w01 * slope_x[i, j + 1] + w10 * slope_x[i + 1, j] + w11 * slope_x[i + 1, j + 1]
    dd = w00 * doubt[i, j] + w01 * doubt[i, j + 1] + w10 * doubt[i + 1, j] + w11 * doubt[i + 1, j + 1]
    py1 = pith_slope[i, 0] * b + pith_slope[i + 1, 0] * a
    pz1 = pith_slope[i, 1] * b + pith_slope[i + 1, 1] * a
    # e_θ = de/dθ = (−cos θ, −sin θ) = (−ez, ey)
    ty, tz = -ez, ey
    my = ey / r - rc / (r * r) * ty
    mz = ez / r - rc / (r * r) * tz
    mx = -(py1 * my + pz1 * mz) - far * rx / (r * r)
    norm = np.sqrt(mx * mx + my * my + mz * mz)
    mx, my, mz = mx / norm, my / norm, mz / norm
    fy = py1 + s * rx / r * ey
    fz = pz1 + s * rx / r * ez
    fn = np.sqrt(1.0 + fy * fy + fz * fz)
    fx, fy, fz = 1.0 / fn, fy / fn, fz / fn
    if spiral != 0.0:
        # a turn about the ring normal keeps the fibre within its layer; positive: clockwise towards the top
        cs, sn = np.cos(spiral), np.sin(spiral)
        cx, cy, cz = my * fz - mz * fy, mz * fx - mx * fz, mx * fy - my * fx
        sign = 1.0 if cy * ty + cz * tz > 0.0 else -1.0
        fx, fy, fz = fx * cs + sign * sn * cx, fy * cs + sign * sn * cy, fz * cs + sign * sn * cz
    nm = abs(nx * mx + ny * my + nz * mz)
    nf = abs(nx * fx + ny * fy + nz * fz)
    pd = pith_doubt[i] * b + pith_doubt[i + 1] * a
    return s, r, nm, nf, dd, pd


@njit(cache=True, fastmath=True, parallel=True)
def _stack(
    origin, first, second, normal, heights, n1, n2, step1, step2, out_angle, out_runout, out_depth, out_pith,
    x0, dx, radius, slope_clock, slope_x, pith, pith_slope, doubt, pith_doubt, spiral,
):  # fmt: skip
    for k in prange(len(heights)):
        for i in range(n1):
            for j in range(n2):
                a, b, c = i * step1, j * step2, heights[k]
                px = origin[0] + a * first[0] + b * second[0] + c * normal[0]
                py = origin[1] + a * first[1] + b * second[1] + c * normal[1]
                pz = origin[2] + a * first[2] + b * second[2] + c * normal[2]
                s, r, nm, nf, dd, pd = _point(
                    px, py, pz, normal[0], normal[1], normal[2], x0, dx, radius, slope_clock, slope_x, pith, pith_slope,
                    doubt, pith_doubt, spiral,
                )  # fmt: skip
                far = s if s > 5.0 else 5.0
                out_angle[k, i, j] = np.arccos(min(nm, 1.0)) - pd / far
                out_runout[k, i, j] = np.arcsin(min(nf, 1.0))
                out_depth[k, i, j] = r - s - dd
                out_pith[k, i, j] = s


def tables(field: WoodField) -> tuple:
    """The field's arrays in the order the compiled kernels take them."""
    return (
        field.x0,
        field.dx,
        field.radius,
        field.slope_clock,
        field.slope_x,
        field.pith,
        field.pith_slope,
        field.doubt,
        field.pith_doubt,
        field.spiral,
    )


def scaled(field: WoodField, surface: float, pith: float) -> tuple:
    """The kernels' arrays with the doubts multiplied: 0 grades the log as fitted, more keeps away from what is not known."""
    return (
        field.x0,
        field.dx,
        field.radius,
        field.slope_clock,
        field.slope_x,
        field.pith,
        field.pith_slope,
        field.doubt * surface,
        field.pith_doubt * pith,
        field.spiral,
    )


def plane_stack(
    arrays: tuple,
    origin: Array,
    first: Array,
    second: Array,
    normal: Array,
    heights: Array,
    counts: tuple[int, int],
    steps: tuple[float, float],
) -> tuple[NDArray[np.float32], ...]:
    """Fields on parallel planes: point (k, i, j) is origin + i·steps[0]·first + j·steps[1]·second + heights[k]·normal.

    Returns
    -------
    angle, runout, depth, from_pith : (k, i, j) arrays
        Ring angle [rad] less the pith's doubt, runout [rad], depth under the under-bark surface along the radius, less
        the surface's doubt [mm], distance from the pith [mm].
    """
    heights = np.asarray(heights, float)
    out = tuple(np.empty((len(heights), *counts), np.float32) for _ in range(4))
    vectors = [np.ascontiguousarray(v, dtype=float) for v in (origin, first, second, normal)]
    _stack(*vectors, heights, *counts, *steps, *out, *arrays)
    return out


@njit(cache=True, fastmath=True)
def _points(points, normal, out, x0, dx, radius, slope_clock, slope_x, pith, pith_slope, doubt, pith_doubt, spiral):
    for k in range(points.shape[0]):
        s, r, nm, nf, _dd, _pd = _point(
            points[k, 0],
            points[k, 1],
            points[k, 2],
            normal[0],
            normal[1],
            normal[2],
            x0,
            dx,
            radius,
            slope_clock,
            slope_x,
            pith,
            pith_slope,
            doubt,
            pith_doubt,
            spiral,
        )
        out[k, 0] = np.arccos(min(nm, 1.0))
        out[k, 1] = np.arcsin(min(nf, 1.0))
        out[k, 2] = r - s
        out[k, 3] = s


def at_points(field: WoodField, points: Array, normal: Array) -> tuple[Array, Array, Array, Array]:
    """Ring angle, runout, depth under the under-bark surface, distance from the pith at (n, 3) points, doubts left out."""
    flat = np.ascontiguousarray(points, dtype=float).reshape(-1, 3)
    out = np.empty((len(flat), 4))
    _points(flat, np.asarray(normal, float), out, *tables(field))
    shape = np.shape(points)[:-1]
    return tuple(out[:, i].reshape(shape) for i in range(4))
