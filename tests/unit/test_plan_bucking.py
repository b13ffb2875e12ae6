"""Crosscutting first: ends, chords and fields of shorter logs, where to cut, and that a bent log gains by it on its truth."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from pithline.errors import MillError, PlanError
from pithline.mill.pose import least_length_on_bunks
from pithline.plan import crosscut_search, search
from pithline.plan.class_answers import SeenWay
from pithline.plan.crosscut_search import BENT, CrosscutWay, crosscut_ways
from pithline.plan.execute.bucked_log import crosscut_log
from pithline.plan.pricing.log_oracle import BoltClass
from pithline.plan.problem.layout import Locks
from pithline.plan.problem.log_frame import BUCK_CLEAR, in_trims, pith_bow, pith_on
from pithline.plan.problem.operations import Cut, Setting, Support
from pithline.plan.search import price_start, search_seen, see_way
from pithline.script.replay import replay
from pithline.wood.field import at_points
from pithline.yard.request import Request
from small_plan import CARD, QUICK, TRUTH, small_plan
from truth.judge import judge
from truth.logs import TrueLog
from unit.small_logs import BACK, STRAIGHT, context_of, log_of, products_of, shop_of

BENT_LOG = TrueLog("bent", 1500.0, 165.0, taper=4.0, bark=8.0, sweep=45.0, sweep_clock=1.0)
SHOP = shop_of(products_of(BACK))


def test_a_straight_log_does_not_bow_and_a_swept_one_by_its_sweep():
    assert pith_bow(log_of(STRAIGHT)) < 0.5
    assert pith_bow(log_of(BENT_LOG)) == pytest.approx(45.0, abs=1.0)


def test_shorter_logs_share_out_the_log_less_the_kerfs():
    log = log_of(BENT_LOG)
    kerf, places = 6.0, (400.0, 900.0)
    ledger, logs = crosscut_log(log, places, kerf, 300.0)
    assert [one.piece.id for one in logs] == ["log-1", "log-2", "log-3"]
    assert [type(o) for o in ledger.operations] == [Setting, Cut, Cut]
    assert ledger.operations[0].charged and ledger.operations[0].support is Support.CRADLE
    marks = (0.0, *places, log.reach)
    for one, low, high in zip(logs, marks, marks[1:], strict=False):
        ends = [float((point - log.origin) @ log.axis) for point in (one.butt.point, one.top.point)]
        assert ends[0] == pytest.approx(low + (kerf / 2 if low else 0.0), abs=0.1)
        assert ends[1] == pytest.approx(high - (kerf / 2 if high < log.reach else 0.0), abs=0.1)
        # the pith leaves both ends where the chord does
        np.testing.assert_allclose(one.origin, one.butt.point)
        np.testing.assert_allclose(one.origin + one.reach * one.axis, one.top.point, atol=1e-6)
        assert pith_bow(one) < 20.0
    assert (logs[0].trim_butt, logs[0].trim_top) == (25.0, BUCK_CLEAR)
    assert (logs[2].trim_butt, logs[2].trim_top) == (BUCK_CLEAR, 25.0)


def test_every_shorter_log_lies_on_two_bunks_with_room(monkeypatch):
    """Halves are shorter where an end is not square, so a log that just lies on two bunks will not do."""
    log, seen = log_of(BENT_LOG), []
    shop = shop_of(products_of(replace(BACK, length=560.0)), bunks=(100.0, 700.0, 1300.0))
    real = crosscut_search._Rough.value

    def value(self, places, *rest):
        seen.append(places)
        return real(self, places, *rest)

    monkeypatch.setattr(crosscut_search._Rough, "value", value)
    crosscut_ways(log, context_of(shop), price_start(shop.economics))
    shortest = min(b - a for places in seen for a, b in pairwise((0.0, *places, log.reach)))
    assert any(seen) and shortest >= least_length_on_bunks(shop.machines.mill) + crosscut_search.BUNKS_SPARE == 690.0


def test_a_shorter_log_holds_the_same_wood():
    log = log_of(BENT_LOG)
    one = crosscut_log(log, (700.0,), 6.0, 0.0)[1][1]
    rng = np.random.default_rng(4)
    points = np.column_stack([rng.uniform(760.0, 1440.0, 60), rng.uniform(-120.0, 120.0, (60, 2))])
    normal = np.array([0.0, 0.6, 0.8])
    for mine, whole in zip(at_points(one.field, points, normal), at_points(log.field, points, normal), strict=True):
        np.testing.assert_allclose(mine, whole, atol=1e-6)
    beyond = one.butt.point + np.array([[-1.0, 0, 0], [BUCK_CLEAR + 1.0, 0, 0]])
    assert in_trims(one, beyond).tolist() == [True, False]


def test_the_pith_is_found_on_a_leaning_face():
    log = log_of(BENT_LOG)
    normal = np.array([np.cos(0.2), np.sin(0.2), 0.0])
    point = pith_on(log.field, normal, 640.0)
    assert point @ normal == pytest.approx(640.0, abs=0.05)
    np.testing.assert_allclose(point[1:], BENT_LOG.pith(np.array([point[0]]))[0], atol=0.2)


def ways_of(truth, shop=SHOP):
    return crosscut_ways(log_of(truth), context_of(shop), price_start(shop.economics))


def test_where_to_crosscut_suits_the_parts_and_pays_on_a_bent_log_alone():
    for truth, pays in ((BENT_LOG, True), (replace(BENT_LOG, sweep=BENT - 3.0), False)):
        ways, reach = ways_of(truth), log_of(truth).reach
        assert (ways[0].places != ()) is pays
        assert all(one.bound >= other.bound - 1e-9 for one, other in pairwise(ways))
        for way in ways:
            assert len(way.logs) == len(way.places) + 1
            ends = (0.0, *way.places, reach)
            assert all(b - a >= SHOP.machines.mill.log_length_min for a, b in pairwise(ends))


def test_a_crosscut_is_charged_once_a_log():
    """The same shorter logs, seen as they are and as though nothing had been crosscut for them: a setting on the mill apart."""
    log, context = log_of(BENT_LOG), context_of(SHOP)
    seen = see_way(ways_of(BENT_LOG)[0], context)
    free = replace(seen, way=replace(seen.way, places=()))
    left = (BoltClass("bolts left", sawn=False),)
    cut, uncut = (search_seen(log, one, context, left)[0][0] for one in (seen, free))
    assert seen.way.places and context.economics.mill.setting > 0.0
    assert uncut.value - cut.value == pytest.approx(context.economics.mill.setting)
    assert uncut.bound - cut.bound == pytest.approx(context.economics.mill.setting)


def test_a_class_that_cannot_better_what_another_way_gave_is_not_searched():
    """Only where its bound promises as much; and what is left out could not have been worth more."""
    log, context = log_of(BENT_LOG), context_of(SHOP)
    seen = see_way(ways_of(BENT_LOG)[0], context)
    classes = (BoltClass("bolts left", sawn=False), BoltClass("cradle 30°", (30.0,)))
    every = {one.bolts.name: one for one in search_seen(log, seen, context, classes)[0]}
    assert set(every) == {"bolts left", "cradle 30°"}
    for beaten in ({True: 1e6}, {False: 1e6}, {True: 1e6, False: 1e6}, {True: 0.0, False: 0.0}):
        found = search_seen(log, seen, context, classes, beaten=beaten)[0]
        assert {one.bolts.sawn for one in found} == {sawn for sawn in (False, True) if beaten.get(sawn, 0.0) == 0.0}
    # a bound holds at whatever prices it was seen
    kept = search_seen(log, seen, context, classes, beaten={True: every["cradle 30°"].value})[0]
    assert max(one.value for one in kept) == pytest.approx(every["cradle 30°"].value, rel=0.02)


@pytest.mark.parametrize(("share", "searched"), [(0.95, True), (0.82, True), (0.78, False), (0.2, False)])
def test_a_log_is_looked_at_whole_with_bolts_left_where_that_may_come_near(monkeypatch, share, searched):
    """As a whole it promises too little to be searched with its bolts sawn; the least work is asked of it all the same."""
    log, prices = log_of(BENT_LOG), np.zeros(1)
    cut = CrosscutWay((700.0,), (log, log), 10.0, prices, left=6.0)
    whole = CrosscutWay((), (log,), 5.0, prices, left=share * 6.0)
    monkeypatch.setattr(search, "crosscut_ways", lambda *asked: [cut, whole])
    asked = []

    def seen(way, context, monitor):
        asked.append(way.places)
        return SeenWay(way, (), None, 12, False)

    monkeypatch.setattr(search, "see_way", seen)
    monkeypatch.setattr(search, "search_seen", lambda *given: ([], 0.0))
    with pytest.raises(PlanError):
        search.search_candidates(log, context_of(SHOP))
    assert asked == ([(700.0,), ()] if searched else [(700.0,)])


def test_a_crosscut_log_says_what_it_and_the_log_whole_give_with_bolts_left():
    ways = ways_of(BENT_LOG)
    told = {way.places: way.left for way in ways}
    assert ways[0].places and told[()] is not None and told[ways[0].places] is not None
    assert all(way.left is None for way in ways[1:] if way.places)
    assert all(way.left <= 1.05 * way.bound for way in ways if way.left is not None)


def test_a_log_too_long_for_the_mill_is_never_left_whole():
    shop = shop_of(products_of(BACK), log_length_max=800.0, log_length_min=300.0)
    truth = replace(BENT_LOG, sweep=2.0)
    ways = ways_of(truth, shop)
    assert ways
    for way in ways:
        assert way.places and max(np.diff((0.0, *way.places, log_of(truth).reach))) <= 800.0


BENT_SMALL = replace(TRUTH, length=1300.0, sweep=50.0, sweep_clock=2.0)


@pytest.fixture(scope="module")
def scripts():
    return {
        name: small_plan(BENT_SMALL, Request(effort=QUICK, samples=2, bucking=name == "bucked"))
        for name in ("bucked", "whole")
    }


def test_a_bent_log_gains_by_it_as_judged_on_its_truth(scripts):
    verdicts = {name: judge(script, BENT_SMALL) for name, script in scripts.items()}
    for verdict in verdicts.values():
        assert not verdict.hard
        assert verdict.true_volume >= 0.97 * verdict.claimed_volume
    assert verdicts["bucked"].true_volume > 1.15 * verdicts["whole"].true_volume
    operations = scripts["bucked"]["operations"]
    assert operations[0]["tool"] == "buck" and operations[0]["charged"] and operations[0]["weight_kg"] > 20.0
    assert not any(one["tool"] == "buck" for one in scripts["whole"]["operations"])
    assert replay(scripts["bucked"]).holds


def test_every_shorter_log_levels_its_own_pith(scripts):
    script = scripts["bucked"]
    logs = [one["id"] for one in script["pieces"] if one["kind"] == "log" and one["id"] != "log"]
    firsts = {}
    for one in script["operations"]:
        if one["op"] == "setting" and one["tool"] == "mill" and one["piece"] in logs:
            firsts.setdefault(one["piece"], one)
    assert len(firsts) == 2
    for one in firsts.values():
        heights = [one["marks"][end]["height"] for end in ("butt", "top")]
        assert one["marks"]["butt"]["name"] == "pith" and abs(heights[0] - heights[1]) < 2.0


def test_without_bucking_a_log_too_long_is_refused():
    card = CARD.replace('id = "small"', 'id = "long"')
    truth = replace(TRUTH, length=4300.0)
    with pytest.raises(MillError, match="longest log the mill takes"):
        small_plan(truth, Request(effort=QUICK, samples=2, bucking=False), card=card)


@pytest.mark.parametrize(
    ("locks", "costs", "holds"),
    [
        (Locks(roll=np.radians(40.0)), False, lambda s, first: abs(first["roll"] - 40.0) < 0.3),
        (Locks(settings_max=2), True, lambda s, first: s["totals"]["settings"] <= 2),
        (Locks(bolts=False), False, lambda s, first: all(kind_of(s, o["piece"]) != "bolt" for o in s["operations"])),
        (Locks(first_slab=41.0), False, lambda s, first: slabs_of(s, first) == pytest.approx([41.0], abs=1.01)),
    ],
)
def test_what_is_held_is_kept_and_its_cost_is_told(locks, costs, holds):
    script = small_plan(request=Request(effort=QUICK, samples=2, locks=locks))
    first = next(o for o in script["operations"] if o["op"] == "setting")
    assert holds(script, first)
    cost = script["proof"]["locks"]["cost"]
    assert cost >= (0.05 * script["totals"]["instrument_volume"] if costs else 0.0)
    assert replay(script).holds


def kind_of(script, piece):
    return next(one["kind"] for one in script["pieces"] if one["id"] == piece)


def slabs_of(script, setting):
    """Thicknesses of the slabs of one setting. [mm]"""
    cuts = [o for o in script["operations"] if o["op"] == "cut" and o["setting"] == setting["id"]]
    out = []
    for upper, lower in pairwise(cuts):
        if kind_of(script, lower["above"]) == "slab":
            out.append(upper["offset"] - lower["offset"] - (upper["kerf"] + lower["kerf"]) / 2)
    return out
