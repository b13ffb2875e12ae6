"""A planned log turned by hand: what follows from roll, first slab and bolts, carried out on the machines."""

import json
from dataclasses import replace

import numpy as np
import pytest

from pithline.errors import ScriptError
from pithline.mill.machine import Machines
from pithline.plan.api import CLOSELY, HandChoice
from pithline.plan.problem.layout import LayoutSetting, LayoutSlab, settings_of
from pithline.plan.what_if import ROLLS, _flipped, _turned
from pithline.yard.what_if import hand_log
from shed_yard import SCRIPT

STEP = np.pi / ROLLS


@pytest.fixture(scope="module")
def script():
    return json.loads(SCRIPT.read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def hand(script):
    """The small log, planned at a roll of 120°."""
    return hand_log(script)


def clocks(answer):
    return [one.clock for layout in answer.log_layout.layouts for one in settings_of(layout)]


def test_the_tables_reach_a_quarter_turn_to_either_side_of_the_plans_roll(hand):
    rolls, promises = hand.tables.promises()
    assert hand.roll_deg == pytest.approx(120.0, abs=0.01)
    assert np.degrees(rolls[0]) == pytest.approx(30.0, abs=0.01) and len(rolls) == len(promises) == ROLLS
    assert promises.max() > promises.min() >= 0.0


def test_a_roll_between_two_of_the_tables_is_sawn_as_the_nearest_turned_by_the_rest(hand):
    plain, turned = (hand.tables.chosen_anew(HandChoice(hand.tables.roll + by)) for by in (0.0, 0.3 * STEP))
    assert clocks(plain)[0] == pytest.approx(hand.tables.roll, abs=1e-6)
    np.testing.assert_allclose(np.subtract(clocks(turned), clocks(plain)), 0.3 * STEP, atol=1e-9)


def test_upside_down_the_same_planes_are_sawn(hand):
    up, down = (hand.tables.chosen_anew(HandChoice(hand.tables.roll + by)).log_layout.layouts[0] for by in (0.0, np.pi))
    assert np.mod(down.clock - up.clock, 2 * np.pi) == pytest.approx(np.pi)
    assert sorted(-slab.top for slab in down.slabs) == pytest.approx(sorted(slab.low for slab in up.slabs))


def test_a_layout_flipped_twice_is_itself():
    half = LayoutSetting(1.0, (LayoutSlab(5.0, 30.0),), role="half")
    log = LayoutSetting(0.2, (LayoutSlab(20.0, 30.0), LayoutSlab(-40.0, 50.0)), above=half)
    once = _flipped(log)
    assert (once.below, once.above) == (half, None) and once.slabs == (LayoutSlab(-10.0, 50.0), LayoutSlab(-50.0, 30.0))
    twice = _turned(_flipped(once), 0.0)
    assert replace(twice, clock=log.clock) == log and twice.clock == pytest.approx(log.clock)


def test_bolts_are_left_whole_where_they_are_to_be(hand):
    for way in (hand.tables.as_planned, hand.tables.chosen_anew):
        found = [way(HandChoice(hand.tables.roll, bolts=bolts)) for bolts in (True, False)]
        roles = [{one.role for one in settings_of(answer.log_layout.layouts[0])} for answer in found]
        assert "half" in roles[1] and "bolt" not in roles[1]
        assert "bolt" in roles[0] or way == hand.tables.as_planned  # the plan itself may leave them


def test_the_first_setting_takes_one_slab_of_the_thickness_chosen(hand):
    thickness = hand.tables.thicknesses[len(hand.tables.thicknesses) // 2]
    assert hand.tables.as_planned(HandChoice(hand.tables.roll, thickness)) is None
    answer = hand.tables.chosen_anew(HandChoice(hand.tables.roll, thickness))
    (slab,) = answer.log_layout.layouts[0].slabs
    assert slab.thickness == thickness


def test_not_turned_the_plans_own_cuts_give_what_the_plan_gives(hand, script):
    planned = hand.tables.as_planned(HandChoice(hand.tables.roll), CLOSELY)
    passing = sum(plate["passes"] for plate in script["plates"])
    assert clocks(planned)[0] == pytest.approx(hand.tables.roll)
    assert 0.9 * passing <= len(planned.ledger.passing)


def test_the_better_of_the_plans_cuts_and_cuts_chosen_anew_is_told(hand):
    roll = hand.tables.roll + np.radians(31.0)
    both = [way(HandChoice(roll), CLOSELY) for way in (hand.tables.as_planned, hand.tables.chosen_anew)]
    found = hand.answer(float(np.degrees(roll)))
    better = max(both, key=lambda one: one.worth)
    assert found["anew"] == (better is both[1]) and found["angles"]["passing"] == len(better.ledger.passing)
    assert not hand.answer(float(np.degrees(roll)), closely=False)["anew"]  # at once, by the plan's own cuts


def test_what_follows_is_told_of_plates_as_they_were_graded(hand):
    found = hand.answer(hand.roll_deg + 7.0)
    passing = [plate for plate in found["plates"] if plate["passes"]]
    assert found["angles"]["passing"] == len(passing) == found["totals"]["plates"] > 0
    limits = hand.own.inputs.products.products[0]
    least = np.degrees(min(one.limits.ring_angle_min for one in hand.own.parts))
    assert least <= found["angles"]["least"] <= found["angles"]["mean"] <= 90.0
    assert limits.name in found["totals"]["sets"] and found["totals"]["minutes"] > 0.0


def test_the_plans_own_machines_hold(hand, script):
    assert isinstance(hand.own.machines, Machines)
    assert hand.own.machines.mill.kerf == pytest.approx(script["inputs"]["mill"]["mill"]["kerf"])


def test_what_is_no_cut_script_is_refused(script):
    with pytest.raises(ScriptError):
        hand_log({key: value for key, value in script.items() if key != "model"})
