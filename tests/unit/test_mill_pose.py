"""How pieces lie on the bunks: closed forms for cylinder and cone, and the rules of rest on shaped logs."""

import re
from dataclasses import replace

import numpy as np
import pytest

from pithline.errors import MillError
from pithline.files.mills import read_mill
from pithline.geometry.pieces import Face, Piece
from pithline.mill.limits import MarkRoom, log_fits, mark_room, setting_checks, widest_across
from pithline.mill.pose import END_CLEAR, NoPose, Pose, least_length_on_bunks, pose_piece
from pithline.mill.sections import log_sections, piece_shape
from pithline.plan.problem.log_frame import normal_at, plan_log
from truth.logs import Stub, TrueLog, Wave, direction, true_log
from truth.models import to_model

R, LENGTH, BARK, DENSITY = 180.0, 1300.0, 10.0, 900.0
MILL = read_mill().mill
WHOLE = Piece("log", "log")


def posed(truth, clock=0.0, piece=WHOLE, mill=MILL):
    model = to_model(truth)
    log = plan_log(model, 20.0, 25.0, 25.0, ())
    shape = piece_shape(log_sections(model), piece, bark=True)
    return log, shape, pose_piece(shape, normal_at(log.axis, clock), log.axis, log.origin, mill, DENSITY)


def test_a_cylinder_lies_level_without_lifts():
    log, _, pose = posed(TrueLog("c", LENGTH, R, taper=0.0, bark=BARK), clock=0.7)
    assert isinstance(pose, Pose)
    assert [lift for _, lift in pose.lifts] == [0.0, 0.0]
    np.testing.assert_allclose(pose.up, normal_at(log.axis, 0.7), atol=1e-9)
    assert float(pose.height_of(log.origin)) == pytest.approx(R + BARK, abs=0.1)
    assert pose.weight_kg == pytest.approx(np.pi * (R + BARK) ** 2 * LENGTH * 1e-9 * DENSITY, rel=3e-3)
    at = [bunk - pose.butt_at for bunk, _ in pose.lifts]
    assert END_CLEAR < at[0] < LENGTH / 2 < at[1] < LENGTH - END_CLEAR
    assert all(bunk in MILL.bunks for bunk, _ in pose.lifts)


def test_a_log_hardly_longer_than_two_bunks_stand_apart_finds_its_place():
    least = least_length_on_bunks(MILL)
    assert least == np.diff(MILL.bunks).min() + 2 * END_CLEAR
    _, _, pose = posed(TrueLog("c", least + 7.0, R, taper=0.0, bark=BARK))
    assert isinstance(pose, Pose)
    at = [bunk - pose.butt_at for bunk, _ in pose.lifts]
    assert END_CLEAR < at[0] < at[1] < least + 7.0 - END_CLEAR
    _, _, pose = posed(TrueLog("c", least - 1.0, R, taper=0.0, bark=BARK))
    assert isinstance(pose, NoPose) and "two bunks" in pose.why


@pytest.mark.parametrize("taper", [12.0, 35.0])
def test_a_cone_is_lifted_at_its_thin_end_until_the_pith_is_level(taper):
    log, _, pose = posed(TrueLog("c", LENGTH, R, taper=taper, bark=BARK))
    (thick, low), (thin, high) = pose.lifts
    assert low == 0.0
    assert abs(high - taper / 2000.0 * (thin - thick)) <= MILL.lift_step / 2 + 0.1
    rise = float(np.diff(pose.height_of(np.array([log.origin, log.origin + log.axis * log.reach])))[0])
    assert abs(rise) <= MILL.lift_step / 2 * LENGTH / (thin - thick) + 0.1


@pytest.mark.parametrize("kind", ["round", "swept", "flared", "tapered", "crooked", "stubs", "oval", "eccentric"])
@pytest.mark.parametrize("clock", [0.0, 2.2])
def test_rules_of_rest_on_shaped_logs(kind, clock):
    """Two bunks carry, the weight lies between them, no other bunk is in the way, lifts are what can be set."""
    truth = replace(true_log(kind, 4), length=1500.0)
    log, shape, pose = posed(truth, clock)
    assert isinstance(pose, Pose), pose
    carriers = dict(pose.lifts)
    clocks = np.linspace(0.0, 2 * np.pi, 1440, endpoint=False)
    for bunk in MILL.bunks:
        x = np.full(1440, bunk - pose.butt_at)
        if not 5.0 < x[0] < truth.length - 5.0:
            continue
        rim = truth.centre(x) + truth.envelope_radius(x, clocks)[:, None] * direction(clocks)
        lowest = float(pose.height_of(np.column_stack([x, rim])).min())
        if bunk not in carriers:
            assert lowest > -0.3
        elif not truth.stubs:  # the model's envelope rounds stubs outwards
            assert lowest == pytest.approx(carriers[bunk], abs=1.0)
        else:
            assert lowest > carriers[bunk] - 0.3
    centre = float((shape.centroid - log.origin) @ log.axis)
    at = [bunk - pose.butt_at for bunk in carriers]
    assert at[0] < centre < at[1]
    for lift in carriers.values():
        assert 0.0 <= lift <= MILL.lift_max and lift / MILL.lift_step == pytest.approx(round(lift / MILL.lift_step))


@pytest.mark.parametrize("length", [1180.0, 1300.0, 1420.0])
@pytest.mark.parametrize("clock", [0.0, np.pi])
def test_no_bunk_carries_under_an_end_that_leans_over_it(length, clock):
    """A cylinder whose butt end leans by a quarter: where its underside ends follows from the plane of the end."""
    truth = TrueLog("c", length, R, taper=0.0, bark=BARK, butt_tilt=(0.0, 0.25))
    log, _, pose = posed(truth, clock)
    assert isinstance(pose, Pose)
    model = to_model(truth)
    down = -(R + BARK) * normal_at(log.axis, clock)
    plane = np.asarray(model.butt.normal)
    ends = float(plane @ (model.butt.point - down) / plane[0])  # where the lowest line of the cylinder meets the end
    assert abs(ends) > 30.0
    assert min(bunk for bunk, _ in pose.lifts) - pose.butt_at > ends + END_CLEAR - 5.0
    assert [lift for _, lift in pose.lifts] == [0.0, 0.0]


def test_a_half_lies_on_its_sawn_face():
    half = Piece("half-1", "half", (Face((0.0, 0.0, -1.0), -40.0, "cut-1"),))
    _, _, pose = posed(TrueLog("c", LENGTH, R, taper=0.0, bark=BARK), piece=half)
    assert float(pose.height_of(np.array([650.0, 0.0, 40.0]))) == pytest.approx(0.0, abs=0.1)
    assert [lift for _, lift in pose.lifts] == [0.0, 0.0]


@pytest.mark.parametrize(
    ("truth", "mill", "why"),
    [
        (TrueLog("c", 500.0, R, taper=0.0), MILL, "fewer than two bunks lie under it with its weight between them"),
        (
            TrueLog("c", LENGTH, R, taper=40.0),
            replace(MILL, lift_max=6.0),
            r"a lift of \d+ mm is needed, the mill's largest is 6 mm",
        ),
    ],
)
def test_why_a_piece_cannot_lie(truth, mill, why):
    _, _, pose = posed(truth, mill=mill)
    assert isinstance(pose, NoPose)
    assert re.fullmatch(why, pose.why)


def test_limits_of_a_setting_by_hand():
    """A cylinder of 190 mm radius on the bed: its top is 380 mm high; cuts at 300, 250 and 90 mm."""
    _, shape, pose = posed(TrueLog("c", LENGTH, R, taper=0.0, bark=BARK))
    blades, widths = [300.0, 250.0, 90.0], [300.0, 375.0, 330.0]
    lines = {line.what: line for line in setting_checks(shape, pose, blades, widths, MILL)}
    assert set(lines) == {"throat", "guide_opening", "blade_max", "blade_min", "lift", "clamp_room"}
    assert lines["throat"].value == pytest.approx(160.0, abs=0.1)  # 250 down to 90, more than 380 down to 300
    assert lines["guide_opening"].value == 375.0
    assert (lines["blade_max"].value, lines["blade_min"].value) == (300.0, 90.0)
    assert lines["clamp_room"].value == 90.0
    assert not any(line.breached or line.clearance_run for line in lines.values())
    assert mark_room(pose, blades, MILL) == MarkRoom(90.0 - MILL.clamp_room, MILL.blade_max - 300.0)


@pytest.mark.parametrize(
    ("what", "mill", "blades", "widths"),
    [
        ("throat", {"throat": 150.0}, [300.0, 100.0], [200.0, 200.0]),
        ("guide_opening", {"guide_opening": 350.0}, [190.0], [360.0]),
        ("blade_max", {"blade_max": 280.0}, [300.0], [200.0]),
        ("blade_min", {"blade_min": 60.0, "clamp_room": 0.0}, [300.0, 50.0], [200.0, 200.0]),
        ("clamp_room", {"clamp_room": 80.0}, [300.0, 70.0], [200.0, 200.0]),
    ],
)
def test_each_limit_is_refused_beyond_it_and_asks_for_a_clearance_run_near_it(what, mill, blades, widths):
    _, shape, pose = posed(TrueLog("c", LENGTH, R, taper=0.0, bark=BARK))
    tight = replace(MILL, **mill)
    lines = setting_checks(shape, pose, blades, widths, tight)
    assert [line.what for line in lines if line.breached] == [what]
    line = next(line for line in lines if line.what == what)
    if what in ("throat", "guide_opening", "blade_max"):
        near = replace(MILL, **{what: line.value + tight.clearance_margin - 1.0})
        again = {line.what: line for line in setting_checks(shape, pose, blades, widths, near)}
        assert again[what].clearance_run and not again[what].breached


def test_the_widest_section_of_an_ellipse_with_a_stub():
    oval = TrueLog("o", LENGTH, R, taper=0.0, bark=BARK, waves=(Wave(2, 14.0, 0.4),))
    shape = piece_shape(log_sections(to_model(oval)), WHOLE, bark=True)
    assert widest_across(shape)[0] == pytest.approx(2 * (R + BARK + 14.0), abs=0.3)
    stubbed = replace(oval, stubs=(Stub(700.0, 0.4 + np.pi, 45.0, 50.0),))
    shape = piece_shape(log_sections(to_model(stubbed)), WHOLE, bark=True)
    wide, at, clock = widest_across(shape)
    assert wide == pytest.approx(2 * (R + BARK + 14.0) + 50.0, abs=10.0)  # a spline overshoots a steep stub
    assert abs(at - 700.0) < 45.0 and abs(clock - 0.4 - np.pi) < 0.15


def test_a_log_is_refused_with_the_limit_and_the_excess():
    shape = piece_shape(log_sections(to_model(TrueLog("c", LENGTH, R, taper=0.0, bark=BARK))), WHOLE, bark=True)
    log_fits(shape, 380.0, LENGTH, MILL, "w")
    for changes, words in (
        ({"log_length_max": 1200.0}, "1300 mm long, the longest log the mill takes is 1200 mm; crosscut 100 mm off"),
        ({"log_length_min": 1400.0}, "1300 mm long, the shortest log the mill takes is 1400 mm, 100 mm more"),
        ({"log_diameter_max": 340.0}, "the largest log the mill takes is 340 mm, 40 mm less; name a larger mill"),
    ):
        with pytest.raises(MillError, match=words):
            log_fits(shape, 380.0, LENGTH, replace(MILL, **changes), "w")
    with pytest.raises(MillError, match="a stub or swelling near clock angle"):
        log_fits(shape, 335.0, LENGTH, replace(MILL, log_diameter_max=340.0), "w")
