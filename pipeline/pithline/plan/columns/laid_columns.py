"""Columns for the master: first settings, halves and bolts worth choosing from, each re-laid on the true planes.

A column knows what it yields of every part as it would really be laid out (`lay_out`), not as the grid saw it.
"""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from pithline.geometry.pieces import Face, Piece
from pithline.plan.columns.candidates import BoltPlace, FirstSetting, bolt_fan, slabs_in_mm
from pithline.plan.execute.ledger import vector
from pithline.plan.execute.simulate import DrawnPoser
from pithline.plan.execute.slab_faces import parallel_faces, slab_frame
from pithline.plan.execute.slab_layout import lay_out
from pithline.plan.execute.slab_view import SlabFrame
from pithline.plan.problem.layout import LayoutSetting
from pithline.plan.problem.log_frame import PlanLog, normal_at
from pithline.plan.problem.task import SawingTask
from pithline.plan.programmes.stacks import BoltCorners, beyond_face, half_corners, stack_table, unstack
from pithline.plan.programmes.tables import SolvedTables

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class LaidColumn:
    """One way to saw one piece.

    Attributes
    ----------
    setting : LayoutSetting
        Children left out, but for the chain of a bolt.
    plates : tuple of int
        By part, as laid out on the true planes.
    charged : int
        Charged settings.
    grid_value : float
        By the exact programmes, before charges.
    extra : float
        What it is charged beyond its settings: a half that is not turned 90°.
    """

    setting: LayoutSetting
    plates: tuple[int, ...]
    charged: int
    grid_value: float
    extra: float = 0.0


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


@dataclass(frozen=True, slots=True)
class Yield:
    """What one setting gives: plates by part, and the pieces left above and below its slabs."""

    plates: tuple[int, ...]
    above: Piece
    below: Piece


YieldCache = dict[Hashable, NDArray[np.int64]]
"""Plates by part of slabs that were laid out already, by where they lie and at what prices; of one log and one list of parts."""


@dataclass(frozen=True, slots=True)
class ColumnEvaluator:
    """Lays slabs out once each, on their true planes.

    Attributes
    ----------
    log : PlanLog
        The log they come from.
    task : SawingTask
        Machines, parts and what is wanted of them.
    fine : float
        How finely; as for `lay_out`.
    prices : (p,) tuple, optional
        What a plate of each part counts while slabs are laid out; None: what the task says.
    on_mill : bool
        Whether bolts are too heavy or too long for the resaw, so that each of their settings is charged.
    cache : dict
        What was laid out already; filled.
    """

    log: PlanLog
    task: SawingTask
    fine: float = 2.0
    prices: tuple[float, ...] | None = None
    on_mill: bool = False
    cache: YieldCache = field(default_factory=dict)

    @property
    def poser(self) -> DrawnPoser:
        """Takes settings as drawn, on the mill."""
        return DrawnPoser(self.log, self.task.machines.mill.kerf)

    def yields(self, setting: LayoutSetting, piece: Piece) -> Yield:
        """What one setting of a piece gives."""
        posed = self.poser.pose(setting, piece)
        total = np.zeros(len(self.task.parts), int)
        for slab in posed.slabs:
            total += self._plates(slab_frame(self.log, piece, posed.normal, slab.low, slab.top), setting.prices)
        n, kerf = posed.normal, posed.kerf
        over = Piece("a", "bolt", (*piece.faces, Face(vector(-n), -(posed.slabs[0].top + kerf), "t")))
        under = Piece("b", "bolt", (*piece.faces, Face(vector(n), posed.slabs[-1].low - kerf, "t")))
        return Yield(tuple(int(v) for v in total), over, under)

    def charges(self, setting: LayoutSetting, piece: Piece) -> bool:
        """Whether a setting of a bolt is charged: all are but a run parallel to a face it has, against the fence."""
        return self.on_mill or not parallel_faces(self.log, piece, self.poser.pose(setting, piece).normal).any

    def _plates(self, frame: SlabFrame, prices: tuple[float, ...] | None) -> NDArray[np.int64]:
        """Plates by part of one slab."""
        key = (
            np.round(frame.normal, 9).tobytes(),
            round(frame.low, 4),
            round(frame.top, 4),
            tuple((np.round(n, 9).tobytes(), round(o, 4)) for n, o in frame.bounds),
            prices,
        )
        if key not in self.cache:
            task = self.task if prices is None else replace(self.task, worth=np.array(prices))
            count = np.zeros(len(self.task.parts), int)
            for strip in lay_out(self.log, frame, task, fine=self.fine):
                for billet in strip.billets:
                    count[billet.part] += len(billet.layers)
            self.cache[key] = count
        return self.cache[key]


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
        slabs = slabs_in_mm(state.tables, column.slabs)
        setting = LayoutSetting(grid.roll(column.roll), slabs, role="log", prices=evaluator.prices)
        got = evaluator.yields(setting, whole)
        above = half_choices(state, evaluator, got.above, column.roll, column.upper_face, halves)
        below = half_choices(state, evaluator, got.below, column.roll + grid.rolls, column.lower_face, halves)
        laid = LaidColumn(setting, got.plates, 1, column.value + state.tables.charge)
        out.append(FirstSettingChoice(laid, above, below))
    return out


def with_more_halves(
    state: SolvedTables, evaluator: ColumnEvaluator, column: FirstSetting, choice: FirstSettingChoice, keep: int
) -> FirstSettingChoice:
    """A choice with halves added that another view of the parts makes of what its first setting leaves."""
    got = evaluator.yields(choice.column.setting, evaluator.log.piece)
    last, rolls = len(state.tables.faces) - 1, state.tables.grid.rolls
    above = half_choices(state, evaluator, got.above, column.roll, min(column.upper_face, last), keep)
    below = half_choices(state, evaluator, got.below, column.roll + rolls, min(column.lower_face, last), keep)
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
        way
        for a in range(len(tables.turns.angles))
        if a != tables.square and state.by_angle[a, turn, face] > enough  # 0 at rolls where they are not looked for
        for way in _half_ways(state, turn, face, a, keep)
        if way.total > enough
    ]
    ways += sorted(leaning, key=lambda way: -way.total)[:keep]
    out = []
    for way in sorted(ways, key=lambda way: -way.total):
        angle, extra = int(tables.turns.angles[way.angle]), float(tables.extra[way.angle])
        slabs = slabs_in_mm(tables, way.slabs)
        setting = LayoutSetting(grid.roll(turn + angle), slabs, role="half", prices=evaluator.prices)
        got = evaluator.yields(setting, piece)
        high = BoltPlace((turn + angle - quarter) % turns, 2 * quarter - angle, way.up, face)
        low = BoltPlace((turn - quarter) % turns, angle, face, way.down)
        out.append(
            HalfChoice(
                LaidColumn(setting, got.plates, 1, way.stack - extra, extra),
                bolt_choices(state, evaluator, got.above, high),
                bolt_choices(state, evaluator, got.below, low),
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
    tables, slabs = state.tables, state.tables.slabs
    turns, quarter, angle = 2 * slabs.rolls, slabs.rolls // 2, int(tables.turns.angles[a])
    slab = beyond_face(slabs, turn, angle, float(tables.faces[face]))
    stack = stack_table(slab, slabs.cells, slabs.kerf_cells)
    below = tables.bolts[a, (turn - quarter) % turns, :, face]
    above = tables.bolts[len(tables.turns.angles) - 1 - a, (turn + angle - quarter) % turns, face]
    total, cells = half_corners(slabs, stack, BoltCorners(below, above, tables.faces))
    total -= tables.charge + tables.extra[a]
    out = []
    for place in np.argsort(-total, axis=None, kind="stable")[:keep]:
        j, k = np.unravel_index(place, total.shape)
        if total[j, k] <= 0.0:
            break
        l, h = (int(v) for v in cells[j, k])
        down, up = (int(v) if v < len(tables.faces) else -1 for v in (j, k))
        cut = tuple(unstack(slabs, slab, stack, l, h))
        out.append(_HalfWay(a, cut, down, up, float(stack[l, h]), float(total[j, k])))
    return out


def bolt_choices(state: SolvedTables, evaluator: ColumnEvaluator, piece: Piece, place: BoltPlace) -> BoltChoices:
    """Leave a bolt whole, or fan it in one, two, … charged settings."""
    out: list[LaidColumn] = []
    corner = true_corner(state, evaluator.log, piece, place)
    for most in range(state.tables.rule.settings_max + 1):
        value = bolt_fan(state, place, most)[1]
        chain = with_prices(bolt_fan(state, place, most, corner)[0], evaluator.prices)
        if chain is None or (out and abs(value - out[-1].grid_value) < SAME_VALUE):
            continue
        out.append(_chain_column(evaluator, chain, piece, value))
    return BoltChoices(tuple(out))


SAME_VALUE = 1e-9
"""Fans that differ by less are one."""


def _chain_column(evaluator: ColumnEvaluator, chain: LayoutSetting, piece: Piece, value: float) -> LaidColumn:
    """A bolt's chain of settings, each of what the one before leaves above."""
    total = np.zeros(len(evaluator.task.parts), int)
    charged, rest = 0, piece
    node: LayoutSetting | None = chain
    while node is not None:
        got = evaluator.yields(node, rest)
        charged += evaluator.charges(node, rest)
        total += got.plates
        rest, node = got.above, node.above
    return LaidColumn(chain, tuple(int(v) for v in total), charged, value)


def true_corner(state: SolvedTables, log: PlanLog, piece: Piece, place: BoltPlace) -> tuple[float, float] | None:
    """Offsets from the chord of a bolt's near and far face, no further out than their places in the table. [mm]"""
    if not place.holds_slabs:
        return None
    grid, out = state.tables.grid, []
    quarter = grid.rolls // 2
    for turn, index in ((place.base + quarter, place.near), (place.base + place.opening - quarter, place.far)):
        normal = normal_at(log.axis, grid.roll(turn))
        floor = parallel_faces(log, piece, normal).floor
        offset = float(state.tables.faces[index])
        out.append(offset if floor is None else min(offset, floor - float(log.origin @ normal)))
    return out[0], out[1]


def with_prices(chain: LayoutSetting | None, prices: tuple[float, ...] | None) -> LayoutSetting | None:
    """A bolt's chain of settings, each laid out at these prices."""
    if chain is None or prices is None:
        return chain
    return replace(chain, above=with_prices(chain.above, prices), prices=prices)


def with_children(first: LayoutSetting, above: LayoutSetting | None, below: LayoutSetting | None) -> LayoutSetting:
    """A setting with what is done to the pieces it leaves."""
    return replace(first, above=above, below=below)
