"""What is kept in reserve, how plans are ranked, and what is told of a plan, against figures by hand."""

import re
from dataclasses import replace

import numpy as np
import pytest

from pithline.plan.evaluate import judge
from pithline.plan.evaluate.evaluation import Sampling, evaluate
from pithline.plan.evaluate.judge import RANKING_SAMPLES, Judge, judge_on_samples, plate_counts
from pithline.plan.evaluate.sampling import SampledPlates, sampled_logs
from pithline.plan.evaluate.sensitivity import cost_of
from pithline.plan.evaluate.totals import sum_up
from pithline.plan.execute.grade import grade_plate
from pithline.plan.execute.ledger import Ledger, Plate
from pithline.plan.execute.slab_fill import places_in
from pithline.plan.execute.slab_marks import LEVELS
from pithline.plan.execute.slab_view import SlabFrame
from pithline.plan.problem.economics import Objective, economics_of
from pithline.plan.problem.kinds import plate_kinds
from pithline.plan.problem.layout import LayoutSetting, LayoutSlab, Locks
from pithline.plan.problem.log_frame import normal_at
from pithline.plan.problem.operations import Setting, Tool
from pithline.yard.finalise import cautions_of
from small_plan import inputs_of
from truth.models import to_model
from unit.small_logs import BACK, RULE, STRAIGHT, carried_out, context_of, doubtful, log_of, products_of, shop_of

PRODUCTS = products_of(BACK)
SHOP = shop_of(PRODUCTS)
LAYOUT = LayoutSetting(0.0, (LayoutSlab(-30.0, 60.0),))


def sawn(log, layout=LAYOUT):
    return carried_out(log, layout, SHOP, reserve=False)


@pytest.mark.parametrize(("surface", "pith"), [(3.0, 0.0), (0.0, 4.0)])
def test_plates_that_keep_a_share_of_the_reserve_count_as_often_as_they_pass(surface, pith):
    """Of each level of the reserve, plates at places that keep just so much pass on as many of 100 sampled logs, within 20."""
    log = doubtful(surface, pith)
    part, saws = SHOP.parts[0], SHOP.saws
    judged = SampledPlates(sampled_logs(log, 24, 3), SHOP.parts)
    passed = {count: [] for _, count in LEVELS}
    for clock in (0.3, 1.4, 2.6):
        normal = normal_at(log.axis, clock)
        slab = SlabFrame(log.axis, normal, np.cross(normal, log.axis), -30.0, 30.0, ())
        places = places_in(log, slab, SHOP, True, 1.0)
        marks, (along, across) = places.marks[0], places.cells
        for layer, u, x in np.argwhere(marks)[:: max(1, np.count_nonzero(marks) // 120)]:
            height = slab.low + layer * (part.thickness + saws.resaw_kerf)
            corner = slab.point(places.span.start + along * x, places.span.low + across * u, height)
            edges = (part.length * slab.axis, part.width * slab.lateral, part.thickness * slab.normal)
            grade = grade_plate(log, corner, edges, part.limits)
            plate = Plate("p", 0, corner, edges, grade, "b", 0, part.volume, "log")
            passed[int(marks[layer, u, x])].append(judged.passing([plate]).mean())
    for _, count in LEVELS:
        assert len(passed[count]) > 15
        assert np.mean(passed[count]) == pytest.approx(count / 100.0, abs=0.2), count


def test_plans_are_ranked_on_other_logs_than_those_that_are_reported(monkeypatch):
    log = doubtful(3.0, 6.0)
    ledger = sawn(log)
    drawn = []

    def noted(log, samples, seed):
        drawn.append((samples, seed))
        return sampled_logs(log, samples, seed)

    monkeypatch.setattr(judge, "sampled_logs", noted)
    context = replace(context_of(SHOP), seed=4)
    ranking = judge_on_samples(log, context)
    monkeypatch.undo()
    [(samples, seed)] = drawn
    assert samples == RANKING_SAMPLES
    sums = sum_up(ledger, SHOP.parts, PRODUCTS, {"log": 1.0})
    reported = evaluate(log, [(log, LAYOUT)], sums, context, Sampling(RANKING_SAMPLES, context.seed)).sampled
    ranked = sampled_logs(log, samples, seed)
    volumes = np.array([plate.volume for plate in ledger.plates])
    same = sampled_logs(log, RANKING_SAMPLES, context.seed)
    np.testing.assert_allclose(reported, SampledPlates(same, SHOP.parts).passing(ledger.plates) @ volumes)
    assert not {one.field.radius.tobytes() for one in same} & {one.field.radius.tobytes() for one in ranked}
    passing = SampledPlates(ranked, SHOP.parts).passing(ledger.plates)
    market = SHOP.economics.market
    by_hand = [market.worth(*plate_counts(ledger.plates, SHOP.economics.kinds, row).T)[0] for row in passing]
    np.testing.assert_allclose(ranking.worths(ledger), by_hand)
    assert ranking.worth(ledger) == pytest.approx(np.mean(by_hand) - SHOP.economics.charged(ledger.settings))


def test_mated_plates_are_neighbours_of_one_billet_in_pairs():
    def plate(part, billet, layer):
        return Plate("p", part, np.zeros(3), (), None, billet, layer, 1.0)

    rows = [(0, "a", 0), (0, "a", 1), (0, "a", 2), (0, "b", 5), (0, "b", 4), (1, "b", 6), (0, "c", 0), (0, "c", 2)]
    plates = [plate(*row) for row in rows]
    every = np.ones(len(plates), bool)
    parts = shop_of(products_of(BACK, RULE)).parts
    assert plate_counts(plates, plate_kinds(parts), every).tolist() == [[4, 3], [0, 1]]
    every[1] = False  # the middle of a stack that fails parts its neighbours
    assert plate_counts(plates, plate_kinds(parts), every).tolist() == [[2, 4], [0, 1]]


def test_a_plan_is_worth_its_plates_less_what_its_settings_are_charged():
    log = log_of()
    ledger = sawn(log)
    ledger.operations += [Setting(Tool.MILL, "p", True, id="m"), Setting(Tool.RESAW, "p", True, id="r", set_up="s")]
    one = Judge(context_of(SHOP))
    litres = sum(plate.volume for plate in ledger.passing) / 1e6
    # the slab's own setting on the mill, and two more, 0.3 L each
    assert one.worth(ledger) == pytest.approx(litres - 0.9)
    assert Judge(context_of(SHOP, locks=Locks(settings_max=3))).worth(ledger) == pytest.approx(litres - 0.9)
    assert Judge(context_of(SHOP, locks=Locks(settings_max=2))).worth(ledger) == -np.inf


def test_earnings_are_sales_less_hours_whatever_is_made_most_of():
    products = products_of(replace(BACK, loose_price=7.0), price=50.0)
    shop = shop_of(products, minutes_per_log=30.0, hour_rate=90.0)
    money = economics_of(Objective.VALUE, shop.parts, products, shop.machines)
    ledger = carried_out(log_of(), LAYOUT, shop)
    counts = plate_counts(ledger.plates, shop.economics.kinds, np.array([plate.passes for plate in ledger.plates]))
    gross = 50.0 * (counts[0, 0] // 2)  # pairs are sets of a product of one part
    assert Judge(context_of(shop)).earnings(ledger) is None
    found = Judge(context_of(shop, money=money)).earnings(ledger)
    assert found == pytest.approx(gross - 1.5 * (ledger.minutes + 30.0), rel=1e-6)


def test_going_wrong_loses_what_it_takes_and_no_more():
    """Far from every limit nothing is lost; a plate 2 mm from the pith circle is lost by 5 mm, one way in four."""
    log = log_of()
    part = SHOP.parts[0]
    limits = replace(part.limits, ring_angle_min=0.0, ring_angle_mean=0.0, runout_max=1.0)
    parts = (replace(part, limits=limits),)

    def plate(low):
        edges = (np.array([400.0, 0.0, 0.0]), np.array([0.0, 60.0, 0.0]), np.array([0.0, 0.0, 5.0]))
        corner = np.array([100.0, -30.0, low])
        return Plate("p", 0, corner, edges, grade_plate(log, corner, edges, limits), "b", 0, 120000.0, "log")

    safe, near = plate(60.0), plate(22.0)
    assert safe.passes and near.passes
    assert cost_of([(log, LAYOUT)], [safe], parts) == {"roll_5_deg": 0.0, "height_5_mm": 0.0, "pith_5_mm": 0.0}
    lost = cost_of([(log, LAYOUT)], [safe, near], parts)
    # only the pith moved up, or the plates lowered, takes the near one
    assert lost == pytest.approx({"roll_5_deg": 0.0, "height_5_mm": 60000.0, "pith_5_mm": 30000.0})


def test_sapwood_that_is_taken_for_granted_is_told_where_limits_ask_for_it():
    inputs = inputs_of()
    strict = replace(inputs.products, limits=tuple(replace(one, sapwood="none") for one in inputs.products.limits))
    model = replace(to_model(STRAIGHT), sapwood_thickness=33.0)
    for limits_ask, assumed in ((True, True), (True, False), (False, True)):
        told = cautions_of(
            replace(model, sapwood_assumed=assumed),
            replace(inputs, products=strict if limits_ask else inputs.products),
            Ledger(),
            0.0,
            0.0,
        )
        assert any("33 mm is taken" in sentence for sentence in told) is (limits_ask and assumed)


def test_whoever_loads_the_log_is_told_which_bark_was_not_scanned():
    model, inputs = to_model(STRAIGHT), inputs_of()
    hidden = np.zeros(model.stderr_radius.shape[1], bool)
    hidden[[70, 71, *range(10)]] = True  # 350° to 50°
    partly = replace(
        model,
        coverage=np.full(len(model.x), 60 / 72),
        stderr_radius=np.where(hidden, 4.0, 0.5) + 0.0 * model.stderr_radius,
    )
    told = [one for one in cautions_of(partly, inputs, Ledger(), 0.0, 0.0) if "not scanned" in one]
    (first, last) = map(float, re.findall(r"(\d+)°", told[0]))
    assert len(told) == 1 and first == pytest.approx(347.5, abs=1.0) and last == pytest.approx(47.5, abs=1.0)
    assert not any("not scanned" in one for one in cautions_of(model, inputs, Ledger(), 0.0, 0.0))
