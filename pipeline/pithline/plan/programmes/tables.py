"""Slab tables of all rolls of one log, its bolts' fans and halves; the wood is looked at once for all views of the parts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pithline.mill.machine import Machines
from pithline.plan.problem.effort import (
    Effort,
    bolts_on_mill,
    corner_step,
    half_angles,
    settings_per_bolt,
    thickness_max,
)
from pithline.plan.problem.layout import NO_LOCKS, Locks
from pithline.plan.problem.log_frame import PlanLog
from pithline.plan.problem.objective import ObjectiveWeights
from pithline.plan.problem.parts import SawnPart
from pithline.plan.problem.report import Progress
from pithline.plan.programmes.fan_bound import fan_bounds
from pithline.plan.programmes.grid import Grid, make_grid, part_table
from pithline.plan.programmes.slab_tables import passing_places, roll_planes, slab_values
from pithline.plan.programmes.stacks import half_table

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class PassingPlaces:
    """Where plates of all parts pass in one log, on every plane of every roll; found once for all views of the parts."""

    parts: tuple[SawnPart, ...]
    grid: Grid
    along: int
    packed: tuple[NDArray[np.uint8], ...]  # one a roll: (parts, depths, across, along / 8)
    some: tuple[NDArray[np.uint8], ...]  # one a roll: (parts, depths, across), 1 where any place along passes

    def of(self, roll: int, view: tuple[SawnPart, ...], grid: Grid) -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
        """What `passes` says of some of the parts, between the faces that a grid as deep or less deep has."""
        rows = [self.parts.index(part) for part in view]
        spare = (len(self.grid.depths) - len(grid.depths)) // 2
        deep = slice(spare, len(self.grid.depths) - spare)
        bits = np.ascontiguousarray(self.packed[roll][rows, deep])
        return np.unpackbits(bits, axis=-1, count=self.along), np.ascontiguousarray(self.some[roll][rows, deep])


def find_passing_places(
    log: PlanLog,
    parts: tuple[SawnPart, ...],
    machines: Machines,
    effort: Effort,
    progress: Progress,
    locks: Locks = NO_LOCKS,
) -> PassingPlaces:
    """Look at the wood of one log on all planes of all rolls."""
    grid = _grid(log, parts, machines, effort, locks)
    table = part_table(parts, grid, np.ones(len(parts)), machines.crosscut.kerf)
    packed, found, along = [], [], 0
    for k in range(effort.rolls):
        progress("wood", k / effort.rolls)
        planes, number = roll_planes(log, parts, grid, grid.roll(k))
        allowed, some = passing_places(
            planes.bad,
            planes.wood,
            planes.angle,
            number,
            table.cells_along,
            table.cells_across,
            table.half_planes,
            table.mean,
        )
        along = allowed.shape[-1]
        packed.append(np.packbits(allowed, axis=-1))
        found.append(some)
    return PassingPlaces(parts, grid, along, tuple(packed), tuple(found))


def _grid(log: PlanLog, parts: tuple[SawnPart, ...], machines: Machines, effort: Effort, locks: Locks) -> Grid:
    return make_grid(
        log,
        parts,
        thickness_max(machines),
        effort.rolls,
        effort.depth_step,
        effort.along_step,
        machines.resaw.kerf,
        locks,
    )


def build_tables(
    log: PlanLog,
    parts: tuple[SawnPart, ...],
    weights: ObjectiveWeights,
    machines: Machines,
    effort: Effort,
    progress: Progress,
    locks: Locks = NO_LOCKS,
    known: PassingPlaces | None = None,
) -> SlabTables:
    """Slab tables of all rolls, and the bolts' fans; `known` is what was seen of the wood already."""
    kerf = machines.mill.kerf
    if known is None:
        known = find_passing_places(log, parts, machines, effort, lambda what, part: progress(what, 0.3 * part), locks)
    grid = _grid(log, parts, machines, effort, locks)
    table = part_table(parts, grid, weights.worth, machines.crosscut.kerf)
    menu = np.array(grid.thicknesses)
    cells = np.ceil(menu / grid.depth_step - 1e-6).astype(np.int64)
    rip = int(np.ceil(machines.rip.kerf / grid.across_step - 1e-6))
    shape = (effort.rolls, 2, len(grid.depths), len(menu), len(grid.across) + 1)
    values = np.zeros(shape, np.float32)
    for k in range(effort.rolls):
        progress("slabs", 0.3 + 0.3 * k / effort.rolls)
        allowed, some = known.of(k, parts, grid)
        values[k] = slab_values(
            allowed,
            some,
            table.thickness,
            table.cells_along,
            table.cells_across,
            table.worth,
            table.width_class,
            int(table.width_class.max()) + 1,
            menu,
            grid.depth_step,
            machines.resaw.kerf,
            rip,
        )
    corner = corner_step(effort, log)
    faces = np.arange(-20.0, grid.depth_max + corner, corner)
    progress("bolts", 0.6)
    most = settings_per_bolt(machines) if locks.bolts else -1
    free = not bolts_on_mill(log, machines)
    angles = half_angles(effort, log)
    steps = np.where(angles * 2 == effort.rolls, 1, effort.lean_step)
    bolts = fan_bound_table(
        values, grid, angles, steps, cells, menu, faces, kerf, effort.fan_spread, weights.charge, most, free
    )
    return SlabTables(
        grid, values, cells, menu, faces, angles, steps, bolts, weights.charge, kerf, effort.fan_spread, most, free, weights.off_square
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class SlabTables:
    """What the programmes need of one log."""

    grid: Grid
    values: NDArray[np.float32]  # (rolls, 2, depths, menu, across + 1)
    cells: NDArray[np.int64]  # thickness in depth cells
    menu: Array
    faces: Array  # corner offsets of bolts
    angles: NDArray[np.int64]  # how far a half may be turned, in roll steps: rising, symmetric about the quarter turn
    steps: NDArray[np.int64]  # rolls between the halves that are looked at, for each angle
    bolts: NDArray[np.float64]  # (angles as openings, 2·rolls, faces, faces)
    charge: float
    mill_kerf: float
    fan_spread: int
    settings_per_bolt: int
    flush_free: bool = True  # whether a bolt's slabs along its own faces are sawn against the fence, uncharged
    off_square: float = 0.0  # what a half's setting is charged more where it is not turned 90°

    @property
    def square(self) -> int:
        """Index of the quarter turn among the angles."""
        return len(self.angles) // 2

    @property
    def extra(self) -> Array:
        """What a half's setting is charged beyond any setting, (angles,)."""
        return np.where(np.arange(len(self.angles)) == self.square, 0.0, self.off_square)


@dataclass(frozen=True, slots=True)
class SolvedTables:
    """Tables plus the halves they lead to."""

    tables: SlabTables
    by_angle: Array  # (angles, 2·rolls, faces)
    halves: Array  # (2·rolls, faces), at the best angle
    kerf_cells: int
    half_depth: int
    half_across: int


def solve_tables(tables: SlabTables) -> SolvedTables:
    """Run the programmes for bolts and halves."""
    grid = tables.grid
    half_depth, half_across = len(grid.depths) // 2, len(grid.across) // 2
    kerf_cells = int(np.ceil(tables.mill_kerf / grid.depth_step - 1e-6))
    halves = half_table(
        tables.values,
        grid.rolls,
        tables.angles,
        tables.steps,
        tables.bolts,
        tables.faces,
        tables.cells,
        kerf_cells,
        grid.depth_step,
        grid.across_step,
        half_depth,
        half_across,
        tables.charge + tables.extra,
    )
    return SolvedTables(tables, halves, halves.max(axis=0), kerf_cells, half_depth, half_across)


def fan_bound_table(
    values: Array,
    grid: Grid,
    angles: NDArray[np.int64],
    steps: NDArray[np.int64],
    cells: Array,
    menu: Array,
    faces: Array,
    kerf: float,
    spread: int,
    charge: float,
    settings: int,
    flush_free: bool = True,
) -> Array:
    """What no fan of the class is worth more than: (angles as openings, 2·rolls, faces, faces).

    Zero at bases that no half leads to, which are looked at every so many `steps` of rolls for each angle.
    """
    out = np.zeros((len(angles), 2 * grid.rolls, len(faces), len(faces)))
    if settings < 0:  # bolts are left
        return out
    depth_half, across_half = len(grid.depths) // 2, len(grid.across) // 2
    shape = (menu, cells, grid.depth_step, grid.across_step, depth_half, across_half, kerf, spread, charge, settings)
    for a, (angle, step) in enumerate(zip(angles, steps, strict=True)):
        bases = np.arange(0, 2 * grid.rolls, step)
        out[a, bases] = fan_bounds(values, grid.rolls, bases, int(angle), faces, *shape, flush_free)
    return out
