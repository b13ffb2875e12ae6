"""One log's columns: the wood looked at once, then columns and a bound at whatever prices of the parts are asked for."""

from __future__ import annotations

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
from pithline.plan.problem.context import SearchContext
from pithline.plan.problem.effort import bolts_on_mill, is_small
from pithline.plan.problem.log_frame import PlanLog
from pithline.plan.problem.monitor import SILENT, Monitor
from pithline.plan.problem.objective import Objective, ObjectiveWeights
from pithline.plan.problem.parts import SawnPart
from pithline.plan.programmes.grid import Grid
from pithline.plan.programmes.tables import (
    PassingPlaces,
    SolvedTables,
    build_tables,
    find_passing_places,
    solve_tables,
)

Array = NDArray[np.float64]
PER_ROLL = 6
"""Best first settings of each roll that are compared."""
SAME_ROLL_MOST = 2
"""First settings of one roll among those that are laid out."""
FILLER_SHARE = 0.2
"""Where all that is wanted of parts with a demand is less than this share of the rest, they only fill gaps."""
BALANCING_ROUNDS = 3
"""Searches at prices that favour the parts of which too few were found, where complete sets are asked for."""


@dataclass(frozen=True, slots=True)
class ViewColumns:
    """What the exact programmes make of some of the parts.

    Attributes
    ----------
    grid : Grid
        The stated grid.
    highest : float
        What the best single slab is worth.
    picked, choices : tuples
        First settings and the master's choices for them: earlier ones too, with the halves that this view adds.
    promise : float
        No layout of these parts is worth more on the grid.
    considered : int
        Layouts that the programmes weighed.
    """

    grid: Grid
    highest: float
    picked: tuple[FirstSetting, ...] = ()
    choices: tuple[FirstSettingChoice, ...] = ()
    promise: float = np.inf
    considered: int = 0

    @property
    def pairs(self) -> Pairs:
        """First settings with their choices."""
        return tuple(zip(self.picked, self.choices, strict=True))


Pairs = tuple[tuple[FirstSetting, FirstSettingChoice], ...]


@dataclass(frozen=True, slots=True)
class LogSearch:
    """One log whose wood was looked at: prices of the parts in, columns out.

    Attributes
    ----------
    log : PlanLog
        What is searched.
    context : SearchContext
        What is asked.
    known : PassingPlaces
        Where plates pass; it does not depend on prices.
    evaluator : ColumnEvaluator
        Lays columns out on their true planes.
    """

    log: PlanLog
    context: SearchContext
    known: PassingPlaces
    evaluator: ColumnEvaluator

    def at_prices(self, prices: tuple[float, ...]) -> LogSearch:
        """The same, slabs laid out at these prices of each part."""
        return replace(self, evaluator=replace(self.evaluator, prices=prices))

    def columns(
        self,
        view: tuple[SawnPart, ...],
        weights: ObjectiveWeights,
        earlier: Pairs = (),
        monitor: Monitor = SILENT,
    ) -> ViewColumns:
        """Tables, exact programmes and columns for some of the parts.

        Parameters
        ----------
        view : tuple of SawnPart
            The parts that are counted.
        weights : ObjectiveWeights
            What a plate of each of them counts, and what settings are charged.
        earlier : tuple of (first setting, choice)
            Columns that stand already; halves are added to them.
        monitor : Monitor
            Hears how far it is.
        """
        effort, locks = self.context.effort, self.context.locks
        before = tuple(column for column, _ in earlier), tuple(choice for _, choice in earlier)
        tables = build_tables(self.log, view, weights, self.context, self.known, monitor)
        if tables.highest <= 0.0:
            return ViewColumns(tables.grid, 0.0, *before, promise=0.0)
        monitor.report("halves", 0.75)
        state = solve_tables(tables)
        rolls = list(range(effort.rolls)) if locks.roll is None else [0]
        columns = best_first_settings(state, rolls, PER_ROLL, locks.first_slab)
        monitor.report("columns", 0.8)
        grown = tuple(with_more_halves(state, self.evaluator, column, choice, 1) for column, choice in earlier)
        picked = _different(columns, max(2, effort.firsts - 2) if earlier else effort.firsts)
        choices = first_setting_choices(state, self.evaluator, picked, effort.halves)
        promise = columns[0].promise if columns else 0.0
        return ViewColumns(
            tables.grid,
            tables.highest,
            (*before[0], *picked),
            (*grown, *choices),
            promise,
            _considered(state),
        )


def begin_search(log: PlanLog, context: SearchContext, monitor: Monitor = SILENT) -> LogSearch:
    """Look at a log's wood, for all parts that are asked for."""
    fine = 1.0 if is_small(log) else 2.0
    evaluator = ColumnEvaluator(log, context.task, fine, on_mill=bolts_on_mill(log, context.machines))
    return LogSearch(log, context, find_passing_places(log, context, monitor), evaluator)


def demanded_worth(parts: tuple[SawnPart, ...], worth: Array) -> float:
    """What all plates of parts with a demand would count."""
    return float(sum(w * p.demand for w, p in zip(worth, parts, strict=True) if p.demand is not None))


def bound_with_demand(promise: float, view: tuple[SawnPart, ...], parts: tuple[SawnPart, ...], worth: Array) -> float:
    """No layout is worth more than the best for the parts looked at plus all that is wanted of the others."""
    others = [part not in view for part in parts]
    return promise + demanded_worth(tuple(p for p, o in zip(parts, others, strict=True) if o), worth[others])


def _different(columns: list[FirstSetting], keep: int) -> list[FirstSetting]:
    """The best first settings, at most two of one roll."""
    out: list[FirstSetting] = []
    taken: dict[int, int] = {}
    for column in columns:
        if taken.get(column.roll, 0) < SAME_ROLL_MOST:
            out.append(column)
            taken[column.roll] = taken.get(column.roll, 0) + 1
        if len(out) == keep:
            break
    return out


def _considered(state: SolvedTables) -> int:
    grid, nf = state.tables.grid, len(state.tables.faces)
    nd = len(grid.depths)
    halves = len(state.tables.turns.angles) * 2 * grid.rolls * nf * (nd * nd / 2 + nf)
    return int(grid.rolls * nd * nd / 2 * len(grid.thicknesses) + halves)


@dataclass(frozen=True, slots=True)
class LogColumns:
    """One log's choices for the master.

    Attributes
    ----------
    choices : tuple of FirstSettingChoice
        May be empty.
    bound : float
        No layout of the log is worth more.
    considered : int
        Layouts that the programmes weighed.
    highest : float
        What the best single slab is worth.
    grid : Grid, optional
        None where nothing was looked at.
    """

    choices: tuple[FirstSettingChoice, ...]
    bound: float
    considered: int
    highest: float
    grid: Grid | None


def log_columns(log: PlanLog, context: SearchContext, monitor: Monitor = SILENT) -> LogColumns:
    """One log's choices for the master.

    Parts with a demand cannot be counted by the exact programmes: they are looked at once without them, once as if all could be
    sold, and where few plates hang on a log once more without those of which there was too much.
    """
    parts, weights = context.parts, context.weights(log.reach)
    search = begin_search(log, context, monitor.within(0.0, 0.2))
    views = [view for view in (context.free, parts) if view] if context.demanded else [parts]
    most = len(views) + (1 if is_small(log) and len(views) > 1 else 0)
    rounds = BALANCING_ROUNDS if context.objective is Objective.SETS else 0
    found: list[ViewColumns] = []
    bound = np.inf
    prices: tuple[float, ...] | None = None
    while len(found) < len(views):
        view, number = views[len(found)], len(found)
        earlier = found[-1].pairs if found else ()
        inner = monitor.within(0.2 + 0.8 * number / most, 0.2 + 0.8 * (number + 1) / most)
        view_weights = _at_prices(context.weights(log.reach, view), view, parts, prices)
        found.append(search.columns(view, view_weights, earlier, inner))
        last = found[-1]
        if prices is None:
            bound = min(bound, bound_with_demand(last.promise, view, parts, weights.worth))
        if monitor.stopped():
            break
        if rounds and last.choices and len(found) >= len(views):
            answer = _answer(last, context, weights)
            if answer is None:
                break
            prices = balanced_prices(parts, weights.worth if prices is None else np.array(prices), answer.plates)
            search = search.at_prices(prices)
            views.append(parts)
            rounds, most = rounds - 1, most + 1
            continue
        if last.choices and demanded_worth(parts, weights.worth) < FILLER_SHARE * last.promise:
            break
        if len(found) == len(views) < most:
            left_over = _unsaturated(_answer(last, context, weights), parts)
            if left_over and left_over not in views:
                views.append(left_over)
    return LogColumns(
        found[-1].choices,
        bound,
        sum(one.considered for one in found),
        max(one.highest for one in found),
        found[-1].grid,
    )


def _at_prices(
    weights: ObjectiveWeights,
    view: tuple[SawnPart, ...],
    parts: tuple[SawnPart, ...],
    prices: tuple[float, ...] | None,
) -> ObjectiveWeights:
    """The weights of a view at prices of all parts."""
    if prices is None:
        return weights
    return replace(weights, worth=np.array([w for w, p in zip(prices, parts, strict=True) if p in view]))


def _answer(columns: ViewColumns, context: SearchContext, weights: ObjectiveWeights) -> MasterAnswer | None:
    return solve_master(list(columns.choices), context.parts, weights, context.effort.master, context.seed)


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
