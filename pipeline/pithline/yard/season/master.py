"""The master: which log is sawn by which plan in which weeks, and which order gets its sets, by CP-SAT.

The linear relaxation comes first. It bounds every plan, prices sets and minutes, and with a first plan in hand strikes out
options that no better plan can hold (reduced-cost fixing: an option whose loss against the best of its log exceeds bound less plan).
A greedy plan and a dive from the relaxation are CP-SAT's hint; it searches the options near the relaxation's answer first, and all that are
left where they are few enough.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np
from ortools.sat.python import cp_model

from pithline.yard.season.dive import dive
from pithline.yard.season.greedy import Draft, greedy
from pithline.yard.season.options import Ints, Options, make_options
from pithline.yard.season.program import Array, Program, make_program
from pithline.yard.season.relax import Relaxation, relax
from pithline.yard.season.season import Choice, Prices, Sawn, Season

Tell = Callable[[float, float], None]
"""(best objective so far, bound), 1/100."""


@dataclass(frozen=True, slots=True)
class Effort:
    """How far the master searches. Deterministic: the solver's own measure of work, no clock.

    Parameters
    ----------
    work : float
        CP-SAT's deterministic seconds, of each of its two searches.
    gap : float
        Good enough to make no second search.
    options : int
        The second search is made where no more options than this are left; the bound holds for all of them in any case.
    """

    work: float = 3.0
    gap: float = 1e-3
    options: int = 3000
    workers: int = 4


NEAR = (2, 20, 3)
"""Options of a log that the first search sees: where the relaxation takes one of them whole, in parts, or none."""


def choose(season: Season, effort: Effort | None = None, tell: Tell | None = None) -> Choice:
    """The best plan of a season that the effort finds, its proven bound and prices."""
    effort = Effort() if effort is None else effort
    options = make_options(season)
    if not len(options):
        return Choice((), tuple({} for _ in season.orders), 0, 0.0, "optimal")
    draft = greedy(season, options)
    program = make_program(season, options)
    relaxed = relax(season, program, draft)
    bound = _whole(relaxed.bound)
    say = (lambda objective, limit: None) if tell is None else tell
    say(draft.objective, bound)
    found = _Found(np.array(sorted(draft.options), np.int64), draft.objective, "greedy", None)
    slack = relaxed.best[options.log] - relaxed.reduced
    near = np.union1d(_near(options, relaxed, slack), found.options)
    left = np.flatnonzero(relaxed.bound - slack >= draft.objective + 1 - 1e-2)
    if len(left) > effort.options or len(left) > len(near) * 2:
        small = program.reduce(near)
        hints = [_hint(season, options, small, draft, near), dive(small)]
        hint = max((one for one in hints if one is not None), key=lambda one: small.gain @ one)
        found, _ = _search(small, near, hint, bound, effort, say)
        left = np.flatnonzero(relaxed.bound - slack >= found.objective + 1 - 1e-2)
    wanting = found.program is None or bound - found.objective > effort.gap * bound
    if wanting and len(left) <= effort.options:
        kept = np.union1d(left, found.options)
        small = program.reduce(kept)
        hint = _hint(season, options, small, draft, kept) if found.program is None else _widen(small, kept, found)
        found, proven = _search(small, kept, hint, bound, replace(effort, gap=0.0), say)
        # what was left out is worse than what was in hand
        bound = min(bound, max(proven, found.objective))
    elif found.program is None:
        small = program.reduce(near)
        found = _Found(
            near, draft.objective, "greedy", small, _hint(season, options, small, draft, near).astype(np.int64)
        )
    status = "optimal" if found.objective >= bound else found.status.replace("optimal", "within the limit")
    assert found.program is not None and found.values is not None
    answer = _read(season, found.program, found.values)
    return replace(
        answer, objective=found.objective, bound=float(bound), status=status, prices=_prices(season, options, relaxed)
    )


@dataclass(frozen=True, slots=True)
class _Found:
    """A plan in hand: the options of its programme (places among all options), and its values."""

    options: Ints
    objective: int
    status: str
    program: Program | None
    values: Ints | None = None


def _search(program: Program, kept: Ints, hint: Array, bound: int, effort: Effort, tell: Tell) -> tuple[_Found, int]:
    status, objective, proven, values = _solve(program, hint, bound, effort, tell)
    return _Found(kept, objective, status, program, values), proven


def _near(options: Options, relaxed: Relaxation, slack: Array) -> Ints:
    """What the relaxation takes, and the best few of each log."""
    order = np.lexsort((slack, -relaxed.share, options.log))
    logs = options.log[order]
    rank = np.arange(len(order)) - np.searchsorted(logs, logs)
    most = np.zeros(len(relaxed.best))
    np.maximum.at(most, options.log, relaxed.share)
    whole, parts, none = NEAR
    seen = np.where(most > 1 - 1e-6, whole, np.where(most > 1e-6, parts, none))
    return np.sort(order[(rank < seen[logs]) | (relaxed.share[order] > 1e-9)])


def _widen(program: Program, kept: Ints, found: _Found) -> Array:
    """The values of a smaller programme's plan in a larger one."""
    assert found.program is not None and found.values is not None
    old, values = found.program, found.values
    f0, h0, g0, i0 = program.starts
    a0, b0, c0, d0 = old.starts
    x = np.zeros(len(program.gain))
    inside = np.isin(found.options, kept)
    x[np.searchsorted(kept, found.options[inside])] = values[:a0][inside]
    x[f0:h0] = values[a0:b0]
    h = {key: at for at, key in enumerate(zip(program.h_order, program.h_log, program.h_class, strict=True))}
    for at, key in enumerate(zip(old.h_order, old.h_log, old.h_class, strict=True)):
        if values[b0 + at]:
            x[h0 + h[key]] = values[b0 + at]
    g = {key: at for at, key in enumerate(zip(program.g_order, program.g_log, strict=True))}
    for at, pair in enumerate(zip(old.g_order, old.g_log, strict=True)):
        if values[c0 + at] and pair in g:
            x[g0 + g[pair]] = 1.0
    x[i0:] = values[d0:]
    return x


def _whole(bound: float) -> int:
    """Money is whole cents; a hundredth more is the solver's dust."""
    return int(np.floor(bound + 1e-2 + 1e-9 * abs(bound)))


def _hint(season: Season, options: Options, program: Program, draft: Draft, kept: Ints) -> Array:
    """The draft as values of the programme's variables."""
    f0, h0, g0, i0 = program.starts
    x = np.zeros(len(program.gain))
    x[np.searchsorted(kept, np.array(draft.options, np.int64))] = 1.0
    for at, o in enumerate(program.f_order):
        x[f0 + at] = sum(draft.filled[o].values())
    for at, (o, l, r) in enumerate(zip(program.h_order, program.h_log, program.h_class, strict=True)):
        x[h0 + at] = draft.filled[o].get((int(l), int(r)), 0)
    for at, (o, l) in enumerate(zip(program.g_order, program.g_log, strict=True)):
        x[g0 + at] = any(log == l for log, _ in draft.filled[o])
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


def _solve(program: Program, hint: Array, bound: int, effort: Effort, tell: Tell) -> tuple[str, int, int, Ints]:
    """(status, objective, bound, values) of CP-SAT on the programme."""
    model = cp_model.CpModel()
    x = [model.new_int_var(0, int(high), "") for high in program.upper]
    for matrix, limit, equal in ((program.matrix, program.limit, False), (program.balance, None, True)):
        rows = matrix.tocsr()
        for at in range(rows.shape[0]):
            a, b = rows.indptr[at], rows.indptr[at + 1]
            if a < b:
                left = cp_model.LinearExpr.weighted_sum(
                    [x[v] for v in rows.indices[a:b]], [int(v) for v in rows.data[a:b]]
                )
                model.add(left == 0) if equal else model.add(left <= int(limit[at]))
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
    solver.parameters.relative_gap_limit = effort.gap
    status = solver.solve(model, _Watch(tell))
    if status in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        values = np.array([solver.value(one) for one in x], np.int64)
        words = "optimal" if status == cp_model.OPTIMAL else "within the limit"
        return words, round(solver.objective_value), int(np.floor(solver.best_objective_bound + 1e-6)), values
    # out of work before the hint was looked at: the hint is a plan
    return "greedy", int(program.gain @ hint), bound, hint.astype(np.int64)


def _read(season: Season, program: Program, values: Ints) -> Choice:
    """Logs, weeks and orders of a solution."""
    options = program.options
    f0, h0, _, _ = program.starts
    taken = np.flatnonzero(values[:f0])
    sawn = []
    for j, week in _weeks(season, options, taken):
        log = season.logs[options.log[j]]
        sawn.append(Sawn(log.id, log.columns[options.column[j]].name, week))
    filled: list[dict[str, int]] = [{} for _ in season.orders]
    stock = [
        [int(j), k, int(options.ready[j, k]), int(options.sets[j, k])]
        for j in taken
        for k in np.flatnonzero(options.sets[j])
    ]
    for at in range(len(program.h_order)):
        sets = int(values[h0 + at])
        if sets:
            log = int(program.h_log[at])
            k = options.products.index(season.orders[program.h_order[at]].product)
            lot = next(one for one in stock if options.log[one[0]] == log and one[1] == k)
            lot[3] -= sets
            filled[program.h_order[at]][season.logs[log].id] = sets
    wanted = [(season.orders[o].due, int(o), int(values[f0 + at])) for at, o in enumerate(program.f_order)]
    for _, o, sets in sorted(wanted):
        k = options.products.index(season.orders[o].product)
        last = int(np.searchsorted(options.due[k], season.orders[o].due))
        # the earliest due takes the latest sets that are ready for it, and leaves the rest as it was
        for lot in sorted((one for one in stock if one[1] == k and one[2] <= last), key=lambda one: -one[2]):
            taken_sets = min(sets, lot[3])
            if taken_sets:
                name = season.logs[options.log[lot[0]]].id
                filled[o][name] = filled[o].get(name, 0) + taken_sets
                lot[3] -= taken_sets
                sets -= taken_sets
        if sets:
            raise RuntimeError(f"order {o} lacks {sets} sets that the master promised")
    sawn.sort(key=lambda one: (one.week, one.log))
    return Choice(tuple(sawn), tuple(filled), 0, 0.0, "")


def _weeks(season: Season, options: Options, taken: Ints) -> Iterator[tuple[int, int]]:
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


def _prices(season: Season, options: Options, relaxed: Relaxation) -> Prices:
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


__all__ = ["Effort", "choose"]
