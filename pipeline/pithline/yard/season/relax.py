"""The linear relaxation by column generation: a bound on every plan, and prices.

A linear programme over few options gives prices; all options are then weighed at those prices, and the best of each log are added,
until none is worth more than what the programme has. Any prices give a valid bound (Lagrangian relaxation of all rows but
"each log once"; Geoffrion, Mathematical Programming Study 2, 1974, 82-114):

    bound = Σ_t π_t H_t + Σ_l max(0, max_(j of l) reduced_j) + Σ_(other v) u_v max(0, reduced_v) + other rows' limits × duals
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from scipy.optimize import OptimizeResult, linprog

from pithline.yard.season.greedy import Draft
from pithline.yard.season.options import Ints, Options
from pithline.yard.season.program import Array, Program
from pithline.yard.season.season import Season

ROUNDS = 60
CLOSE = 1e-5
"""The bound is worth no more rounds within this share of the programme's own value."""
PER_LOG = 3


@dataclass(frozen=True, slots=True)
class Relaxation:
    """Bound and prices; all money in 1/100.

    Parameters
    ----------
    bound : float
        No plan over all options is worth more.
    reduced : (J,) array
        What each option earns at these prices; `bound` falls by the best of the log less this where the option must be taken.
    best : (L,) array
        The greatest of 0 and the log's `reduced`.
    share : (J,) array
        How much of each option the relaxation takes.
    minute : (T,) array
        Price of a minute in each period, over its cost.
    sets : tuple of arrays
        Of each product, the price of a set by class.
    """

    bound: float
    reduced: Array
    best: Array
    share: Array
    minute: Array
    sets: tuple[Array, ...]
    rounds: int


def relax(season: Season, program: Program, draft: Draft, close: float = CLOSE) -> Relaxation:
    """The relaxation of a season over all options of its programme."""
    options = program.options
    count = len(options)
    active = _start(season, options, draft)
    found: Relaxation | None = None
    for number in range(ROUNDS):
        value, y, balance, x = solve_linear(program.take(active))
        reduced = program.gain - program.matrix.T @ y - program.balance.T @ balance
        own = y[program.row_log]
        earned = reduced[:count] + own[options.log]
        best = np.zeros(len(season.logs))
        np.maximum.at(best, options.log, earned)
        rest = program.limit @ y - own.sum() + (np.maximum(reduced[count:], 0.0) * program.upper[count:]).sum()
        bound = float(best.sum() + rest)
        if found is None or bound < found.bound:
            share = np.zeros(count)
            share[active] = x[: len(active)]
            offset = np.concatenate([[0], np.cumsum([len(one) for one in options.due])]).astype(int)
            prices = tuple(-balance[a:b] for a, b in itertools.pairwise(offset))
            found = Relaxation(bound, earned, best, share, y[program.row_period], prices, number + 1)
        if found.bound - value <= close * max(abs(value), 1.0):
            break
        more = _violated(options, reduced[:count], active)
        if not len(more):
            break
        active = np.union1d(active, more)
    assert found is not None
    return found


def solve_between(program: Program, low: Array, high: Array) -> OptimizeResult:
    """The linear relaxation with its unknowns between `low` and `high`, by HiGHS."""
    return linprog(
        -program.gain,
        A_ub=program.matrix,
        b_ub=program.limit,
        A_eq=program.balance,
        b_eq=np.zeros(program.balance.shape[0]),
        bounds=np.column_stack([low, high]),
        method="highs",
    )


def solve_linear(program: Program) -> tuple[float, Array, Array, Array]:
    """(value, duals of the ≤ rows, duals of the balance, x) of the linear relaxation, by HiGHS."""
    done = solve_between(program, np.zeros(len(program.upper)), program.upper)
    if done.status != 0:  # x = 0 is always feasible and everything is bounded
        raise RuntimeError(f"the linear relaxation failed: {done.message}")
    return -float(done.fun), np.maximum(-done.ineqlin.marginals, 0.0), -done.eqlin.marginals, done.x


def _start(season: Season, options: Options, draft: Draft) -> Ints:
    """The draft's options, and the cheapest and the fullest of each log."""
    chosen = [np.array(draft.options, np.int64)]
    dearest = np.array([max(o.price for o in season.orders if o.product == name) for name in options.products])
    worth = options.sets @ dearest - options.cost
    order = np.lexsort((-worth, options.log))
    first = np.r_[True, np.diff(options.log[order]) > 0] if len(order) else np.zeros(0, bool)
    chosen.append(order[first])
    return np.unique(np.concatenate(chosen))


def _violated(options: Options, reduced: Array, active: Ints) -> Ints:
    """Of each log the best few options that would improve the programme."""
    excess = reduced.copy()
    excess[active] = -np.inf
    some = np.flatnonzero(excess > 1e-2)
    order = some[np.lexsort((-excess[some], options.log[some]))]
    logs = options.log[order]
    rank = np.arange(len(order)) - np.searchsorted(logs, logs)
    return order[rank < PER_LOG]
