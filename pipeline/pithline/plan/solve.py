"""From a log to the best layouts found: tables, exact programmes, columns, master."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pithline.errors import PlanError
from pithline.mill.machine import Machines
from pithline.plan.candidates import FirstColumn, Search, Tables, fan_values, first_columns, search
from pithline.plan.carry import Shop
from pithline.plan.columns import Choice, Evaluator, first_choices, more_halves
from pithline.plan.fans import FACE_CELLS, FAN_REACH
from pithline.plan.frame import PlanLog
from pithline.plan.master import Aim, Answer, choose
from pithline.plan.parts import SawnPart
from pithline.plan.slabs import Grid, make_grid, part_table, passes, roll_planes, slab_values

Array = NDArray[np.float64]
Progress = Callable[[str, float], None]
LITRE = 1e6
MOST_PER_BOLT = 4
"""Charged settings a bolt is given where the mill names no most."""


@dataclass(frozen=True, slots=True)
class Effort:
    """How finely a search looks. Deterministic: no clock."""

    name: str
    rolls: int  # over half a turn
    along_step: float
    bolt_step: int  # rolls between the bases of bolts, and so of halves
    fan_spread: int  # rolls between the directions of a fan
    firsts: int
    halves: int
    answers: int
    master: float  # deterministic seconds of CP-SAT


COARSE = Effort("coarse", 18, 25.0, 1, 1, 3, 1, 1, 10.0)
FULL = Effort("full", 36, 20.0, 2, 2, 5, 2, 2, 30.0)
EFFORTS = {one.name: one for one in (COARSE, FULL)}


@dataclass(frozen=True, slots=True)
class Found:
    """Layouts worth sawing, best first, and what is proven of them on the grid."""

    answers: tuple[Answer, ...]
    grid: Grid
    bound: float  # best value of any layout of the class on the grid, net of charges
    unit: float  # what one unit of value is: 1e6 mm³ for volumes, 1 for money
    considered: int
    words: str


def aim_of(
    objective: str, parts: tuple[SawnPart, ...], machines: Machines, reach: float, settings_max: int | None = None
) -> Aim:
    """What an objective makes of plates and settings; litres, or money."""
    mill = machines.mill
    if objective == "value":
        minutes = mill.minutes_per_setting + 3.0 * reach / mill.feed
        return Aim(np.array([p.price for p in parts]), minutes * mill.hour_rate / 60.0, False, settings_max)
    worth = np.array([p.volume for p in parts]) / LITRE
    if objective == "sets":
        return Aim(worth, 1e-3, True, settings_max)
    return Aim(worth, mill.least_gain_per_setting / LITRE, False, settings_max)


def thickness_max(machines: Machines) -> float:
    """Thickest slab every saw takes."""
    depths = [machines.rip.depth_max, machines.crosscut.depth_max or np.inf, machines.mill.throat]
    return float(min(depths))


def no_part(log: PlanLog, parts: tuple[SawnPart, ...]) -> PlanError:
    """Why nothing passes: the widest radial run and longest clear length against the parts."""
    field = log.field
    x = field.x0 + np.arange(len(field.pith)) * field.dx
    inside = (x > log.trim_butt) & (x < log.model.length - log.trim_top)
    run = float(np.median(field.radius[inside], axis=0).max()) - log.pith_radius if inside.any() else 0.0
    clear = log.model.length - log.trim_butt - log.trim_top
    shortest = min(parts, key=lambda p: p.length)
    narrowest = min(parts, key=lambda p: p.width)
    if clear < shortest.length:
        return PlanError(
            f"no part fits: the longest clear length is {clear:.0f} mm, the shortest part ({shortest.product} "
            f"{shortest.part.name}) needs {shortest.length:.0f} mm; choose a shorter part or lessen the trims."
        )
    if run < narrowest.width:
        return PlanError(
            f"no part fits: the widest radial run is {run:.0f} mm, the narrowest part ({narrowest.product} "
            f"{narrowest.part.name}) needs {narrowest.width:.0f} mm; choose a narrower part or another log."
        )
    limits = narrowest.limits
    return PlanError(
        f"no part fits: a run {run:.0f} mm wide and {clear:.0f} mm long is there, but no plate of it keeps the limits "
        f'"{limits.name}" (ring angle {np.degrees(limits.ring_angle_min):.0f}°, runout '
        f"{np.degrees(limits.runout_max):.1f}°); choose looser limits, shorter parts or another log."
    )


def no_gain(aim: Aim, best: float, objective: str) -> PlanError:
    """Why nothing pays: a setting is charged more than it yields."""
    unit, key = (" in money", "hour_rate") if objective == "value" else (" L", "least_gain_per_setting")
    return PlanError(
        f"no setting pays: each is charged {aim.charge:.3g}{unit}, and the best single slab yields {best:.3g}{unit}; "
        f"lower the mill's {key}."
    )


def settings_per_bolt(machines: Machines) -> int:
    """Charged settings that one bolt may have."""
    most = machines.mill.settings_per_bolt_max
    return MOST_PER_BOLT if most is None else most


def build_tables(
    log: PlanLog, parts: tuple[SawnPart, ...], aim: Aim, machines: Machines, effort: Effort, progress: Progress
) -> Tables:
    """Slab tables of all rolls, and the bolts' fans."""
    kerf = machines.mill.kerf
    grid = make_grid(log, parts, thickness_max(machines), effort.rolls, 2.5, effort.along_step, machines.resaw.kerf)
    table = part_table(parts, grid, aim.worth)
    menu = np.array(grid.thicknesses)
    cells = np.ceil(menu / grid.depth_step - 1e-6).astype(np.int64)
    rip = int(np.ceil(machines.rip.kerf / grid.across_step - 1e-6))
    values = None
    for k in range(effort.rolls):
        progress("slabs", 0.6 * k / effort.rolls)
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
        one = slab_values(
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
            1,
        )
        if values is None:
            values = np.zeros((effort.rolls, *one.shape), np.float32)
        values[k] = one
    assert values is not None
    faces = np.arange(-20.0, grid.depth_max + 10.0, 10.0)
    progress("bolts", 0.6)
    most = settings_per_bolt(machines)
    bolts = fan_values(values, grid, cells, menu, faces, kerf, effort.fan_spread, aim.charge, most, effort.bolt_step)
    return Tables(grid, values, cells, menu, faces, bolts, aim.charge, kerf, effort.fan_spread, most)


def find(
    log: PlanLog,
    parts: tuple[SawnPart, ...],
    shop: Shop,
    objective: str,
    effort: Effort,
    seed: int,
    progress: Progress,
    settings_max: int | None = None,
    late: Callable[[], bool] | None = None,
) -> Found:
    """Search one log.

    Raises
    ------
    PlanError
        Where no plate of any part passes.
    """
    machines = shop.machines
    free = tuple(p for p in parts if p.demand is None)
    aim = aim_of(objective, parts, machines, log.reach, settings_max)
    small = log.reach * np.pi * float(np.mean(log.field.radius**2)) < SMALL
    evaluator = Evaluator(log, shop, machines.mill.kerf, 1.0 if small else 2.0)
    choices: list[Choice] = []
    picked: list[FirstColumn] = []
    bound, considered, seen, grid = np.inf, 0, 0.0, None
    # parts with a demand cannot be counted by the exact programmes: once without them, once as if all could be sold, and
    # where few plates hang on a log once more without those of which there was too much
    views = [view for view in (free, parts) if view] if len(free) < len(parts) else [parts]
    most = len(views) + (1 if small and len(views) > 1 else 0)
    number = 0
    while number < len(views):

        def told(what: str, part: float, number: int = number) -> None:
            progress(what, (number + part) / most)

        view_aim = aim_of(objective, views[number], machines, log.reach, settings_max)
        one = _look(log, views[number], view_aim, evaluator, effort, tuple(zip(picked, choices, strict=True)), told)
        seen, grid = max(seen, one.highest), one.grid
        choices, picked = [*one.choices], [*one.picked]
        considered += one.considered
        bound = min(bound, _ceiling(one.promise, views[number], parts, aim.worth))
        number += 1
        little = bool(one.choices) and _wanted_worth(parts, aim.worth) < LITTLE * one.promise
        if (late is not None and late()) or little:
            break
        if number == len(views) < most:
            answer = choose(choices, parts, aim, effort.master, seed)
            left_over = _unsaturated(answer, parts)
            if left_over and left_over not in views:
                views.append(left_over)
    if not choices or grid is None:
        raise no_gain(aim, seen, objective) if seen > 0.0 else no_part(log, parts)
    answers: list[Answer] = []
    left = list(choices)
    for _ in range(effort.answers + (2 if small else 0)):
        answer = choose(left, parts, aim, effort.master, seed)
        if answer is None:
            break
        answers.append(answer)
        if late is not None and late():
            break
        first = (answer.layout.clock, answer.layout.slabs)
        left = [c for c in left if (c.column.setting.clock, c.column.setting.slabs) != first]
        if not left:
            break
    if not answers:
        raise no_part(log, parts)
    unit = LITRE if objective != "value" else 1.0
    words = _words(grid, effort, evaluator, len(free) < len(parts))
    return Found(tuple(answers), grid, float(bound), unit, considered, words)


@dataclass(frozen=True, slots=True)
class _Looked:
    """What the exact programmes make of some of the parts."""

    grid: Grid
    highest: float
    picked: tuple[FirstColumn, ...] = ()
    choices: tuple[Choice, ...] = ()  # earlier ones too, with the halves that this view adds
    promise: float = np.inf
    considered: int = 0


def _look(
    log: PlanLog,
    view: tuple[SawnPart, ...],
    aim: Aim,
    evaluator: Evaluator,
    effort: Effort,
    earlier: tuple[tuple[FirstColumn, Choice], ...],
    told: Progress,
) -> _Looked:
    """Tables, exact programmes and columns for the parts of one view, beside `earlier` ones."""
    before = tuple(column for column, _ in earlier), tuple(choice for _, choice in earlier)
    machines = evaluator.shop.machines
    tables = build_tables(log, view, aim, machines, effort, told)
    highest = float(tables.values.max())
    if highest <= 0.0:
        return _Looked(tables.grid, 0.0, *before, promise=0.0)
    told("halves", 0.75)
    state = search(tables, effort.bolt_step)
    columns = first_columns(state, list(range(0, effort.rolls, effort.bolt_step)), 6)
    told("columns", 0.8)
    grown = tuple(more_halves(state, evaluator, column, choice, 1) for column, choice in earlier)
    picked = _different(columns, max(2, effort.firsts - 2) if earlier else effort.firsts)
    choices = first_choices(state, evaluator, picked, effort.halves)
    told("bound", 0.9)
    promise = _promise(tables, effort) if columns else 0.0
    picked, choices = [*before[0], *picked], [*grown, *choices]
    return _Looked(tables.grid, highest, tuple(picked), tuple(choices), promise, _considered(state))


def _unsaturated(answer: Answer | None, parts: tuple[SawnPart, ...]) -> tuple[SawnPart, ...]:
    """The parts of which an answer does not hold all that is wanted."""
    if answer is None:
        return ()
    return tuple(p for p, n in zip(parts, answer.plates, strict=True) if p.demand is None or n < p.demand)


SMALL = 200.0 * LITRE
"""Columns of logs smaller than this are laid out finely, and more answers are carried out: few plates hang on each."""
LITTLE = 0.2
"""Where all that is wanted of parts with a demand is less than this share of the rest, they only fill gaps."""


def _wanted_worth(parts: tuple[SawnPart, ...], worth: Array) -> float:
    """What all plates of parts with a demand would count."""
    return float(sum(w * p.demand for w, p in zip(worth, parts, strict=True) if p.demand is not None))


def _promise(tables: Tables, effort: Effort) -> float:
    """No layout of the class on the grid is worth more, net of charges: the fans' bounds in place of their values."""
    fans = fan_values(
        tables.values,
        tables.grid,
        tables.cells,
        tables.menu,
        tables.faces,
        tables.mill_kerf,
        effort.fan_spread,
        tables.charge,
        tables.settings_per_bolt,
        effort.bolt_step,
        strict=False,
    )
    rolls = list(range(0, effort.rolls, effort.bolt_step))
    best = first_columns(search(replace(tables, bolts=fans), effort.bolt_step), rolls, 1)
    return best[0].promise if best else 0.0


def _ceiling(promise: float, view: tuple[SawnPart, ...], parts: tuple[SawnPart, ...], worth: Array) -> float:
    """No layout is worth more than the best for the parts looked at plus all that is wanted of the others."""
    others = [part not in view for part in parts]
    return promise + _wanted_worth(tuple(p for p, o in zip(parts, others, strict=True) if o), worth[others])


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
    return int(grid.rolls * nd * nd / 2 * len(grid.thicknesses) + 2 * grid.rolls * nf * (nd * nd / 2 + nf))


def _words(grid: Grid, effort: Effort, evaluator: Evaluator, demanded: bool) -> str:
    most = settings_per_bolt(evaluator.shop.machines)
    text = (
        f"rolls every {180 / effort.rolls * effort.bolt_step:g}°, slab faces every {grid.depth_step:g} mm, thicknesses "
        + " ".join(f"{t:g}" for t in grid.thicknesses)
        + f" mm, across {grid.across_step:g} mm, along {grid.along_step:g} mm; class: slabs of one roll, halves turned 90°, "
        f"each bolt fanned in up to {most} charged directions every "
        f"{180 / effort.rolls * effort.fan_spread:g}°, their first faces every {FACE_CELLS * grid.depth_step:g} mm within "
        f"{FAN_REACH:g} mm of the pith, bolt corners rounded outwards to 10 mm"
    )
    if demanded:
        text += "; of parts with a demand the bound counts all that is wanted"
    return text


__all__ = ["COARSE", "EFFORTS", "FULL", "Effort", "Found", "find"]
