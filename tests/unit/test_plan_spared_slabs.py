"""Slabs of which nothing comes: what a layout may do without, and plans carried out anew without them."""

from dataclasses import replace

import numpy as np
import pytest

from pithline.logmodel.document import model_to_json
from pithline.plan.evaluate.idle_plates import billets_of_nothing, slabs_of_nothing
from pithline.plan.evaluate.judge import Judge
from pithline.plan.evaluate.spare_cuts import CarriedOut, holds_all_of, spare_cuts
from pithline.plan.execute.bucked_log import LogLayout, crosscut_log
from pithline.plan.execute.operation_json import operations_to_json
from pithline.plan.execute.shop import DrawnSlab
from pithline.plan.execute.slab_view import SlabFrame
from pithline.plan.execute.spared_slabs import Spared, What, may_be_spared, without
from pithline.plan.execute.workshop import workshop_of
from pithline.plan.problem.layout import LayoutSetting, LayoutSlab, settings_of
from pithline.script.pieces import saw
from truth.logs import TrueLog
from unit.small_logs import BACK, RULE, context_of, fill_of, log_of, products_of, shop_of

TRUTH = TrueLog("c", 1000.0, 170.0, taper=0.0, bark=8.0)
PRODUCTS = products_of(BACK, RULE)
SHOP = shop_of(PRODUCTS)
QUARTER = np.pi / 2
GOOD, FLAT = LayoutSlab(-30.0, 60.0), LayoutSlab(-64.0, 32.0)
"""A slab about the pith, and one under it, which is flat sawn: no plate of it keeps 70°."""


@pytest.fixture(scope="module")
def log():
    return log_of(TRUTH)


def of(setting, *gives):
    """Whether anything comes of the slabs of one setting of "log"."""
    return {DrawnSlab("log", setting, k): one for k, one in enumerate(gives)}


def slabs(count):
    return tuple(LayoutSlab(30.0 * (count - k), 20.0) for k in range(count))


# what a layout may do without


def test_the_outer_slabs_of_a_setting_may_be_spared_and_those_between_may_not():
    layout = LayoutSetting(0.0, slabs(5))
    found = may_be_spared("log", layout, of(layout, False, True, False, True, False))
    assert found == (Spared("log", (), What.TOP, 1), Spared("log", (), What.BOTTOM, 1))
    assert without("log", layout, found).slabs == layout.slabs[1:4]
    assert may_be_spared("log", layout, of(layout, True, False, False, False, True)) == ()


def test_a_face_that_moves_is_told():
    """The cut under the lowest slab makes the face of the half below, which gives something; the half above gives nothing."""
    idle, busy = LayoutSetting(QUARTER, slabs(1), role="half"), LayoutSetting(3 * QUARTER, slabs(2), role="half")
    layout = LayoutSetting(0.0, slabs(3), idle, busy)
    gives = of(layout, False, True, False) | of(idle, False) | of(busy, True, True)
    found = may_be_spared("log", layout, gives)
    assert found == (
        Spared("log", (), What.TOP, 1, moves=False),
        Spared("log", (), What.BOTTOM, 1, moves=True),
        Spared("log", ("above",), What.ALL),
    )
    assert without("log", layout, found) == replace(layout, slabs=layout.slabs[1:2], above=None)


def test_a_setting_is_spared_with_all_that_follows_where_nothing_comes_of_any():
    bolt = LayoutSetting(1.0, slabs(1), role="bolt")
    half = LayoutSetting(QUARTER, slabs(2), below=bolt, role="half")
    layout = LayoutSetting(0.0, slabs(1), half)
    gives = of(layout, True) | of(half, False, False)
    assert may_be_spared("log", layout, gives | of(bolt, False)) == (Spared("log", ("above",), What.ALL),)
    # nothing of a half comes but a bolt: one slab stays, and parts it off
    found = may_be_spared("log", layout, gives | of(bolt, True))
    assert {one.what for one in found} == {What.TOP, What.BOTTOM}
    left = without("log", layout, found).above
    assert len(left.slabs) == 1 and left.below == bolt
    # what no machine took is no work to spare
    assert may_be_spared("log", layout, of(layout, True)) == ()


def test_a_run_of_a_bolt_may_be_passed_over_for_the_next():
    last = LayoutSetting(1.0, slabs(1), role="bolt")
    first = LayoutSetting(0.5, slabs(1), above=last, role="bolt")
    layout = LayoutSetting(0.0, slabs(1), below=first)
    found = may_be_spared("log", layout, of(layout, True) | of(first, False) | of(last, True))
    assert found == (Spared("log", ("below",), What.RUN, moves=True),)
    assert without("log", layout, found) == replace(layout, below=last)
    assert without("log-2", layout, found) is layout


# carried out anew


def planned(log, layouts, places=(), shop=SHOP):
    """A layout carried out on the machines, and what sparing cuts makes of it."""
    workshop = workshop_of(log.model, shop.machines, 929.0)
    logs = crosscut_log(log, places, shop.machines.buck.kerf, 0.0)[1]

    def saw(log_layout, caches):
        return workshop.saw(log_layout, shop, caches)

    fill = fill_of(shop)
    log_layout = LogLayout(log, places, logs, layouts)
    plan = CarriedOut(log_layout, workshop.execute(log_layout, shop, fill), fill)
    return plan, spare_cuts(plan, saw, Judge(context_of(shop)), shop)


def opened(ledger):
    """Cuts of the band mill and of bolts in the shop."""
    kinds = ("log", "half", "bolt")
    return [one for one in ledger.cuts if ledger.pieces[one.piece].kind in kinds]


def slabs_made(ledger):
    return len([name for name in ledger.pieces if name.startswith("slab-")])


def boxes(ledger):
    return sorted((one.part, *np.round(one.corner, 6)) for one in ledger.passing)


def test_a_slab_that_is_sawn_last_and_gives_nothing_stays_on_its_piece(log):
    before, after = planned(log, (LayoutSetting(0.0, (GOOD, FLAT)),))
    assert slabs_made(before.ledger) == 2 and len(slabs_of_nothing(Judge(context_of(SHOP)), before.ledger)) == 1
    assert len(opened(before.ledger)) == 3 and len(opened(after.ledger)) == 2
    assert boxes(after.ledger) == boxes(before.ledger) and boxes(after.ledger)
    assert after.ledger.minutes < before.ledger.minutes
    assert slabs_made(after.ledger) == 1
    assert after.log_layout.layouts[0].slabs == (GOOD,)


def test_one_that_is_sawn_first_is_waste_and_one_cut_opens_the_log(log):
    first = LayoutSlab(32.0, 32.0)
    before, after = planned(log, (LayoutSetting(0.0, (first, GOOD)),))
    assert (len(opened(before.ledger)), len(opened(after.ledger))) == (3, 2)
    assert boxes(after.ledger) == boxes(before.ledger) and boxes(after.ledger)


def test_a_setting_of_which_nothing_comes_is_not_set_up(log):
    half = LayoutSetting(QUARTER, (LayoutSlab(70.0, 30.0),), role="half")
    before, after = planned(log, (LayoutSetting(0.0, (GOOD,), half),))
    assert (before.ledger.set_ups, after.ledger.set_ups) == (2, 1)
    assert boxes(after.ledger) == boxes(before.ledger) and boxes(after.ledger)
    assert [one.role for one in settings_of(after.log_layout.layouts[0])] == ["log"]


def test_of_a_log_crosscut_first_each_is_spared_its_own():
    log = log_of(replace(TRUTH, length=2400.0))
    layouts = (LayoutSetting(0.0, (GOOD, FLAT)), LayoutSetting(0.5, (GOOD,)))
    before, after = planned(log, layouts, (1200.0,))
    assert len(opened(before.ledger)) - len(opened(after.ledger)) == 1
    assert after.log_layout.layouts == (replace(layouts[0], slabs=(GOOD,)), layouts[1])
    assert boxes(after.ledger) == boxes(before.ledger)


THIN = LayoutSlab(0.0, 4.0)
"""Thinner than any plate."""
WEDGE = LayoutSetting(np.radians(-40.0), (LayoutSlab(0.0, 20.0),), role="bolt")


def cradled(*angles):
    """The shop with cradles of these angles only. [degrees]"""
    machines = SHOP.machines
    return replace(
        SHOP,
        machines=replace(
            machines,
            mill=replace(machines.mill, cradles_deg=angles, cradle_any=False),
            resaw=replace(machines.resaw, cradles_deg=angles, cradle_any=False),
        ),
    )


def bolt_in_two_runs():
    """A bolt from 0 to 90° of the log: a thin slab at 20° to its near face, then a slab at 40°."""
    thin = LayoutSetting(np.radians(-20.0), (THIN,), above=WEDGE, role="bolt")
    half = LayoutSetting(QUARTER, (LayoutSlab(-20.0, 40.0),), above=thin, role="half")
    return LayoutSetting(0.0, (GOOD,), half)


def test_a_cut_whose_face_holds_a_bolt_is_kept(log):
    """The cradle of 20° holds the second run by the face of the first, of which nothing comes, and by no other."""
    before, after = planned(log, (bolt_in_two_runs(),), shop=cradled(20.0))
    assert any(plate.role == "bolt" for plate in before.ledger.passing)
    assert len(slabs_of_nothing(Judge(context_of(SHOP)), before.ledger)) == 1
    assert after is before


def test_a_run_that_nothing_needs_is_passed_over(log):
    """A cradle of 40° holds the second run by the bolt's own face."""
    before, after = planned(log, (bolt_in_two_runs(),), shop=cradled(20.0, 40.0))
    assert any(plate.role == "bolt" for plate in after.ledger.passing)
    assert len(opened(after.ledger)) == len(opened(before.ledger)) - 2
    assert after.ledger.charged == before.ledger.charged - 1
    judge = Judge(context_of(SHOP))
    assert judge.worth(after.ledger) >= judge.worth(before.ledger)


def test_what_is_spared_replays(log):
    before, after = planned(log, (bolt_in_two_runs(),), shop=cradled(20.0, 40.0))
    for ledger in (before.ledger, after.ledger):
        script = {"model": model_to_json(log.model), "operations": operations_to_json(ledger.operations), "pieces": []}
        solids = saw(script)
        assert solids.findings == []
        assert {plate.id for plate in ledger.plates} <= set(solids.leaves())


def test_a_plan_without_such_slabs_is_the_same_one(log):
    before, after = planned(log, (LayoutSetting(0.0, (GOOD,)),))
    assert after is before


def test_a_billet_that_nobody_buys_stays_in_its_slab(log):
    """Filled while rules sell singly, judged where three are wanted: each rule beyond is left, with its cuts."""
    few = shop_of(products_of(BACK, RULE, demands=[None, 3]))
    workshop, fill = workshop_of(log.model, SHOP.machines, 929.0), fill_of(SHOP)
    log_layout = LogLayout(log, (), (log,), (LayoutSetting(0.0, (GOOD,)),))
    before = CarriedOut(log_layout, workshop.execute(log_layout, SHOP, fill), fill)
    after = spare_cuts(before, lambda one, caches: workshop.saw(one, SHOP, caches), Judge(context_of(few)), SHOP)

    def rules(ledger):
        return [one for one in ledger.passing if one.part == 1]

    assert len({one.billet for one in rules(before.ledger)}) > 1 and len(rules(before.ledger)) > 6
    assert {one.billet for one in rules(after.ledger)} and len({one.billet for one in rules(after.ledger)}) == 1
    assert len(rules(after.ledger)) >= 3
    assert [box for box in boxes(after.ledger) if box[0] == 0] == [box for box in boxes(before.ledger) if box[0] == 0]
    assert len(list(after.ledger.cuts)) < len(list(before.ledger.cuts))
    assert after.ledger.minutes < before.ledger.minutes
    assert billets_of_nothing(Judge(context_of(few)), after.ledger) == frozenset()


class NonePass:
    """Sampled logs on which no plate passes."""

    def passing(self, plates):
        return np.zeros((2, len(plates)), bool)


def test_sets_that_are_promised_of_the_fitted_log_are_kept_though_none_comes_of_a_sampled_one(log):
    """Of a promise of two rules a billet of them stays, and a plan that lacks them is refused."""
    few = shop_of(products_of(BACK, RULE, demands=[0, 2]))
    workshop, fill = workshop_of(log.model, SHOP.machines, 929.0), fill_of(SHOP)
    ledger = workshop.execute(LogLayout(log, (), (log,), (LayoutSetting(0.0, (GOOD,)),)), SHOP, fill)
    rules = {one.billet for one in ledger.passing if one.part == 1}
    billets = {one.billet for one in ledger.plates}
    judge = Judge(context_of(few), NonePass())
    assert len(rules) > 1 and billets_of_nothing(judge, ledger) == billets
    promised = replace(judge, promised=True)
    (kept,) = billets - billets_of_nothing(promised, ledger)
    assert kept in rules
    assert np.isfinite(promised.worth(ledger))
    none = replace(ledger, plates=[one for one in ledger.plates if one.part == 0])
    assert np.isfinite(judge.worth(none)) and promised.worth(none) == -np.inf


def test_a_slab_keeps_its_plates_where_it_only_gains_wood():
    axis, normal, lateral = np.eye(3)[[0, 2, 1]]
    side = np.array([0.0, 0.6, 0.8])
    frame = SlabFrame(axis, normal, lateral, 10.0, 30.0, ((side, 40.0), (-lateral, 5.0)))
    assert holds_all_of(frame, frame)
    assert holds_all_of(replace(frame, bounds=((side, 56.0), (-lateral, 5.0))), frame)
    assert holds_all_of(replace(frame, bounds=((side, 40.0),)), frame)
    assert not holds_all_of(replace(frame, bounds=((side, 39.0), (-lateral, 5.0))), frame)
    assert not holds_all_of(frame, replace(frame, bounds=((side, 40.0),)))
    assert not holds_all_of(replace(frame, top=31.0), frame) and not holds_all_of(replace(frame, low=9.0), frame)


def test_plates_beyond_the_demand_count_nothing(log):
    """Filled for any number, judged where two are wanted: the first slab has them."""
    half = LayoutSetting(QUARTER, (LayoutSlab(-30.0, 60.0),), role="half")
    before, _ = planned(log, (LayoutSetting(0.0, (GOOD,), half),), shop=shop_of(products_of(BACK)))
    assert len({one.billet for one in before.ledger.passing}) > 1 and slabs_made(before.ledger) == 2
    few = shop_of(products_of(BACK, demands=[1]))
    assert slabs_of_nothing(Judge(context_of(shop_of(products_of(BACK)))), before.ledger) == frozenset()
    assert len(slabs_of_nothing(Judge(context_of(few)), before.ledger)) == 1
