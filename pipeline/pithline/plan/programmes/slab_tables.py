"""Tables of what every slab of one roll is worth: where its plates pass, strips, best strips across.

For one roll the log is looked at on planes square to the slab's normal: depth × along × across. A part passes at a place
if its rectangle there holds no bad cell and its mean ring angle is enough. Strips of a slab are chosen along by an exact
programme, strips across by another.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit, prange
from numpy.typing import NDArray

from pithline.geometry.integral_images import integral_images
from pithline.plan.problem.log_frame import SURFACE_RESERVE, PlanLog, normal_at, unusable_on_planes
from pithline.plan.problem.parts import SawnPart, sapwood_kept_out
from pithline.plan.programmes.grid import GRID_ANGLE_RESERVE, Grid, PartRows
from pithline.wood.field import Planes, plane_stack

Array = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.uint8]

GRID_RUNOUT_RESERVE = np.radians(0.15)
PITH_ROOM = 1.0
"""Kept clear round the pith circle on the grid, beyond it. [mm]"""
SEARCH_RESERVE_SHARE = 0.6
"""Share of a log's reserve that a search keeps. Carrying out then weighs each plate by what it keeps (`strips`)."""


class RollImages(NamedTuple):
    """Integral images of one roll, one layer a limit list.

    Attributes
    ----------
    bad, gone : (lists, depths, across + 1, along + 1) arrays
        Cells that miss a limit, and without wood to use.
    angle : (depths, across + 1, along + 1) array
        Ring angle. [rad]
    """

    bad: NDArray[np.int32]
    gone: NDArray[np.int32]
    angle: NDArray[np.float32]


class SlabKerfs(NamedTuple):
    """Depth step and resaw's kerf [mm], and the rip saw's kerf in cells across."""

    depth_step: float
    resaw: float
    rip_cells: int


def roll_images(
    log: PlanLog, parts: tuple[SawnPart, ...], grid: Grid, clock: float
) -> tuple[RollImages, NDArray[np.int64]]:
    """Look at the wood on all depth planes of one roll; also each part's limit-list number."""
    lists = list(dict.fromkeys(part.limits for part in parts))
    normal = normal_at(log.axis, clock)
    lateral = np.cross(log.axis, normal)
    depths, across = grid.depths, grid.across
    nx = int(np.floor(log.reach / grid.along_step)) + 1
    origin = log.origin + across[0] * lateral
    counts, steps = (len(across), nx), (grid.across_step, grid.along_step)
    planes = Planes(origin, lateral, log.axis, normal, depths, counts, steps)
    wood = plane_stack(log.conservative, planes).keeping(SEARCH_RESERVE_SHARE)
    gone = (wood.depth < SURFACE_RESERVE) | (wood.from_pith < log.pith_radius + PITH_ROOM)
    gone |= unusable_on_planes(log, planes)
    bad, none = [], []
    for limits in lists:
        bad.append(
            (wood.angle < limits.ring_angle_min + GRID_ANGLE_RESERVE)
            | (wood.runout > limits.runout_max - GRID_RUNOUT_RESERVE - SEARCH_RESERVE_SHARE * log.slope_doubt)
        )
        kept_out = sapwood_kept_out(limits, log.sapwood)
        none.append(gone | (wood.depth < kept_out + SURFACE_RESERVE) if kept_out > 0.0 else gone)
    number = np.array([lists.index(part.limits) for part in parts])
    return RollImages(
        np.stack([integral_images(b, np.int32) for b in bad]),
        np.stack([integral_images(w, np.int32) for w in none]),
        integral_images(wood.angle, np.float32),
    ), number


@njit(cache=True, fastmath=True, parallel=True)
def passing_places(images: RollImages, number: Ints, rows: PartRows) -> tuple[Flags, Flags]:
    """Where plates pass: (parts, depths, across, along) 1 from which corner on, their mid-planes at that depth; and of these
    (parts, depths, across) 1 where any place along does. `number` (p,) is each part's limit list, `rows` the parts' `PartRows`.
    """
    bad, wood, angle = images
    cells_along, cells_across, half_planes, mean = rows.cells_along, rows.cells_across, rows.half_planes, rows.mean
    parts = len(number)
    nd, nu, nx = angle.shape[0], angle.shape[1] - 1, angle.shape[2] - 1
    out = np.zeros((parts, nd, nu, nx), np.uint8)
    some = np.zeros((parts, nd, nu), np.uint8)
    for d in prange(nd):
        for p in range(parts):
            l, w, h = cells_along[p] + 1, cells_across[p] + 1, half_planes[p]
            if d - h < 0 or d + h >= nd:
                continue
            m = number[p]
            for u in range(nu - w + 1):
                for x in range(nx - l + 1):
                    if (bad[m, d, u + w, x + l] - bad[m, d, u, x + l] - bad[m, d, u + w, x] + bad[m, d, u, x]) != 0:
                        continue
                    clear = True
                    for k in (-h, h, -(h // 2), h // 2):
                        e = d + k
                        if (
                            wood[m, e, u + w, x + l] - wood[m, e, u, x + l] - wood[m, e, u + w, x] + wood[m, e, u, x]
                        ) != 0:
                            clear = False
                            break
                    if not clear:
                        continue
                    total = angle[d, u + w, x + l] - angle[d, u, x + l] - angle[d, u + w, x] + angle[d, u, x]
                    if total >= mean[p] * l * w:
                        out[p, d, u, x] = 1
                        some[p, d, u] = 1
    return out, some


@njit(cache=True, fastmath=True, parallel=True)
def slab_values(  # noqa: C901
    allowed: Flags, some: Flags, rows: PartRows, menu: Array, kerfs: SlabKerfs
) -> NDArray[np.float32]:
    """Best value of every slab: (2, depths, menu, across) from place u outwards (0) and up to place u (1).

    The slab's lower face lies at the depth index. Strips are as wide as one part; narrower parts may share a strip.
    `allowed` and `some` are those of `passing_places`, `rows` the parts' `PartRows`, `menu` thicknesses, rising [mm].
    """
    depth_step, resaw_kerf, rip_cells = kerfs
    thickness, cells_along, cells_across = rows.thickness, rows.cells_along, rows.cells_across
    worth, width_class = rows.worth, rows.width_class
    classes = width_class.max() + 1
    parts, nd, nu, nx = allowed.shape
    nt = len(menu)
    out = np.zeros((2, nd, nt, nu + 1), np.float32)
    for d in prange(nd):
        best = np.zeros(nx + 1, np.float32)
        strips = np.zeros((nt, classes, nu), np.float32)
        width = np.zeros(classes, np.int64)
        gain = np.zeros((parts, nx), np.float32)  # what a stack of plates begun at each place along counts
        active, of_class = np.zeros(parts, np.int64), np.zeros(parts, np.int64)
        for p in range(parts):
            width[width_class[p]] = cells_across[p]
        anything = np.zeros(nt, np.bool_)
        for u in range(nu):
            gain[:] = 0.0
            some_active = 0
            layers = np.zeros(parts, np.int64)
            holds = np.zeros(parts, np.bool_)
            # a thicker slab holds the layers of a thinner one and more
            for t in range(nt):
                if d + menu[t] / depth_step > nd - 1:
                    break
                narrowest = classes
                for p in range(parts):
                    n = int((menu[t] + resaw_kerf + 0.01) / (thickness[p] + resaw_kerf))
                    for j in range(layers[p], n):
                        mid = int(np.floor(d + (thickness[p] / 2 + j * (thickness[p] + resaw_kerf)) / depth_step + 0.5))
                        if mid >= nd or some[p, mid, u] == 0:
                            continue
                        narrowest = min(narrowest, width_class[p])
                        if not holds[p]:
                            holds[p] = True
                            active[some_active] = p
                            some_active += 1
                        for x in range(nx):
                            gain[p, x] += allowed[p, mid, u, x] * worth[p]
                    layers[p] = max(layers[p], n)
                if some_active == 0:
                    continue
                anything[t] = True
                for c in range(classes):
                    if c < narrowest:
                        strips[t, c, u] = strips[t - 1, c, u] if t > 0 else 0.0
                        continue
                    those = 0
                    shortest = nx + 1
                    for i in range(some_active):
                        p = active[i]
                        if width_class[p] <= c and cells_across[p] * 10 >= width[c] * 6:
                            of_class[those] = p
                            those += 1
                            shortest = min(shortest, cells_along[p])
                    best[:] = 0.0
                    # within the shortest part's length no place hangs on another
                    for x0 in range(shortest, nx + 1, shortest):
                        x1 = min(x0 + shortest, nx + 1)
                        for i in range(those):
                            p = of_class[i]
                            long = cells_along[p]
                            for x in range(max(x0, long), x1):
                                best[x] = max(best[x], best[x - long] + gain[p, x - long])
                        for x in range(x0, x1):
                            best[x] = max(best[x], best[x - 1])
                    strips[t, c, u] = best[nx]
        for t in range(nt):
            if not anything[t]:
                continue
            strip = strips[t]
            for u in range(nu - 1, -1, -1):
                value = out[0, d, t, u + 1]
                for c in range(classes):
                    after = min(u + width[c] + rip_cells, nu)
                    if u + width[c] <= nu and strip[c, u] > 0.0 and strip[c, u] + out[0, d, t, after] > value:
                        value = strip[c, u] + out[0, d, t, after]
                out[0, d, t, u] = value
            for u in range(1, nu + 1):
                value = out[1, d, t, u - 1]
                for c in range(classes):
                    start = u - width[c]
                    if start >= 0 and strip[c, start] > 0.0:
                        value = max(value, strip[c, start] + out[1, d, t, max(start - rip_cells, 0)])
                out[1, d, t, u] = value
    return out
