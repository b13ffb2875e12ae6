"""Looks near the best prices of a class, and with first settings told apart: where they are worth it, that bounds hold, what is found."""

from dataclasses import replace

import numpy as np
import pytest

from pithline.mill.products import Product
from pithline.plan.class_choice import SMALL, SMALL_UNDER, far_under
from pithline.plan.crosscut_search import CrosscutWay
from pithline.plan.pricing import settings_apart
from pithline.plan.pricing.class_search import (
    MORE_WAYS,
    MOVED,
    ClassTask,
    ValuedLogs,
    layout_of,
    looks_nearby,
    search_class,
)
from pithline.plan.pricing.cutting_planes import affordable
from pithline.plan.pricing.fills import GridFills, fill_all
from pithline.plan.pricing.log_oracle import BoltClass
from pithline.plan.pricing.price_search import priced_layouts, worth_at
from pithline.plan.pricing.settings_apart import looks_told_apart
from pithline.plan.problem.economics import Objective
from pithline.plan.problem.effort import wood_of
from pithline.plan.problem.market import SetsMade
from pithline.plan.problem.task import SawingTask
from pithline.plan.search import price_start, search_seen, see_way
from truth.logs import TrueLog
from unit.small_logs import BACK, RULE, TINY, context_of, log_of, products_of, shop_of

CRADLE = BoltClass("cradle 30°", (30.0,))
HOUR = 5.0
EFFORT = replace(TINY, rounds=5, nearby=4)


def log_of_radius(radius):
    return log_of(TrueLog("l", 620.0, radius, taper=8.0, bark=8.0, pith_butt=(8.0, 3.0), pith_top=(2.0, 9.0)), 18.0)


def guitars(demand, objective, backs=2, rules=3) -> SawingTask:
    """Sets of so many backs and rules: few of them make up what a small log is worth."""
    one = Product("guitar", 30.0, "trade", (replace(BACK, count=backs), replace(RULE, count=rules)), demand)
    products = replace(products_of(BACK, RULE), products=(one,))
    return shop_of(products, 0.2e6, Objective(objective), (), 620.0, hour_rate=HOUR)


def searched(radius, demand, objective, nearby=EFFORT.nearby, seed=1):
    log = log_of_radius(radius)
    context = context_of(guitars(demand, objective), replace(EFFORT, nearby=nearby), seed=seed)
    seen = see_way(CrosscutWay((), (log,), 0.0, price_start(context.economics)), context)
    found, *_ = search_seen(log, seen, context, [CRADLE])[0]
    return found


@pytest.mark.parametrize("radius", [140.0, 150.0])
def test_more_is_found_of_few_sets_or_less_is_proven_possible(radius):
    """Of a larger log one set's plates more; of a smaller one the same, nearer to its bound."""
    few, more = (searched(radius, 5, "sets", nearby) for nearby in (0, EFFORT.nearby))
    assert few.bound - few.value > SMALL_UNDER * few.bound
    assert more.considered > few.considered
    assert few.value <= more.value <= more.bound + 1e-6 and more.bound <= few.bound + 1e-6
    assert more.value > few.value * 1.01 if radius == 150.0 else more.bound < few.bound * 0.997


def test_where_the_answer_is_near_the_bound_nothing_changes():
    few, more = (searched(140.0, None, "value", nearby) for nearby in (0, EFFORT.nearby))
    assert few.bound - few.value <= SMALL_UNDER * few.bound
    assert (more.value, more.bound, more.considered) == (few.value, few.bound, few.considered)
    assert more.log_layout.layouts == few.log_layout.layouts and more.prices.tolist() == few.prices.tolist()


def test_same_seed_same_answer():
    first, second = (searched(150.0, 5, "value", seed=7) for _ in range(2))
    assert (first.value, first.bound, first.considered) == (second.value, second.bound, second.considered)
    assert first.log_layout.layouts == second.log_layout.layouts


@pytest.mark.parametrize("demand", [None, 2, 5])
@pytest.mark.parametrize("objective", ["sets", "value"])
def test_no_layout_of_any_look_sells_for_more_than_the_bound_of_another(objective, demand):
    """Each layout of each look filled at each look's prices, its plates sold in sets and loose at their best."""
    log, shop = log_of_radius(145.0), guitars(demand, objective)
    economics, machines = shop.economics, shop.machines
    market = economics.market
    seen = see_way(CrosscutWay((), (log,), 0.0, price_start(economics)), context_of(shop, EFFORT))
    kerfs = machines.mill.kerf, machines.resaw.kerf
    task = ClassTask(economics, kerfs, (np.array([seen.rolls // 2]),), firsts=2, halves=1, rounds=1)
    valued, fills = ValuedLogs(seen.grids, task), GridFills(seen.grids)
    found = search_class(valued, fills, CRADLE, price_start(economics))
    moves = np.random.default_rng(3).uniform(-1.0, 1.0, (4, len(found.prices)))
    moves[0] = 0.0
    looks = looks_nearby(valued, found, moves)

    assert len(looks) == 4
    for look, move in zip(looks, moves, strict=True):
        np.testing.assert_allclose(look.prices, affordable(market, found.prices * MOVED**move))
    assert looks[0].bound == pytest.approx(found.bound) and (looks[1].prices != looks[2].prices).any()
    assert task.firsts < len(looks[0].ways[0]) <= MORE_WAYS * task.firsts
    all_looks = found.with_looks(looks).looks
    assert [one.bound for one in all_looks] == sorted(one.bound for one in (*found.looks, *looks))
    best = 0.0
    for way in (way for look in all_looks for way in look.ways[0]):
        for at in all_looks:
            filled = [
                fill_all([fills.slab(0, slab)], worth_at(market, at.prices, economics.costs))[0][1]
                for component in way.best
                for slab in component.slabs
            ]
            counts = np.sum([one.counts for one in filled], axis=0)
            spent = sum(one.cost for one in filled) + sum(component.charge for component in way.best)
            sold = market.worth(counts[:, 0], counts[:, 1])[0] - market.cost @ counts.sum(axis=1)
            best = max(best, sold - spent)
    assert 0.0 < best <= all_looks[0].bound * (1.0 + 1e-6)  # values are kept as float32


def told_apart(log, shop):
    """A class of one log that was looked at, its first settings told apart: the logs valued, their slabs, what was found."""
    economics, machines = shop.economics, shop.machines
    start = price_start(economics)
    seen = see_way(CrosscutWay((), (log,), 0.0, start), context_of(shop, EFFORT))
    kerfs = machines.mill.kerf, machines.resaw.kerf
    task = ClassTask(economics, kerfs, (np.array([seen.rolls // 2]),), firsts=2, halves=1, rounds=3, apart=True)
    valued, fills = ValuedLogs(seen.grids, task), GridFills(seen.grids)
    return valued, fills, search_class(valued, fills, CRADLE, start)


@pytest.mark.parametrize(
    ("objective", "demand", "share"), [("sets", 2, 0.99), ("value", 3, 0.985), ("value", None, 1.0)]
)
def test_told_apart_no_plan_is_worth_more_than_its_branch_promises(objective, demand, share):
    """Layouts of all looks, filled at the prices of each: sold in every number of sets, and by the best; by first setting besides."""
    valued, fills, found = told_apart(log_of_radius(160.0), guitars(demand, objective))
    task = valued.task
    market, costs = task.economics.market, task.economics.costs
    told = looks_told_apart(valued, fills, found, 0.0, 12)
    whole = found.with_looks(told.looks, told.proven)

    assert 0 < len(told.looks) <= 12 and whole.bound == min(told.proven, whole.looks[0].bound)
    assert whole.bound <= share * found.bound
    best = 0.0
    for look in whole.looks:
        assert len(look.firsts) == len(look.ways[0])
        assert look.worths.max() + market.unsold_bound(look.prices) == pytest.approx(look.bound) or look.bound == np.inf
        for rank, first in enumerate(look.firsts):
            layout = layout_of(task, look, fills, rank)
            at_own = priced_layouts(market, [layout], look.prices, costs)[0][0]
            assert at_own <= look.worths[first] * (1.0 + 1e-6) + 1e-6
            if any(look is one for one in told.looks) and rank == len(look.firsts) - 1:
                # the last is the one that was asked for, the best of its first setting at these prices but for what bounds fans loosely
                assert at_own >= look.worths[first] - 0.005 * found.bound
            for other in whole.looks:
                value, mated, single = priced_layouts(market, [layout], other.prices, costs)[0]
                assert value <= other.worths[first] * (1.0 + 1e-6) + 1e-6
                worth, sets = market.worth(np.rint(mated), np.rint(single))
                prices = market.plate_prices(other.prices)
                spent = mated @ prices[0] + single @ prices[1] - value  # charges, and the cuts of its slabs
                sold = worth - market.cost @ (mated + single) - spent
                made = SetsMade(sets.astype(float), sets.astype(float))
                for at in whole.looks:
                    assert sold <= at.worths[first] + market.unsold_bound(at.prices, made) + 1e-6 * at.bound
                best = max(best, sold)
    assert 0.5 * whole.bound < best <= whole.bound * (1.0 + 1e-6)
    nothing = looks_told_apart(valued, fills, whole, 2.0 * whole.bound, 12)
    assert not nothing.looks and nothing.proven == 2.0 * whole.bound  # none may be worth more than what is known
    assert not looks_told_apart(valued, fills, found, 0.0, 12, lambda: True).looks


def test_numbers_of_sets_apart_bound_less_than_first_settings_alone(monkeypatch):
    """A mixture of layouts makes one set and a half, eight backs each, which is no plan; no layout is worth more than what is left."""
    valued, fills, found = told_apart(log_of_radius(150.0), guitars(3, "sets", 8, 4))
    task = valued.task
    economics = task.economics
    both = looks_told_apart(valued, fills, found, 0.0, 24)
    best = 0.0
    for look in (*found.looks, *both.looks):
        for rank in range(len(look.firsts)):
            layout = layout_of(task, look, fills, rank)
            for _, mated, single in priced_layouts(economics.market, [layout], look.prices, economics.costs):
                best = max(best, economics.market.worth(np.rint(mated), np.rint(single))[0] - layout.charge)
    assert 0.5 * both.proven < best <= both.proven * (1.0 + 1e-6)
    monkeypatch.setattr(settings_apart, "WHOLE", 1.0)  # every number counts as whole, and no branch is parted
    assert both.proven < 0.85 * looks_told_apart(valued, fills, found, 0.0, 24).proven


def test_how_far_is_far_by_hand():
    """Small logs three per cent, others six; of what a plan is stated to earn, its log paid."""
    small, large = log_of_radius(150.0), log_of(TrueLog("l", 3000.0, 200.0, taper=0.0, bark=8.0))
    assert wood_of(small) < SMALL < wood_of(large) and wood_of(small) * 5 > SMALL
    cases = [
        ((small,), 97.5, False),
        ((small,), 96.5, True),
        ((large,), 94.5, False),
        ((large,), 93.5, True),
        ((small,) * 5, 96.5, False),  # together they are no small log
    ]
    for logs, value, far in cases:
        assert far_under(logs, 100.0, value, 0.0) is far
        assert far_under(logs, 150.0, 50.0 + value, 50.0) is far  # the log's own minutes apart
    assert far_under((large,), 100.0, 96.5, 0.0, apart=True) and not far_under((large,), 100.0, 97.5, 0.0, apart=True)
    assert not far_under((small,), 40.0, 0.0, 45.0)  # no layout can pay for the log
