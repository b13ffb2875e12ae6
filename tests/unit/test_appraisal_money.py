"""Bids, log rules and weights of an appraisal, and what knowing more is worth."""

from dataclasses import replace

import numpy as np
import pytest

from appraisal_by_hand import TODAY, card, known, nothing_hidden, sawn, terms, trade
from pithline.cli.appraise import margin_of
from pithline.errors import InputError
from pithline.files.priors import read_priors
from pithline.logmodel.card import ArmsMark, TapeMark
from pithline.plan.problem.log_frame import WHOLE_RESERVE
from pithline.units import KG_PER_POUND
from pithline.wood.field import tables
from pithline.yard.appraisal import information
from pithline.yard.appraisal.answers import log_with_answer
from pithline.yard.appraisal.appraise import DrawnOutcomes, Gains, _money
from pithline.yard.appraisal.drawn_logs import draw_basis, most_likely_draw
from pithline.yard.appraisal.information import (
    InformationCase,
    OpenQuestion,
    _gain,
    questions,
    worth_finding_out,
)
from pithline.yard.appraisal.log_knowledge import gather_knowledge
from pithline.yard.appraisal.money import Costs, drying_cost, highest_bid, rest_value, sawing_cost
from pithline.yard.appraisal.regrade import Outcome, planned
from pithline.yard.appraisal.tape_log import mark_offset, tape_model

INCH = 25.4


def taped(**changes):
    """A card by tape of a log 20 in across inside no bark, 8 ft long."""
    girth = np.pi * 20 * INCH
    whole = {
        "scan": None,
        "bark_thickness": 0.0,
        "tape_length": 96 * INCH,
        "tape_girth_butt": girth,
        "tape_girth_top": girth,
    }
    return card(**(whole | changes))


def test_the_highest_bid_by_hand():
    money = replace(read_priors().money, rest_per_m3=200.0, drying_per_m3_month=10.0)
    assert sawing_cost(90.0, 60.0) == 90.0
    assert drying_cost(0.05e9, 12.0, money) == pytest.approx(6.0)  # 0.05 m³, 12 months at 10
    assert rest_value(0.3e9, 0.05e9, money) == pytest.approx(50.0)
    # 75 % of 1050 less 100, and a year's interest at 10 % on the bid itself
    assert highest_bid(1000.0, 50.0, Costs(90.0, 6.0, 4.0), 0.25, (12.0, 10.0)) == pytest.approx((787.5 - 100.0) / 1.1)
    assert highest_bid(100.0, 0.0, Costs(90.0, 6.0, 4.0), 0.25, (12.0, 10.0)) == 0.0


@pytest.mark.parametrize(("text", "share"), [("25%", 0.25), ("0.4", 0.4), (" 0 % ", 0.0)])
def test_a_margin(text, share):
    assert margin_of(text) == pytest.approx(share)


@pytest.mark.parametrize("text", ["120%", "-5%", "1.0", "much", "nan"])
def test_no_margin(text):
    with pytest.raises(InputError, match="--bid-margin"):
        margin_of(text)


def test_log_rules_and_green_weight_on_published_rows():
    priors = read_priors()
    stated = taped()
    model, left_open = tape_model(stated, {"log": {}}, priors)
    log = gather_knowledge(model, stated, {"log": {}}, priors, TODAY, left_open)
    drawn = DrawnOutcomes((Outcome(1e6, {"tenor ukulele": 1}, 60.0, 2),) * 9, (60.0,) * 9, (False,) * 9)
    row = _money(log, terms(priors), trade(), sawn(), drawn)
    # 20 in by 8 ft: Doyle 128 (a hardwood mill's printed sheet); International 135 to the nearest 5, Scribner 140 in
    # the printed Decimal C and by formula within 13 of it (Wengert's tables)
    assert row["log_rules"]["doyle"] == pytest.approx(128.0, abs=0.5)
    assert row["log_rules"]["international_quarter"] == pytest.approx(135.0, abs=2.75)
    assert row["log_rules"]["scribner"] == pytest.approx(140.0, abs=13.0)
    # US National Park Service, Safety for Tree Workers: walnut 20 in across weighs 126 lb a foot
    assert row["green_weight_kg"] / KG_PER_POUND / 8 == pytest.approx(126.0, abs=1.0)
    # a cylinder: all cubic rules agree with it
    assert row["cubic_volume"] == pytest.approx(np.pi / 4 * (20 * INCH) ** 2 * 96 * INCH, rel=2e-3)


def test_a_taped_log():
    priors = read_priors()
    stated = taped(bark_thickness=None, tape_girth_butt=1800.0, tape_girth_top=1600.0, tape_length=2000.0)
    model, left_open = tape_model(stated, {"tape": {"sweep": 30.0, "sweep_clock_deg": 90.0}}, priors)
    at = np.argmin(np.abs(model.x - 1000.0))
    assert 2 * np.pi * np.interp(100.0, model.x, model.radius_over_bark[:, 0]) == pytest.approx(1800.0, abs=1.0)
    assert model.centre[at] == pytest.approx([-30.0, 0.0], abs=0.1)  # bows to 3 o'clock, which is -y
    assert left_open.bow == priors.string_error and np.linalg.norm(left_open.weights) == pytest.approx(1.0)
    unseen = tape_model(stated, {}, priors)[1].bow
    sized = tape_model(stated, {"tape": {"sweep": 30.0}}, priors)[1].bow
    assert unseen == pytest.approx(0.008 * 2000 / np.sqrt(2)) and sized == pytest.approx(np.hypot(30 / np.sqrt(2), 6))


def test_pith_marks_by_tape_on_a_round_end():
    # radius 250; the pith 20 mm to the right and 10 mm up, facing the butt, where +y is on the left
    arms = ArmsMark(up=239.0, right=229.5, down=259.0, left=269.5)
    assert mark_offset(arms, 250.0, "butt")[0] == pytest.approx([-20.0, 10.0])
    assert mark_offset(arms, 250.0, "top")[0] == pytest.approx([20.0, 10.0])
    assert mark_offset(TapeMark(270.0, 240.0), 250.0, "butt")[0] == pytest.approx([-20.0, 10.0])
    one_arm = mark_offset(ArmsMark(up=239.0, right=230.0), 250.0, "butt")
    assert one_arm[0] == pytest.approx([-20.0, 11.0]) and one_arm[1] > mark_offset(arms, 250.0, "butt")[1]
    assert mark_offset(None, 250.0, "butt") is None


ARMS = {"up": 250.0, "down": 250.0, "left": 250.0, "right": 250.0}


@pytest.mark.parametrize(
    ("tape", "marks", "words"),
    [
        ({"sweep": 900.0}, {}, r"\[tape\] sweep is 900 mm on a log of 2438 mm, more than a fifth of its length"),
        ({}, {"pith_top": ArmsMark(**(ARMS | {"up": 480.0}))}, r"\[pith\] top: up and down make 730 mm across, but .* 508 mm"),
        ({}, {"pith_butt": ArmsMark(**(ARMS | {"left": 10.0}))}, r"\[pith\] butt: left and right make 260 mm across"),
        ({}, {"pith_butt": ArmsMark(up=250.0, left=600.0)}, r"\[pith\] butt lies outside the wood of an end 508 mm across"),
        ({}, {"bark_thickness": 300.0}, r"\[tape\] the girths leave no wood under the bark"),
    ],
)  # fmt: skip
def test_slips_of_the_tape_are_one_sentence(tape, marks, words):
    with pytest.raises(InputError, match=words):
        tape_model(taped(**marks), {"tape": tape}, read_priors())


def test_what_can_be_asked_of_a_log():
    priors = read_priors()
    blank = {"log": {"id": "r", "species": "black walnut"}}
    asked = {q.what for q in questions(known(priors, card(bark_thickness=None), blank), priors)}
    assert asked == {
        "gauging the bark at both ends",
        "marking the pith on both ends",
        "measuring the spiral of the grain",
        "cleaning both ends",
        "passing a metal detector over it",
    }
    stated = taped()
    model, left_open = tape_model(stated, blank, priors)
    # by tape it is scanned before it is sawn whatever happens: that a scan first may spare a purchase is reckoned apart
    by_tape = questions(gather_knowledge(model, stated, blank, priors, TODAY, left_open), priors)
    assert not {q.what for q in by_tape} & {"scanning it", "scanning the hidden side"}
    assert questions(known(nothing_hidden()), nothing_hidden()) == []


def test_an_answer_lessens_the_doubt_it_settles_and_no_other():
    priors = read_priors()
    log = known(priors, card(bark_thickness=None), surface=4.0)
    basis = draw_basis(log)
    settled = log_with_answer(log, {"bark": most_likely_draw(log)["bark"]}, {"bark": 0.0}, basis)
    assert (settled.field.doubt < log.log.field.doubt + 1e-12).all()
    assert np.allclose(settled.field.pith_doubt, log.log.field.pith_doubt)
    assert np.allclose(settled.field.radius, log.log.field.radius)


def test_gain_without_anything_learnt_is_nothing():
    same = np.repeat(np.array([[5.0], [9.0], [7.0], [3.0]]), 3, axis=1)
    assert _gain(same, True) == 0.0
    assert _gain(-same, True) > 0.0  # told that it loses, one leaves the log
    assert _gain(-same, False) == 0.0  # which was left anyway
    better = same + np.array([0.0, 0.0, 2.0])
    assert _gain(better, True) == pytest.approx(2.0)


@pytest.mark.parametrize("price", [0.0, 200.0, 430.0])
def test_knowing_more_is_never_worth_less_than_nothing_within_its_error(price, monkeypatch):
    """Spiral either spares all plates or takes them: to know it is worth what a useless log would have lost."""
    monkeypatch.setattr(information, "laid_again", lambda log, base, trade: base)
    priors = replace(nothing_hidden(), spiral_sd=0.06)
    priors = replace(priors, sampling=replace(priors.sampling, answers=12, inner=4))
    blank = {"log": {"id": "r", "species": "black walnut"}}
    log = known(priors, card(), blank)
    log = replace(log, bark=np.zeros_like(log.bark))

    gains = Gains(replace(priors.money, rest_per_m3=0.0, drying_per_m3_month=0.0), 0.0, 0.0, 0.0, price)
    plates = planned(sawn().ledger, trade().parts)
    asking = InformationCase(log, priors, trade(), sawn(), plates, draw_basis(log), gains, price < 430.0, 1)
    [worth] = worth_finding_out(asking, lambda what, part: None)
    assert worth.what == "measuring the spiral of the grain" and worth.worth >= -2.0 * worth.error - 1e-9
    # 8 sets bring 480 where the spiral is below 3°, which the prior gives a chance of 0.62
    if price == 0.0:
        assert worth.worth == pytest.approx(0.0, abs=2 * worth.error + 1e-9)
    elif price == 200.0:
        assert worth.worth == pytest.approx(0.38 * 200.0, abs=3 * worth.error)
    else:
        assert worth.worth == pytest.approx(0.62 * 50.0, abs=3 * worth.error)


def test_metal_is_drawn_only_where_there_is_some_and_counts_by_its_chance():
    priors = replace(nothing_hidden(), metal_forest=0.05)
    [question] = questions(known(priors), priors)
    assert question == OpenQuestion("passing a metal detector over it", {"metal": 0.0}, 0.05, metal=True)
    answer = information._answer(known(priors), priors, question, 1, 0)
    assert answer["metal"][0].kind == "metal"


def test_kernel_arrays_of_a_told_log_keep_the_usual_reserve():
    log = known(read_priors(), surface=4.0)
    settled = log_with_answer(log, {}, {}, draw_basis(log))
    usual = tables(settled.field, WHOLE_RESERVE.surface, WHOLE_RESERVE.pith)
    assert all(np.allclose(a, b) for a, b in zip(settled.conservative, usual, strict=True))
