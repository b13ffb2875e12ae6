"""One view of one log's parts: slab tables, exact programmes, columns, and a bound."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pithline.plan.columns.candidates import FirstSetting, best_first_settings
from pithline.plan.columns.laid_columns import (
    ColumnEvaluator,
    FirstSettingChoice,
    first_setting_choices,
    with_more_halves,
)
from pithline.plan.columns.master import MasterAnswer, solve_master
from pithline.plan.problem.effort import (
    Effort,
    bolts_on_mill,
    is_small,
)
from pithline.plan.problem.layout import NO_LOCKS, Locks
from pithline.plan.problem.log_frame import PlanLog
from pithline.plan.problem.objective import ObjectiveWeights, objective_weights
from pithline.plan.problem.parts import SawnPart
from pithline.plan.problem.report import Progress
from pithline.plan.problem.task import SawingTask
from pithline.plan.programmes.grid import Grid
from pithline.plan.programmes.tables import PassingPlaces, SolvedTables, build_tables, find_passing_places, solve_tables

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class ViewColumns:
    """What the exact programmes make of some of the parts."""

    grid: Grid
    highest: float
    picked: tuple[FirstSetting, ...] = ()
    choices: tuple[FirstSettingChoice, ...] = ()  # earlier ones too, with the halves that this view adds
    promise: float = np.inf
    considered: int = 0


def columns_of_view(
    log: PlanLog,
    view: tuple[SawnPart, ...],
    weights: ObjectiveWeights,
    evaluator: ColumnEvaluator,
    effort: Effort,
    earlier: tuple[tuple[FirstSetting, FirstSettingChoice], ...],
    report_part: Progress,
    locks: Locks = NO_LOCKS,
    known: PassingPlaces | None = None,
) -> ViewColumns:
    """Tables, exact programmes and columns for the parts of one view, beside `earlier` ones."""
    before = tuple(column for column, _ in earlier), tuple(choice for _, choice in earlier)
    machines = evaluator.task.machines
    tables = build_tables(log, view, weights, machines, effort, report_part, locks, known)
    highest = float(tables.values.max())
    if highest <= 0.0:
        return ViewColumns(tables.grid, 0.0, *before, promise=0.0)
    report_part("halves", 0.75)
    state = solve_tables(tables)
    rolls = list(range(effort.rolls)) if locks.roll is None else [0]
    columns = best_first_settings(state, rolls, 6, locks.first_slab)
    report_part("columns", 0.8)
    grown = tuple(with_more_halves(state, evaluator, column, choice, 1) for column, choice in earlier)
    picked = _different(columns, max(2, effort.firsts - 2) if earlier else effort.firsts)
    choices = first_setting_choices(state, evaluator, picked, effort.halves)
    promise = columns[0].promise if columns else 0.0
    picked, choices = [*before[0], *picked], [*grown, *choices]
    return ViewColumns(tables.grid, highest, tuple(picked), tuple(choices), promise, _considered(state))


def demanded_worth(parts: tuple[SawnPart, ...], worth: Array) -> float:
    """What all plates of parts with a demand would count."""
    return float(sum(w * p.demand for w, p in zip(worth, parts, strict=True) if p.demand is not None))


def bound_with_demand(promise: float, view: tuple[SawnPart, ...], parts: tuple[SawnPart, ...], worth: Array) -> float:
    """No layout is worth more than the best for the parts looked at plus all that is wanted of the others."""
    others = [part not in view for part in parts]
    return promise + demanded_worth(tuple(p for p, o in zip(parts, others, strict=True) if o), worth[others])


def _different(columns: list[FirstSetting], keep: int) -> list[FirstSetting]:
    """The best first settings, at most two of one roll."""
    out, seen = [], {}
    for column in columns:
        if seen.get(column.roll, 0) < 2:
            out.append(column)
            seen[column.roll] = seen.get(column.roll, 0) + 1
        if len(out) == keep:
            break
    return out


def _considered(state: SolvedTables) -> int:
    grid, nf = state.tables.grid, len(state.tables.faces)
    nd = len(grid.depths)
    halves = len(state.tables.angles) * 2 * grid.rolls * nf * (nd * nd / 2 + nf)
    return int(grid.rolls * nd * nd / 2 * len(grid.thicknesses) + halves)


FILLER_SHARE = 0.2
"""Where all that is wanted of parts with a demand is less than this share of the rest, they only fill gaps."""


BALANCING_ROUNDS = 3
"""Searches at prices that favour the parts of which too few were found, where complete sets are asked for."""


@dataclass(frozen=True, slots=True)
class LogColumns:
    """One log's choices for the master, and what no layout of it can be worth more than."""

    choices: tuple[FirstSettingChoice, ...]
    bound: float
    considered: int
    seen: float
    grid: Grid | None


def log_columns(
    log: PlanLog,
    parts: tuple[SawnPart, ...],
    task: SawingTask,
    objective: str,
    effort: Effort,
    seed: int,
    progress: Progress,
    stopped: Callable[[], bool] | None,
    locks: Locks = NO_LOCKS,
) -> LogColumns:
    """One log's choices for the master."""
    machines = task.machines
    free = tuple(p for p in parts if p.demand is None)
    weights = objective_weights(objective, parts, machines, log.reach)
    small = is_small(log)
    on_mill = bolts_on_mill(log, machines)
    evaluator = ColumnEvaluator(log, task, machines.mill.kerf, 1.0 if small else 2.0, on_mill=on_mill)
    choices: list[FirstSettingChoice] = []
    picked: list[FirstSetting] = []
    bound, considered, seen, grid = np.inf, 0, 0.0, None
    # parts with a demand cannot be counted by the exact programmes: once without them, once as if all could be sold, and
    # where few plates hang on a log once more without those of which there was too much
    views = [view for view in (free, parts) if view] if len(free) < len(parts) else [parts]
    most = len(views) + (1 if small and len(views) > 1 else 0)
    number = 0
    prices: tuple[float, ...] | None = None
    known = find_passing_places(log, parts, machines, effort, lambda what, part: progress(what, 0.2 * part), locks)
    rounds = BALANCING_ROUNDS if objective == "sets" else 0
    while number < len(views):

        def report_part(what: str, part: float, number: int = number, most: int = most) -> None:
            progress(what, 0.2 + 0.8 * (number + part) / most)

        view_aim = objective_weights(objective, views[number], machines, log.reach)
        if prices is not None:
            view_aim = replace(
                view_aim, worth=np.array([w for w, p in zip(prices, parts, strict=True) if p in views[number]])
            )
            evaluator = replace(evaluator, prices=prices)
        one = columns_of_view(
            log,
            views[number],
            view_aim,
            evaluator,
            effort,
            tuple(zip(picked, choices, strict=True)),
            report_part,
            locks,
            known,
        )
        seen, grid = max(seen, one.highest), one.grid
        choices, picked = [*one.choices], [*one.picked]
        considered += one.considered
        if prices is None:
            bound = min(bound, bound_with_demand(one.promise, views[number], parts, weights.worth))
        number += 1
        little = bool(one.choices) and demanded_worth(parts, weights.worth) < FILLER_SHARE * one.promise
        if stopped is not None and stopped():
            break
        if rounds and choices and number >= len(views):
            answer = solve_master(choices, parts, weights, effort.master, seed)
            if answer is None:
                break
            prices = balanced_prices(parts, weights.worth if prices is None else np.array(prices), answer.plates)
            views.append(parts)
            rounds, most = rounds - 1, most + 1
            continue
        if little:
            break
        if number == len(views) < most:
            answer = solve_master(choices, parts, weights, effort.master, seed)
            left_over = _unsaturated(answer, parts)
            if left_over and left_over not in views:
                views.append(left_over)
    return LogColumns(tuple(choices), bound, considered, seen, grid)


def balanced_prices(parts: tuple[SawnPart, ...], worth: Array, plates: tuple[int, ...]) -> tuple[float, ...]:
    """What a plate of each part counts where whole sets are wanted: more where a part is short of its set, less where it abounds.

    A set's worth stays the same; each part's share of it goes with the inverse root of the sets that its plates would make.
    """
    sets = np.array(plates) / np.array([part.part.count for part in parts])
    return tuple(float(one) for one in shared_prices(parts, worth / np.sqrt(sets + 0.5), worth))


def shared_prices(parts: tuple[SawnPart, ...], shares: Array, worth: Array) -> Array:
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


def _unsaturated(answer: MasterAnswer | None, parts: tuple[SawnPart, ...]) -> tuple[SawnPart, ...]:
    """The parts of which an answer does not hold all that is wanted."""
    if answer is None:
        return ()
    return tuple(p for p, n in zip(parts, answer.plates, strict=True) if p.demand is None or n < p.demand)
