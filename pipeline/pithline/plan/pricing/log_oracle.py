"""The best layouts of one log at given prices of plates, by exact programmes on the grid, and what none of them can exceed."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Generic, TypeVar

import numpy as np
from numpy.typing import NDArray

from pithline.plan.pricing.log_grid import GridSlab, LogGrid
from pithline.plan.problem.economics import Charges
from pithline.plan.problem.layout import LayoutSetting
from pithline.plan.programmes.cradled_fans import fan_to_saw, parted_off
from pithline.plan.programmes.fan_bounds import fan_bounds
from pithline.plan.programmes.fan_runs import NEVER, FanGrid, FanRuns, fan_runs
from pithline.plan.programmes.first_settings import (
    First,
    best_span,
    by_halves,
    first_settings,
    half_faces,
    in_menu,
    number_by_halves,
)
from pithline.plan.programmes.halves import (
    bounded_slabs,
    face_index,
    half_corners,
    half_place,
    half_slabs,
    half_table,
    stack_table,
    unstack,
)
from pithline.plan.programmes.slab_values import PlateWorth, slab_values

Array = NDArray[np.float64]
Slab = TypeVar("Slab")
"""What a slab is known by: its place on a grid, or its own faces."""


@dataclass(frozen=True, slots=True)
class BoltClass:
    """How bolts may be sawn: the angles of the cradles, and whether at others; on the mill where the shop's saw cannot take them.

    `sawn` False leaves every bolt whole. `least_flat` is what the slab on which a bolt lies flat must measure. [mm]
    """

    name: str
    cradles_deg: tuple[float, ...] = ()
    any_angle: bool = False
    sawn: bool = True
    on_mill: bool = False
    least_flat: float = 0.0


@dataclass(frozen=True, slots=True)
class Component(Generic[Slab]):
    """One setting of one piece without what follows: how it is drawn, its slabs, its charge, the cradles it uses."""

    setting: LayoutSetting
    slabs: tuple[Slab, ...]
    charge: float
    cradles: tuple[int, ...] = ()  # angle of the cradle that holds it, roll steps; none where a run is not posed


@dataclass(frozen=True, slots=True)
class Way(Generic[Slab]):
    """A setting of a piece, and the ways to go on with what it leaves above and below: alternatives, best first; none leaves it."""

    own: Component[Slab]
    above: tuple[Way[Slab], ...] = ()
    below: tuple[Way[Slab], ...] = ()

    @property
    def best(self) -> tuple[Component[Slab], ...]:
        """The components of the best way to go on."""
        rest = [one for side in (self.above, self.below) for one in side[:1]]
        return (self.own, *(component for one in rest for component in one.best))


@dataclass(frozen=True, slots=True)
class PricedLog:
    """Slab values of one log at one set of prices; `mill` and `shop` read them with the kerf of either saw."""

    grid: LogGrid
    worth: PlateWorth
    mill: FanGrid
    shop: FanGrid


@dataclass(frozen=True, slots=True)
class SolvedLog:
    """A priced log with what its bolts and halves are worth: `bolts` (angles, turns, far, near), `halves` (angles, turns, corners).

    `promises` (rolls, low, high) are what first settings are worth with all that follows, by the cells that their stack spans; −∞ where
    they are no stack. `firsts` are the best of them.
    """

    priced: PricedLog
    bolt_class: BoltClass
    charges: Charges
    bolt_charges: Charges
    angles: NDArray[np.int64]
    runs: Mapping[int, FanRuns]  # by opening, roll steps
    parts: Mapping[int, Array]  # by opening, what bolts that others part off are worth: (turns, far, near)
    bolts: Array
    halves: Array
    promises: Array
    firsts: tuple[First, ...]

    @property
    def bound(self) -> float:
        """No layout of the class on the grid is worth more at these prices, net of charges."""
        return max(self.firsts[0].promise, 0.0) if self.firsts else 0.0

    @property
    def faces(self) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """See `half_faces`."""
        grid = self.priced.grid
        return half_faces(self.priced.mill, grid.grid, grid.corners)


def price_log(grid: LogGrid, worth: PlateWorth, mill_kerf: float, shop_kerf: float) -> PricedLog:
    """Value every slab of one log at given prices."""
    stated = grid.grid
    shape = (stated.rolls, 2, len(stated.depths), len(grid.rules.menu), len(stated.across) + 1)
    values = np.zeros(shape, np.float32)
    for k in range(stated.rolls):
        values[k] = slab_values(*grid.passing(k), grid.rules, worth)

    def read(kerf: float) -> FanGrid:
        return FanGrid(
            values,
            grid.rules.menu,
            grid.cells,
            stated.depth_step,
            stated.across_step,
            grid.half_depth,
            grid.half_across,
            kerf,
            int(np.ceil(kerf / stated.depth_step - 1e-6)),
        )

    return PricedLog(grid, worth, read(mill_kerf), read(shop_kerf))


def cradle_steps(bolts: BoltClass, rolls: int) -> Mapping[int, float]:
    """The cradles' angles in roll steps, and in degrees as they are."""
    return {round(angle * rolls / 180.0): angle for angle in bolts.cradles_deg}


def solve_log(
    priced: PricedLog,
    bolts: BoltClass,
    charges: tuple[Charges, Charges],
    angles: NDArray[np.int64],
    locked: tuple[bool, float | None],
) -> SolvedLog:
    """Run the programmes for bolts, halves and first settings.

    Parameters
    ----------
    priced : PricedLog
        Slab values of the log.
    bolts : BoltClass
        How its bolts may be sawn.
    charges : (Charges, Charges)
        Of settings on the mill, and in the shop.
    angles : (a,) int array
        How far a half may be turned, roll steps, rising and symmetric about the quarter turn.
    locked : (bool, float or None)
        Whether the first setting keeps the grid's roll 0; the thickness of its one slab, or None. [mm]
    """
    rolls, corners = priced.grid.grid.rolls, priced.grid.corners
    turns = 2 * rolls
    table = np.zeros((len(angles), turns, len(corners), len(corners)))
    runs: dict[int, FanRuns] = {}
    parts: dict[int, Array] = {}
    on_mill, in_shop = charges
    own = on_mill if bolts.on_mill else in_shop
    cost = dict.fromkeys(cradle_steps(bolts, rolls), own.repeat)
    if bolts.sawn:
        g = priced.mill if bolts.on_mill else priced.shop
        spread, free = (max(1, rolls // 18), own.setting) if bolts.any_angle else (0, NEVER)
        every = np.arange(turns)
        openings = {angle: fan_runs(angle, cost, own.flat, spread, free, bolts.least_flat) for angle in angles.tolist()}
        for opening in sorted({int(one.steps[k]) for one in openings.values() for k in one.parting}):
            runs[opening] = fan_runs(opening, cost, own.flat, spread, free, bolts.least_flat)
            whole = np.zeros((len(runs[opening].steps), turns, len(corners), len(corners)))
            parts[opening] = fan_bounds(g, runs[opening], every, corners, whole)
        for a, angle in enumerate(angles.tolist()):
            runs[angle] = openings[angle]
            table[a] = fan_bounds(g, runs[angle], every, corners, _parts_by_run(runs[angle], parts, table[a].shape))
    quarter = len(angles) // 2
    costs = on_mill.setting + np.where(np.arange(len(angles)) == quarter, 0.0, on_mill.off_square)
    halves = half_table(priced.mill, angles, table, corners, costs)
    promises, firsts = first_settings(
        priced.mill, priced.grid.grid, corners, halves.max(axis=0), on_mill.setting, locked
    )
    return SolvedLog(priced, bolts, on_mill, own, angles, runs, parts, table, halves, promises, firsts)


def _parts_by_run(runs: FanRuns, parts: Mapping[int, Array], shape: tuple[int, ...]) -> Array:
    """What the bolts are worth that each run may part off (runs, turns, far, near)."""
    out = np.zeros((len(runs.steps), *shape))
    for k in runs.parting:
        out[k] = parts[int(runs.steps[k])]
    return out


def _slabs_within(g: FanGrid, slab: Array, span: tuple[int, int]) -> list[tuple[int, int]]:
    """The slabs of the best stack of a span, (lower cell, menu index) from the bottom up; one, be it worth nothing, at least."""
    found = unstack(slab, stack_table(slab, g.cells, g.kerf_cells), g.cells, g.kerf_cells, span)
    return found or [(span[0], int(g.cells.argmin()))]


def best_ways(
    solved: SolvedLog, firsts: int, halves: int, locked: tuple[bool, float | None]
) -> tuple[Way[GridSlab], ...]:
    """The best first settings, at most two of a roll, each with the best few ways to saw its halves; best first."""
    return tuple(_way(solved, first, halves, locked[1]) for first in best_firsts(solved, firsts))


def best_firsts(solved: SolvedLog, most: int) -> tuple[First, ...]:
    """The best first settings, at most two of a roll; best first."""
    out: list[First] = []
    of_roll: dict[int, int] = {}
    for first in solved.firsts:
        if len(out) == most:
            break
        if of_roll.get(first.roll, 0) == 2:
            continue
        of_roll[first.roll] = of_roll.get(first.roll, 0) + 1
        out.append(first)
    return tuple(out)


def promises_by_halves(solved: SolvedLog) -> Array:
    """What first settings promise by the halves that they leave, one after the other; see `by_halves`."""
    return by_halves(solved.promises, *solved.faces).ravel()


def numbers_of_best(solved: SolvedLog, firsts: int) -> tuple[int, ...]:
    """The numbers of the first settings of `best_ways` among `promises_by_halves`."""
    faces = solved.faces
    return tuple(number_by_halves(first, *faces) for first in best_firsts(solved, firsts))


def way_of_first(solved: SolvedLog, number: int, halves: int) -> Way[GridSlab]:
    """One first setting, by its number among `promises_by_halves`, with the best few ways to saw its halves."""
    under, over = solved.faces
    roll, (low, high) = best_span(solved.promises, under, over, number)
    promise = float(solved.promises[roll, low, high])
    return _way(solved, First(roll, (low, high), int(under[low]), int(over[high]), promise), halves, None)


def _way(solved: SolvedLog, first: First, halves: int, only: float | None) -> Way[GridSlab]:
    """A first setting, of one slab of a thickness [mm] where it is locked to that, with the best few ways to saw its halves."""
    priced = solved.priced
    g, rolls = priced.mill, priced.grid.grid.rolls
    slab = bounded_slabs(g, first.roll, 0, -g.half_across)
    slabs = _slabs_within(g, slab, first.span) if only is None else [(first.span[0], in_menu(g, only))]
    own = _component(priced, first.roll, slabs, "log", solved.charges.setting, lambda low, t: (0, -g.half_across))
    above = half_ways(solved, first.roll, first.over, halves)
    below = half_ways(solved, first.roll + rolls, first.under, halves)
    return Way(own, above, below)


def _component(
    priced: PricedLog,
    turn: int,
    slabs: Sequence[tuple[int, int]],
    role: str,
    charge: float,
    bounds: Callable[[int, int], tuple[int, int]],
) -> Component[GridSlab]:
    """A setting of parallel slabs, (lower cell, menu index) from the bottom up; `bounds` gives side and place of each."""
    grid = priced.grid
    drawn, cells = [], []
    for l, t in slabs:
        low = l - grid.half_depth
        drawn.append(grid.drawn(low, t))
        cells.append(grid.slab(turn, low, t, *bounds(low, t)))
    setting = LayoutSetting(grid.grid.roll(turn), tuple(reversed(drawn)), role=role)
    return Component(setting, tuple(cells), charge)


def half_ways(solved: SolvedLog, turn: int, corner: int, keep: int) -> tuple[Way[GridSlab], ...]:
    """The best few ways to saw the half beyond a face, different in the bolts they leave; best first."""
    if corner < 0:
        return ()
    priced = solved.priced
    g, corners = priced.mill, priced.grid.corners
    rolls = priced.grid.grid.rolls
    turn %= 2 * rolls
    face = float(corners[corner])
    found: list[tuple[float, int, int, int, tuple[int, int]]] = []
    for a, angle in enumerate(solved.angles.tolist()):
        if solved.halves[a, turn, corner] <= 0.0:
            continue
        slab = half_slabs(g, turn, angle, face)
        stack = stack_table(slab, g.cells, g.kerf_cells)
        below = solved.bolts[a, (turn - rolls // 2) % (2 * rolls), :, corner]
        above = solved.bolts[len(solved.angles) - 1 - a, (turn + angle - rolls // 2) % (2 * rolls), corner]
        total, cells = half_corners(g, stack, below, above, corners)
        total -= solved.charges.setting + (0.0 if 2 * angle == rolls else solved.charges.off_square)
        for place in np.argsort(-total, axis=None, kind="stable")[:keep]:
            j, k = (int(v) for v in np.unravel_index(place, total.shape))
            if total[j, k] > 0.0:
                found.append((float(total[j, k]), a, j, k, (int(cells[j, k, 0]), int(cells[j, k, 1]))))
    out = []
    for _, a, j, k, span in sorted(found, key=lambda one: (-one[0], one[1:]))[:keep]:
        angle = int(solved.angles[a])
        slab = half_slabs(g, turn, angle, face)
        slabs = _slabs_within(g, slab, span)

        def bounds(low: int, t: int, angle: int = angle) -> tuple[int, int]:
            return 1, -half_place(g, rolls, angle, face, low, t)

        charge = solved.charges.setting + (0.0 if 2 * angle == rolls else solved.charges.off_square)
        own = _component(priced, turn + angle, slabs, "half", charge, bounds)
        over = fan_of(solved, turn + angle - rolls // 2, len(solved.angles) - 1 - a, (k, corner))
        under = fan_of(solved, turn - rolls // 2, a, (corner, j))
        out.append(Way(own, over, under))
    return tuple(out)


def fan_of(solved: SolvedLog, base: int, opening: int, faces: tuple[int, int]) -> tuple[Way[GridSlab], ...]:
    """The best fans of one bolt, run by run: where a slab parts a bolt off it, that one, and the best without; none where it is left.

    Parameters
    ----------
    base : the direction along its near face, in rolls
    opening : index among the angles
    faces : near and far corner, indices; one that is no corner leaves the bolt whole
    """
    angle, corners = int(solved.angles[opening]), solved.priced.grid.corners
    if not solved.bolt_class.sawn or not all(0 <= one < len(corners) for one in faces):
        return ()
    runs, turns = solved.runs[angle], 2 * solved.priced.grid.grid.rolls
    worth = np.zeros((len(runs.steps), len(corners)))
    for k in runs.parting:
        worth[k] = solved.parts[int(runs.steps[k])][base % turns, :, faces[0]]
    found = _fan(solved, base % turns, angle, faces, worth)
    if any(way.below for way in found):
        found += _fan(solved, base % turns, angle, faces, np.zeros_like(worth))
    return found


def _fan(solved: SolvedLog, base: int, angle: int, faces: tuple[int, int], worth: Array) -> tuple[Way[GridSlab], ...]:
    """The best fan of a bolt that opens by `angle`; `worth` (runs, corners) as `parted_off` reads it."""
    corners, grid = solved.priced.grid.corners, solved.priced.grid
    rolls = grid.grid.rolls
    g = solved.priced.mill if solved.bolt_class.on_mill else solved.priced.shop
    runs = solved.runs[angle]
    near, far = float(corners[faces[0]]), float(corners[faces[1]])
    parted = parted_off(g, runs, corners, near, far, worth)
    out: tuple[Way[GridSlab], ...] = ()
    cradles = cradle_steps(solved.bolt_class, rolls)
    for run in reversed(fan_to_saw(g, runs, base, near, far, parted)):
        step, opens = int(runs.steps[run.direction]), int(runs.steps[-1])
        last = int(runs.steps[run.before]) if run.before >= 0 else 0
        turn = base + step + rolls // 2
        drawn = tuple(grid.drawn(low, t) for low, t, _ in sorted(run.slabs, reverse=True))
        cells = tuple(grid.slab(turn, low, t, 1, -place) for low, t, place in run.slabs)
        setting = LayoutSetting(grid.grid.roll(turn), drawn, role="bolt")
        held: tuple[int, ...]
        if step in (0, opens):
            held = (0,) if solved.bolt_class.on_mill else ()  # on the mill a bolt that lies on a face is posed too
        else:
            held = tuple(a for a in (step - last, step, opens - step) if a in cradles)[:1]
        under: tuple[Way[GridSlab], ...] = ()
        lowest = min(low for low, _, _ in run.slabs)
        if run.before < 0 and parted[run.direction, lowest + g.half_depth] > 0.0:
            face = face_index(corners, g.kerf - lowest * g.depth_step)
            nothing = np.zeros((len(solved.runs[step].steps), len(corners)))
            under = _fan(solved, base, step, (faces[0], int(face)), nothing) if face >= 0 else ()
        charge = float(runs.cost[run.before + 1, run.direction])
        out = (Way(Component(setting, cells, charge, held), out, under),)
    return out
