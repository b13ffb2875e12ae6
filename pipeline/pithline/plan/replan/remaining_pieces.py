"""What to do with the pieces of a log that is open already: halves, bolts, or what a broken-off setting left.

Every piece is searched on grids that start at its own sawn faces, so each face is a roll of the grid. What it was to be
sawn to by the earlier plan stands among its choices.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from pithline.geometry.pieces import Piece
from pithline.plan.columns.candidates import best_first_settings, slabs_in_mm
from pithline.plan.columns.laid_columns import (
    BoltChoices,
    ColumnEvaluator,
    FirstSettingChoice,
    HalfChoice,
    LaidColumn,
    bolt_choices,
    first_setting_choices,
    half_choices,
)
from pithline.plan.execute.simulate import DrawnPoser
from pithline.plan.execute.slab_faces import SNAP_DISTANCE, parallel_faces
from pithline.plan.problem.effort import Effort
from pithline.plan.problem.layout import LayoutSetting, Locks
from pithline.plan.problem.log_frame import PlanLog, clock_of_normal
from pithline.plan.problem.objective import ObjectiveWeights
from pithline.plan.problem.parts import SawnPart
from pithline.plan.problem.report import Progress
from pithline.plan.programmes.stacks import face_index, restricted, stack_table, unstack
from pithline.plan.programmes.tables import SolvedTables, build_tables, solve_tables
from pithline.plan.replan.script_history import room_between_faces

Array = NDArray[np.float64]
SAME_ROLL = np.radians(0.75)
"""A face turned off the grid by less counts as one of its rolls: it leans by a lift step, or was rounded."""
NO_BOLTS = BoltChoices(())


@dataclass(frozen=True, slots=True)
class RemainingPiece:
    """A piece in hand that mill or resaw may still take, the log it belongs to, and what the earlier plan did with it."""

    log: PlanLog
    piece: Piece
    before: LayoutSetting | None


@dataclass(frozen=True, slots=True)
class PieceChoices:
    """Choices for one piece, and what none of them can be worth more than, net of charges."""

    choices: tuple[FirstSettingChoice, ...]
    bound: float


@dataclass(slots=True)
class PieceTables:
    """Tables of one log for one view of the parts, each made when it is first asked for."""

    log: PlanLog
    view: tuple[SawnPart, ...]
    weights: ObjectiveWeights
    effort: Effort
    evaluator: ColumnEvaluator
    progress: Progress
    made: list[SolvedTables] = field(default_factory=list)

    def at(self, clock: float) -> tuple[SolvedTables, int]:
        """A search whose grid has the clock angle among its rolls, and the roll's index."""
        step = np.pi / self.effort.rolls
        for state in self.made:
            place = ((clock - state.tables.grid.start) / step) % (2 * self.effort.rolls)
            index = round(place)
            if abs(place - index) * step < SAME_ROLL:
                return state, index % (2 * self.effort.rolls)
        machines = self.evaluator.task.machines
        tables = build_tables(
            self.log, self.view, self.weights, machines, self.effort, self.progress, Locks(roll=clock)
        )
        self.made.append(solve_tables(tables))
        return self.made[-1], 0


@dataclass(frozen=True, slots=True)
class _Side:
    """A sawn side of a piece: the piece lies where n(clock)·X ≥ corner, from the pith's chord at mid-length."""

    clock: float
    corner: float


def sides_of(log: PlanLog, piece: Piece) -> tuple[_Side, ...]:
    """The sawn faces along a piece, the newest first; faces that a newer parallel one replaced are left out."""
    middle = log.origin + log.axis * log.reach / 2
    out: list[_Side] = []
    for face in reversed(piece.faces):
        inward = -np.asarray(face.normal)
        if face in log.piece.faces or abs(float(inward @ log.axis)) > 0.7:
            continue
        side = _Side(clock_of_normal(inward), -face.offset - float(inward @ middle))
        if not any(abs(_apart(side.clock, one.clock)) < SAME_ROLL for one in out):
            out.append(side)
    return tuple(out)


def _apart(one: float, other: float) -> float:
    return float((one - other + np.pi) % (2 * np.pi) - np.pi)


def piece_choices(rest: RemainingPiece, grids: PieceTables) -> PieceChoices:
    """Ways to go on with an opened piece: turned on, parallel to a face, fanned."""
    found: list[FirstSettingChoice] = []
    bound = 0.0
    sides, piece = sides_of(rest.log, rest.piece), rest.piece
    keep = grids.effort.halves + 1
    for side in sides:
        ways = [_along(grids, piece, side, sides, keep)]
        if piece.kind == "log":
            ways.append(_as_log(grids, piece, side))
        if piece.kind != "bolt" and len(sides) == 1:
            ways.append(_turned(grids, piece, side, keep))
        if len(sides) > 1:
            ways += _fanned(grids, piece, side, sides)
        for choices, promise in ways:
            found += choices
            bound = max(bound, promise)
    return PieceChoices(tuple(one for one in found if _within(grids.evaluator, one.column.setting, piece)), bound)


SNAP_REACH = SNAP_DISTANCE - 1.0
"""The outermost slab is moved onto a face that it reaches past by less than this; others may not come near. [mm]"""


def _within(evaluator: ColumnEvaluator, setting: LayoutSetting, piece: Piece) -> bool:
    """Whether a layout's slabs lie between the faces of what it parts: a fan is sought with two of them only."""
    posed = DrawnPoser(evaluator.log, evaluator.kerf).pose(setting, piece)
    log = evaluator.log
    low, high = room_between_faces(piece, posed.normal, log.origin + log.axis * log.reach / 2)
    if posed.slabs[-1].low < low - SNAP_REACH or posed.slabs[0].top > high + SNAP_REACH:
        return False
    if any(slab.low < low + 1.0 for slab in posed.slabs[:-1]) or any(slab.top > high - 1.0 for slab in posed.slabs[1:]):
        return False
    _, over, under = evaluator.yields(setting, piece)
    return all(
        _within(evaluator, child, rest)
        for child, rest in ((setting.above, over), (setting.below, under))
        if child is not None
    )


def _corner(state: SolvedTables, side: _Side) -> int:
    return face_index(state.tables.faces, side.corner)


def _turned(grids: PieceTables, piece: Piece, side: _Side, keep: int) -> tuple[list[FirstSettingChoice], float]:
    """A half turned on from its face."""
    state, turn = grids.at(side.clock)
    corner = _corner(state, side)
    if corner < 0:
        return [], 0.0
    found = [_of_half(one) for one in half_choices(state, grids.evaluator, piece, turn, corner, keep)]
    return found, float(state.halves[turn, corner])


def _of_half(half: HalfChoice) -> FirstSettingChoice:
    """A half's column where it comes first; the fullest fan of each bolt stands first, as the master's hint expects."""

    def bolts(group: BoltChoices) -> tuple[HalfChoice, ...]:
        return tuple(HalfChoice(one, NO_BOLTS, NO_BOLTS) for one in reversed(group.columns))

    return FirstSettingChoice(half.column, bolts(half.above), bolts(half.below))


def _as_log(grids: PieceTables, piece: Piece, side: _Side) -> tuple[list[FirstSettingChoice], float]:
    """Most of a log, opened on one side: any first setting, on what is left of it."""
    state, _ = grids.at(side.clock)
    rolls = list(range(grids.effort.rolls))
    columns = best_first_settings(state, rolls, 2)[: grids.effort.firsts]
    best = best_first_settings(state, rolls, 1)
    found = first_setting_choices(state, grids.evaluator, columns, grids.effort.halves, piece)
    return found, best[0].promise if best else 0.0


def _along(
    grids: PieceTables, piece: Piece, side: _Side, sides: Sequence[_Side], keep: int
) -> tuple[list[FirstSettingChoice], float]:
    """Slabs parallel to a face, from it inwards; what is left beyond them is a half, or a bolt where another side bounds it."""
    state, turn = grids.at(side.clock)
    grid, tables = state.tables.grid, state.tables
    quarter, turns = grid.rolls // 2, 2 * grid.rolls
    beside = next((one for one in sides if abs(abs(_apart(one.clock, side.clock)) - np.pi / 2) < SAME_ROLL), None)
    edge, place = 0, -state.half_across
    if beside is not None:
        left = _apart(beside.clock, side.clock) < 0.0
        edge = 1 if left else 0
        place = int(np.ceil(beside.corner / grid.across_step - 1e-6)) * (-1 if left else 1)
    slab = restricted(tables.values, grid.rolls, turn, tables.cells, edge, place, state.half_depth, state.half_across)
    stack = stack_table(slab, tables.cells, state.kerf_cells)
    first = max(int(np.ceil(side.corner / grid.depth_step - 1e-6)) + state.half_depth, 0)
    gap = state.kerf_cells * grid.depth_step
    corner = -1 if beside is None else _corner(state, beside)

    def beyond(one: SolvedTables, h: int) -> float:
        up = face_index(tables.faces, (h - state.half_depth) * grid.depth_step + gap)
        if up < 0:
            return 0.0
        if beside is None:
            return float(one.halves[turn, up])
        if corner < 0:
            return 0.0
        if edge:  # the other side lies a quarter back
            return float(one.tables.bolts[one.tables.square, (turn - quarter) % turns, corner, up])
        return float(one.tables.bolts[one.tables.square, turn, up, corner])

    ranked: list[tuple[float, int, int]] = []
    promise = 0.0
    for h in range(first + 1, stack.shape[0]):
        if stack[first, h] <= 1e-9 or (h > first + 1 and stack[first, h] <= stack[first, h - 1] + 1e-9):
            continue  # no slab ends here: an earlier end leaves more beyond
        ranked.append((stack[first, h] - tables.charge + beyond(state, h), first, h))
        promise = max(promise, stack[first, h] - tables.charge + beyond(state, h))
    out: list[FirstSettingChoice] = []
    role = "log" if piece.kind == "log" else "half"
    for _, low, high in sorted(ranked, key=lambda one: (-one[0], one[2]))[:keep]:
        slabs = tuple(unstack(slab, stack, tables.cells, state.kerf_cells, low, high))
        if not slabs:
            continue
        setting = LayoutSetting(grid.roll(turn), slabs_in_mm(state, slabs), role=role, prices=grids.evaluator.prices)
        plates, over, _ = grids.evaluator.yields(setting, piece)
        up = face_index(tables.faces, (high - state.half_depth) * grid.depth_step + gap)
        above: tuple[HalfChoice, ...] = ()
        if up >= 0 and beside is None:
            above = half_choices(state, grids.evaluator, over, turn, up, grids.effort.halves)
        elif up >= 0 and corner >= 0:
            base, near, far = ((turn - quarter) % turns, up, corner) if edge else (turn, corner, up)
            group = bolt_choices(state, grids.evaluator, over, base, quarter, near, far)
            above = tuple(HalfChoice(one, NO_BOLTS, NO_BOLTS) for one in reversed(group.columns))
        out.append(FirstSettingChoice(LaidColumn(setting, plates, 1, float(stack[low, high])), above, ()))
    return out, promise


def _fanned(
    grids: PieceTables, piece: Piece, side: _Side, sides: Sequence[_Side]
) -> list[tuple[list[FirstSettingChoice], float]]:
    """Radial slabs of a bolt. Where no other side stands to this one as a half's cuts do, the fan is sought on either side of it."""
    state, turn = grids.at(side.clock)
    tables, quarter = state.tables, state.tables.grid.rolls // 2
    own = _corner(state, side)
    ahead = [(a, one) for one in sides if (a := _opening(state, one, side)) is not None]
    if ahead:
        a, near_side = ahead[0]
        ways = [(a, turn + quarter - int(tables.angles[a]), _corner(state, near_side), own)]
    elif any(_opening(state, side, one) is not None for one in sides):
        ways = []  # seen from that side
    else:
        ways = [(tables.square, turn, 0, own), (tables.square, turn - quarter, own, 0)]
    out = []
    for a, base, near, far in ways:
        if near < 0 or far < 0:
            continue
        base %= 2 * tables.grid.rolls
        group = bolt_choices(state, grids.evaluator, piece, base, int(tables.angles[a]), near, far)
        choices = [FirstSettingChoice(one, (), ()) for one in reversed(group.columns)]
        out.append((choices, float(tables.bolts[a, base, far, near])))
    return out


def _opening(state: SolvedTables, near: _Side, far: _Side) -> int | None:
    """Which of the grid's openings a wedge between two sides has, the near one's normal further on; None: none of them."""
    step = np.pi / state.tables.grid.rolls
    apart = np.abs(np.pi - state.tables.angles * step - _apart(near.clock, far.clock))
    return int(apart.argmin()) if apart.min() < SAME_ROLL else None


def as_choice(evaluator: ColumnEvaluator, setting: LayoutSetting, piece: Piece) -> FirstSettingChoice:
    """A given layout of a piece as a choice: its setting, and what follows on either side to be taken or left."""
    plates, over, under = evaluator.yields(setting, piece)
    alone = replace(setting, above=None, below=None)
    column = LaidColumn(alone, plates, _charged(evaluator, setting, piece), 0.0)

    def side(child: LayoutSetting | None, rest: Piece) -> tuple[HalfChoice, ...]:
        if child is None:
            return ()
        total, charged = _whole(evaluator, child, rest)
        return (HalfChoice(LaidColumn(child, total, charged, 0.0), NO_BOLTS, NO_BOLTS),)

    return FirstSettingChoice(column, side(setting.above, over), side(setting.below, under))


def _charged(evaluator: ColumnEvaluator, setting: LayoutSetting, piece: Piece) -> int:
    """Whether a setting is charged: all are but a bolt's run parallel to a face it has."""
    if setting.role != "bolt":
        return 1
    posed = DrawnPoser(evaluator.log, evaluator.kerf).pose(setting, piece)
    return int(evaluator.on_mill or not parallel_faces(evaluator.log, piece, posed.normal).any)


def _whole(evaluator: ColumnEvaluator, setting: LayoutSetting, piece: Piece) -> tuple[tuple[int, ...], int]:
    """Plates and charged settings of a layout with all that follows."""
    plates, over, under = evaluator.yields(setting, piece)
    charged = _charged(evaluator, setting, piece)
    total = np.array(plates)
    for child, rest in ((setting.above, over), (setting.below, under)):
        if child is not None:
            more, also = _whole(evaluator, child, rest)
            total, charged = total + np.array(more), charged + also
    return tuple(int(v) for v in total), charged
