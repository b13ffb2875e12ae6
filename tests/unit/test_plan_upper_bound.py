"""The bound for any layout at all, on columns of wood whose best filling is plain; on random layouts in test_plan_carry."""

import numpy as np
import pytest

from pithline.plan.problem.parts import sawn_parts
from pithline.plan.programmes.upper_bound import _filled, _fillings, upper_bound_of_log, upper_bound_of_logs
from unit.small_logs import BACK, RULE, log_of, products_of, shop_of

SHOP = shop_of(products_of(BACK))
MACHINES = SHOP.machines


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
    found = upper_bound_of_log(log, SHOP.parts, SHOP.worth, MACHINES)
    assert found > 0.0
    radius = float(log.field.radius.max()) + 15.0
    most = np.pi * radius**2 * (part.length / 1e6) * part.thickness / (part.thickness + MACHINES.resaw.kerf)
    assert found <= most  # the clear length holds one back


def test_no_part_fits():
    long = sawn_parts(products_of(type(BACK)("long", 2, 4000.0, 110.0, 5.0, True)), "black walnut")
    assert upper_bound_of_log(log_of(), long, np.ones(1), MACHINES) == 0.0


def test_wanted_parts_are_counted_at_most_as_wanted():
    shop = shop_of(products_of(BACK, RULE, demands=[None, 3]))
    log = log_of()
    free = upper_bound_of_log(log, shop.parts[:1], shop.worth[:1], MACHINES)
    assert upper_bound_of_logs([log], shop.parts, shop.worth, MACHINES) == pytest.approx(free + 3 * shop.worth[1])


def test_a_wider_pith_leaves_less_wood():
    loose = upper_bound_of_log(log_of(pith_radius=20.0), SHOP.parts, SHOP.worth, MACHINES)
    assert upper_bound_of_log(log_of(pith_radius=40.0), SHOP.parts, SHOP.worth, MACHINES) < loose
