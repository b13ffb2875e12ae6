"""Compiled kernels that read a wood field's tables at points, on planes and over plates.

`skin` (k, 361, 4) holds R, ∂R/∂θ, ∂R/∂x and the surface's doubt, side by side so that one point reads few cache lines;
`core` (k, 5) holds the pith, its slope and its doubt. Stations run from `x0` in steps of `dx`.

The polynomials are those of Abramowitz and Stegun, Handbook of Mathematical Functions (1964), 4.4.46 and 4.4.49, good to
2·10⁻⁸ rad; the coefficients were written down from memory and are held against numpy's functions by a test.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit, prange
from numpy.typing import NDArray

Array = NDArray[np.float64]
Readings = NDArray[np.float32]

CLOCKS = 360
PITH_EPSILON = 1.0
"""The ring normal has no limit at the pith; this near to it (mm) the direction is taken as if that far away."""


class FieldTables(NamedTuple):
    """A wood field's tables as the kernels take them (see the top of this module)."""

    x0: float
    dx: float
    skin: Array
    core: Array
    spiral: float


class PlaneGrid(NamedTuple):
    """Points origin + i·steps[0]·first + j·steps[1]·second + heights[k]·normal, i below counts[0] and j below counts[1].

    `along` is the unit direction in the planes that plates have their length in.
    """

    origin: Array
    first: Array
    second: Array
    normal: Array
    heights: Array
    counts: tuple[int, int]
    steps: tuple[float, float]
    along: Array


class StackReadings(NamedTuple):
    """What is read at each point of a grid of planes, (k, i, j) each; see `pithline.wood.field.Seen`."""

    angle: Readings
    runout: Readings
    depth: Readings
    from_pith: Readings
    turn: Readings
    sink: Readings
    slope: Readings


@njit(cache=True, fastmath=True, inline="always")
def arccos(x: float) -> float:
    """Angle in [0, π/2] of a cosine in [0, 1]."""
    if x >= 1.0:
        return 0.0
    p = -0.0012624911
    p = p * x + 0.0066700901
    p = p * x - 0.0170881256
    p = p * x + 0.0308918810
    p = p * x - 0.0501743046
    p = p * x + 0.0889789874
    p = p * x - 0.2145988016
    p = p * x + 1.5707963050
    return float(np.sqrt(1.0 - x)) * p


@njit(cache=True, fastmath=True, inline="always")
def quarter_angle(a: float, b: float) -> float:
    """Angle in [0, π/2] whose tangent is a / b, both at least 0; 0 where both are."""
    low, high = (a, b) if a < b else (b, a)
    t = low / high if high > 0.0 else 0.0
    q = t * t
    p = 0.0028662257
    p = p * q - 0.0161657367
    p = p * q + 0.0429096138
    p = p * q - 0.0752896400
    p = p * q + 0.1065626393
    p = p * q - 0.1420889944
    p = p * q + 0.1999355085
    p = p * q - 0.3333314528
    angle = t * (1.0 + p * q)  # from the nearer of the two axes
    return 0.5 * np.pi - angle if a > b else angle


@njit(cache=True, fastmath=True, inline="always")
def clock_angle(y: float, z: float) -> float:
    """Clock angle in [0, 2π] of the direction (y, z): 0 towards +z, a quarter turn towards −y."""
    angle = quarter_angle(abs(y), abs(z))
    if z < 0.0:
        angle = np.pi - angle
    return 2.0 * np.pi - angle if y > 0.0 else angle


Three = tuple[float, float, float]


@njit(cache=True, fastmath=True, inline="always", error_model="numpy")
def _ring_and_fibre(
    place: Three, surface: Three, pith_slope: tuple[float, float], spiral: Three
) -> tuple[float, float, float, float, float, float]:
    """Ring normal and fibre, unit vectors, from the place (ey, ez, s) seen from the pith, the surface's R with its slopes R_θ and R_x
    there, the pith's slopes (py', pz'), and the spiral angle with its cosine and sine.
    """
    ey, ez, s = place
    r, rc, rx = surface
    py1, pz1 = pith_slope
    angle, cs, sn = spiral
    far = s if s > PITH_EPSILON else PITH_EPSILON
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
    if angle != 0.0:
        # a turn about the ring normal keeps the fibre within its layer; positive: clockwise towards the top
        cx, cy, cz = my * fz - mz * fy, mz * fx - mx * fz, mx * fy - my * fx
        sign = 1.0 if cy * ty + cz * tz > 0.0 else -1.0
        fx, fy, fz = fx * cs + sign * sn * cx, fy * cs + sign * sn * cy, fz * cs + sign * sn * cz
    return mx, my, mz, fx, fy, fz


@njit(cache=True, fastmath=True, inline="always")
def read_point(  # noqa: PLR0913 - a compiled kernel
    px: float, py: float, pz: float, nx: float, ny: float, nz: float, beyond: float,
    x0: float, dx: float, skin: Array, core: Array, spiral: float,
) -> tuple[float, float, float, float, float, float, float, float, float]:  # fmt: skip
    """What the wood is at one point (px, py, pz) [mm] for faces with unit normal (nx, ny, nz).

    Parameters
    ----------
    beyond : float
        Further than this outside the wood nothing is asked of the rings: flat, and running out. [mm]
    x0, dx, skin, core, spiral
        The field's tables (`FieldTables`).

    Returns
    -------
    (s, R, |n·m|, |n·f|, surface doubt, pith doubt, fx, fy, fz) : nine floats
        Distances from the pith, of the point and of the surface beyond it [mm]; m and f are ring normal and fibre; doubts are one
        standard error [mm]; the fibre's direction last, along the log where nothing is asked of it.
    """
    k = skin.shape[0]
    t = (px - x0) / dx
    if t < 0.0:
        t = 0.0
    if t > k - 1.000001:
        t = k - 1.000001
    i = int(t)
    a = t - i
    b = 1.0 - a
    ry = py - (core[i, 0] * b + core[i + 1, 0] * a)
    rz = pz - (core[i, 1] * b + core[i + 1, 1] * a)
    s = np.sqrt(ry * ry + rz * rz)
    if s < 1e-9:
        ey, ez = 0.0, 1.0
    else:
        ey, ez = ry / s, rz / s
    c = clock_angle(ey, ez) * (CLOCKS / (2.0 * np.pi))
    j = int(c)
    if j > CLOCKS - 1:
        j = CLOCKS - 1
    g = c - j
    h = 1.0 - g
    w00, w01, w10, w11 = b * h, b * g, a * h, a * g
    r = w00 * skin[i, j, 0] + w01 * skin[i, j + 1, 0] + w10 * skin[i + 1, j, 0] + w11 * skin[i + 1, j + 1, 0]
    dd = w00 * skin[i, j, 3] + w01 * skin[i, j + 1, 3] + w10 * skin[i + 1, j, 3] + w11 * skin[i + 1, j + 1, 3]
    pd = core[i, 4] * b + core[i + 1, 4] * a
    if s > r + beyond:
        return s, r, 1.0, 1.0, dd, pd, 1.0, 0.0, 0.0
    rc = w00 * skin[i, j, 1] + w01 * skin[i, j + 1, 1] + w10 * skin[i + 1, j, 1] + w11 * skin[i + 1, j + 1, 1]
    rx = w00 * skin[i, j, 2] + w01 * skin[i, j + 1, 2] + w10 * skin[i + 1, j, 2] + w11 * skin[i + 1, j + 1, 2]
    py1 = core[i, 2] * b + core[i + 1, 2] * a
    pz1 = core[i, 3] * b + core[i + 1, 3] * a
    turn = (spiral, np.cos(spiral), np.sin(spiral)) if spiral != 0.0 else (0.0, 1.0, 0.0)
    mx, my, mz, fx, fy, fz = _ring_and_fibre((ey, ez, s), (r, rc, rx), (py1, pz1), turn)
    nm = abs(nx * mx + ny * my + nz * mz)
    nf = abs(nx * fx + ny * fy + nz * fz)
    return s, r, nm, nf, dd, pd, fx, fy, fz


RUN = 64
"""Points of a row that are read together. One buffer holds what is known of them, a stretch of so many places each: so compilers see
that the stretches lie apart, and work on several points at once."""
STRETCHES = 14


@njit(cache=True, fastmath=True, error_model="numpy")
def _read_run(  # noqa: PLR0913 - a compiled kernel
    known: Array, count: int, ox: float, oy: float, oz: float, j0: int, step: float, second: Array, normal: Array,
    along: Array, across: Array, x0: float, dx: float, skin: Array, core: Array, spiral: float,
) -> None:  # fmt: skip
    """Read `count` points of a row as `read_point` does, written to `known` (STRETCHES · RUN,).

    They lie at (ox, oy, oz) + (j0 … j0 + count − 1) · step · second. [mm] Stretches 0 to 4 then hold ring angle, runout, depth, distance
    from the pith and doubt of the ring angle; 11 the surface's doubt; 12 and 13 how far the fibre leans across and along.
    """
    nx, ny, nz = normal[0], normal[1], normal[2]
    last = skin.shape[0] - 1.000001
    # tables are looked up in loops of their own: a look-up at any place keeps a loop from working on several points at once
    for j in range(count):
        b = (j0 + j) * step
        t = min(max((ox + b * second[0] - x0) / dx, 0.0), last)
        i = int(t)
        a = t - i
        b1 = 1.0 - a
        known[j] = t
        known[RUN + j] = oy + b * second[1] - (core[i, 0] * b1 + core[i + 1, 0] * a)
        known[2 * RUN + j] = oz + b * second[2] - (core[i, 1] * b1 + core[i + 1, 1] * a)
        known[3 * RUN + j] = core[i, 2] * b1 + core[i + 1, 2] * a
        known[4 * RUN + j] = core[i, 3] * b1 + core[i + 1, 3] * a
        known[5 * RUN + j] = core[i, 4] * b1 + core[i + 1, 4] * a
    for j in range(count):
        ry, rz = known[RUN + j], known[2 * RUN + j]
        s = np.sqrt(ry * ry + rz * rz)
        ey = 0.0 if s < 1e-9 else ry / s
        ez = 1.0 if s < 1e-9 else rz / s
        known[RUN + j], known[2 * RUN + j], known[6 * RUN + j] = ey, ez, s
        known[7 * RUN + j] = clock_angle(ey, ez) * (CLOCKS / (2.0 * np.pi))
    for j in range(count):
        t, clock = known[j], known[7 * RUN + j]
        i, m = int(t), min(int(clock), CLOCKS - 1)
        a, g = t - i, clock - m
        b1, h = 1.0 - a, 1.0 - g
        w00, w01, w10, w11 = b1 * h, b1 * g, a * h, a * g
        for q in range(4):
            low, high = (
                w00 * skin[i, m, q] + w01 * skin[i, m + 1, q],
                w10 * skin[i + 1, m, q] + w11 * skin[i + 1, m + 1, q],
            )
            known[(8 + q) * RUN + j] = low + high
    turn = (spiral, np.cos(spiral), np.sin(spiral))
    for j in range(count):
        ey, ez, s = known[RUN + j], known[2 * RUN + j], known[6 * RUN + j]
        r, rc, rx = known[8 * RUN + j], known[9 * RUN + j], known[10 * RUN + j]
        py1, pz1 = known[3 * RUN + j], known[4 * RUN + j]
        mx, my, mz, fx, fy, fz = _ring_and_fibre((ey, ez, s), (r, rc, rx), (py1, pz1), turn)
        outside = s > r + RINGS_BEYOND
        nm = 1.0 if outside else abs(nx * mx + ny * my + nz * mz)
        nf = 1.0 if outside else abs(nx * fx + ny * fy + nz * fz)
        fx = 1.0 if outside else fx
        fy = 0.0 if outside else fy
        fz = 0.0 if outside else fz
        known[j] = arccos(min(nm, 1.0))
        known[RUN + j] = 0.5 * np.pi - arccos(min(nf, 1.0))
        known[2 * RUN + j] = r - s
        known[3 * RUN + j] = s
        known[4 * RUN + j] = known[5 * RUN + j] / max(s, 5.0)
        known[12 * RUN + j] = abs(fx * across[0] + fy * across[1] + fz * across[2])
        known[13 * RUN + j] = abs(fx * along[0] + fy * along[1] + fz * along[2])


RINGS_BEYOND = 10.0
"""Further than this outside the wood nothing is asked of the rings on planes. [mm]"""


@njit(cache=True, fastmath=True, parallel=True)
def stack(grid: PlaneGrid, out: StackReadings, tables: FieldTables) -> None:
    """What `StackReadings` name on planes, written to `out`."""
    origin, first, second, normal, heights = grid.origin, grid.first, grid.second, grid.normal, grid.heights
    n1, n2 = grid.counts
    step1, step2 = grid.steps
    x0, dx, skin, core, spiral = tables.x0, tables.dx, tables.skin, tables.core, tables.spiral
    out_angle, out_runout, out_depth = out.angle, out.runout, out.depth
    out_pith, out_turn, out_sink, out_slope = out.from_pith, out.turn, out.sink, out.slope
    along = grid.along
    across = np.empty(3)  # normal × along; `np.cross` takes a second more to compile
    for i in range(3):
        j, k = (i + 1) % 3, (i + 2) % 3
        across[i] = normal[j] * along[k] - normal[k] * along[j]
    for k in prange(len(heights)):
        known = np.empty(STRETCHES * RUN)
        for i in range(n1):
            a, c = i * step1, heights[k]
            ox = origin[0] + a * first[0] + c * normal[0]
            oy = origin[1] + a * first[1] + c * normal[1]
            oz = origin[2] + a * first[2] + c * normal[2]
            for j0 in range(0, n2, RUN):
                count = min(RUN, n2 - j0)
                _read_run(
                    known, count, ox, oy, oz, j0, step2, second, normal, along, across, x0, dx, skin, core, spiral
                )
                for j in range(count):
                    out_angle[k, i, j0 + j] = known[j]
                for j in range(count):
                    out_runout[k, i, j0 + j] = known[RUN + j]
                for j in range(count):
                    out_depth[k, i, j0 + j] = known[2 * RUN + j]
                for j in range(count):
                    out_pith[k, i, j0 + j] = known[3 * RUN + j]
                for j in range(count):
                    out_turn[k, i, j0 + j] = known[4 * RUN + j]
                for j in range(count):
                    out_sink[k, i, j0 + j] = known[11 * RUN + j]
                for j in range(count):
                    out_slope[k, i, j0 + j] = quarter_angle(known[12 * RUN + j], known[13 * RUN + j])


@njit(cache=True, fastmath=True)
def at(points: Array, normal: Array, out: Array, tables: FieldTables) -> None:
    """Ring angle, runout, depth and distance from the pith at points (n, 3), doubts left out, written to `out` (n, 4)."""
    x0, dx, skin, core, spiral = tables.x0, tables.dx, tables.skin, tables.core, tables.spiral
    for k in range(points.shape[0]):
        s, r, nm, nf, _dd, _pd, _fx, _fy, _fz = read_point(
            points[k, 0], points[k, 1], points[k, 2], normal[0], normal[1], normal[2], 1e9, x0, dx, skin, core, spiral
        )
        out[k, 0] = np.arccos(min(nm, 1.0))
        out[k, 1] = np.arcsin(min(nf, 1.0))
        out[k, 2] = r - s
        out[k, 3] = s


@njit(cache=True, fastmath=True)
def box_figures(
    corner: Array, edges: tuple[Array, Array, Array], counts: tuple[int, int, int], sap: float, tables: FieldTables
) -> Array:
    """What grading asks of a plate's box, on a grid of n × m points (edges included), doubts left out.

    Parameters
    ----------
    corner : (3,) array
        A corner of the box. [mm]
    edges : tuple of (3,) arrays
        Its length, width and thickness as sawn. [mm]
    counts : tuple of int
        Points along and across, n and m, and planes from face to face, two at least each.
    sap : float
        Depth under the bark that counts as sapwood. [mm]
    tables : FieldTables
        Those of the wood field.

    Returns
    -------
    out : (10,) array
        Least and mean ring angle and greatest runout on the mid-plane [rad]; least depth under the bark and least
        distance from the pith on `planes` planes from face to face [mm]; then of the points of the two faces nearer than
        `sap` to the bark: their count, and the least and greatest place across (0 … 1); greatest slope in the face and
        greatest ring angle on the mid-plane. [rad]
    """
    length, width, thickness = edges
    n, m, planes = counts
    x0, dx, skin, core, spiral = tables
    out = np.zeros(10)
    out[0], out[3], out[4], out[6], out[7] = 10.0, 1e9, 1e9, 2.0, -1.0
    thick = np.sqrt(thickness[0] ** 2 + thickness[1] ** 2 + thickness[2] ** 2)
    nx, ny, nz = thickness[0] / thick, thickness[1] / thick, thickness[2] / thick
    along, across = length / np.sqrt((length**2).sum()), width / np.sqrt((width**2).sum())
    for k in range(planes + 1):
        middle = k == planes
        t = 0.5 if middle else k / (planes - 1)
        for i in range(n):
            a = i / (n - 1)
            for j in range(m):
                b = j / (m - 1)
                px = corner[0] + a * length[0] + b * width[0] + t * thickness[0]
                py = corner[1] + a * length[1] + b * width[1] + t * thickness[1]
                pz = corner[2] + a * length[2] + b * width[2] + t * thickness[2]
                s, r, nm, nf, _dd, _pd, fx, fy, fz = read_point(
                    px, py, pz, nx, ny, nz, 1e9 if middle else -1e9, x0, dx, skin, core, spiral
                )
                if middle:
                    angle = np.arccos(min(nm, 1.0))
                    out[0] = min(out[0], angle)
                    out[1] += angle
                    out[9] = max(out[9], angle)
                    out[2] = max(out[2], np.arcsin(min(nf, 1.0)))
                    sideways = abs(fx * across[0] + fy * across[1] + fz * across[2])
                    out[8] = max(out[8], np.arctan2(sideways, abs(fx * along[0] + fy * along[1] + fz * along[2])))
                    continue
                out[3] = min(out[3], r - s)
                out[4] = min(out[4], s)
                if (k == 0 or k == planes - 1) and r - s < sap:
                    out[5] += 1.0
                    out[6] = min(out[6], b)
                    out[7] = max(out[7], b)
    out[1] /= n * m
    return out
