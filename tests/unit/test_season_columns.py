"""Prices of matched orders against enumeration, the relaxation against the whole linear programme by HiGHS, dives against their rules."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from scipy.optimize import linprog

from pithline.yard.season.column_pool import ColumnPool, SeasonPlan, Weighing, drafted, fullest
from pithline.yard.season.diving import Dives, dive, dive_again
from pithline.yard.season.greedy import greedy
from pithline.yard.season.matched_orders import Matched, PatternWorth
from pithline.yard.season.model import Season
from pithline.yard.season.options import SawingOptions, make_options
from pithline.yard.season.program import make_program
from pithline.yard.season.relaxation import relax
from season_columns import random_season


def one_option(sets: int, ready: int) -> SawingOptions:
    one = np.zeros(1, np.int64)
    due = (np.arange(3),)
    return SawingOptions(
        one, one, one, one, one, np.array([[sets]]), np.array([[ready]]), ("back",), due, one, one + 1, 60
    )


def enumerated(own: Matched, price: float, serve: np.ndarray, sets: int, ready: int) -> float:
    """Most that so many sets earn: every number of sets for every matched order due in time."""
    best = 0.0
    ways = [range(int(q) + 1) if due >= ready else (0,) for q, due in zip(own.quantity, own.due, strict=True)]
    for given in itertools.product(*ways):
        if sum(given) <= sets:
            earned = sum(p * h - serve[o] * (h > 0) for p, h, o in zip(own.price, given, own.order, strict=True))
            best = max(best, earned + price * (sets - sum(given)))
    return best


@pytest.mark.parametrize("seed", range(8))
def test_sets_of_a_log_are_priced_as_by_enumeration(seed):
    rng = np.random.default_rng(seed)
    due = -np.sort(-rng.integers(0, 3, 4))
    own = Matched(np.array([5, 0, 3, 2]), due, rng.integers(50, 150, 4), rng.integers(1, 4, 4))
    prices, serve = -np.sort(-rng.uniform(0.0, 120.0, 3)), rng.uniform(0.0, 150.0, 6)
    worth = PatternWorth((own,), (prices,), serve, np.array([9]))
    for sets, ready in itertools.product(range(1, 10), range(3)):
        options = one_option(sets, ready)
        value = worth.of(options)[0]
        assert value == pytest.approx(enumerated(own, prices[ready], serve, sets, ready))
        pattern = worth.pattern(options, 0)
        places = {int(o): at for at, o in enumerate(own.order)}
        assert all(1 <= h <= own.quantity[places[o]] and own.due[places[o]] >= ready for o, h in pattern)
        earned = sum(own.price[places[o]] * h - serve[o] for o, h in pattern)
        assert earned + prices[ready] * (sets - sum(h for _, h in pattern)) == pytest.approx(value)
        assert value <= worth.slopes[0][ready] * sets + 1e-9


def ready(season: Season) -> tuple[ColumnPool, Weighing, SeasonPlan]:
    options = make_options(season)
    columns = ColumnPool(season, options)
    draft = drafted(columns, greedy(season, options))
    columns.add(draft.columns)
    columns.add(fullest(columns))
    return columns, Weighing(columns), draft


def whole(season: Season, columns: ColumnPool) -> float:
    """The relaxation of the flow programme over all options, in one piece by HiGHS."""
    program = make_program(season, columns.options)
    done = linprog(
        -program.gain,
        A_ub=program.matrix,
        b_ub=program.limit,
        A_eq=program.balance,
        b_eq=np.zeros(program.balance.shape[0]),
        bounds=np.column_stack([np.zeros(len(program.upper)), program.upper]),
        method="highs",
    )
    return -done.fun


@pytest.mark.parametrize("seed", range(4))
def test_the_relaxation_is_the_whole_programmes(seed):
    """Without matched orders the two are one programme; patterns of matched ones are never looser than flows."""
    free = random_season(seed, 15, 4, 12, matched=0.0)
    columns, weigh, _ = ready(free)
    assert relax(columns, weigh).bound == pytest.approx(whole(free, columns), rel=2e-5)
    matched = random_season(seed, 15, 4, 12, matched=0.6)
    columns, weigh, draft = ready(matched)
    found = relax(columns, weigh)
    assert draft.objective <= found.bound <= whole(matched, columns) * (1 + 2e-5)


@pytest.mark.parametrize("seed", range(4))
def test_dives_keep_rules_and_never_pass_the_bound(seed):
    season = random_season(40 + seed, 30, 5, 20, hours=12.0, matched=0.3)
    columns, weigh, draft = ready(season)
    found = relax(columns, weigh)
    first = dive(columns, weigh)
    told: list[int] = []
    plan = dive_again(columns, weigh, found, first, Dives(4, found.bound), told.append)
    assert told == sorted(told) and plan.objective == max([first.objective, *told])
    for one in (draft, first, plan):
        options = columns.options
        chosen = [j for j, _ in one.columns]
        assert one.objective <= found.bound + 1
        assert one.objective == columns.counted(one.columns, one.free)
        assert len(set(options.log[chosen])) == len(chosen)
        spent = np.bincount(options.period[chosen], options.minutes[chosen], len(options.room))
        assert (spent <= options.room).all()
        served = [o for _, pattern in one.columns for o, _ in pattern]
        assert len(set(served)) == len(served)


def test_columns_are_kept_once_and_forgotten_where_they_earn_least():
    columns, weigh, draft = ready(random_season(3, 15, 4, 12))
    assert columns.add(draft.columns) == 0
    found = relax(columns, weigh)
    many = len(columns.list)
    columns.purge(found.point, found.best, 0.0)
    assert 0 < len(columns.list) < many
    assert [columns.list[at] for at in columns.numbers(columns.list)] == columns.list
