"""The bound for any layout at all, on columns of wood whose best filling is plain; on random layouts in test_plan_simulate."""

from dataclasses import replace

import numpy as np
import pytest

from pithline.plan.evaluate.evaluation import upper_bound
from pithline.plan.evaluate.judge import plate_counts
from pithline.plan.pricing.cutting_planes import affordable
from pithline.plan.problem.economics import Objective
from pithline.plan.problem.layout import LayoutSetting, LayoutSlab
from pithline.plan.problem.parts import sawn_parts
from pithline.plan.programmes.upper_bound import _filled, _fillings, upper_bound_of_log
from pithline.plan.search import price_start
from unit.small_logs import BACK, RULE, carried_out, context_of, log_of, products_of, shop_of

SHOP = shop_of(products_of(BACK))
MACHINES = SHOP.machines
LITRES = np.array([part.volume / 1e6 for part in SHOP.parts])


def test_fillings_are_those_of_a_knapsack():
    best = _fillings(20, np.array([7, 5]), np.array([3.0, 2.0]))
    assert list(best[[4, 5, 7, 9, 10, 12, 14, 15, 17, 19, 20]]) == [0, 2, 3, 3, 4, 5, 6, 6, 7, 8, 8]


def test_runs_are_filled_each_by_itself():
    usable = np.array([[1, 1, 1, 0, 1], [0, 0, 0, 0, 0]], bool)
    fillings = np.arange(10.0)
    # runs of 3 and 1 points reach over 4 and 2 steps at most
    assert _filled(usable, fillings, 1.0, 0.0) == 6.0


def test_never_more_than_all_wood_at_the_least_kerf():
    log = log_of()
    part = SHOP.parts[0]
    found = upper_bound_of_log(log, SHOP.parts, LITRES, MACHINES)
    assert found > 0.0
    radius = float(log.field.radius.max()) + 15.0
    most = np.pi * radius**2 * (part.length / 1e6) * part.thickness / (part.thickness + MACHINES.resaw.kerf)
    assert found <= most  # the clear length holds one back


def test_no_part_fits():
    long = sawn_parts(products_of(type(BACK)("long", 2, 4000.0, 110.0, 5.0, True)), "black walnut")
    assert upper_bound_of_log(log_of(), long, np.ones(1), MACHINES) == 0.0


@pytest.mark.parametrize("objective", list(Objective))
@pytest.mark.parametrize("dear", [0.3, 1.0, 2.0])
def test_at_any_prices_no_plates_of_the_log_sell_for_more(objective, dear):
    """Prices too high buy more wood than is sold, prices too low leave sets unsold: either way the bound holds."""
    products = products_of(BACK, replace(RULE, loose_price=1.5), demands=[None, 3])
    shop = shop_of(products, objective=objective)
    log = log_of()
    prices = affordable(shop.economics.market, dear * price_start(shop.economics))
    bound = upper_bound(context_of(shop), [log], prices) / objective.unit
    layout = LayoutSetting(
        0.0, (LayoutSlab(-30.0, 60.0),), LayoutSetting(np.pi / 2, (LayoutSlab(-30.0, 60.0),), role="half")
    )
    ledger = carried_out(log, layout, shop)
    counts = plate_counts(ledger.plates, shop.economics.kinds, np.ones(len(ledger.plates), bool))
    worth, sets = shop.economics.market.worth(counts[:, 0], counts[:, 1])
    assert sets.any() and 0.0 < worth <= bound


def test_a_demand_lowers_the_bound():
    """Where three rules alone are wanted, the rest of the wood counts nothing."""
    bounds = []
    for demand in (None, 3):
        shop = shop_of(products_of(RULE, demands=[demand]))
        market = shop.economics.market
        prices = market.loose if demand is None else np.zeros(1)
        bounds.append(upper_bound(context_of(shop), [log_of()], prices))
    assert bounds[1] == pytest.approx(3 * RULE.volume) and bounds[0] > 20 * bounds[1]


def test_a_wider_pith_leaves_less_wood():
    loose = upper_bound_of_log(log_of(pith_radius=20.0), SHOP.parts, LITRES, MACHINES)
    assert upper_bound_of_log(log_of(pith_radius=40.0), SHOP.parts, LITRES, MACHINES) < loose
