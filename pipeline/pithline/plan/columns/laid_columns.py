"""Columns for the master: first settings, halves and bolts worth choosing from, each re-laid on the true planes.

A column knows what it yields of every part as it would really be laid out (`lay_out`), not as the grid saw it.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from pithline.geometry.pieces import Face, Piece
from pithline.plan.columns.candidates import FirstSetting, bolt_fan, slabs_in_mm
from pithline.plan.execute.simulate import DrawnPoser
from pithline.plan.execute.slab_faces import parallel_faces, slab_frame
from pithline.plan.execute.slab_layout import lay_out
from pithline.plan.problem.layout import LayoutSetting
from pithline.plan.problem.log_frame import PlanLog, normal_at
from pithline.plan.problem.task import SawingTask
from pithline.plan.programmes.stacks import beyond_face, half_corners, stack_table, unstack
from pithline.plan.programmes.tables import SolvedTables

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class LaidColumn:
    """One way to saw one piece: its setting (children left out), plates by part, charged settings, grid value."""

    setting: LayoutSetting
    plates: tuple[int, ...]
    charged: int
    grid_value: float
    extra: float = 0.0  # what it is charged beyond its settings: a half that is not turned 90°


@dataclass(frozen=True, slots=True)
class BoltChoices:
    """Choices for one bolt of one half column; the first leaves it whole."""

    columns: tuple[LaidColumn, ...]


@dataclass(frozen=True, slots=True)
class HalfChoice:
    """A half's own setting and the choices for the bolts above and below it."""

    column: LaidColumn
    above: BoltChoices
    below: BoltChoices


@dataclass(frozen=True, slots=True)
class FirstSettingChoice:
    """A first setting with the choices of both halves."""

    column: LaidColumn
    above: tuple[HalfChoice, ...]
    below: tuple[HalfChoice, ...]


@dataclass(slots=True)
class ColumnEvaluator:
    """Lays slabs out once each."""

    log: PlanLog
    task: SawingTask
    kerf: float
    fine: float = 2.0  # see `lay_out`
    prices: tuple[float, ...] | None = None  # of each part while slabs are laid out; None: as the shop counts them
    on_mill: bool = False  # bolts are too heavy or too long for the resaw, so each of their settings is charged
    seen: dict = field(default_factory=dict)

    def yields(self, setting: LayoutSetting, piece: Piece) -> tuple[tuple[int, ...], Piece, Piece]:
        """Plates by part of one setting's slabs, and the pieces left above and below."""
        posed = DrawnPoser(self.log, self.kerf).pose(setting, piece)
        total = np.zeros(len(self.task.parts), int)
        task = self.task if setting.prices is None else replace(self.task, worth=np.array(setting.prices))
        for slab in posed.slabs:
            frame = slab_frame(self.log, piece, posed.normal, slab.low, slab.top)
            key = (
                np.round(posed.normal, 9).tobytes(),
                round(slab.low, 4),
                round(slab.top, 4),
                tuple((np.round(n, 9).tobytes(), round(o, 4)) for n, o in frame.bounds),
                setting.prices,
            )
            if key not in self.seen:
                strips = lay_out(self.log, frame, task, fine=self.fine)
                count = np.zeros(len(self.task.parts), int)
                for strip in strips:
                    for billet in strip.billets:
                        count[billet.part] += len(billet.layers)
                self.seen[key] = count
            total += self.seen[key]
        n, k = posed.normal, self.kerf
        over = Piece("a", "bolt", (*piece.faces, Face(tuple(-n), -(posed.slabs[0].top + k), "t")))
        under = Piece("b", "bolt", (*piece.faces, Face(tuple(n), posed.slabs[-1].low - k, "t")))
        return tuple(int(v) for v in total), over, under


def first_setting_choices(
    state: SolvedTables,
    evaluator: ColumnEvaluator,
    columns: list[FirstSetting],
    halves: int,
    piece: Piece | None = None,
) -> list[FirstSettingChoice]:
    """Choices for the master, one for each first column; `piece` is what is left of a log that is opened already."""
    grid = state.tables.grid
    whole = evaluator.log.piece if piece is None else piece
    out = []
    for column in columns:
        setting = LayoutSetting(
            grid.roll(column.roll), slabs_in_mm(state, column.slabs), role="log", prices=evaluator.prices
        )
        plates, over, under = evaluator.yields(setting, whole)
        above = half_choices(state, evaluator, over, column.roll, column.upper_face, halves)
        below = half_choices(state, evaluator, under, column.roll + grid.rolls, column.lower_face, halves)
        out.append(FirstSettingChoice(LaidColumn(setting, plates, 1, column.value + state.tables.charge), above, below))
    return out


def with_more_halves(
    state: SolvedTables, evaluator: ColumnEvaluator, column: FirstSetting, choice: FirstSettingChoice, keep: int
) -> FirstSettingChoice:
    """A choice with halves added that another view of the parts makes of what its first setting leaves."""
    _, over, under = evaluator.yields(choice.column.setting, evaluator.log.piece)
    last, rolls = len(state.tables.faces) - 1, state.tables.grid.rolls
    above = half_choices(state, evaluator, over, column.roll, min(column.upper_face, last), keep)
    below = half_choices(state, evaluator, under, column.roll + rolls, min(column.lower_face, last), keep)
    return replace(choice, above=(*choice.above, *above), below=(*choice.below, *below))


def half_choices(
    state: SolvedTables, evaluator: ColumnEvaluator, piece: Piece, turn: int, face: int, keep: int
) -> tuple[HalfChoice, ...]:
    """The best few settings of one half, different in where they leave its bolts: turned 90°, and by angles that promise more."""
    if face < 0:
        return ()
    tables, grid = state.tables, state.tables.grid
    turns, quarter = 2 * grid.rolls, grid.rolls // 2
    turn %= turns
    ways = _half_ways(state, turn, face, tables.square, keep)
    enough = ways[0].total if ways else 0.0
    leaning = [
        one
        for a in range(len(tables.angles))
        if a != tables.square and state.by_angle[a, turn, face] > enough  # 0 at rolls where they are not looked for
        for one in _half_ways(state, turn, face, a, keep)
        if one.total > enough
    ]
    ways += sorted(leaning, key=lambda one: -one.total)[:keep]
    out = []
    for one in sorted(ways, key=lambda one: -one.total):
        angle, extra = int(tables.angles[one.angle]), float(tables.extra[one.angle])
        setting = LayoutSetting(
            grid.roll(turn + angle), slabs_in_mm(state, one.slabs), role="half", prices=evaluator.prices
        )
        plates, over, under = evaluator.yields(setting, piece)
        high, low = (turn + angle - quarter) % turns, (turn - quarter) % turns
        out.append(
            HalfChoice(
                LaidColumn(setting, plates, 1, one.stack - extra, extra),
                bolt_choices(state, evaluator, over, high, 2 * quarter - angle, one.up, face),
                bolt_choices(state, evaluator, under, low, angle, face, one.down),
            )
        )
    return tuple(out)


@dataclass(frozen=True, slots=True)
class _HalfWay:
    """Slabs of a half at one of the angles, the corners of the bolts they leave (indices), their value and that of the whole."""

    angle: int
    slabs: tuple[tuple[int, int], ...]
    down: int
    up: int
    stack: float
    total: float


def _half_ways(state: SolvedTables, turn: int, face: int, a: int, keep: int) -> list[_HalfWay]:
    """The best stacks of a half turned on by the a-th angle, one for each pair of bolts that it may leave, best first."""
    tables, grid = state.tables, state.tables.grid
    turns, quarter, angle = 2 * grid.rolls, grid.rolls // 2, int(tables.angles[a])
    slab = beyond_face(
        tables.values, grid.rolls, turn, angle, float(tables.faces[face]), tables.cells, grid.depth_step, grid.across_step,
        state.half_depth, state.half_across,
    )  # fmt: skip
    stack = stack_table(slab, tables.cells, state.kerf_cells)
    below = tables.bolts[a, (turn - quarter) % turns, :, face]
    above = tables.bolts[len(tables.angles) - 1 - a, (turn + angle - quarter) % turns, face]
    total, cells = half_corners(stack, below, above, tables.faces, grid.depth_step, state.half_depth, state.kerf_cells)
    total -= tables.charge + tables.extra[a]
    out = []
    for place in np.argsort(-total, axis=None, kind="stable")[:keep]:
        j, k = np.unravel_index(place, total.shape)
        if total[j, k] <= 0.0:
            break
        l, h = (int(v) for v in cells[j, k])
        down, up = (int(v) if v < len(tables.faces) else -1 for v in (j, k))
        slabs = tuple(unstack(slab, stack, tables.cells, state.kerf_cells, l, h))
        out.append(_HalfWay(a, slabs, down, up, float(stack[l, h]), float(total[j, k])))
    return out


def bolt_choices(
    state: SolvedTables, evaluator: ColumnEvaluator, piece: Piece, base: int, opening: int, near: int, far: int
) -> BoltChoices:
    """Leave a bolt whole, or fan it in one, two, … charged settings; `opening` as for `bolt_setting`."""
    out: list[LaidColumn] = []
    corner = true_corner(state, evaluator.log, piece, base, opening, near, far)
    for most in range(state.tables.settings_per_bolt + 1):
        value = bolt_fan(state, base, opening, near, far, most)[1]
        chain = with_prices(bolt_fan(state, base, opening, near, far, most, corner)[0], evaluator.prices)
        if chain is None or (out and abs(value - out[-1].grid_value) < 1e-9):
            continue
        total = np.zeros(len(evaluator.task.parts), int)
        charged, rest, node = 0, piece, chain
        while node is not None:
            plates, over, _ = evaluator.yields(node, rest)
            normal = DrawnPoser(evaluator.log, evaluator.kerf).pose(node, rest).normal
            charged += evaluator.on_mill or not parallel_faces(evaluator.log, rest, normal).any
            total += plates
            rest, node = over, node.above
        out.append(LaidColumn(chain, tuple(int(v) for v in total), charged, value))
    return BoltChoices(tuple(out))


def true_corner(
    state: SolvedTables, log: PlanLog, piece: Piece, base: int, opening: int, near: int, far: int
) -> tuple[float, float] | None:
    """Offsets from the chord of a bolt's near and far face, no further out than their places in the table. [mm]"""
    if near < 0 or far < 0:
        return None
    grid, out = state.tables.grid, []
    for turn, index in ((base + grid.rolls // 2, near), (base + opening - grid.rolls // 2, far)):
        normal = normal_at(log.axis, grid.roll(turn))
        floor = parallel_faces(log, piece, normal).floor
        place = float(state.tables.faces[index])
        out.append(place if floor is None else min(place, floor - float(log.origin @ normal)))
    return out[0], out[1]


def with_prices(chain: LayoutSetting | None, prices: tuple[float, ...] | None) -> LayoutSetting | None:
    """A bolt's chain of settings, each laid out at these prices."""
    if chain is None or prices is None:
        return chain
    return replace(chain, above=with_prices(chain.above, prices), prices=prices)


def with_children(first: LayoutSetting, above: LayoutSetting | None, below: LayoutSetting | None) -> LayoutSetting:
    """A setting with what is done to the pieces it leaves."""
    return replace(first, above=above, below=below)
