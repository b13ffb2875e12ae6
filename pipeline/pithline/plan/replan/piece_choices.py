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
from pithline.plan.columns.candidates import BoltPlace, best_first_settings, slabs_in_mm
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
from pithline.plan.execute.slab_faces import SNAP_DISTANCE
from pithline.plan.problem.context import SearchContext
from pithline.plan.problem.effort import Effort
from pithline.plan.problem.layout import LayoutSetting, Locks
from pithline.plan.problem.log_frame import PlanLog
from pithline.plan.problem.monitor import Monitor
from pithline.plan.problem.parts import SawnPart
from pithline.plan.programmes.stacks import face_index, restricted, stack_table, unstack
from pithline.plan.programmes.tables import SolvedTables, build_tables, find_passing_places, solve_tables
from pithline.plan.replan.remaining_pieces import SAME_ROLL, RemainingPiece, SawnSide, angle_between, sides_of
from pithline.plan.replan.script_history import room_between_faces

Array = NDArray[np.float64]
NO_BOLTS = BoltChoices(())
SNAP_REACH = SNAP_DISTANCE - 1.0
"""The outermost slab is moved onto a face that it reaches past by less than this. [mm]"""
FACE_ROOM = 1.0
"""Other slabs keep this clear of a face. [mm]"""
SAME_WORTH = 1e-9
"""Stacks that differ by less are one."""
LOG_FIRSTS = 2
"""First settings of each roll that are compared where most of a log is still whole."""


@dataclass(frozen=True, slots=True)
class PieceChoices:
    """Choices for one piece, and what none of them can be worth more than, net of charges."""

    choices: tuple[FirstSettingChoice, ...]
    bound: float


@dataclass(frozen=True, slots=True)
class PieceTables:
    """Tables of one log for one view of the parts, each made when it is first asked for.

    Attributes
    ----------
    evaluator : ColumnEvaluator
        Of the log.
    context : SearchContext
        What is asked.
    view : tuple of SawnPart
        The parts that are counted.
    monitor : Monitor
        Hears how far it is.
    made : list of SolvedTables
        What was asked for; filled.
    """

    evaluator: ColumnEvaluator
    context: SearchContext
    view: tuple[SawnPart, ...]
    monitor: Monitor
    made: list[SolvedTables] = field(default_factory=list)

    @property
    def log(self) -> PlanLog:
        """The log."""
        return self.evaluator.log

    @property
    def effort(self) -> Effort:
        """How finely it is looked at."""
        return self.context.effort

    def at(self, clock: float) -> tuple[SolvedTables, int]:
        """Tables whose grid has the clock angle among its rolls, and the roll's index."""
        step = np.pi / self.effort.rolls
        for state in self.made:
            place = ((clock - state.tables.grid.start) / step) % (2 * self.effort.rolls)
            index = round(place)
            if abs(place - index) * step < SAME_ROLL:
                return state, index % (2 * self.effort.rolls)
        context = self.context.for_parts(self.view).with_locks(Locks(roll=clock))
        known = find_passing_places(self.log, context, self.monitor.within(0.0, 0.3))
        weights = context.weights(self.log.reach)
        self.made.append(solve_tables(build_tables(self.log, self.view, weights, context, known, self.monitor)))
        return self.made[-1], 0


Found = tuple[list[FirstSettingChoice], float]
"""Choices of one kind, and what none of them can be worth more than."""


def piece_choices(rest: RemainingPiece, tables: PieceTables) -> PieceChoices:
    """Ways to go on with an opened piece: turned on, parallel to a face, fanned."""
    found: list[FirstSettingChoice] = []
    bound = 0.0
    sides, piece = sides_of(rest.log, rest.piece), rest.piece
    keep = tables.effort.halves + 1
    for side in sides:
        ways = [_along(tables, piece, side, sides, keep)]
        if piece.kind == "log":
            ways.append(_as_log(tables, piece, side))
        if piece.kind != "bolt" and len(sides) == 1:
            ways.append(_turned(tables, piece, side, keep))
        if len(sides) > 1:
            ways += _fanned(tables, piece, side, sides)
        for choices, promise in ways:
            found += choices
            bound = max(bound, promise)
    return PieceChoices(tuple(one for one in found if _within(tables.evaluator, one.column.setting, piece)), bound)


def _within(evaluator: ColumnEvaluator, setting: LayoutSetting, piece: Piece) -> bool:
    """Whether a layout's slabs lie between the faces of what it parts: a fan is sought with two of them only."""
    log, posed = evaluator.log, evaluator.poser.pose(setting, piece)
    low, high = room_between_faces(piece, posed.normal, log.origin + log.axis * log.reach / 2)
    if posed.slabs[-1].low < low - SNAP_REACH or posed.slabs[0].top > high + SNAP_REACH:
        return False
    if any(slab.low < low + FACE_ROOM for slab in posed.slabs[:-1]):
        return False
    if any(slab.top > high - FACE_ROOM for slab in posed.slabs[1:]):
        return False
    got = evaluator.yields(setting, piece)
    return all(
        _within(evaluator, child, rest)
        for child, rest in ((setting.above, got.above), (setting.below, got.below))
        if child is not None
    )


def _corner(state: SolvedTables, side: SawnSide) -> int:
    return int(face_index(state.tables.faces, side.corner))


def _turned(tables: PieceTables, piece: Piece, side: SawnSide, keep: int) -> Found:
    """A half turned on from its face."""
    state, turn = tables.at(side.clock)
    corner = _corner(state, side)
    if corner < 0:
        return [], 0.0
    found = [_of_half(half) for half in half_choices(state, tables.evaluator, piece, turn, corner, keep)]
    return found, float(state.halves[turn, corner])


def _of_half(half: HalfChoice) -> FirstSettingChoice:
    """A half's column where it comes first."""
    return FirstSettingChoice(half.column, _fullest_first(half.above), _fullest_first(half.below))


def _fullest_first(bolts: BoltChoices) -> tuple[HalfChoice, ...]:
    """A bolt's fans where halves would stand: the fullest first, as the master's hint expects."""
    return tuple(HalfChoice(column, NO_BOLTS, NO_BOLTS) for column in reversed(bolts.columns))


def _as_log(tables: PieceTables, piece: Piece, side: SawnSide) -> Found:
    """Most of a log, opened on one side: any first setting, on what is left of it."""
    state, _ = tables.at(side.clock)
    rolls = list(range(tables.effort.rolls))
    columns = best_first_settings(state, rolls, LOG_FIRSTS)[: tables.effort.firsts]
    best = best_first_settings(state, rolls, 1)
    found = first_setting_choices(state, tables.evaluator, columns, tables.effort.halves, piece)
    return found, best[0].promise if best else 0.0


@dataclass(frozen=True, slots=True)
class _Beside:
    """The other side of a piece, square to the one its slabs run along.

    Attributes
    ----------
    corner : int
        Index of its corner; −1 if none.
    back : bool
        Whether it lies a quarter turn back; then slabs reach up to it, else from it on.
    across : int
        Where it stands, in cells across.
    """

    corner: int
    back: bool
    across: int

    def bolt(self, turn: int, rolls: int, up: int) -> BoltPlace:
        """What is left beyond the corner `up` of a slab whose normal is at `turn`."""
        quarter = rolls // 2
        if self.back:
            return BoltPlace((turn - quarter) % (2 * rolls), quarter, up, self.corner)
        return BoltPlace(turn, quarter, self.corner, up)


def _beside(state: SolvedTables, side: SawnSide, sides: Sequence[SawnSide]) -> _Beside | None:
    """The other side of a piece where it stands square to this one."""
    other = next((one for one in sides if abs(abs(angle_between(one.clock, side.clock)) - np.pi / 2) < SAME_ROLL), None)
    if other is None:
        return None
    back = angle_between(other.clock, side.clock) < 0.0
    across = int(np.ceil(other.corner / state.tables.slabs.across_step - 1e-6)) * (-1 if back else 1)
    return _Beside(_corner(state, other), back, across)


def _along(tables: PieceTables, piece: Piece, side: SawnSide, sides: Sequence[SawnSide], keep: int) -> Found:
    """Slabs parallel to a face, from it inwards; what is left beyond them is a half, or a bolt where another side bounds it."""
    state, turn = tables.at(side.clock)
    slabs, grid, evaluator = state.tables.slabs, state.tables.grid, tables.evaluator
    beside = _beside(state, side, sides)
    edge, place = (0, -slabs.half_across) if beside is None else (int(beside.back), beside.across)
    slab = restricted(slabs, turn, edge, place)
    stack = stack_table(slab, slabs.cells, slabs.kerf_cells)
    first = max(int(np.ceil(side.corner / slabs.depth_step - 1e-6)) + slabs.half_depth, 0)
    ranked: list[tuple[float, int]] = []
    for h in range(first + 1, stack.shape[0]):
        worth = stack[first, h]
        if worth <= SAME_WORTH or (h > first + 1 and worth <= stack[first, h - 1] + SAME_WORTH):
            continue  # no slab ends here: an earlier end leaves more beyond
        ranked.append((worth - state.tables.charge + _beyond(state, turn, beside, h), h))
    out: list[FirstSettingChoice] = []
    role = "log" if piece.kind == "log" else "half"
    for _, high in sorted(ranked, key=lambda one: (-one[0], one[1]))[:keep]:
        cut = tuple(unstack(slabs, slab, stack, first, high))
        if not cut:
            continue
        setting = LayoutSetting(grid.roll(turn), slabs_in_mm(state.tables, cut), role=role, prices=evaluator.prices)
        got = evaluator.yields(setting, piece)
        up = _upper_corner(state, high)
        above: tuple[HalfChoice, ...] = ()
        if up >= 0 and beside is None:
            above = half_choices(state, evaluator, got.above, turn, up, tables.effort.halves)
        elif up >= 0 and beside is not None and beside.corner >= 0:
            above = _fullest_first(bolt_choices(state, evaluator, got.above, beside.bolt(turn, grid.rolls, up)))
        column = LaidColumn(setting, got.plates, 1, float(stack[first, high]))
        out.append(FirstSettingChoice(column, above, ()))
    return out, max((promise for promise, _ in ranked), default=0.0)


def _upper_corner(state: SolvedTables, high: int) -> int:
    """Index of the corner that a slab ending at a cell leaves beyond its kerf; −1 if none."""
    slabs = state.tables.slabs
    gap = slabs.kerf_cells * slabs.depth_step
    return int(face_index(state.tables.faces, (high - slabs.half_depth) * slabs.depth_step + gap))


def _beyond(state: SolvedTables, turn: int, beside: _Beside | None, high: int) -> float:
    """What is left beyond a slab that ends at a cell is worth at most."""
    tables, up = state.tables, _upper_corner(state, high)
    if up < 0:
        return 0.0
    if beside is None:
        return float(state.halves[turn, up])
    if beside.corner < 0:
        return 0.0
    bolt = beside.bolt(turn, tables.grid.rolls, up)
    return float(tables.bolts[tables.square, bolt.base, bolt.far, bolt.near])


def _fanned(tables: PieceTables, piece: Piece, side: SawnSide, sides: Sequence[SawnSide]) -> list[Found]:
    """Radial slabs of a bolt. Where no other side stands to this one as a half's cuts do, the fan is sought on either side of it."""
    state, turn = tables.at(side.clock)
    own, angles, square = _corner(state, side), state.tables.turns.angles, state.tables.square
    turns, quarter = 2 * state.tables.grid.rolls, state.tables.grid.rolls // 2
    ahead = [(a, one) for one in sides if (a := _opening(state, one, side)) is not None]
    if ahead:
        a, near_side = ahead[0]
        opening = int(angles[a])
        ways = [(a, BoltPlace((turn + quarter - opening) % turns, opening, _corner(state, near_side), own))]
    elif any(_opening(state, side, one) is not None for one in sides):
        ways = []  # seen from that side
    else:
        opening = int(angles[square])
        ways = [
            (square, BoltPlace(turn % turns, opening, 0, own)),
            (square, BoltPlace((turn - quarter) % turns, opening, own, 0)),
        ]
    out = []
    for a, place in ways:
        if place.holds_slabs:
            group = bolt_choices(state, tables.evaluator, piece, place)
            choices = [FirstSettingChoice(column, (), ()) for column in reversed(group.columns)]
            out.append((choices, float(state.tables.bolts[a, place.base, place.far, place.near])))
    return out


def _opening(state: SolvedTables, near: SawnSide, far: SawnSide) -> int | None:
    """Which of the grid's openings a wedge between two sides has, the near one's normal further on; None: none of them."""
    step = np.pi / state.tables.grid.rolls
    apart = np.abs(np.pi - state.tables.turns.angles * step - angle_between(near.clock, far.clock))
    return int(apart.argmin()) if apart.min() < SAME_ROLL else None


def as_choice(evaluator: ColumnEvaluator, setting: LayoutSetting, piece: Piece) -> FirstSettingChoice:
    """A given layout of a piece as a choice: its setting, and what follows on either side to be taken or left."""
    got = evaluator.yields(setting, piece)
    alone = replace(setting, above=None, below=None)
    column = LaidColumn(alone, got.plates, _charged(evaluator, setting, piece), 0.0)

    def side(child: LayoutSetting | None, rest: Piece) -> tuple[HalfChoice, ...]:
        if child is None:
            return ()
        total, charged = _whole(evaluator, child, rest)
        return (HalfChoice(LaidColumn(child, total, charged, 0.0), NO_BOLTS, NO_BOLTS),)

    return FirstSettingChoice(column, side(setting.above, got.above), side(setting.below, got.below))


def _charged(evaluator: ColumnEvaluator, setting: LayoutSetting, piece: Piece) -> int:
    """Whether a setting is charged: all are but a bolt's run parallel to a face it has."""
    return int(setting.role != "bolt" or evaluator.charges(setting, piece))


def _whole(evaluator: ColumnEvaluator, setting: LayoutSetting, piece: Piece) -> tuple[tuple[int, ...], int]:
    """Plates and charged settings of a layout with all that follows."""
    got = evaluator.yields(setting, piece)
    charged = _charged(evaluator, setting, piece)
    total = np.array(got.plates)
    for child, rest in ((setting.above, got.above), (setting.below, got.below)):
        if child is not None:
            more, also = _whole(evaluator, child, rest)
            total, charged = total + np.array(more), charged + also
    return tuple(int(v) for v in total), charged
