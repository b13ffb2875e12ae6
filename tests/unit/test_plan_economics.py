"""What an objective charges and pays, reckoned by hand from mill and products."""

from dataclasses import replace

import numpy as np
import pytest

from pithline.files.mills import read_mill
from pithline.mill.products import Limits, Product, Products
from pithline.plan.problem.economics import Charges, CutCosts, Objective, economics_of
from pithline.plan.problem.operations import Setting, Tool
from pithline.plan.problem.parts import sawn_parts
from unit.small_logs import BACK, RULE, SPECIES, TRADE, products_of

BUNDLED = read_mill()
MILL = replace(
    BUNDLED.mill,
    minutes_per_setting=6.0,
    minutes_repeat=4.0,
    minutes_off_square=3.0,
    minutes_per_cut=0.5,
    minutes_per_log=12.0,
    feed=2000.0,
    hour_rate=90.0,
    least_gain_per_setting=0.4e6,
    least_gain_per_repeat=0.1e6,
)
MACHINES = replace(
    BUNDLED,
    mill=MILL,
    resaw=replace(BUNDLED.resaw, minutes_per_setting=4.0, minutes_repeat=2.0, minutes_per_cut=0.2, feed=1000.0),
    rip=replace(BUNDLED.rip, feed=4000.0, minutes_per_cut=0.3),
    crosscut=replace(BUNDLED.crosscut, minutes_per_cut=1.0),
)
GUITAR = Products("green", (TRADE,), (Product("guitar", 100.0, "trade", (BACK, replace(RULE, loose_price=2.0)), 7),))


def economics(objective, machines=MACHINES, products=GUITAR):
    return economics_of(objective, sawn_parts(products, SPECIES), products, machines)


def test_by_litres_settings_are_charged_what_they_must_win():
    for objective in (Objective.SETS, Objective.VOLUME):
        found = economics(objective)
        assert found.mill == Charges(0.4, 0.1, 0.1) and found.mill.opening == pytest.approx(0.3)
        assert found.shop == Charges(0.4, 0.1, 0.0)  # a run flat on a sawn face costs nothing in the shop
        assert found.costs == CutCosts()
    own = replace(MACHINES, resaw=replace(MACHINES.resaw, least_gain_per_repeat=0.05e6))
    assert economics(Objective.SETS, own).shop.repeat == pytest.approx(0.05)
    plain = replace(MACHINES, mill=replace(MILL, least_gain_per_repeat=None))
    assert economics(Objective.SETS, plain).mill.repeat == pytest.approx(0.4)


def test_by_money_settings_are_charged_their_minutes():
    found = economics(Objective.VALUE)
    # 90 an hour is 1.5 a minute
    assert found.mill == Charges(9.0, 6.0, 6.0, off_square=4.5)
    assert found.shop == Charges(6.0, 3.0, 0.0)
    half = economics(Objective.VALUE, replace(MACHINES, mill=replace(MILL, hour_rate=45.0)))
    assert half.mill.setting == pytest.approx(4.5) and half.mill.off_square == pytest.approx(2.25)


def test_by_money_no_cut_is_counted_dearer_than_it_is():
    """The least minutes any plan needs for a strip, a slab and a plate of a billet: cuts of the shortest part's length."""
    found = economics(Objective.VALUE)
    assert found.costs.strip == pytest.approx(1.5 * (0.3 + 200.0 / 4000.0))
    assert found.costs.slab == pytest.approx(1.5 * min(0.5 + 200.0 / 2000.0, 0.2 + 200.0 / 1000.0))
    plates = 1.5 * np.array([0.2 + 400.0 / 1000.0, 0.2 + 200.0 / 1000.0])
    np.testing.assert_allclose(found.market.cost, plates)
    # a billet of n plates takes n − 1 cuts: the longest of them is spared, and taken off its crosscut
    assert found.costs.billet == pytest.approx(1.5 * 1.0 - plates.max())
    quick = replace(MACHINES, crosscut=replace(MACHINES.crosscut, minutes_per_cut=0.1))
    spared = economics(Objective.VALUE, quick)
    assert spared.costs.billet == 0.0
    np.testing.assert_allclose(spared.market.cost, 0.15)
    for one, crossing in ((found, 1.5), (spared, 0.15)):
        for n in range(1, 6):  # what a billet truly takes, at least
            assert (n * one.market.cost + one.costs.billet <= (n - 1) * plates + crossing + 1e-9).all()


def test_what_sets_and_loose_plates_are_worth():
    back, rule = BACK.volume / 1e6, RULE.volume / 1e6
    whole = 2 * back + rule
    for objective, loose in ((Objective.SETS, 0.1), (Objective.VOLUME, 1.0)):
        market = economics(objective).market
        assert market.set_worth == pytest.approx([whole])
        np.testing.assert_allclose(market.loose, loose * np.array([back, rule]))
    assert economics(Objective.SETS, products=replace(GUITAR, loose_share=0.3)).market.loose[0] == pytest.approx(
        0.3 * back
    )
    money = economics(Objective.VALUE).market
    assert money.set_worth == pytest.approx([100.0])
    np.testing.assert_allclose(money.loose, [0.0, 2.0])
    paired = replace(GUITAR.products[0], parts=(replace(BACK, loose_price=30.0),))
    market = economics(Objective.VALUE, products=replace(GUITAR, products=(paired,))).market
    np.testing.assert_allclose(market.loose, [15.0])  # of a mated pair
    np.testing.assert_allclose(market.single, [0.0])  # alone it cannot be sold as one


def test_demand_is_of_sets_and_of_all_their_plates():
    market = economics(Objective.SETS).market
    assert market.demand.tolist() == [7.0] and market.wanted.tolist() == [14.0, 7.0]
    free = economics(Objective.SETS, products=products_of(BACK, RULE))
    assert np.isinf(free.market.demand).all() and np.isinf(free.market.wanted).all()


def settings_of_two_set_ups():
    """Two logs' settings, one set-up of three runs in the shop, one of a cradle on the mill, and a flat run."""
    rows = [
        (Tool.MILL, True, ""), (Tool.MILL, True, ""), (Tool.RESAW, True, "a"), (Tool.RESAW, True, "a"),
        (Tool.RESAW, False, ""), (Tool.RESAW, True, "a"), (Tool.MILL, True, "b"), (Tool.MILL, True, "b"),
        (Tool.RIP, False, ""),
    ]  # fmt: skip
    return [Setting(tool, "p", charged, 5.0, set_up=name, id=f"s{k}") for k, (tool, charged, name) in enumerate(rows)]


def test_a_set_up_is_charged_in_full_once():
    made = settings_of_two_set_ups()
    assert economics(Objective.SETS).charged(made) == pytest.approx(2 * 0.4 + (0.4 + 2 * 0.1) + (0.4 + 0.1))
    assert economics(Objective.SETS).charged([]) == 0.0


def test_by_money_every_minute_is_charged():
    made = settings_of_two_set_ups()
    assert economics(Objective.VALUE).charged(made) == pytest.approx(1.5 * (9 * 5.0 + 12.0))


def test_a_part_keeps_its_own_limits_where_it_names_some():
    rift = Limits("rift", np.radians(30), np.radians(40), np.radians(3))
    products = replace(
        GUITAR,
        limits=(TRADE, rift),
        products=(replace(GUITAR.products[0], parts=(BACK, replace(RULE, limits="rift"))),),
    )
    assert [part.limits for part in sawn_parts(products, SPECIES)] == [TRADE, rift]
