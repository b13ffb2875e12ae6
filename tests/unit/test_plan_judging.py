"""What settings cost, what is kept in reserve, how plans are ranked, and what is told of a plan, against figures by hand."""

from dataclasses import replace

import numpy as np
import pytest

from pithline.files.mills import read_mill
from pithline.mill.products import Product, Products
from pithline.plan.columns.log_columns import balanced_prices
from pithline.plan.evaluate import ranking
from pithline.plan.evaluate.ranking import RANKING_SAMPLES, judge_on_samples
from pithline.plan.evaluate.sampling import pass_probabilities, sampled_logs
from pithline.plan.evaluate.sensitivity import cost_of
from pithline.plan.execute.grade import grade_plate
from pithline.plan.execute.ledger import Ledger, Plate
from pithline.plan.execute.simulate import DrawnPoser, execute_layout
from pithline.plan.execute.slab_layout import RESERVES, lay_out
from pithline.plan.execute.slab_view import SlabFrame
from pithline.plan.problem.layout import LayoutSetting, LayoutSlab
from pithline.plan.problem.log_frame import normal_at, plan_log
from pithline.plan.problem.objective import Objective, objective_weights, setting_cost
from pithline.plan.problem.parts import sawn_parts
from pithline.yard.finalise import cautions_of
from small_plan import inputs_of
from truth.models import to_model
from unit.small_logs import BACK, RULE, STRAIGHT, TRADE, context_of, log_of, products_of, shop_of

SHOP = shop_of(products_of(BACK))
LAYOUT = LayoutSetting(0.0, (LayoutSlab(-30.0, 60.0),))


def doubtful(surface, pith):
    """A straight log whose surface and pith are known that well. [mm]"""
    model = to_model(STRAIGHT)
    model = replace(
        model,
        stderr_radius=np.full_like(model.stderr_radius, surface),
        stderr_pith=np.full_like(model.stderr_pith, pith),
    )
    return plan_log(model, 20.0, 25.0, 25.0, ())


def sawn(log, layout=LAYOUT):
    return execute_layout(log, layout, SHOP, DrawnPoser(log, 2.0), reserve=False)


def test_a_setting_costs_its_minutes_and_those_of_three_cuts_by_the_hour():
    machines = read_mill()
    machines = replace(machines, mill=replace(machines.mill, minutes_per_setting=6.0, feed=3000.0))
    # 6 min, and three cuts of 2 m at 3 m/min: 2 min, at 60 an hour
    assert setting_cost(machines, 2000.0, 60.0) == pytest.approx(8.0)
    assert setting_cost(machines, 2000.0, 30.0) == pytest.approx(4.0)


def test_by_value_a_half_off_square_is_charged_its_minutes():
    machines = read_mill()
    mill = replace(machines.mill, minutes_off_square=4.0, hour_rate=90.0, minutes_per_setting=6.0, feed=3000.0)
    parts = sawn_parts(products_of(BACK), "black walnut")
    weights = objective_weights(Objective.VALUE, parts, replace(machines, mill=mill), 2000.0)
    assert weights.off_square == pytest.approx(6.0) and weights.charge == pytest.approx(12.0)


def test_a_part_that_its_sets_are_short_of_counts_more_and_a_set_as_much_as_before():
    products = Products("green", (TRADE,), (Product("ukulele", 60.0, TRADE.name, (BACK, RULE)),))
    parts = sawn_parts(products, "black walnut")
    worth = np.array([3.0, 1.0])
    back, rule = balanced_prices(parts, worth, (2, 12))  # one set of backs, twelve of rules
    assert back > 3.0 and rule < 1.0
    assert 2.0 * back + rule == pytest.approx(7.0)
    assert back / rule == pytest.approx(3.0 * np.sqrt(12.5 / 1.5))
    assert balanced_prices(parts, worth, (4, 2)) == pytest.approx((3.0, 1.0))


@pytest.mark.parametrize(("surface", "pith"), [(3.0, 0.0), (0.0, 4.0)])
def test_plates_that_keep_a_share_of_the_reserve_count_as_often_as_they_pass(surface, pith):
    """Of each level of the reserve, plates at places that keep just so much pass on as many of 100 sampled logs, within 20."""
    log = doubtful(surface, pith)
    part, saws = SHOP.parts[0], SHOP.saws
    logs = sampled_logs(log, 48, 3)
    passed = {count: [] for _, count in RESERVES}
    for clock in (0.3, 1.4, 2.6):
        normal = normal_at(log.axis, clock)
        slab = SlabFrame(log.axis, normal, np.cross(normal, log.axis), -30.0, 30.0, ())
        cache = {}
        lay_out(log, slab, SHOP, cache=cache)
        [(maps, span)] = cache.values()
        across = saws.across
        for layer, u, x in np.argwhere(maps[0])[:: max(1, np.count_nonzero(maps[0]) // 400)]:
            height = slab.low + layer * (part.thickness + saws.resaw_kerf)
            corner = slab.point(span.start + 10.0 * x, span.low + across * u, height)
            edges = (part.length * slab.axis, part.width * slab.lateral, part.thickness * slab.normal)
            grade = grade_plate(log, corner, edges, part.limits)
            plate = Plate("p", 0, corner, edges, grade, "b", 0, part.volume, "log")
            passed[int(maps[0][layer, u, x])] += list(pass_probabilities(logs, [plate], SHOP.parts, {}))
    for _, count in RESERVES:
        assert len(passed[count]) > 15
        assert np.mean(passed[count]) == pytest.approx(count / 100.0, abs=0.2), count


def test_plans_are_ranked_on_other_logs_than_those_that_are_reported(monkeypatch):
    log = doubtful(3.0, 6.0)
    ledger = sawn(log)
    drawn = []

    def noted(log, samples, seed):
        drawn.append((samples, seed))
        return sampled_logs(log, samples, seed)

    monkeypatch.setattr(ranking, "sampled_logs", noted)
    context = replace(context_of(SHOP), seed=4)
    judge = judge_on_samples(log, context, None)
    monkeypatch.undo()
    [(samples, seed)] = drawn
    assert samples == RANKING_SAMPLES
    reported = sampled_logs(log, 16, context.seed)
    ranked = sampled_logs(log, samples, seed)
    same = {one.field.radius.tobytes() for one in reported} & {one.field.radius.tobytes() for one in ranked}
    assert not same
    share = judge.probability(ledger)
    np.testing.assert_array_equal(share, pass_probabilities(ranked, ledger.plates, SHOP.parts, {}))


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
