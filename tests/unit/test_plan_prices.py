"""Prices of plates: the least bound is what the relaxed programme of sales is worth by HiGHS, and no sale is worth more."""

import itertools
from dataclasses import replace

import numpy as np
import pytest

from pithline.mill.products import Product
from pithline.plan.pricing.cutting_planes import Plane, affordable, least_of_planes, price_scale
from pithline.plan.pricing.price_search import (
    Priced,
    SeenLayout,
    Sold,
    Until,
    priced_layouts,
    prices_for,
    search_prices,
)
from pithline.plan.problem.economics import CutCosts, Objective
from pithline.plan.problem.market import SetsMade
from pithline.plan.search import price_start
from unit.markets import SalesModel, random_fills, random_market
from unit.small_logs import BACK, RULE, products_of, shop_of

COSTS = CutCosts()


def layouts_of(rng, number=3, kinds=4):
    return [
        SeenLayout(tuple(random_fills(rng, kinds) for _ in range(5)), float(rng.uniform(0.0, 1.5)))
        for _ in range(number)
    ]


def without_lone_plates(market):
    return replace(market, single=np.where(market.mated, 0.0, market.loose))


def sales(market, layouts):
    """One layout at most, each of its slabs filled one way."""
    model, chosen = SalesModel(market), []
    for layout in layouts:
        own = model.add(-layout.charge)
        chosen.append(own)
        for slab in layout.slabs:
            ways = [model.add(0.0, counts) for counts in slab.options]
            model.at_most({**dict.fromkeys(ways, 1.0), own: -1.0}, 0.0)
    model.at_most(dict.fromkeys(chosen, 1.0), 1.0)
    return model


@pytest.mark.parametrize("seed", range(10))
def test_the_least_bound_is_the_relaxed_programmes_worth(seed):
    """In a box wide enough for any price, the dual of choosing a mixture of layouts and sets.

    Plates without a mate are worth nothing here: what may be sold of them is not asked of prices.
    """
    rng = np.random.default_rng(seed)
    market = without_lone_plates(random_market(rng))
    layouts = layouts_of(rng)
    start = affordable(market, market.loose)
    bound, prices = prices_for(Sold(market, COSTS), layouts, [], start, 40.0, 1e-4)
    model = sales(market, layouts)
    relaxed, whole = model.best(whole=False), model.best()
    assert bound == pytest.approx(relaxed, rel=1e-3, abs=1e-3)
    assert bound >= whole - 1e-6
    at = max(value for value, _, _ in priced_layouts(market, layouts, prices, COSTS))
    assert bound == pytest.approx(max(at, 0.0) + market.unsold_bound(prices))


@pytest.mark.parametrize("seed", range(10))
def test_with_a_number_of_sets_the_least_bound_is_the_relaxed_programmes_worth_with_that_number(seed):
    """The mixture of layouts that makes so many; and the numbers that it makes are those of its own sales."""
    rng = np.random.default_rng(seed)
    market = without_lone_plates(replace(random_market(rng, unlimited=0.0), demand=np.array([3.0, 4.0])))
    market = replace(market, wanted=market.demand[market.pool_product] * market.need.max(axis=0))
    layouts = layouts_of(rng)
    start = affordable(market, market.loose)
    free = sales(market, layouts).best(whole=False)
    bounds = []
    for most in (0.0, 1.0, 2.0):
        sets, planes = SetsMade(np.zeros(2), np.array([most, 4.0])), []
        bound, prices = prices_for(Sold(market, COSTS, sets), layouts, planes, start, 40.0, 1e-4)
        model = sales(replace(market, demand=np.array([most, 4.0])), layouts)
        assert bound == pytest.approx(model.best(whole=False), rel=2e-3, abs=2e-3)
        mixed = least_of_planes(market, planes, prices, 40.0 * price_scale(market), sets)
        assert (mixed.sets >= -1e-6).all() and (mixed.sets <= sets.most + 1e-6).all()
        bounds.append(bound)
    assert bounds == sorted(bounds) and bounds[-1] <= free * 1.003 + 2e-3
    fewest = SetsMade(np.array([1.0, 0.0]), market.demand)
    assert prices_for(Sold(market, COSTS, fewest), layouts, [], start, 40.0, 1e-4)[0] <= free * 1.003 + 2e-3


@pytest.mark.parametrize("seed", range(6))
def test_planes_are_least_where_enumeration_finds_them(seed):
    """Two pools: the least of planes and unsold worth on a fine grid of prices within the box."""
    rng = np.random.default_rng(seed)
    market = random_market(rng, products=1 + seed % 2, kinds=2, unlimited=0.5)
    centre, reach = affordable(market, market.loose + 0.4), price_scale(market)
    planes = []
    for layout in layouts_of_two(rng):
        here = centre * rng.uniform(0.5, 1.5, 2)
        [(value, mated, single)] = priced_layouts(market, [layout], here, COSTS)
        slope = market.holds @ (mated + np.where(market.mated & (here >= market.single), 0, single))
        planes.append(Plane(value, slope, here))
    least, prices, _ = least_of_planes(market, planes, centre, reach)
    assert (np.abs(prices - centre) <= reach + 1e-6).all() and (prices >= market.floor - 1e-9).all()

    def total(at):
        return max(one.value + one.slope @ (at - one.prices) for one in planes) + market.unsold_bound(at)

    axes = [np.linspace(max(c - r, f), c + r, 121) for c, r, f in zip(centre, reach, market.floor, strict=True)]
    found = min(total(np.array(at)) for at in itertools.product(*axes))
    step = max(float(np.diff(axis).max()) for axis in axes)
    steep = max(float(np.abs(one.slope).sum()) for one in planes) + float(
        np.where(np.isfinite(market.wanted), market.wanted, 0).sum()
    )
    assert least <= found + 1e-6 and found <= least + step * (steep + 20.0)


def layouts_of_two(rng):
    return [SeenLayout(tuple(random_fills(rng, kinds=2) for _ in range(4)), 0.3) for _ in range(3)]


def test_sets_of_any_number_are_made_affordable_and_no_dearer():
    market = shop_of(products_of(BACK, RULE)).economics.market
    prices = affordable(market, np.zeros(2))
    np.testing.assert_allclose(market.need @ prices, market.set_worth)
    dear = market.set_worth * 3.0
    np.testing.assert_allclose(affordable(market, dear), dear)
    wanted = shop_of(products_of(BACK, RULE, demands=[2, None])).economics.market
    assert affordable(wanted, np.zeros(2)).tolist() == [0.0, RULE.volume / 1e6]


def test_prices_begin_with_what_sets_are_worth_shared_by_width():
    guitar = products_of(BACK, RULE)
    shop = shop_of(guitar)
    start = price_start(shop.economics)
    np.testing.assert_allclose(shop.economics.market.need @ start, shop.economics.market.set_worth)
    one = Product("guitar", 9.0, "trade", (BACK, RULE))
    both = shop_of(replace(guitar, products=(one,)), objective=Objective.SETS)
    back, rule = price_start(both.economics)
    assert 2 * back + rule == pytest.approx(both.economics.market.set_worth[0])
    assert back / rule == pytest.approx((BACK.width / RULE.width) ** 2)


@pytest.mark.parametrize("seed", range(6))
def test_a_search_closes_in_on_the_relaxed_worth_of_all_layouts(seed):
    """Looks that are given the best of many layouts end near the relaxed worth of all of them, and never under it."""
    rng = np.random.default_rng(100 + seed)
    market = without_lone_plates(random_market(rng))
    layouts = layouts_of(rng, 8)

    def look(prices):
        values = [value for value, _, _ in priced_layouts(market, layouts, prices, COSTS)]
        best = int(np.argmax(values))
        return Priced(prices, max(values[best], 0.0) + market.unsold_bound(prices), (layouts[best],))

    found = search_prices(Sold(market, COSTS), look, market.loose, Until(30, lambda: False, 0.001))
    relaxed = sales(market, layouts).best(whole=False)
    least = min(one.bound for one in found)
    assert relaxed - 1e-6 <= least <= relaxed * 1.01 + 1e-3
    once = search_prices(Sold(market, COSTS), look, market.loose, Until(30, lambda: True))
    assert len(once) == 1
