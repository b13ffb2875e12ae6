"""Where plates pass on the grid of one log: on planes square to each roll's normal, at every depth and place.

A part passes at a place if its rectangle there holds no bad cell and its mean ring angle is enough.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numba import njit, prange
from numpy.typing import NDArray

from pithline.mill.products import Limits
from pithline.plan.problem.context import SearchContext
from pithline.plan.problem.kinds import PlateKinds
from pithline.plan.problem.log_frame import SURFACE_RESERVE, PlanLog, normal_at, unusable_on_planes
from pithline.plan.problem.parts import SawnPart, sapwood_kept_out
from pithline.plan.programmes.grid import GRID_ANGLE_RESERVE, Grid, cells_of
from pithline.wood.field import Planes, plane_stack

Array = NDArray[np.float64]
Readings = NDArray[np.float32]
Bits = NDArray[np.uint8]
GRID_RUNOUT_RESERVE = np.radians(0.15)
GRID_SLOPE_RESERVE = np.radians(0.2)
PITH_ROOM = 1.0
"""Kept clear round the pith circle on the grid, beyond it. [mm]"""
SEARCH_RESERVE_SHARE = 0.6
"""Share of a log's reserve that a search keeps. Carrying out then weighs each plate by what it keeps (`slab_marks`)."""


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


class PlateSizes(NamedTuple):
    """Of each part (P,): its limit list, cells along and across, depth cells that half of it takes, least mean ring angle. [rad]"""

    limits: NDArray[np.int64]
    along: NDArray[np.int64]
    across: NDArray[np.int64]
    half: NDArray[np.int64]
    mean: Array


def roll_images(log: PlanLog, lists: list[Limits], grid: Grid, clock: float) -> RollImages:
    """Look at the wood on all depth planes of one roll, whose normal has the clock angle. [rad]"""
    normal = normal_at(log.axis, clock)
    lateral = np.cross(log.axis, normal)
    across = grid.across
    nx = int(np.floor(log.reach / grid.along_step)) + 1
    origin = log.origin + across[0] * lateral
    counts, steps = (len(across), nx), (grid.across_step, grid.along_step)
    planes = Planes(origin, lateral, log.axis, normal, grid.depths, counts, steps, along_first=False)
    wood = plane_stack(log.conservative, planes).keeping(SEARCH_RESERVE_SHARE)
    unusable = unusable_on_planes(log, planes) | (wood.from_pith < log.pith_radius + PITH_ROOM)
    slope = SEARCH_RESERVE_SHARE * log.slope_doubt
    asked = np.array([_asked(limits, sapwood_kept_out(limits, log.sapwood), slope) for limits in lists])
    shape = (len(grid.depths), len(across) + 1, nx + 1)
    bad, gone = np.zeros((2, len(lists), *shape), np.int32)
    angle = np.zeros(shape, np.float32)
    _sum_up((wood.angle, wood.runout, wood.slope, wood.depth), unusable, asked, bad, gone, angle)
    return RollImages(bad, gone, angle)


def _asked(limits: Limits, kept_out: float, slope_doubt: float) -> tuple[float, float, float, float, float]:
    """What a limit list asks of a cell: least and greatest ring angle, most runout and slope, least depth under the bark.

    `slope_doubt` is kept from runout and slope [rad], `kept_out` is how deep plates begin. [mm]
    """
    return (
        limits.ring_angle_min + GRID_ANGLE_RESERVE,
        np.inf if limits.ring_angle_max is None else limits.ring_angle_max - GRID_ANGLE_RESERVE,
        limits.runout_max - GRID_RUNOUT_RESERVE - slope_doubt,
        np.inf if limits.slope_max is None else limits.slope_max - GRID_SLOPE_RESERVE - slope_doubt,
        kept_out + SURFACE_RESERVE,
    )


@njit(cache=True, parallel=True)
def _sum_up(
    wood: tuple[Readings, Readings, Readings, Readings], unusable: NDArray[np.bool_], asked: Array,
    bad: NDArray[np.int32], gone: NDArray[np.int32], angle: Readings,
) -> None:  # fmt: skip
    """Fill the images of one roll from its ring angle, runout, slope and depth (depths, across, along); `asked` (lists, 5)."""
    angles, runouts, slopes, depths = wood
    nd, nu, nx = angles.shape
    for d in prange(nd):
        down = np.zeros(nx, np.float32)
        misses, lacks = np.zeros((2, len(asked), nx), np.int32)
        for u in range(nu):
            total = np.float32(0.0)
            for x in range(nx):
                down[x] += angles[d, u, x]
                total += down[x]
                angle[d, u + 1, x + 1] = total
            for m in range(len(asked)):
                least, most, runout, slope, depth = asked[m, 0], asked[m, 1], asked[m, 2], asked[m, 3], asked[m, 4]
                for x in range(nx):
                    a = angles[d, u, x]
                    misses[m, x] += a < least or a > most or runouts[d, u, x] > runout or slopes[d, u, x] > slope
                    lacks[m, x] += unusable[d, u, x] or depths[d, u, x] < depth
                so_far, without = 0, 0
                for x in range(nx):
                    so_far += misses[m, x]
                    without += lacks[m, x]
                    bad[m, d, u + 1, x + 1], gone[m, d, u + 1, x + 1] = so_far, without


@njit(cache=True, fastmath=True, parallel=True)
def passing_places(images: RollImages, sizes: PlateSizes) -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
    """Where plates pass: (P, depths, across, along) 1 from which corner on, their mid-planes at that depth; and of these
    (P, depths, across) 1 where any place along does.
    """
    bad, wood, angle = images
    parts = len(sizes.limits)
    nd, nu, nx = angle.shape[0], angle.shape[1] - 1, angle.shape[2] - 1
    out = np.zeros((parts, nd, nu, nx), np.uint8)
    some = np.zeros((parts, nd, nu), np.uint8)
    for d in prange(nd):
        for p in range(parts):
            l, w, h = sizes.along[p] + 1, sizes.across[p] + 1, sizes.half[p]
            if d - h < 0 or d + h >= nd:
                continue
            m = sizes.limits[p]
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
                    if total >= sizes.mean[p] * l * w:
                        out[p, d, u, x] = 1
                        some[p, d, u] = 1
    return out, some


@dataclass(frozen=True, slots=True)
class PassingPlaces:
    """Where plates of all parts, or of all their kinds, pass in one log, on every plane of every roll.

    Attributes
    ----------
    packed : tuple of (P, depths, across, along / 8) arrays
        One a roll, bits.
    some : tuple of (P, depths, across) arrays
        One a roll, 1 where any place along passes.
    """

    grid: Grid
    along: int
    packed: tuple[Bits, ...]
    some: tuple[Bits, ...]

    def of(self, roll: int) -> tuple[Bits, Bits]:
        """What `passing_places` says of one roll."""
        return self.layers(roll, 0, len(self.grid.depths)), self.some[roll]

    def layers(self, roll: int, first: int, stop: int) -> Bits:
        """Where plates pass on the planes of one roll from depth index `first` on, up to `stop`: (P, stop − first, across, along)."""
        return np.unpackbits(self.packed[roll][:, first:stop], axis=-1, count=self.along)


def find_passing_places(
    log: PlanLog, context: SearchContext, grid: Grid, report: Callable[[float], None]
) -> PassingPlaces:
    """Look at the wood of one log on all planes of all rolls, for all parts that are asked for; `report` hears the share done."""
    parts = context.parts
    lists = list(dict.fromkeys(part.limits for part in parts))
    sizes = _sizes(parts, lists, grid, context.machines.crosscut.kerf)
    packed, found, along = [], [], 0
    for k in range(grid.rolls):
        report(k / grid.rolls)
        passing, some = passing_places(roll_images(log, lists, grid, grid.roll(k)), sizes)
        along = passing.shape[-1]
        packed.append(np.packbits(passing, axis=-1))
        found.append(some)
    return PassingPlaces(grid, along, tuple(packed), tuple(found))


def places_of_kinds(places: PassingPlaces, kinds: PlateKinds, log: PlanLog) -> PassingPlaces:
    """Where plates of each kind pass, by where those of each part do: its part passes there, and lies where it is of that kind.

    Every place of a part is one kind's. A plate's stations are those of the chord below it.
    """
    if not kinds.apart:
        return places
    along = np.arange(places.along) * places.grid.along_step
    own = np.zeros((len(kinds.part), places.along), bool)
    for kind, p in enumerate(kinds.part):
        low = log.origin[0] + along * log.axis[0]
        own[kind] = kinds.at(p, low, low + kinds.parts[p].length * log.axis[0]) == kind
    masks = np.packbits(own, axis=-1)[:, None, None, :]
    index, whole = np.array(kinds.part), own.all(axis=-1)
    packed, some = [], []
    for bits, any_along in zip(places.packed, places.some, strict=True):
        packed.append(bits[index] & masks)
        some.append(any_along[index])
        for kind in np.flatnonzero(~whole).tolist():
            some[-1][kind] = packed[-1][kind].any(axis=-1)
    return replace(places, packed=tuple(packed), some=tuple(some))


def _sizes(parts: tuple[SawnPart, ...], lists: list[Limits], grid: Grid, crosscut_kerf: float) -> PlateSizes:
    along, across = cells_of(parts, grid, crosscut_kerf)
    return PlateSizes(
        np.array([lists.index(part.limits) for part in parts]),
        along,
        across,
        np.array([int(np.ceil(part.thickness / 2 / grid.depth_step - 0.25)) for part in parts]),
        np.array([part.limits.ring_angle_mean + GRID_ANGLE_RESERVE for part in parts]),
    )
