"""One view of one log's parts: slab tables, exact programmes, columns, and a bound."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pithline.plan.columns.candidates import FirstColumn, first_columns
from pithline.plan.columns.laid_columns import Choice, Evaluator, first_choices, more_halves
from pithline.plan.columns.master import Answer, choose
from pithline.plan.execute.simulate import Shop
from pithline.plan.problem.effort import (
    Effort,
    bolts_on_mill,
    is_small,
)
from pithline.plan.problem.layout import FREE, Locks
from pithline.plan.problem.log_frame import PlanLog
from pithline.plan.problem.objective import Aim, aim_of
from pithline.plan.problem.parts import SawnPart
from pithline.plan.problem.report import Progress
from pithline.plan.programmes.grid import Grid
from pithline.plan.programmes.tables import Passing, Search, build_tables, passing, search

Array = NDArray[np.float64]


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


LITTLE = 0.2
"""Where all that is wanted of parts with a demand is less than this share of the rest, they only fill gaps."""


BALANCED = 3
"""Searches at prices that favour the parts of which too few were found, where complete sets are asked for."""


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
