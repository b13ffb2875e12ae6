"""The master: which log is sawn by which plan in which weeks, and which order gets its sets, by CP-SAT.

The linear relaxation comes first: it bounds every plan and prices sets and minutes. Dives from it, again and again from part of the best
plan so far, give a plan near the bound. That strikes out options which no better plan can hold (reduced-cost fixing: an option
whose loss against the best of its log exceeds bound less plan), and where few enough are left CP-SAT searches them all, the plan in
hand as its hint.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from ortools.sat.python import cp_model

from pithline.yard.season.column_pool import DUST, ColumnPool, SeasonPlan, Weighing, drafted, fullest
from pithline.yard.season.diving import Dives, dive, dive_again
from pithline.yard.season.greedy import greedy
from pithline.yard.season.model import Prices, SawnLog, Season, SeasonChoice
from pithline.yard.season.options import Ints, SawingOptions, make_options
from pithline.yard.season.program import Program, make_program
from pithline.yard.season.relaxation import Relaxation, relax

Array = NDArray[np.float64]

Tell = Callable[[float, float], None]
"""(best objective so far, bound), 1/100."""


@dataclass(frozen=True, slots=True)
class MasterEffort:
    """How far the master searches. Deterministic: the solver's own measure of work, no clock.

    Parameters
    ----------
    work : float
        CP-SAT's deterministic seconds.
    dives : int
        Dives from part of the best plan, at most.
    gap : float
        Good enough to dive no more.
    options : int
        CP-SAT is asked where no more options than this are left; the bound holds for all of them in any case.
    """

    work: float = 1.5
    dives: int = 60
    gap: float = 1e-3
    options: int = 3000
    workers: int = 4


def choose(season: Season, effort: MasterEffort | None = None, tell: Tell | None = None) -> SeasonChoice:
    """The best plan of a season that the effort finds, its proven bound and prices."""
    effort = MasterEffort() if effort is None else effort
    options = make_options(season)
    if not len(options):
        return SeasonChoice((), tuple({} for _ in season.orders), 0, 0.0, "optimal")
    columns = ColumnPool(season, options)
    weigh = Weighing(columns)
    draft = drafted(columns, greedy(season, options))
    columns.add(draft.columns)
    columns.add(fullest(columns))
    relaxed = relax(columns, weigh)
    bound = _whole(relaxed.bound)
    say = (lambda objective, limit: None) if tell is None else tell
    say(draft.objective, bound)
    plan = max(draft, dive(columns, weigh), key=lambda one: one.objective)
    say(plan.objective, bound)
    first = plan.objective
    plan, bound = _exactly(season, columns, relaxed, _Standing(plan, bound), effort, say)
    enough = (1.0 - effort.gap) * bound
    if plan.objective < enough:
        plan = dive_again(
            columns, weigh, relaxed, plan, Dives(effort.dives, enough), lambda objective: say(objective, bound)
        )
        if plan.objective > first:
            plan, bound = _exactly(season, columns, relaxed, _Standing(plan, bound), effort, say)
    status = "optimal" if plan.objective >= bound else "within the limit"
    answer = _read(season, columns, plan)
    return replace(
        answer, objective=plan.objective, bound=float(bound), status=status, prices=_prices(season, options, relaxed)
    )


class _Standing(NamedTuple):
    """The best plan in hand, and what none is worth more than, 1/100."""

    plan: SeasonPlan
    bound: int


def _exactly(
    season: Season,
    columns: ColumnPool,
    relaxed: Relaxation,
    standing: _Standing,
    effort: MasterEffort,
    tell: Tell,
) -> _Standing:
    """Plan and bound after CP-SAT, where few enough options are left that a better plan could hold; else as they were."""
    plan, bound = standing
    options = columns.options
    slack = relaxed.best[options.log] - relaxed.reduced
    left = np.flatnonzero(relaxed.bound - slack >= plan.objective + 1 - DUST)
    if plan.objective >= bound or len(left) > effort.options:
        return standing
    kept = np.union1d(left, np.array([j for j, _ in plan.columns], np.int64))
    program = make_program(season, options.take(kept))
    proven, values = _solve(program, _values(columns, program, kept, plan), bound, effort, tell)
    f0, h0, g0, _ = program.starts
    given: dict[int, list[tuple[int, int]]] = {}
    for o, log, sets in zip(program.h_order, program.h_log, values[h0:g0], strict=True):
        if sets:
            given.setdefault(int(log), []).append((int(o), int(sets)))
    taken = kept[np.flatnonzero(values[:f0])]
    chosen = tuple((int(j), tuple(sorted(given.get(int(options.log[j]), [])))) for j in taken)
    found = SeasonPlan(chosen, values[f0:h0], int(program.gain @ values))
    # what was left out is worse than what was in hand
    return _Standing(found, min(bound, max(proven, found.objective)))


def _whole(bound: float) -> int:
    """Money is whole cents; a hundredth more is the solver's dust."""
    return int(np.floor(bound + DUST + 1e-9 * abs(bound)))


def _values(columns: ColumnPool, program: Program, kept: Ints, plan: SeasonPlan) -> Array:
    """A plan as values of the variables of a programme over the options `kept`."""
    options = columns.options
    f0, h0, g0, i0 = program.starts
    x = np.zeros(len(program.gain))
    x[np.searchsorted(kept, [j for j, _ in plan.columns])] = 1.0
    x[f0:h0] = plan.free
    h = {key: at for at, key in enumerate(zip(program.h_order, program.h_log, program.h_class, strict=True))}
    g = {key: at for at, key in enumerate(zip(program.g_order, program.g_log, strict=True))}
    for j, pattern in plan.columns:
        for o, sets in pattern:
            x[h0 + h[o, options.log[j], options.ready[j, columns.book.product[o]]]] = sets
            x[g0 + g[o, options.log[j]]] = 1.0
    net = program.balance[:, :i0] @ x[:i0]
    start = 0
    for due in options.due:
        x[i0 + start : i0 + start + len(due)] = np.cumsum(net[start : start + len(due)])
        start += len(due)
    return x


class _Watch(cp_model.CpSolverSolutionCallback):
    def __init__(self, tell: Tell) -> None:
        super().__init__()
        self.tell = tell

    def on_solution_callback(self) -> None:
        self.tell(self.objective_value, self.best_objective_bound)


def _solve(program: Program, hint: Array, bound: int, effort: MasterEffort, tell: Tell) -> tuple[int, Ints]:
    """(bound, values) of CP-SAT on the programme."""
    model = cp_model.CpModel()
    x = [model.new_int_var(0, int(high), "") for high in program.upper]
    for matrix, limit in ((program.matrix, program.limit), (program.balance, None)):
        rows = matrix.tocsr()
        for at in range(rows.shape[0]):
            a, b = rows.indptr[at], rows.indptr[at + 1]
            if a < b:
                left = cp_model.LinearExpr.weighted_sum(
                    [x[v] for v in rows.indices[a:b]], [int(v) for v in rows.data[a:b]]
                )
                model.add(left == 0 if limit is None else left <= int(limit[at]))
    profit = cp_model.LinearExpr.weighted_sum(x, [int(v) for v in program.gain])
    model.add(profit <= bound)
    model.maximize(profit)
    for variable, value in zip(x, hint, strict=True):
        model.add_hint(variable, int(value))
    solver = cp_model.CpSolver()
    solver.parameters.max_deterministic_time = effort.work
    solver.parameters.num_workers = effort.workers
    solver.parameters.interleave_search = effort.workers > 1
    solver.parameters.random_seed = 1
    solver.parameters.catch_sigint_signal = False  # it would leave Ctrl-C to kill the process
    status = solver.solve(model, _Watch(tell))
    if status in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        values = np.array([solver.value(one) for one in x], np.int64)
        return int(np.floor(solver.best_objective_bound + 1e-6)), values
    # out of work before the hint was looked at: the hint is a plan
    return bound, hint.astype(np.int64)


def _read(season: Season, columns: ColumnPool, plan: SeasonPlan) -> SeasonChoice:
    """Logs, weeks and orders of a plan."""
    options = columns.options
    taken = np.array([j for j, _ in plan.columns], np.int64)
    sawn = []
    for j, week in _weeks(season, options, taken):
        log = season.logs[options.log[j]]
        sawn.append(SawnLog(log.id, log.columns[options.column[j]].name, week))
    filled: list[dict[str, int]] = [{} for _ in season.orders]
    stock = []  # log, product, class, sets
    for j, pattern in plan.columns:
        log, left = int(options.log[j]), options.sets[j].copy()
        for o, sets in pattern:
            left[columns.book.product[o]] -= sets
            filled[o][season.logs[log].id] = sets
        stock += [[log, int(k), int(options.ready[j, k]), int(left[k])] for k in np.flatnonzero(left)]
    for _, o, sets in sorted(
        (season.orders[o].due, int(o), int(n)) for o, n in zip(columns.book.free, plan.free, strict=True)
    ):
        k = columns.book.product[o]
        last = int(columns.book.due[o])
        # the earliest due takes the latest sets that are ready for it, and leaves the rest as it was
        for lot in sorted((one for one in stock if one[1] == k and one[2] <= last), key=lambda one: -one[2]):
            taken_sets = min(sets, lot[3])
            if taken_sets:
                name = season.logs[lot[0]].id
                filled[o][name] = filled[o].get(name, 0) + taken_sets
                lot[3] -= taken_sets
                sets -= taken_sets
        if sets:
            raise RuntimeError(f"order {o} lacks {sets} sets that the master promised")
    sawn.sort(key=lambda one: (one.week, one.log))
    return SeasonChoice(tuple(sawn), tuple(filled), 0, 0.0, "")


def _weeks(season: Season, options: SawingOptions, taken: Ints) -> Iterator[tuple[int, int]]:
    """(option, week in which its log is done): the most urgent first, each as early as hours and its first day let it.

    Sets that are ready earlier serve every order that they served. In its own period there is always room for a log: only logs of
    that period or of earlier ones were given any of it before.
    """
    done = np.zeros(len(options.first), np.int64)
    for j in taken[np.argsort(options.period[taken], kind="stable")]:
        fits = options.first >= season.logs[options.log[j]].first_week
        fits &= done + options.minutes[j] <= options.room
        t = int(np.flatnonzero(fits)[0])
        done[t] += options.minutes[j]
        yield int(j), int(options.first[t]) + (max(int(done[t]), 1) - 1) // options.minutes_per_week


def _prices(season: Season, options: SawingOptions, relaxed: Relaxation) -> Prices:
    """What a set is worth in its dearest class, what each log earns, what a minute is worth at least; and the same by period."""
    sets = {name: float(prices.max(initial=0.0)) for name, prices in zip(options.products, relaxed.sets, strict=True)}
    logs = {log.id: float(best) for log, best in zip(season.logs, relaxed.best, strict=True)}
    periods = []
    for t, minute in enumerate(relaxed.minute):
        own = {}
        for k, name in enumerate(options.products):
            some = np.flatnonzero((options.period == t) & (options.sets[:, k] > 0))
            # where no plan has the product, when it would be dry is not known
            own[name] = float(relaxed.sets[k][options.ready[some, k]].max()) if len(some) else sets[name]
        periods.append((own, float(minute)))
    return Prices(sets, logs, float(relaxed.minute.min()), tuple(periods), relaxed.bound)
