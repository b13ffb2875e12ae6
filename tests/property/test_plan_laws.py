"""Laws of every plan: the bound holds, looser limits never cost, a scarcer mill never gains, same inputs same answer."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pithline.plan.execute.simulate import DrawnPoser, execute_layout
from pithline.plan.problem.effort import COARSE
from pithline.plan.problem.objective import Objective
from pithline.plan.search import search_log
from truth.logs import TrueLog, Wave
from unit.small_logs import BACK, RULE, TRADE, context_of, log_of, products_of, shop_of

TINY = replace(COARSE, rolls=4, along_step=50.0, firsts=1)
LOGS = st.builds(
    lambda radius, oval, phase, bow, way, off, clock: TrueLog(
        "l",
        620.0,
        radius,
        taper=8.0,
        bark=8.0,
        waves=(Wave(2, oval, phase),),
        sweep=bow,
        sweep_clock=way,
        pith_butt=(off * np.sin(clock), off * np.cos(clock)),
        pith_top=(off * np.sin(clock), off * np.cos(clock)),
    ),
    st.floats(125.0, 150.0),
    st.floats(0.0, 8.0),
    st.floats(0.0, 3.0),
    st.floats(0.0, 8.0),
    st.floats(0.0, 6.0),
    st.floats(0.0, 25.0),
    st.floats(0.0, 6.0),
)
LOOSER = replace(TRADE, ring_angle_min=np.radians(62), ring_angle_mean=np.radians(74), runout_max=np.radians(4))


def found(truth, limits=TRADE, charge=0.2e6, demands=None, pith_radius=18.0, objective="volume"):
    shop = shop_of(products_of(BACK, RULE, limits=limits, demands=demands), charge)
    log = log_of(truth, pith_radius)
    return search_log(log, context_of(shop, Objective(objective), TINY)), log, shop


@settings(max_examples=8)
@given(LOGS, st.sampled_from([0.0, 0.2e6, 0.5e6]), st.sampled_from([None, (None, 6), (4, None)]))
def test_the_bound_holds(truth, charge, demands):
    """No answer is worth more than the bound, on the grid or as its columns were laid out."""
    result, _, _ = found(truth, charge=charge, demands=demands and list(demands))
    for answer in result.answers:
        if demands is None:
            assert answer.grid_value <= result.bound + 1e-6
        assert answer.value <= answer.bound + 1e-3
    assert all(a.value >= b.value - 1e-3 for a, b in zip(result.answers, result.answers[1:], strict=False))


@settings(max_examples=6)
@given(LOGS)
def test_looser_limits_never_lower_a_proven_optimum(truth):
    assert found(truth, LOOSER)[0].bound >= found(truth, TRADE)[0].bound - 1e-6


@settings(max_examples=3)
@given(LOGS)
def test_what_is_scarcer_never_raises_a_proven_optimum(truth):
    """A dearer setting, or more wood kept clear round the pith."""
    free = found(truth, charge=0.0)[0].bound
    charged = found(truth, charge=0.2e6)[0].bound
    assert charged <= free + 1e-6
    assert found(truth, charge=0.5e6)[0].bound <= charged + 1e-6
    assert found(truth, pith_radius=28.0)[0].bound <= charged + 1e-6


@settings(max_examples=2)
@given(LOGS)
def test_same_log_same_answer(truth):
    first, second = (found(truth)[0] for _ in range(2))
    assert first.answers == second.answers
    assert (first.bound, first.considered, first.words) == (second.bound, second.considered, second.words)


@settings(max_examples=5)
@given(LOGS, st.sampled_from(["volume", "value", "sets"]))
def test_plates_carried_out_are_whole_apart_and_inside_the_wood(truth, objective):
    """Every passing plate against the log's own formulas, and against every other plate."""
    result, log, shop = found(truth, objective=objective)
    layout = result.answers[0].layout
    ledger = execute_layout(log, layout, shop, DrawnPoser(log, shop.machines.mill.kerf))
    plates = [plate for plate in ledger.plates if plate.passes]
    assert plates
    for plate in plates:
        length, width, thickness = plate.edges
        part = shop.parts[plate.part]
        sizes = [np.linalg.norm(edge) for edge in plate.edges]
        assert sizes[0] >= part.length - 1e-6 and sizes[1] >= part.width - 1e-6 and sizes[2] >= part.thickness - 1e-6
        a, b = np.linspace(0, 1, 16), np.linspace(0, 1, 7)
        sheet = plate.corner + a[:, None, None] * length + b[None, :, None] * width
        normal = thickness / sizes[2]
        angle, runout = truth.ring_angle(sheet + thickness / 2, normal), truth.runout(sheet + thickness / 2, normal)
        assert np.degrees(angle.min()) > 70 - 0.1 and np.degrees(angle.mean()) > 78 - 0.1
        assert np.degrees(runout.max()) < 3 + 0.1
        for face in (sheet, sheet + thickness):
            assert truth.depth_under_bark(face).min() > -0.1
            assert truth.within_ends(face, trims=True).min() > -0.1
            away = face[..., 1:] - truth.pith(face[..., 0])
            assert np.hypot(away[..., 0], away[..., 1]).min() > 18.0 - 0.1
    boxes = [_axes(plate) for plate in ledger.plates]
    for i, one in enumerate(boxes):
        assert all(_apart(one, other) for other in boxes[:i])


def _axes(plate):
    sizes = np.array([np.linalg.norm(edge) for edge in plate.edges])
    return plate.corner + sum(plate.edges) / 2, np.array(plate.edges) / sizes[:, None], sizes / 2


def _apart(one, other):
    """Boxes apart by a separating axis: each box's own three directions do, for boxes that share the log's axis."""
    (c1, u1, h1), (c2, u2, h2) = one, other
    for axis in (*u1, *u2):
        reach = np.abs(u1 @ axis) @ h1 + np.abs(u2 @ axis) @ h2
        if abs((c2 - c1) @ axis) >= reach - 1e-6:
            return True
    return False


def test_a_demand_is_respected():
    truth = TrueLog("l", 620.0, 150.0, taper=0.0, bark=8.0)
    result, log, shop = found(truth, demands=[2, 3])
    ledger = execute_layout(log, result.answers[0].layout, shop, DrawnPoser(log, shop.machines.mill.kerf))
    sawn = [sum(plate.part == index for plate in ledger.plates) for index in range(2)]
    assert sawn[0] <= 4 and sawn[1] <= 3 and sum(sawn) > 0


def test_dearer_settings_make_fewer_of_them():
    truth = TrueLog("l", 620.0, 165.0, taper=0.0, bark=8.0)
    counts = [found(truth, charge=charge)[0].answers[0].settings for charge in (0.0, 0.3e6, 1.2e6)]
    assert counts[0] >= counts[1] >= counts[2] and counts[0] > counts[2]


@pytest.mark.parametrize("objective", ["value", "sets"])
def test_other_objectives_give_answers_in_their_own_unit(objective):
    truth = TrueLog("l", 620.0, 150.0, taper=0.0, bark=8.0)
    result, _, _ = found(truth, objective=objective)
    assert result.unit == (1.0 if objective == "value" else 1e6)
    assert result.answers[0].value > 0
