"""From a log to the best layouts found: tables, exact programmes, columns, master."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pithline.mill.machine import Machines
from pithline.plan.aims import (
    COARSE,
    EFFORTS,
    FULL,
    LITRE,
    Effort,
    aim_of,
    bolts_on_mill,
    corner_step,
    half_angles,
    is_small,
    no_gain,
    no_part,
    settings_per_bolt,
)
from pithline.plan.candidates import FirstColumn
from pithline.plan.carry import Shop
from pithline.plan.columns import Choice, Evaluator
from pithline.plan.fans import FACE_CELLS, FAN_REACH
from pithline.plan.frame import PlanLog
from pithline.plan.layout import FREE, Locks, Setting
from pithline.plan.looking import ceiling, look_at, passing, wanted_worth
from pithline.plan.master import Answer, choose, choose_each
from pithline.plan.parts import SawnPart
from pithline.plan.slabs import Grid

Array = NDArray[np.float64]
Progress = Callable[[str, float], None]
LITTLE = 0.2
"""Where all that is wanted of parts with a demand is less than this share of the rest, they only fill gaps."""


BALANCED = 3
"""Searches at prices that favour the parts of which too few were found, where complete sets are asked for."""


@dataclass(frozen=True, slots=True)
class Found:
    """Layouts worth sawing, best first, and what is proven of them on the grid."""

    answers: tuple[Answer, ...]
    bound: float  # best value of any layout of the class on the grid, net of charges
    unit: float  # what one unit of value is: 1e6 mm³ for volumes, 1 for money
    considered: int
    words: str
    trade_off: tuple[tuple[int, Answer], ...] = ()  # the best layouts with at most so many charged settings


def find(
    log: PlanLog,
    parts: tuple[SawnPart, ...],
    shop: Shop,
    objective: str,
    effort: Effort,
    seed: int,
    progress: Progress,
    late: Callable[[], bool] | None = None,
    locks: Locks = FREE,
) -> Found:
    """Search one log.

    Raises
    ------
    PlanError
        Where no plate of any part passes.
    """
    return find_each((log,), parts, shop, objective, effort, seed, progress, late, locks)


def find_each(
    logs: Sequence[PlanLog],
    parts: tuple[SawnPart, ...],
    shop: Shop,
    objective: str,
    effort: Effort,
    seed: int,
    progress: Progress,
    late: Callable[[], bool] | None = None,
    locks: Locks = FREE,
) -> Found:
    """Search the logs crosscut from one, each by itself, then choose for all together; crosscutting is one charged setting.

    Raises
    ------
    PlanError
        Where no plate of any part passes in any of them.
    """
    machines = shop.machines
    bucked = len(logs) > 1
    aim = aim_of(objective, parts, machines, max(log.reach for log in logs), locks.settings_max)
    found: list[Columns] = []
    for number, log in enumerate(logs):

        def told(what: str, part: float, number: int = number) -> None:
            progress(what if not bucked else f"{what}, log {number + 1}", (number + part) / len(logs))

        found.append(columns_of(log, parts, shop, objective, effort, seed, told, late, locks))
    if not any(one.choices for one in found):
        seen = max(one.seen for one in found)
        raise no_gain(aim, seen, objective) if seen > 0.0 else no_part(logs[0], parts)
    extra = aim.charge if bucked else 0.0
    if locks.settings_max is not None and bucked:
        aim = replace(aim, settings_max=max(locks.settings_max - 1, 0))
    answers: list[Answer] = []
    left = [list(one.choices) for one in found]
    for _ in range(effort.answers + (2 if any(is_small(log) for log in logs) else 0)):
        answer = choose_each(left, parts, replace(aim, sets_within=effort.sets_within), effort.master, seed)
        if answer is None or not any(answer.layouts):
            break
        answers.append(
            replace(
                answer,
                value=answer.value - extra,
                grid_value=answer.grid_value - extra,
                settings=answer.settings + int(bucked),
            )
        )
        if late is not None and late():
            break
        left = [_others(choices, layout) for choices, layout in zip(left, answer.layouts, strict=True)]
        if not any(left) or (not bucked and not left[0]):
            break
    if not answers:
        raise no_part(logs[0], parts)
    bound = sum(one.bound for one in found) - extra
    unit = LITRE if objective != "value" else 1.0
    first = next(one for one in found if one.grid is not None)
    words = search_words(first.grid, effort, machines, any(p.demand is not None for p in parts), logs)
    considered = sum(one.considered for one in found)
    fewer = []
    for most in effort.trade_off if len(answers) and (late is None or not late()) else ():
        if most >= answers[0].settings or most <= int(bucked):
            continue
        capped = replace(aim, settings_max=most - int(bucked))
        answer = choose_each([list(one.choices) for one in found], parts, capped, effort.master, seed)
        if answer is not None and any(answer.layouts):
            fewer.append((most, answer))
    return Found(tuple(answers), float(bound), unit, considered, words, tuple(fewer))


def _others(choices: list[Choice], layout: Setting | None) -> list[Choice]:
    """The choices with another first setting than a layout has."""
    if layout is None:
        return choices
    first = (layout.clock, layout.slabs)
    return [c for c in choices if (c.column.setting.clock, c.column.setting.slabs) != first]


@dataclass(frozen=True, slots=True)
class Columns:
    """One log's choices for the master, and what no layout of it can be worth more than."""

    choices: tuple[Choice, ...]
    bound: float
    considered: int
    seen: float
    grid: Grid | None


def columns_of(
    log: PlanLog,
    parts: tuple[SawnPart, ...],
    shop: Shop,
    objective: str,
    effort: Effort,
    seed: int,
    progress: Progress,
    late: Callable[[], bool] | None,
    locks: Locks = FREE,
) -> Columns:
    """One log's choices for the master."""
    machines = shop.machines
    free = tuple(p for p in parts if p.demand is None)
    aim = aim_of(objective, parts, machines, log.reach)
    small = is_small(log)
    on_mill = bolts_on_mill(log, machines)
    evaluator = Evaluator(log, shop, machines.mill.kerf, 1.0 if small else 2.0, on_mill=on_mill)
    choices: list[Choice] = []
    picked: list[FirstColumn] = []
    bound, considered, seen, grid = np.inf, 0, 0.0, None
    # parts with a demand cannot be counted by the exact programmes: once without them, once as if all could be sold, and
    # where few plates hang on a log once more without those of which there was too much
    views = [view for view in (free, parts) if view] if len(free) < len(parts) else [parts]
    most = len(views) + (1 if small and len(views) > 1 else 0)
    number = 0
    prices: tuple[float, ...] | None = None
    known = passing(log, parts, machines, effort, lambda what, part: progress(what, 0.2 * part), locks)
    rounds = BALANCED if objective == "sets" else 0
    while number < len(views):

        def told(what: str, part: float, number: int = number, most: int = most) -> None:
            progress(what, 0.2 + 0.8 * (number + part) / most)

        view_aim = aim_of(objective, views[number], machines, log.reach)
        if prices is not None:
            view_aim = replace(
                view_aim, worth=np.array([w for w, p in zip(prices, parts, strict=True) if p in views[number]])
            )
            evaluator = replace(evaluator, prices=prices)
        one = look_at(
            log,
            views[number],
            view_aim,
            evaluator,
            effort,
            tuple(zip(picked, choices, strict=True)),
            told,
            locks,
            known,
        )
        seen, grid = max(seen, one.highest), one.grid
        choices, picked = [*one.choices], [*one.picked]
        considered += one.considered
        if prices is None:
            bound = min(bound, ceiling(one.promise, views[number], parts, aim.worth))
        number += 1
        little = bool(one.choices) and wanted_worth(parts, aim.worth) < LITTLE * one.promise
        if late is not None and late():
            break
        if rounds and choices and number >= len(views):
            answer = choose(choices, parts, aim, effort.master, seed)
            if answer is None:
                break
            prices = balanced(parts, aim.worth if prices is None else np.array(prices), answer.plates)
            views.append(parts)
            rounds, most = rounds - 1, most + 1
            continue
        if little:
            break
        if number == len(views) < most:
            answer = choose(choices, parts, aim, effort.master, seed)
            left_over = _unsaturated(answer, parts)
            if left_over and left_over not in views:
                views.append(left_over)
    return Columns(tuple(choices), bound, considered, seen, grid)


def balanced(parts: tuple[SawnPart, ...], worth: Array, plates: tuple[int, ...]) -> tuple[float, ...]:
    """What a plate of each part counts where whole sets are wanted: more where a part is short of its set, less where it abounds.

    A set's worth stays the same; each part's share of it goes with the inverse root of the sets that its plates would make.
    """
    sets = np.array(plates) / np.array([part.part.count for part in parts])
    return tuple(float(one) for one in shared(parts, worth / np.sqrt(sets + 0.5), worth))


def shared(parts: tuple[SawnPart, ...], shares: Array, worth: Array) -> Array:
    """What a plate of each part counts: a set what it is worth by `worth` (p,), its parts as they stand to each other in `shares` (p,)."""
    out = np.zeros(len(parts))
    count = np.array([part.part.count for part in parts])
    for product in dict.fromkeys(part.product for part in parts):
        own = [i for i, part in enumerate(parts) if part.product == product]
        if len(own) == 1:  # exactly, so that nothing seems to have moved
            out[own] = worth[own]
            continue
        whole = float(shares[own] @ count[own])
        out[own] = shares[own] * float(worth[own] @ count[own]) / whole if whole > 0.0 else 0.0
    return out


def _unsaturated(answer: Answer | None, parts: tuple[SawnPart, ...]) -> tuple[SawnPart, ...]:
    """The parts of which an answer does not hold all that is wanted."""
    if answer is None:
        return ()
    return tuple(p for p, n in zip(parts, answer.plates, strict=True) if p.demand is None or n < p.demand)


def search_words(grid: Grid, effort: Effort, machines: Machines, demanded: bool, logs: Sequence[PlanLog]) -> str:
    """The stated grid and class of a search of these logs."""
    most = settings_per_bolt(machines)
    corners = " and ".join(f"{step:g}" for step in sorted({corner_step(effort, log) for log in logs}))
    text = (
        f"rolls every {180 / effort.rolls:g}°, slab faces every {grid.depth_step:g} mm, thicknesses "
        + " ".join(f"{t:g}" for t in grid.thicknesses)
        + f" mm, across {grid.across_step:g} mm, along {grid.along_step:g} mm; class: slabs of one roll, halves turned "
        f"{_turns(effort, logs)}, each bolt fanned in up to {most} charged directions every "
        f"{180 / effort.rolls * effort.fan_spread:g}°, their first faces every {FACE_CELLS * grid.depth_step:g} mm within "
        f"{FAN_REACH:g} mm of the pith, bolt corners rounded outwards to {corners} mm"
    )
    if demanded:
        text += "; of parts with a demand the bound counts all that is wanted"
    return text


def _turns(effort: Effort, logs: Sequence[PlanLog]) -> str:
    step, angles = 180 / effort.rolls, sorted({int(a) for log in logs for a in half_angles(effort, log)})
    others = " ".join(f"{a * step:g}" for a in angles if 2 * a != effort.rolls)
    return f"90° or, where bent and from rolls every {step * effort.lean_step:g}°, {others}°" if others else "90°"


__all__ = ["COARSE", "EFFORTS", "FULL", "Effort", "Found", "find", "find_each"]
