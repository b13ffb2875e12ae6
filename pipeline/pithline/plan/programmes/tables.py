"""Slab tables of all rolls of one log, its bolts' fans and halves; the wood is looked at once for all views of the parts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pithline.plan.problem.context import SearchContext
from pithline.plan.problem.effort import bolts_on_mill, corner_step, half_angles, settings_per_bolt
from pithline.plan.problem.log_frame import PlanLog
from pithline.plan.problem.monitor import SILENT, Monitor
from pithline.plan.problem.objective import ObjectiveWeights
from pithline.plan.problem.parts import SawnPart
from pithline.plan.programmes.fan_bound import fan_bounds
from pithline.plan.programmes.fans import FanRule
from pithline.plan.programmes.grid import Grid, make_grid, part_rows
from pithline.plan.programmes.slab_tables import SlabKerfs, passing_places, roll_images, slab_values
from pithline.plan.programmes.stacks import HalfTurns, TableGrid, half_table

Array = NDArray[np.float64]
Bits = NDArray[np.uint8]
INNERMOST_CORNER = -20.0
"""A bolt's corner lies no further beyond the pith's chord. [mm]"""


@dataclass(frozen=True, slots=True)
class PassingPlaces:
    """Where plates of all parts pass in one log, on every plane of every roll; found once for all views of the parts.

    Attributes
    ----------
    packed : tuple of (parts, depths, across, along / 8) arrays
        One a roll, bits.
    some : tuple of (parts, depths, across) arrays
        One a roll, 1 where any place along passes.
    """

    parts: tuple[SawnPart, ...]
    grid: Grid
    along: int
    packed: tuple[Bits, ...]
    some: tuple[Bits, ...]

    def of(self, roll: int, view: tuple[SawnPart, ...], grid: Grid) -> tuple[Bits, Bits]:
        """What `passing_places` says of some of the parts, between the faces that a grid as deep or less deep has."""
        rows = [self.parts.index(part) for part in view]
        spare = (len(self.grid.depths) - len(grid.depths)) // 2
        deep = slice(spare, len(self.grid.depths) - spare)
        bits = np.ascontiguousarray(self.packed[roll][rows, deep])
        return np.unpackbits(bits, axis=-1, count=self.along), np.ascontiguousarray(self.some[roll][rows, deep])


def find_passing_places(log: PlanLog, context: SearchContext, monitor: Monitor = SILENT) -> PassingPlaces:
    """Look at the wood of one log on all planes of all rolls, for all parts that are asked for."""
    parts, rolls = context.parts, context.effort.rolls
    grid = make_grid(log, parts, context)
    rows = part_rows(parts, grid, np.ones(len(parts)), context.machines.crosscut.kerf)
    packed, found, along = [], [], 0
    for k in range(rolls):
        monitor.report("wood", k / rolls)
        images, number = roll_images(log, parts, grid, grid.roll(k))
        allowed, some = passing_places(images, number, rows)
        along = allowed.shape[-1]
        packed.append(np.packbits(allowed, axis=-1))
        found.append(some)
    return PassingPlaces(parts, grid, along, tuple(packed), tuple(found))


@dataclass(frozen=True, slots=True)
class SlabTables:
    """What the programmes need of one log, at one worth of each part.

    Attributes
    ----------
    grid : Grid
        The stated grid.
    slabs : TableGrid
        What slabs are worth.
    faces : (faces,) array
        Corner offsets of bolts. [mm]
    turns : HalfTurns
        How far halves may be turned on.
    rule : FanRule
        How bolts are fanned.
    bolts : (angles as openings, 2·rolls, faces, faces) array
        What no fan of a bolt is worth more than.
    off_square : float
        What a half's setting is charged more where it is not turned 90°.
    """

    grid: Grid
    slabs: TableGrid
    faces: Array
    turns: HalfTurns
    rule: FanRule
    bolts: Array
    off_square: float = 0.0

    @property
    def charge(self) -> float:
        """Of a setting."""
        return self.rule.charge

    @property
    def highest(self) -> float:
        """What the best single slab is worth."""
        return float(self.slabs.values.max())

    @property
    def square(self) -> int:
        """Index of the quarter turn among the angles."""
        return len(self.turns.angles) // 2

    @property
    def extra(self) -> Array:
        """What a half's setting is charged beyond any setting, (angles,)."""
        return _extra(len(self.turns.angles), self.off_square)


def _extra(angles: int, off_square: float) -> Array:
    return np.where(np.arange(angles) == angles // 2, 0.0, off_square)


def build_tables(
    log: PlanLog,
    view: tuple[SawnPart, ...],
    weights: ObjectiveWeights,
    context: SearchContext,
    known: PassingPlaces,
    monitor: Monitor = SILENT,
) -> SlabTables:
    """Slab tables of all rolls, and the bolts' fans.

    Parameters
    ----------
    log : PlanLog
        What is searched.
    view : tuple of SawnPart
        The parts that are counted, of those asked for.
    weights : ObjectiveWeights
        What a plate of each of them counts, and what settings are charged.
    context : SearchContext
        What is asked.
    known : PassingPlaces
        What was seen of the wood.
    monitor : Monitor
        Hears how far it is.
    """
    effort, machines, locks = context.effort, context.machines, context.locks
    grid = make_grid(log, view, context)
    slabs = _slab_tables(view, weights, context, grid, known, monitor)
    corner = corner_step(effort, log)
    faces = np.arange(INNERMOST_CORNER, grid.depth_max + corner, corner)
    angles = half_angles(effort, log)
    steps = np.where(angles * 2 == effort.rolls, 1, effort.lean_step)
    turns = HalfTurns(angles, steps, weights.charge + _extra(len(angles), weights.off_square))
    most = settings_per_bolt(machines) if locks.bolts else -1
    flush_free = not bolts_on_mill(log, machines)
    rule = FanRule(machines.mill.kerf, effort.fan_spread, weights.charge, most, flush_free)
    monitor.report("bolts", 0.6)
    return SlabTables(grid, slabs, faces, turns, rule, _bolts(slabs, turns, rule, faces), weights.off_square)


def _slab_tables(
    view: tuple[SawnPart, ...],
    weights: ObjectiveWeights,
    context: SearchContext,
    grid: Grid,
    known: PassingPlaces,
    monitor: Monitor,
) -> TableGrid:
    """What every slab of every roll is worth."""
    machines, rolls = context.machines, context.effort.rolls
    rows = part_rows(view, grid, weights.worth, machines.crosscut.kerf)
    menu = np.array(grid.thicknesses)
    cells = np.ceil(menu / grid.depth_step - 1e-6).astype(np.int64)
    rip = int(np.ceil(machines.rip.kerf / grid.across_step - 1e-6))
    kerfs = SlabKerfs(grid.depth_step, machines.resaw.kerf, rip)
    values = np.zeros((rolls, 2, len(grid.depths), len(menu), len(grid.across) + 1), np.float32)
    for k in range(rolls):
        monitor.report("slabs", 0.3 + 0.3 * k / rolls)
        allowed, some = known.of(k, view, grid)
        values[k] = slab_values(allowed, some, rows, menu, kerfs)
    return TableGrid(
        values,
        grid.rolls,
        menu,
        cells,
        grid.depth_step,
        grid.across_step,
        len(grid.depths) // 2,
        len(grid.across) // 2,
        int(np.ceil(machines.mill.kerf / grid.depth_step - 1e-6)),
    )


def _bolts(slabs: TableGrid, turns: HalfTurns, rule: FanRule, faces: Array) -> Array:
    """What no fan of the class is worth more than: (angles as openings, 2·rolls, faces, faces).

    Zero at bases that no half leads to, which are looked at every so many `steps` of rolls for each angle.
    """
    out = np.zeros((len(turns.angles), 2 * slabs.rolls, len(faces), len(faces)))
    if rule.settings_max < 0:  # bolts are left
        return out
    for a, (angle, step) in enumerate(zip(turns.angles, turns.steps, strict=True)):
        bases = np.arange(0, 2 * slabs.rolls, step)
        out[a, bases] = fan_bounds(slabs, rule, bases, int(angle), faces)
    return out


@dataclass(frozen=True, slots=True)
class SolvedTables:
    """Tables plus the halves they lead to.

    Attributes
    ----------
    by_angle : (angles, 2·rolls, faces) array
        Best value of a half by its face and by how far it is turned on.
    halves : (2·rolls, faces) array
        At the best angle.
    """

    tables: SlabTables
    by_angle: Array
    halves: Array


def solve_tables(tables: SlabTables) -> SolvedTables:
    """Run the programmes for halves."""
    by_angle = half_table(tables.slabs, tables.turns, tables.bolts, tables.faces)
    return SolvedTables(tables, by_angle, by_angle.max(axis=0))
