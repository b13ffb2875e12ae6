"""The chord frame, layouts and the ledger."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from pithline.geometry.pieces import Piece
from pithline.plan.execute.ledger import Ledger, NewPiece, SawPlane
from pithline.plan.execute.simulate import uncut_log
from pithline.plan.problem.layout import LayoutSetting, LayoutSlab, settings_of
from pithline.plan.problem.log_frame import clock_of_normal, normal_at
from pithline.plan.problem.operations import BladePlace, Setting, Tool
from truth.logs import TrueLog
from unit.small_logs import log_of

LEANING = TrueLog("lean", 900.0, 160.0, pith_butt=(20.0, -10.0), pith_top=(-15.0, 25.0), butt_tilt=(0.05, 0.02))


def test_the_axis_is_the_piths_chord():
    log = log_of(LEANING)
    ends = np.array([[0.0, 20.0, -10.0], [900.0, -15.0, 25.0]])
    np.testing.assert_allclose(log.origin, ends[0], atol=1e-6)
    np.testing.assert_allclose(log.origin + log.reach * log.axis, ends[1], atol=1e-6)
    assert np.linalg.norm(log.axis) == pytest.approx(1.0)


@pytest.mark.parametrize("clock", np.radians([0.0, 33.0, 90.0, 200.0, 359.0]))
def test_normals_are_square_to_the_axis_and_tell_their_clock_angle(clock):
    axis = log_of(LEANING).axis
    normal = normal_at(axis, clock)
    assert np.linalg.norm(normal) == pytest.approx(1.0) and abs(normal @ axis) < 1e-12
    assert np.angle(np.exp(1j * (clock_of_normal(normal) - clock))) == pytest.approx(0.0, abs=1e-6)
    assert normal @ [0.0, -np.sin(clock), np.cos(clock)] > 0.998


def test_a_quarter_turn_is_the_lateral_and_right_handed():
    """Facing the butt, clockwise: with 12 o'clock up, 3 o'clock points to −y, and axis × normal points there."""
    axis = np.array([1.0, 0.0, 0.0])
    np.testing.assert_allclose(normal_at(axis, np.pi / 2), [0.0, -1.0, 0.0], atol=1e-12)
    np.testing.assert_allclose(np.cross(axis, normal_at(axis, 0.0)), normal_at(axis, np.pi / 2), atol=1e-12)


def test_settings_in_working_order():
    leaf = [LayoutSetting(float(k), (LayoutSlab(0.0, 10.0),), role="bolt") for k in range(4)]
    halves = [LayoutSetting(9.0, (), leaf[0], leaf[1], "half"), LayoutSetting(8.0, (), leaf[2], leaf[3], "half")]
    whole = LayoutSetting(7.0, (), *halves)
    assert [one.clock for one in settings_of(whole)] == [7.0, 9.0, 0.0, 1.0, 8.0, 2.0, 3.0]
    assert settings_of(None) == ()
    assert LayoutSlab(-12.0, 30.0).top == 18.0


def test_a_ledger_cuts_pieces_in_two_and_keeps_what_is_left():
    ledger = Ledger()
    log = Piece("log", "log")
    ledger.pieces["log"], ledger.made_by["log"] = log, None
    entry = ledger.open_setting(Setting(Tool.MILL, "log", True, 6.0))
    up = np.array([0.0, 0.0, 1.0])
    over, rest = ledger.cut(entry, log, SawPlane(up, 30.0, 2.0), NewPiece("half-1", "half"), NewPiece("rest-1", "log"))
    slab, under = ledger.cut(
        entry,
        rest,
        SawPlane(up, -30.0, 2.0, BladePlace(100.0, -30.0, 300.0)),
        NewPiece("slab-1", "slab"),
        NewPiece("half-2", "half"),
    )
    assert ledger.leaves() == ["half-1", "slab-1", "half-2"] and ledger.used == {"log", "rest-1"}
    assert [ledger.fresh("slab-"), ledger.fresh("slab-")] == ["slab-1", "slab-2"]
    heights = np.array([[0.0, 0.0, z] for z in (31.01, 30.99, 29.01, 28.99, -28.99, -29.01, -31.01)])
    np.testing.assert_array_equal(over.holds(heights), [True] + [False] * 6)
    np.testing.assert_array_equal(slab.holds(heights), [False, False, False, True, True, False, False])
    np.testing.assert_array_equal(under.holds(heights), [False] * 6 + [True])
    cuts = list(ledger.cuts)
    assert [one.piece for one in cuts] == ["log", "rest-1"] and cuts[1].blade.width == 300.0
    assert all(one.setting == entry.id and one.tool is Tool.MILL for one in cuts)
    assert [ledger.made_by[name] for name in ("half-1", "slab-1")] == [one.id for one in cuts]
    assert all(a.offset > b.offset for a, b in pairwise(cuts))


def test_a_ledger_renames_a_piece_and_amends_or_drops_a_setting():
    """What was handed out before stays as it was; the ledger holds the new."""
    ledger = uncut_log()
    setting = ledger.open_setting(Setting(Tool.RESAW, "log", False))
    plane = SawPlane(np.array([0.0, 0.0, 1.0]), 0.0, 2.0)
    over, under = ledger.cut(
        setting, ledger.pieces["log"], plane, ledger.named("rest-", "bolt"), ledger.named("rest-", "bolt")
    )
    slab = ledger.rename(under, "slab-", "slab")
    assert (under.id, under.kind) == ("rest-2", "bolt") and (slab.id, slab.kind) == ("slab-1", "slab")
    assert slab.faces == under.faces and set(ledger.pieces) == {"log", "rest-1", "slab-1"}
    assert next(ledger.cuts).sides == (over.id, "slab-1") and ledger.made_by["slab-1"] == "cut-1"
    ledger.amend(replace(setting, minutes=3.0))
    assert setting.minutes == 0.0 and ledger.minutes == 3.0
    ledger.drop(setting)
    assert list(ledger.settings) == [] and ledger.minutes == 0.0
