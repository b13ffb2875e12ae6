"""What is sold: sets, demand, plates left over, against HiGHS; and bounds by prices against whatever could be sold."""

import itertools
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pithline.plan.columns.market_model import fills_at, price_family, solve_model
from pithline.plan.pricing.cutting_planes import affordable
from pithline.plan.problem.economics import CutCosts
from pithline.plan.problem.market import SetsMade
from unit.markets import figured_market, models_of_fills, random_fills, random_market, sold_by_milp

SEEDS = st.integers(0, 100_000)


def random_counts(rng, kinds, most=9):
    counts = rng.integers(0, most, (kinds, 2))
    counts[:, 0] = counts[:, 0] // 2 * 2
    return counts


@settings(max_examples=60)
@given(SEEDS)
def test_plates_are_sold_as_well_as_highs_sells_them(seed):
    rng = np.random.default_rng(seed)
    market = random_market(rng)
    counts = random_counts(rng, 4)
    worth, sets = market.worth(counts[:, 0], counts[:, 1])
    assert worth == pytest.approx(sold_by_milp(market, counts), rel=1e-3, abs=1e-6)
    assert (sets <= market.demand).all()
    assert (sets @ market.need <= market.pooled(counts[:, 0], counts[:, 1])).all()


@pytest.mark.parametrize("demand", [np.inf, 1.0])
@pytest.mark.parametrize("seed", range(10))
def test_a_dearer_set_takes_the_figured_plates_first(demand, seed):
    market = figured_market(demand)
    counts = np.column_stack([np.zeros(3, np.int64), np.random.default_rng(seed).integers(0, 9, 3)])
    worth, _ = market.worth(counts[:, 0], counts[:, 1])
    assert worth == pytest.approx(sold_by_milp(market, counts), rel=1e-3)


def test_sets_by_hand():
    """Two figured backs and two others, four sides: one dear set and one plain; a fifth side is left over."""
    worth, sets = figured_market().worth(np.zeros(3, np.int64), np.array([2, 2, 5]))
    assert sets.tolist() == [1, 1] and worth == pytest.approx(9.0 + 5.0 + 0.25)


@settings(max_examples=60)
@given(SEEDS)
def test_no_plates_sell_for_more_than_they_were_bought_at_and_what_is_unsold(seed):
    """The relaxation: buy plates at any prices that sets can be made at, and no sale brings more than that and `unsold_bound`."""
    rng = np.random.default_rng(seed)
    market = random_market(rng)
    market = replace(market, cost=rng.uniform(0.0, 0.3, 4))
    prices = affordable(market, rng.uniform(0.0, 2.5, 4))
    bound = market.unsold_bound(prices)
    mated, single = market.plate_prices(prices)
    assert np.isfinite(bound)
    for _ in range(5):
        counts = random_counts(rng, 4)
        worth, _ = market.worth(counts[:, 0], counts[:, 1])
        net = worth - market.cost @ counts.sum(axis=1)
        assert net <= counts[:, 0] @ mated + counts[:, 1] @ single + bound + 1e-9


@settings(max_examples=60)
@given(SEEDS)
def test_plans_that_make_so_many_sets_sell_for_no_more_than_that_number_bounds(seed):
    """At any prices, affordable or not: every number of sets that the plates give, plates left over sold as far as they are wanted."""
    rng = np.random.default_rng(seed)
    market = random_market(rng)
    prices = np.maximum(rng.uniform(0.0, 2.5, 4), market.floor)
    mated, single = market.plate_prices(prices)
    bounded = 0
    for _ in range(3):
        counts = random_counts(rng, 4)
        paid = counts[:, 0] @ mated + counts[:, 1] @ single
        have, lone = market.pooled(counts[:, 0], counts[:, 1]), market.lone(counts[:, 1])
        for made in itertools.product(*(range(int(min(most, 4)) + 1) for most in market.demand)):
            used = np.array(made) @ market.need
            if (used > have).any():
                continue
            spare = np.minimum(have - used, market.wanted - used)
            alone = np.minimum(lone, market.wanted - used - spare)
            sold = np.array(made) @ market.set_worth + spare @ market.loose + alone @ market.lone_worth
            fewest, most = (np.array([rng.integers(*ends) for ends in each]) for each in _around(made))
            assert sold <= paid + market.unsold_bound(prices, SetsMade(fewest, most)) + 1e-9
            bounded += 1
    exact = SetsMade(np.ones(2), np.ones(2))
    any_number = market.unsold_bound(prices)
    assert bounded > 0 and (market.unsold_bound(prices, exact) <= any_number or (market.demand < 1.0).any())


def _around(made):
    """Between what ends a least and a greatest number may be drawn that hold these."""
    return [(0, n + 1) for n in made], [(n, n + 3) for n in made]


def test_what_a_number_of_sets_adds_by_hand():
    """A set worth 5 of two plates at 3 loses 1, one at 2 gains 1; a plate left over counts 2 and four are wanted."""
    market = random_market(np.random.default_rng(0), products=1, kinds=1)
    market = replace(
        market,
        need=np.array([[2]]),
        set_worth=np.array([5.0]),
        demand=np.array([2.0]),
        loose=np.array([2.0]),
        wanted=np.array([4.0]),
    )
    dear, cheap, spare = np.array([3.0]), np.array([2.0]), np.array([1.5])
    one, two, none = (SetsMade(np.array([float(n)]), np.array([float(n)])) for n in (1, 2, 0))
    assert [market.unsold_bound(dear, one) for one in (none, one, two)] == [0.0, -1.0, -2.0]
    assert [market.unsold_bound(cheap, one) for one in (none, one, two)] == [0.0, 1.0, 2.0]
    assert [market.unsold_bound(spare, one) for one in (none, one, two)] == [2.0, 3.0, 4.0]  # 4 · 0.5, and 1 a set
    assert market.unsold_bound(dear) == 0.0 and market.unsold_bound(cheap) == 2.0
    assert market.unsold_bound(dear, SetsMade(np.array([1.0]), np.array([2.0]))) == -1.0


def test_a_set_of_any_number_worth_more_than_its_plates_bounds_nothing():
    market = random_market(np.random.default_rng(3), unlimited=1.0)
    assert market.unsold_bound(market.loose) == np.inf
    assert market.unsold_bound(affordable(market, market.loose)) < np.inf


@pytest.mark.parametrize("seed", range(12))
def test_fills_are_chosen_as_well_as_highs_chooses_them(seed):
    """Slabs that can be filled in a few ways each, with and without plates that are there already."""
    rng = np.random.default_rng(seed)
    market = replace(random_market(rng), cost=rng.uniform(0.0, 0.2, 4))
    slabs = [random_fills(rng) for _ in range(6)]
    fills = fills_at(slabs, market, price_family(market, market.loose + 0.5), CutCosts())
    sawn = random_counts(rng, 4, 3) if seed % 2 else None
    model, peer = models_of_fills(market, fills)
    model.maximise(sawn)
    solver, status = solve_model(model, 10.0, 1)
    assert status == "optimal"
    best = peer.best(sawn)
    assert model.worth(solver.objective_value) == pytest.approx(best, rel=1e-3, abs=2e-3)
    assert model.worth(solver.best_objective_bound) >= best - 2e-3


def test_every_way_a_price_would_fill_a_slab_is_offered_once():
    rng = np.random.default_rng(5)
    market = random_market(rng)
    slab = random_fills(rng)
    family = price_family(market, market.loose + 0.5)
    assert len(family) == 1 + 2 * 4 + 2 * 2 and (family[0] == market.loose + 0.5).all()
    [found] = fills_at([slab], market, family, CutCosts())
    seen = {fill.counts.tobytes() for fill in found}
    assert len(seen) == len(found) and seen <= {one.tobytes() for one in slab.options}
    assert fills_at([slab], market, [np.zeros(4)], CutCosts()) == [[]]  # worth nothing, nothing is sawn
