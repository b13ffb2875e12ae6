"""One view of one log's parts: slab tables, exact programmes, columns, and a bound."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pithline.mill.machine import Machines
from pithline.plan.aims import Effort, bolts_on_mill, corner_step, half_angles, settings_per_bolt, thickness_max
from pithline.plan.candidates import FirstColumn, Search, Tables, fan_values, first_columns, search
from pithline.plan.columns import Choice, Evaluator, first_choices, more_halves
from pithline.plan.frame import PlanLog
from pithline.plan.layout import FREE, Locks
from pithline.plan.master import Aim
from pithline.plan.parts import SawnPart
from pithline.plan.slabs import Grid, make_grid, part_table, passes, roll_planes, slab_values

Array = NDArray[np.float64]
Progress = Callable[[str, float], None]


@dataclass(frozen=True, slots=True)
class Passing:
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


def passing(
    log: PlanLog,
    parts: tuple[SawnPart, ...],
    machines: Machines,
    effort: Effort,
    progress: Progress,
    locks: Locks = FREE,
) -> Passing:
    """Look at the wood of one log on all planes of all rolls."""
    grid = _grid(log, parts, machines, effort, locks)
    table = part_table(parts, grid, np.ones(len(parts)), machines.crosscut.kerf)
    packed, found, along = [], [], 0
    for k in range(effort.rolls):
        progress("wood", k / effort.rolls)
        planes, number = roll_planes(log, parts, grid, grid.roll(k))
        allowed, some = passes(
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
    return Passing(parts, grid, along, tuple(packed), tuple(found))


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
    aim: Aim,
    machines: Machines,
    effort: Effort,
    progress: Progress,
    locks: Locks = FREE,
    known: Passing | None = None,
) -> Tables:
    """Slab tables of all rolls, and the bolts' fans; `known` is what was seen of the wood already."""
    kerf = machines.mill.kerf
    if known is None:
        known = passing(log, parts, machines, effort, lambda what, part: progress(what, 0.3 * part), locks)
    grid = _grid(log, parts, machines, effort, locks)
    table = part_table(parts, grid, aim.worth, machines.crosscut.kerf)
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
    bolts = fan_values(values, grid, angles, steps, cells, menu, faces, kerf, effort.fan_spread, aim.charge, most, free)
    return Tables(
        grid, values, cells, menu, faces, angles, steps, bolts, aim.charge, kerf, effort.fan_spread, most, free, aim.off_square
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Looked:
    """What the exact programmes make of some of the parts."""

    grid: Grid
    highest: float
    picked: tuple[FirstColumn, ...] = ()
    choices: tuple[Choice, ...] = ()  # earlier ones too, with the halves that this view adds
    promise: float = np.inf
    considered: int = 0


def look_at(
    log: PlanLog,
    view: tuple[SawnPart, ...],
    aim: Aim,
    evaluator: Evaluator,
    effort: Effort,
    earlier: tuple[tuple[FirstColumn, Choice], ...],
    told: Progress,
    locks: Locks = FREE,
    known: Passing | None = None,
) -> Looked:
    """Tables, exact programmes and columns for the parts of one view, beside `earlier` ones."""
    before = tuple(column for column, _ in earlier), tuple(choice for _, choice in earlier)
    machines = evaluator.shop.machines
    tables = build_tables(log, view, aim, machines, effort, told, locks, known)
    highest = float(tables.values.max())
    if highest <= 0.0:
        return Looked(tables.grid, 0.0, *before, promise=0.0)
    told("halves", 0.75)
    state = search(tables)
    rolls = list(range(effort.rolls)) if locks.roll is None else [0]
    columns = first_columns(state, rolls, 6, locks.first_slab)
    told("columns", 0.8)
    grown = tuple(more_halves(state, evaluator, column, choice, 1) for column, choice in earlier)
    picked = _different(columns, max(2, effort.firsts - 2) if earlier else effort.firsts)
    choices = first_choices(state, evaluator, picked, effort.halves)
    promise = columns[0].promise if columns else 0.0
    picked, choices = [*before[0], *picked], [*grown, *choices]
    return Looked(tables.grid, highest, tuple(picked), tuple(choices), promise, _considered(state))


def wanted_worth(parts: tuple[SawnPart, ...], worth: Array) -> float:
    """What all plates of parts with a demand would count."""
    return float(sum(w * p.demand for w, p in zip(worth, parts, strict=True) if p.demand is not None))


def ceiling(promise: float, view: tuple[SawnPart, ...], parts: tuple[SawnPart, ...], worth: Array) -> float:
    """No layout is worth more than the best for the parts looked at plus all that is wanted of the others."""
    others = [part not in view for part in parts]
    return promise + wanted_worth(tuple(p for p, o in zip(parts, others, strict=True) if o), worth[others])


def _different(columns: list[FirstColumn], keep: int) -> list[FirstColumn]:
    """The best first settings, at most two of one roll."""
    out, seen = [], {}
    for column in columns:
        if seen.get(column.roll, 0) < 2:
            out.append(column)
            seen[column.roll] = seen.get(column.roll, 0) + 1
        if len(out) == keep:
            break
    return out


def _considered(state: Search) -> int:
    grid, nf = state.tables.grid, len(state.tables.faces)
    nd = len(grid.depths)
    halves = len(state.tables.angles) * 2 * grid.rolls * nf * (nd * nd / 2 + nf)
    return int(grid.rolls * nd * nd / 2 * len(grid.thicknesses) + halves)
