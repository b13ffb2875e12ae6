"""Ways to go on with the pieces of a log that is open already: halves, bolts, or what a broken-off setting left.

Every piece is searched on grids that start at its own sawn faces, so each face is a roll of a grid. What a way gives is read on its
true slabs, since a piece may have more faces than the programmes know.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from pithline.geometry.pieces import Face, Piece
from pithline.plan.execute.drawn_poser import DrawnPoser
from pithline.plan.execute.slab_faces import SNAP_DISTANCE, parallel_faces, slab_frame
from pithline.plan.execute.slab_fill import SlabPlaces, places_in, slab_key
from pithline.plan.pricing.log_grid import GridSlab, LogGrid, log_grid
from pithline.plan.pricing.log_oracle import (
    BoltClass,
    Component,
    SolvedLog,
    Way,
    best_ways,
    fan_of,
    half_ways,
    price_log,
    solve_log,
)
from pithline.plan.problem.context import SearchContext
from pithline.plan.problem.effort import rolls_for
from pithline.plan.problem.layout import LayoutSetting, Locks
from pithline.plan.problem.log_frame import PlanLog
from pithline.plan.programmes.halves import bounded_slabs, face_index, stack_table, unstack
from pithline.plan.programmes.slab_values import PlateWorth
from pithline.plan.replan.remaining_pieces import SAME_ROLL, RemainingPiece, SawnSide, angle_between, sides_of
from pithline.plan.replan.script_history import room_between_faces

Array = NDArray[np.float64]
SNAP_REACH = SNAP_DISTANCE - 1.0
"""The outermost slab is moved onto a face that it reaches past by less than this. [mm]"""
FACE_ROOM = 1.0
"""Other slabs keep this clear of a face. [mm]"""
COMPARED = 1.5
"""Multiplies the steps at which true slabs are looked at."""


@dataclass(frozen=True, slots=True)
class TrueSlabs:
    """The true slabs of one log's ways, each looked at once; `places` hold what was seen, by the slabs' faces; filled."""

    log: PlanLog
    context: SearchContext
    on_mill: bool
    places: dict[bytes, SlabPlaces | None] = field(default_factory=dict)

    def of(self, setting: LayoutSetting, piece: Piece) -> tuple[tuple[bytes, ...], Piece, Piece, bool]:
        """The keys of a setting's slabs that hold a plate; what is left above and below; whether the slabs lie within the piece."""
        poser = DrawnPoser(self.log, self.context.machines, self.on_mill)
        posed = poser.pose(setting, piece)
        keys = []
        for slab in posed.slabs:
            frame = slab_frame(self.log, piece, posed.normal, slab.low, slab.top)
            key = slab_key(frame)
            if key not in self.places:
                self.places[key] = places_in(self.log, frame, self.context.task, True, COMPARED)
            if self.places[key] is not None:
                keys.append(key)
        n, k = posed.normal, posed.kerf
        over = Piece("a", "bolt", (*piece.faces, Face(tuple(-n), -(posed.slabs[0].top + k), "t")))
        under = Piece("b", "bolt", (*piece.faces, Face(tuple(n), posed.slabs[-1].low - k, "t")))
        low, high = room_between_faces(piece, n, self.log.origin + self.log.axis * self.log.reach / 2)
        within = posed.slabs[-1].low >= low - SNAP_REACH and posed.slabs[0].top <= high + SNAP_REACH
        within = within and all(slab.low >= low + FACE_ROOM for slab in posed.slabs[:-1])
        within = within and all(slab.top <= high - FACE_ROOM for slab in posed.slabs[1:])
        return tuple(keys), over, under, within

    def way(self, way: Way[GridSlab], piece: Piece) -> Way[bytes] | None:
        """A way with the slabs that the piece truly has; None where its own slabs do not lie within the piece."""
        keys, over, under, within = self.of(way.own.setting, piece)
        if not within:
            return None
        own = Component(way.own.setting, keys, way.own.charge, way.own.cradles)
        above = tuple(one for each in way.above if (one := self.way(each, over)) is not None)
        below = tuple(one for each in way.below if (one := self.way(each, under)) is not None)
        return Way(own, above, below)

    def as_way(self, setting: LayoutSetting, piece: Piece) -> Way[bytes]:
        """A given layout of a piece as a way: its setting, and what follows on either side to be taken or left."""
        keys, over, under, _ = self.of(setting, piece)
        economics = self.context.economics
        charge = economics.mill.setting
        cradles: tuple[int, ...] = ()
        if setting.role == "bolt":
            flat = parallel_faces(
                self.log, piece, DrawnPoser(self.log, self.context.machines).pose(setting, piece).normal
            )
            own = economics.mill if self.on_mill else economics.shop
            charge = own.flat if flat.any else own.setting
        alone = replace(setting, above=None, below=None)
        above = () if setting.above is None else (self.as_way(setting.above, over),)
        below = () if setting.below is None else (self.as_way(setting.below, under),)
        return Way(Component(alone, keys, charge, cradles), above, below)


def slabs_of(way: Way[bytes]) -> Iterator[bytes]:
    """The keys of all slabs of a way, those of every alternative among them."""
    yield from way.own.slabs
    for one in (*way.above, *way.below):
        yield from slabs_of(one)


def best_parts(way: Way[bytes], values: Mapping[bytes, float]) -> tuple[float, tuple[Component[bytes], ...]]:
    """What a way is worth at best, net of its charges, where each slab counts as given; and the components of that."""
    worth = sum(values[key] for key in way.own.slabs) - way.own.charge
    parts: tuple[Component[bytes], ...] = (way.own,)
    for side in (way.above, way.below):
        more, own = max((best_parts(one, values) for one in side), key=lambda found: found[0], default=(0.0, ()))
        if more > 0.0:
            worth, parts = worth + more, (*parts, *own)
    return worth, parts


@dataclass(frozen=True, slots=True)
class PieceGrids:
    """Grids of one log, each made when a piece's face first asks for it; `made` is filled."""

    log: PlanLog
    context: SearchContext
    bolts: BoltClass
    made: list[LogGrid] = field(default_factory=list)

    def at(self, clock: float) -> tuple[int, int]:
        """The number of a grid that has the clock angle among its rolls, and the roll's index."""
        for number, one in enumerate(self.made):
            step = np.pi / one.grid.rolls
            place = ((clock - one.grid.start) / step) % (2 * one.grid.rolls)
            index = round(place)
            if abs(place - index) * step < SAME_ROLL:
                return number, index % (2 * one.grid.rolls)
        context = self.context.with_locks(Locks(roll=clock))
        rolls = rolls_for(context.effort, context.machines, self.bolts.on_mill)
        self.made.append(log_grid(self.log, context, rolls, lambda part: None))
        return len(self.made) - 1, 0

    def solved(self, worth: PlateWorth) -> list[SolvedLog]:
        """All grids made so far, at the worth of plates."""
        machines, economics = self.context.machines, self.context.economics
        out = []
        for one in self.made:
            priced = price_log(one, worth, machines.mill.kerf, machines.resaw.kerf)
            angles = np.array([one.grid.rolls // 2])
            out.append(solve_log(priced, self.bolts, (economics.mill, economics.shop), angles, (False, None)))
        return out


def piece_ways(
    rest: RemainingPiece, grids: PieceGrids, solved: Sequence[SolvedLog]
) -> tuple[list[Way[GridSlab]], float]:
    """Ways to go on with an opened piece, on the grid: turned on, parallel to a face, fanned; and what none of them can exceed."""
    found: list[Way[GridSlab]] = []
    bound = 0.0
    sides, piece = sides_of(rest.log, rest.piece), rest.piece
    keep = grids.context.effort.halves
    for side in sides:
        number, turn = grids.at(side.clock)
        state = solved[number]
        ways = [_along(state, turn, piece, side, sides, keep)]
        if piece.kind == "log":
            ways.append((list(best_ways(state, grids.context.effort.firsts, keep, (False, None))), state.bound))
        if piece.kind != "bolt" and len(sides) == 1:
            ways.append(_turned(state, turn, side, keep))
        if len(sides) > 1:
            ways += _fanned(state, turn, side, sides)
        for own, most in ways:
            found += own
            bound = max(bound, most)
    return found, bound


def _corner(state: SolvedLog, side: SawnSide) -> int:
    return int(face_index(state.priced.grid.corners, side.corner))


def _turned(state: SolvedLog, turn: int, side: SawnSide, keep: int) -> tuple[list[Way[GridSlab]], float]:
    """A half turned on from its face."""
    corner = _corner(state, side)
    if corner < 0:
        return [], 0.0
    return list(half_ways(state, turn, corner, keep)), float(state.halves[:, turn, corner].max())


def _along(
    state: SolvedLog, turn: int, piece: Piece, side: SawnSide, sides: Sequence[SawnSide], keep: int
) -> tuple[list[Way[GridSlab]], float]:
    """Slabs parallel to a face, from it inwards; what is left beyond them is a half, or a bolt where another side bounds it."""
    grid, g = state.priced.grid, state.priced.mill
    rolls, step = grid.grid.rolls, grid.grid.depth_step
    quarter, turns = rolls // 2, 2 * rolls
    beside = next(
        (one for one in sides if abs(abs(angle_between(one.clock, side.clock)) - np.pi / 2) < SAME_ROLL), None
    )
    edge, place = 0, -g.half_across
    if beside is not None:
        left = angle_between(beside.clock, side.clock) < 0.0
        edge = 1 if left else 0
        place = int(np.ceil(beside.corner / grid.grid.across_step - 1e-6)) * (-1 if left else 1)
    slab = bounded_slabs(g, turn, edge, place)
    stack = stack_table(slab, g.cells, g.kerf_cells)
    first = max(int(np.ceil(side.corner / step - 1e-6)) + g.half_depth, 0)
    corner = -1 if beside is None else _corner(state, beside)
    square = len(state.angles) // 2

    def beyond(h: int) -> tuple[float, int]:
        up = int(face_index(grid.corners, (h - g.half_depth + g.kerf_cells) * step))
        if up < 0 or (beside is not None and corner < 0):
            return 0.0, -1
        if beside is None:
            return float(state.halves[:, turn, up].max()), up
        if edge:  # the other side lies a quarter back
            return float(state.bolts[square, (turn - quarter) % turns, corner, up]), up
        return float(state.bolts[square, turn % turns, up, corner]), up

    ranked: list[tuple[float, int, int]] = []
    for h in range(first + 1, stack.shape[0]):
        if stack[first, h] <= 1e-9 or (h > first + 1 and stack[first, h] <= stack[first, h - 1] + 1e-9):
            continue  # no slab ends here: an earlier end leaves more beyond
        worth, up = beyond(h)
        ranked.append((float(stack[first, h]) - state.charges.setting + worth, h, up))
    out: list[Way[GridSlab]] = []
    role = "log" if piece.kind == "log" else "half"
    for _, h, up in sorted(ranked, key=lambda one: (-one[0], one[1]))[:keep]:
        slabs = unstack(slab, stack, g.cells, g.kerf_cells, (first, h))
        if not slabs:
            continue
        drawn = tuple(grid.drawn(l - g.half_depth, t) for l, t in reversed(slabs))
        cells = tuple(grid.slab(turn, l - g.half_depth, t, edge, place) for l, t in slabs)
        own = Component(LayoutSetting(grid.grid.roll(turn), drawn, role=role), cells, state.charges.setting)
        above: tuple[Way[GridSlab], ...] = ()
        if up >= 0 and beside is None:
            above = half_ways(state, turn, up, keep)
        elif up >= 0:
            base, faces = (turn - quarter, (up, corner)) if edge else (turn, (corner, up))
            above = fan_of(state, base, square, faces)
        out.append(Way(own, above))
    return out, max((one[0] for one in ranked), default=0.0)


def _fanned(
    state: SolvedLog, turn: int, side: SawnSide, sides: Sequence[SawnSide]
) -> list[tuple[list[Way[GridSlab]], float]]:
    """Radial slabs of a bolt. Where no other side stands square to this one, the fan is sought on either side of it."""
    rolls = state.priced.grid.grid.rolls
    quarter, square = rolls // 2, len(state.angles) // 2
    own = _corner(state, side)
    ahead = [one for one in sides if _square_to(one, side)]
    if ahead:
        ways = [(turn, _corner(state, ahead[0]), own)]
    elif any(_square_to(side, one) for one in sides):
        ways = []  # seen from that side
    else:
        ways = [(turn, 0, own), (turn - quarter, own, 0)]
    out = []
    for base, near, far in ways:
        if near >= 0 and far >= 0:
            found = fan_of(state, base, square, (near, far))
            out.append((list(found), float(state.bolts[square, base % (2 * rolls), far, near])))
    return out


def _square_to(near: SawnSide, far: SawnSide) -> bool:
    """Whether a wedge between two sides opens a quarter turn, the near one's normal further on."""
    return bool(abs(np.pi / 2 - angle_between(near.clock, far.clock)) < SAME_ROLL)
