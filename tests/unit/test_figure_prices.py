"""Zones of figure in the search: kinds of plates by where they lie, what is sold of them, and layouts that lie in the zone."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pithline.logmodel.card import Figure, figure_factor
from pithline.plan.api import Objective
from pithline.plan.columns.market_model import fills_at, price_family, solve_model
from pithline.plan.evaluate.evaluation import upper_bound
from pithline.plan.evaluate.glance import GLANCE, glance
from pithline.plan.evaluate.judge import plate_counts
from pithline.plan.evaluate.totals import loose_value, sum_up
from pithline.plan.execute.grade import PlateGrade
from pithline.plan.execute.ledger import Ledger, Plate
from pithline.plan.execute.slab_fill import FillRequest, SlabToFill, fill_slabs, places_in
from pithline.plan.execute.slab_view import SlabFrame
from pithline.plan.pricing.cutting_planes import affordable
from pithline.plan.pricing.log_grid import log_grid, narrowed
from pithline.plan.pricing.price_search import Sold, prices_for
from pithline.plan.problem.economics import CutCosts
from pithline.plan.problem.kinds import plate_kinds
from pithline.plan.problem.log_frame import normal_at
from pithline.plan.problem.market import market_of
from pithline.plan.search import price_start, search_candidates
from pithline.yard import prepared_log
from pithline.yard.request import Request
from small_plan import CARD, QUICK, small_plan
from unit.markets import models_of_fills, random_figured_market, random_fills, sold_by_milp, sold_by_trying
from unit.small_logs import BACK, RULE, TINY, context_of, log_of, products_of, shop_of
from unit.test_plan_prices import layouts_of, sales

SEEDS = st.integers(0, 100_000)
ZONES = st.lists(
    st.builds(
        lambda factor, start, long: Figure("curl", factor, start, None if long is None else (start or 0.0) + long),
        st.sampled_from([0.5, 0.8, 1.0, 1.5, 2.5]),
        st.none() | st.floats(0.0, 900.0),
        st.none() | st.floats(50.0, 900.0),
    ),
    max_size=3,
)


@settings(max_examples=60)
@given(ZONES, st.floats(200.0, 700.0))
def test_kinds_are_the_factors_that_plates_of_a_log_can_have(zones, length):
    part = shop_of(products_of(replace(BACK, length=180.0))).parts[0]
    kinds = plate_kinds((part,), zones, length)
    starts = np.arange(0.0, length - part.length, 0.25)
    by_hand = [figure_factor(zones, start, start + part.length) for start in starts]
    assert set(by_hand) <= set(kinds.factor)
    assert list(kinds.factor) == sorted(set(kinds.factor)) and kinds.part == (0,) * len(kinds.factor)
    found = kinds.at(0, starts, starts + part.length)
    np.testing.assert_array_equal(np.array(kinds.factor)[found], by_hand)


def test_only_a_products_widest_parts_have_several_kinds():
    guitar = products_of(BACK)
    product = replace(guitar.products[0], parts=(BACK, replace(RULE, count=4)))
    parts = shop_of(replace(guitar, products=(product,))).parts
    kinds = plate_kinds(parts, (Figure("curl", 2.5, 100.0, 560.0),), 1200.0)
    assert kinds.part == (0, 1, 0) and kinds.factor == (1.0, 1.0, 2.5) and kinds.apart
    # a zone that no plate lies within tells nothing apart, one along the whole log makes all alike
    assert plate_kinds(parts, (Figure("curl", 2.5, 100.0, 400.0),), 1200.0).factor == (1.0, 1.0)
    assert plate_kinds(parts, (Figure("curl", 2.5),), 1200.0).factor == (2.5, 1.0)


def random_plates(rng, kinds, most=4):
    return np.array([rng.integers(0, most) for _ in kinds.part])


@settings(max_examples=60)
@given(SEEDS)
def test_figured_plates_are_sold_as_the_rule_says(seed):
    """Every way to make up sets of single plates, each set at the least factor of its widest plates, against the nested pools."""
    rng = np.random.default_rng(seed)
    market, kinds, prices = random_figured_market(rng)
    single = random_plates(rng, kinds)
    worth, sets = market.worth(np.zeros_like(single), single)
    assert worth == pytest.approx(sold_by_trying(kinds, prices, single))
    for k in range(len(market.demand)):
        assert sets[market.product == k].sum() <= market.demand[k]
    counts = np.column_stack([np.zeros_like(single), single])
    assert worth == pytest.approx(sold_by_milp(market, counts), rel=1e-3, abs=1e-6)


def test_a_figured_set_by_hand():
    """Three backs of factor 2 and one plain, sets of two backs: one figured set and one plain, for each counts its least."""
    shop = shop_of(products_of(replace(BACK, bookmatched=False)), objective="value", length=1200.0)
    parts = shop.parts
    kinds = plate_kinds(parts, (Figure("curl", 2.0, 100.0, 560.0),), 1200.0)
    market = market_of(kinds, {"back": 10.0}, np.array([1.0, 2.0]), np.array([1.0, 2.0]), np.zeros(2))
    np.testing.assert_array_equal(market.holds, [[1, 1], [0, 1]])
    np.testing.assert_array_equal(market.need, [[2, 0], [2, 2]])
    np.testing.assert_allclose(market.set_worth, [10.0, 20.0])
    np.testing.assert_allclose(market.loose, [1.0, 1.0])
    none = np.zeros(2, np.int64)
    assert market.worth(none, np.array([1, 3]))[0] == pytest.approx(30.0)
    # a plain set takes plain plates first, and the figured one is sold by itself; where there is none, what is left is plain
    assert market.worth(none, np.array([2, 3]))[0] == pytest.approx(32.0)
    assert market.worth(none, np.array([3, 2]))[0] == pytest.approx(31.0)


@settings(max_examples=60)
@given(SEEDS)
def test_no_figured_plates_sell_for_more_than_they_were_bought_at_and_what_is_unsold(seed):
    rng = np.random.default_rng(seed)
    market, kinds, _ = random_figured_market(rng)
    market = replace(market, cost=rng.uniform(0.0, 0.3, len(kinds.part)))
    prices = affordable(market, rng.uniform(0.0, 4.0, len(market.loose)))
    bound = market.unsold_bound(prices)
    _, each = market.plate_prices(prices)
    assert np.isfinite(bound)
    for _ in range(5):
        single = random_plates(rng, kinds, 9)
        worth, _ = market.worth(np.zeros_like(single), single)
        assert worth - market.cost @ single <= each @ single + bound + 1e-9


@pytest.mark.parametrize("seed", range(10))
def test_the_least_bound_of_figured_plates_is_the_relaxed_programmes_worth(seed):
    rng = np.random.default_rng(seed)
    market, kinds, _ = random_figured_market(rng)
    layouts = layouts_of(rng, kinds=len(kinds.part))
    start = affordable(market, np.cumsum(np.abs(market.loose)))
    bound, _ = prices_for(Sold(market, CutCosts()), layouts, [], start, 40.0, 1e-4)
    model = sales(market, layouts)
    assert bound == pytest.approx(model.best(whole=False), rel=1e-3, abs=1e-3)
    assert bound >= model.best() - 1e-6


@pytest.mark.parametrize("seed", range(12))
def test_fills_with_figure_are_chosen_as_well_as_highs_chooses_them(seed):
    rng = np.random.default_rng(seed)
    market, kinds, _ = random_figured_market(rng)
    slabs = [random_fills(rng, kinds=len(kinds.part)) for _ in range(5)]
    fills = fills_at(slabs, market, price_family(market, np.abs(market.loose) + 0.5), CutCosts())
    model, peer = models_of_fills(market, fills)
    model.maximise()
    solver, status = solve_model(model, 10.0, 1)
    assert status == "optimal"
    assert model.worth(solver.objective_value) == pytest.approx(peer.best(), rel=1e-3, abs=2e-3)


SHORT = replace(RULE, length=120.0)
HELD = Figure("curl", 2.5, 200.0, 340.0)
"""Where a row of four plates of 120 mm along the log leaves none within it; one that lies within it leaves room for two more."""


def shop_of_rules(*figures):
    """Rules that sell for 10 each, hours for nothing."""
    return shop_of(products_of(SHORT), objective=Objective.VALUE, figures=figures, hour_rate=0.0)


def rules_sold(places):
    """What rules that begin at some places along bring, by the rule itself."""
    return sum(10.0 * figure_factor((HELD,), start, start + SHORT.length) for start in places)


def rows(starts, room):
    """Every row of billets that begin at some of these places, in order, each so far after the one before it."""
    yield ()
    for i, start in enumerate(starts):
        for rest in rows([one for one in starts[i + 1 :] if one >= start + room], room):
            yield (start, *rest)


def test_a_strip_is_crosscut_where_the_zone_lies():
    """One strip of a slab: as dear as the dearest of all rows, by trying each; blind to the zone it would be cheaper."""
    log, blind, shop = log_of(), shop_of_rules(), shop_of_rules(HELD)
    normal = normal_at(log.axis, 0.4)
    lateral = np.cross(normal, log.axis)
    frame = SlabFrame(log.axis, normal, lateral, -5.0, 5.0, ((-lateral, -60.0), (lateral, 135.0)))
    seen = places_in(log, frame, blind, False, 1.0)
    room = shop.parts[0].length + shop.saws.crosscut_kerf
    best = 0.0
    for row in seen.map.plates[0].any(axis=2):
        starts = [seen.span.start + seen.cells[0] * x for x in np.flatnonzero(row)]
        best = max(best, *(rules_sold(places) for places in rows(starts, room)))
    found = {}
    for name, own in (("blind", blind), ("seeing", shop)):
        request = FillRequest(own.economics, price_start(own.economics), reserve=False)
        [strips] = fill_slabs([SlabToFill(log, frame)], own, request).strips
        found[name] = rules_sold(billet.start for strip in strips for billet in strip.billets)
    assert found["seeing"] == pytest.approx(best) == pytest.approx(45.0)
    assert found["blind"] == pytest.approx(40.0)


def test_every_place_on_the_grid_is_of_the_kind_that_its_stations_say():
    zones = (HELD, Figure("crotch", 0.5, 330.0, None))
    shop = shop_of_rules(*zones)
    log = log_of()
    effort = replace(TINY, along_step=10.0)
    plain, figured = (log_grid(log, context_of(one, effort), 4, lambda part: None) for one in (shop_of_rules(), shop))
    kinds = shop.economics.kinds
    assert kinds.factor == (0.5, 1.0, 2.5)
    start = log.origin[0] + 10.0 * log.axis[0] * np.arange(plain.places.along)
    factors = np.array([figure_factor(zones, one, one + SHORT.length * log.axis[0]) for one in start])
    for roll in range(4):
        whole, of_kind, some = plain.passing(roll)[0][0], *figured.passing(roll)
        for kind, factor in enumerate(kinds.factor):
            np.testing.assert_array_equal(of_kind[kind], whole * (factors == factor))
            np.testing.assert_array_equal(some[kind], of_kind[kind].any(axis=-1))
    assert all(any(figured.passing(roll)[0][kind].any() for roll in range(4)) for kind in range(3))


def test_a_log_that_was_looked_at_for_several_lists_shows_the_kinds_of_each():
    log, shop = log_of(), shop_of_rules(HELD)
    asked = context_of(shop, effort=GLANCE)
    [whole] = glance(log, asked, (*shop.parts, *shop_of(products_of(BACK)).parts), ()).grids
    alone, own = log_grid(log, asked, whole.grid.rolls, lambda share: None), narrowed(whole, asked, [0])
    assert own.kinds == alone.kinds and len(own.kinds.part) == 2
    for roll in range(own.grid.rolls):
        for mine, theirs in zip(own.passing(roll), alone.passing(roll), strict=True):
            assert mine.shape == theirs.shape and (mine >= theirs).all()
    assert all(any(some[kind].any() for some in own.places.some) for kind in range(2))


def test_no_layout_with_figure_is_worth_more_than_the_bound_of_any():
    log, context = log_of(), context_of(shop_of_rules(HELD))
    [best, *_] = sorted(search_candidates(log, context), key=lambda one: -one.value)
    assert 0.0 < best.value <= best.bound <= upper_bound(context, [log], best.prices)


def test_figure_along_the_whole_log_makes_all_of_it_dearer():
    plain, dear = (shop_of_rules(*zones).economics.market for zones in ((), (Figure("curl", 1.3),)))
    np.testing.assert_allclose(dear.set_worth, 1.3 * plain.set_worth)
    np.testing.assert_array_equal(dear.holds, plain.holds)


GOOD = PlateGrade(1.5, 1.55, 0.01, True, True)


@pytest.mark.parametrize("demand", [None, 3])
@pytest.mark.parametrize("seed", range(8))
def test_what_was_sawn_sells_for_what_the_market_says(seed, demand):
    """Sets as they are gathered on the sheet, and loose plates, against plates counted by kind."""
    rng = np.random.default_rng(seed)
    guitar = products_of(BACK)
    parts = (replace(BACK, loose_price=6.0), replace(RULE, count=2, bookmatched=False, loose_price=1.0))
    product = replace(guitar.products[0], price=50.0, parts=parts, demand=demand)
    products = replace(guitar, products=(product,))
    zones = (Figure("curl", 2.5, 100.0, 560.0), Figure("plain", 0.6, 700.0, None))
    shop = shop_of(products, objective=Objective.VALUE, figures=zones, length=1500.0)
    plates = []
    for n in range(14):
        p = int(rng.integers(0, 2))
        size = shop.parts[p]
        edges = tuple(np.eye(3) * (size.length, size.width, size.thickness))
        start = float(rng.choice([120.0, 300.0, 720.0]))
        for layer in range(int(rng.integers(1, 4))):
            at = np.array([start, 0.0, 7.0 * layer])
            plates.append(Plate(f"plate-{n}-{layer}", p, at, edges, GOOD, f"billet-{n}", layer, 1.0))
    counts = plate_counts(plates, shop.economics.kinds, np.ones(len(plates), bool))
    sums = sum_up(Ledger(plates=plates), shop.parts, products, {"log": 1e9}, zones)
    factors = {}
    for plate in sums.plates:
        if plate.set_id is not None and plate.part == 0:
            factors[plate.set_id] = min(factors.get(plate.set_id, np.inf), plate.figure)
    assert len(factors) == sums.sets["back"]
    by_hand = 50.0 * sum(factors.values()) + loose_value(sums.plates, shop.parts, products)
    assert shop.economics.market.worth(*counts.T)[0] == pytest.approx(by_hand)


CURLY = (
    CARD
    + """[[figure]]
kind = "curl"
factor = 2.5
from = "330 mm"
to = "770 mm"
"""
)


def test_a_plan_that_does_not_see_the_zone_earns_less(monkeypatch):
    """One back is all that the log's length holds; where it lies is free, but for the zone."""
    request = Request(effort=replace(QUICK, corner_step=30.0, nearby=0, answers=1), objective=Objective.VALUE)
    seeing = small_plan(card=CURLY, request=request)
    monkeypatch.setattr(prepared_log, "plate_kinds", lambda parts, *told: plate_kinds(parts))
    blind = small_plan(card=CURLY, request=request)
    earned = [script["totals"]["earnings"] for script in (seeing, blind)]
    figured = [sum(plate.get("figure") == 2.5 for plate in script["plates"]) for script in (seeing, blind)]
    assert earned[0] > 1.5 * earned[1] > 0.0 and figured[0] > figured[1]
    assert seeing["proof"]["bound"] > blind["proof"]["bound"]
    likely = seeing["uncertainty"]["earnings"]
    assert likely["p10"] <= earned[0] and likely["p90"] > earned[1]
