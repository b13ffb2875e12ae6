"""The plan that an appraisal counts on, doubts split by what was seen, and what is told of metal."""

import re
from dataclasses import replace

import numpy as np
import pytest

from appraisal_by_hand import READ, TODAY, card, known, nothing_hidden, terms, trade
from pithline.errors import MillError, PlanError
from pithline.files.priors import read_priors
from pithline.plan.api import COARSE, FillRequest, LayoutSetting, LayoutSlab, LogLayout, crosscut_log, price_start
from pithline.plan.api import execute_as_drawn as drawn
from pithline.wood.fit_errors import even_shapes
from pithline.yard.appraisal import layouts
from pithline.yard.appraisal.answers import SCAN_LEAVES, as_scanned
from pithline.yard.appraisal.appraise import _instead, _told, shop_of
from pithline.yard.appraisal.drawn_logs import draw_basis, draw_log, log_as_drawn, most_likely_draw
from pithline.yard.appraisal.layouts import AppraisedPlan, fits, laid_again, plan_now, planned_anew
from pithline.yard.appraisal.log_knowledge import _blended, gather_knowledge
from pithline.yard.appraisal.regrade import brings, planned
from pithline.yard.appraisal.spoilers import Spoiler, in_words, spoilers
from pithline.yard.appraisal.tape_log import tape_model
from pithline.yard.appraisal.terms import Lot
from pithline.yard.one_log import plan_model

SLAB = LayoutSetting(0.0, (LayoutSlab(-25.0, 50.0),))
QUICKEST = replace(
    COARSE, rolls=6, along_step=50.0, corner_step=30.0, rounds=2, firsts=1, halves=1, master=1.0, nearby=0, answers=1
)


@pytest.fixture(scope="module")
def quick():
    """The round log, searched more coarsely than any command does; terms, shop and plan."""
    own = terms(nothing_hidden(), effort=QUICKEST)
    shop = shop_of(Lot("round.toml", card(), READ), own, known(nothing_hidden()))
    return own, shop, plan_now(shop, own.request)


def test_the_plan_appraised_is_the_plan_that_is_sawn(quick):
    """Same products, objective and effort: the appraisal's plan and `plan`'s script come to the same sets and money."""
    own, shop, plan = quick
    inputs = replace(shop.own.inputs, card_sha256="0" * 64, scan_sha256="0" * 64)  # nothing was read
    script = plan_model(shop.own.log.model, inputs, own.request).script
    told = _told(plan, shop, own.trade.products)
    assert plan.note == "" and told["searched"] and plan.ledger.passing
    assert told["sets"] == script["totals"]["sets"] and told["set_ups"] == script["totals"]["set_ups"]
    assert told["earnings"] == pytest.approx(script["totals"]["earnings"])
    assert told["volume"] == pytest.approx(script["totals"]["instrument_volume"])


def test_a_search_that_fails_makes_no_log_worthless(quick, monkeypatch):
    own, shop, plan = quick

    def fails(*given):
        raise PlanError("no setting pays: each is charged too much.")

    monkeypatch.setattr(layouts, "ways_to_saw", fails)
    instead = plan_now(shop, own.request)
    assert instead.ledger.passing and instead.bolts is None and instead.way == "practice layout"
    [words] = _instead(instead)
    assert "no setting pays: each is charged too much" in words and "worth that at least" in words
    assert brings(known(nothing_hidden()).log, planned(instead.ledger, shop.parts), shop.sold).sales > 0.0
    assert not _instead(plan)


def test_where_not_even_practice_gives_a_plate_the_search_says_why(quick, monkeypatch):
    own, shop, _ = quick

    def fails(*given):
        raise PlanError("no part fits: it is too slim.")

    class Nothing:
        with_bolts = slabs = LogLayout
        log_layout = None

    monkeypatch.setattr(layouts, "ways_to_saw", fails)
    monkeypatch.setattr(layouts, "practice", lambda *given: Nothing)
    monkeypatch.setattr(layouts.Judge, "worth", lambda self, ledger: 0.0)
    Nothing.with_bolts = Nothing.slabs = type("Empty", (), {"passing": []})
    with pytest.raises(PlanError, match="it is too slim"):
        plan_now(shop, own.request)


def test_a_plan_made_anew_is_no_worse_than_the_old_settings(quick):
    _, shop, plan = quick
    log = known(nothing_hidden())
    size = most_likely_draw(log)
    grown = log_as_drawn(
        replace(log, wander=25.0), {**size, "wander": np.array([[1.0, 0.5], [0.0, 0.5]])}, draw_basis(log)
    )
    old, new = (
        brings(grown, planned(one.ledger, shop.parts), shop.sold).sales
        for one in (laid_again(grown, plan, shop), planned_anew(grown, plan, shop, 1))
    )
    assert new >= old > 0.0


def test_a_log_by_tape_is_planned_as_a_scan_would_show_it():
    log = taped(np.pi * 500.0)
    seen = as_scanned(log, read_priors(), draw_basis(log))
    assert np.allclose(seen.seen, SCAN_LEAVES * log.seen) and seen.bow == pytest.approx(SCAN_LEAVES * log.bow)
    assert seen.pith.max() <= 3.0 + 1e-9 < log.pith.max() and seen.bark.mean() <= log.bark.mean()
    assert seen.log.field.doubt.max() < log.log.field.doubt.max()
    assert np.allclose(seen.log.field.radius, log.log.field.radius)
    scanned = known(nothing_hidden())
    assert as_scanned(scanned, read_priors(), draw_basis(scanned)) is scanned


def taped(girth):
    """A log by tape as thick at the top as at the butt."""
    priors = read_priors()
    stated = card(scan=None, tape_length=2000.0, tape_girth_butt=girth, tape_girth_top=girth)
    model, left_open = tape_model(stated, {"log": {}}, priors)
    return gather_knowledge(model, stated, {"log": {}}, priors, TODAY, left_open)


def test_a_log_by_tape_that_may_be_too_thick_is_appraised_with_a_caution_and_one_that_is_is_not():
    """The mill takes 750 mm; no stub was seen by tape, so none is to blame."""
    thin, thick, over = (taped(np.pi * across) for across in (600.0, 725.0, 760.0))
    assert fits(thin.log, "tape", trade().machines, "a") == ()
    [words] = fits(thick.log, "tape", trade().machines, "a")
    assert re.search(r"725 mm across, but .* it may reach 7[67]\d mm, .* takes is 750 mm: measure", words)
    with pytest.raises(MillError, match=r"a: it is 760 mm across with its bark.*name a larger mill"):
        fits(over.log, "tape", trade().machines, "a")


@pytest.mark.parametrize(("stub", "blame"), [(0.0, "name a larger mill"), (120.0, "a stub or swelling")])
def test_a_scanned_log_too_thick_for_the_mill_says_what_is_to_blame(stub, blame):
    """An oval log is too wide by itself; a round one by its stub."""
    log = known(nothing_hidden()).log
    clock = np.arange(72) * np.pi / 36
    radius = log.model.radius_over_bark + (0.0 if stub else 1.0) * 130.0 * np.cos(clock) ** 2
    envelope = radius.copy()
    envelope[20:24, :3] += 2 * stub
    model = replace(log.model, radius_over_bark=radius, envelope=envelope)
    with pytest.raises(MillError, match=f"a: it is .* takes is 750 mm.*{blame}"):
        fits(replace(log, model=model), "scan", trade().machines, "a")


def test_a_crosscut_log_is_laid_out_and_graded_as_one():
    log = known(nothing_hidden()).log
    place = 0.5 * log.reach
    context = trade().case.context
    prices = price_start(context.economics)
    fill = FillRequest(context.economics, prices, True, 1.5)
    logs = crosscut_log(log, (place,), trade().machines.buck.kerf, 0.0)[1]
    sawing = LogLayout(log, (place,), logs, (SLAB, None))
    ledger = drawn(sawing, context.task, fill)
    own = planned(ledger, trade().parts)
    assert len(own.plates) and own.spans[:, 1].max() < place
    assert ledger.operations[0].tool == "buck"
    again = laid_again(log, AppraisedPlan(sawing, prices, ledger, 60.0), trade())
    assert [p.corner.tolist() for p in again.ledger.plates] == [p.corner.tolist() for p in ledger.plates]
    same = brings(log, own, trade().sold)
    assert same.plates == len(own.plates)
    other = LogLayout(log, (place,), logs, (None, SLAB))
    assert planned(drawn(other, context.task, fill), trade().parts).spans[:, 0].min() > place


def test_a_doubt_has_no_step_and_an_even_one_stays():
    rows = np.zeros((40, 361))
    rows[:, 90:200] = 6.0
    rows[:, -1] = rows[:, 0]
    smooth = _blended(rows)
    assert np.abs(np.diff(smooth, axis=1)).max() < 0.25 and smooth.max() <= 6.0 and smooth[:, 145].min() > 5.9
    assert np.array_equal(_blended(np.full((40, 361), 2.5)), np.full((40, 361), 2.5))


def test_sizes_by_tape_differ_between_the_tapes_and_sections_by_the_spread_of_their_prior():
    priors = replace(nothing_hidden(), section_shape=(0.012, 0.0, 0.02), section_spread=0.7)
    log = known(priors, card(), surface=5.0)
    shapes = even_shapes(log.log.field, np.array([0.5, 0.0, 0.85]))
    log = replace(log, basis="tape", shapes=shapes, shape_spread=0.7)
    basis = draw_basis(log)
    drawn = [draw_log(log, priors, 1, n)["seen"][2] for n in range(2000)]
    sizes = np.array([one.ravel() for one in drawn])
    assert np.sqrt((sizes**2).mean()) == pytest.approx(1.0, rel=0.15)  # the mean square is the prior's
    assert (sizes**4).mean() / (sizes**2).mean() ** 2 > 6.0  # and the tails are heavy: 3 for a normal
    size = most_likely_draw(log)
    size["seen"] = np.zeros((3, 2, 2))
    size["seen"][0, 0, 0] = 1.0
    change = log_as_drawn(log, size, basis).field.radius - log.log.field.radius
    ends, middle = np.abs(np.abs(basis.t) - 1.0) < 1e-9, np.argmin(np.abs(basis.t))
    assert np.allclose(change[ends], 0.0) and change[middle].mean() == pytest.approx(0.5 * 5.0, rel=0.05)


@pytest.mark.parametrize(
    ("read", "share", "words"),
    [
        ({"log": {"grown": "fence line"}}, 0.35, "a yard or fence-line tree, so metal is likely (chance 35%)"),
        ({"log": {}, "ends": {"stain": True}}, 0.6, "dark stain at the ends, as iron leaves it, so metal"),
        (
            {"log": {"grown": "yard"}, "ends": {"stain": True}},
            0.6,
            "leaves it on a yard or fence-line tree, so metal is likely (chance 60%)",
        ),
    ],
)
def test_what_the_card_tells_of_metal_is_always_among_the_three(read, share, words):
    priors = read_priors()
    log = known(
        priors, card(bark_thickness=None), {**read, "log": {"id": "r", "species": "black walnut", **read["log"]}}
    )
    assert log.metal_share(priors) == share
    harm = {"metal": 0.5, "knots": 90.0, "checks": 80.0, "spiral": 70.0, "bark": 60.0}
    found = spoilers(log, priors, 500.0, lambda component: 1000.0 - harm.get(component, 0.0), 1000.0)
    assert len(found) == 3 and any(words in one.what for one in found)
    assert [one.takes for one in found] == sorted((one.takes for one in found), reverse=True)
    assert "knots" in " ".join(one.what for one in found)


def test_a_spoiler_says_what_it_takes_off():
    assert in_words(Spoiler("rot", 31.4), True) == "rot: takes about 31 off"
    assert in_words(Spoiler("rot", 2.35), False) == "rot: takes about 2.4 L off"
    assert in_words(Spoiler("rot", 0.4), True) == in_words(Spoiler("rot", 0.01), False) == "rot"


def test_a_card_that_tells_nothing_of_metal_has_the_forest_share_and_no_word_of_it():
    priors = read_priors()
    log = known(priors, card(), {"log": {"id": "r", "species": "black walnut"}})
    assert log.metal_share(priors) == priors.metal_forest
    found = spoilers(log, priors, 500.0, lambda component: 1000.0, 1000.0)
    assert not any("metal" in one.what for one in found)
