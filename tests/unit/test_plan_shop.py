"""Minutes, weights and marks of settings, reckoned by hand from the pieces that the ledger names."""

from dataclasses import replace

import numpy as np
import pytest

from pithline.geometry.pieces import Piece
from pithline.mill.sections import log_sections, piece_shape
from pithline.plan.evaluate.totals import weighed
from pithline.plan.execute.bucked_log import crosscut_log
from pithline.plan.execute.machine_setups import MachinePoser
from pithline.plan.problem.layout import LayoutSetting, LayoutSlab
from pithline.plan.problem.operations import Tool
from truth.logs import TrueLog
from unit.small_logs import BACK, RULE, carried_out, log_of, products_of, shop_of

DENSITY = 929.0
RIP_FEED, CROSSCUT_MINUTES = 5000.0, 0.75


@pytest.fixture(scope="module")
def shop():
    task = shop_of(products_of(BACK, RULE), minutes_off_square=3.0)
    machines = replace(
        task.machines,
        rip=replace(task.machines.rip, feed=RIP_FEED),
        crosscut=replace(task.machines.crosscut, minutes_per_cut=CROSSCUT_MINUTES),
    )
    return replace(task, machines=machines)


@pytest.fixture(scope="module")
def ledger(shop):
    log = log_of(TrueLog("long", 1300.0, 150.0, taper=0.0, bark=8.0))
    return carried_out(log, LayoutSetting(0.0, (LayoutSlab(-30.0, 60.0),)), shop)


def cuts_of(ledger, setting):
    return [cut for cut in ledger.cuts if cut.setting == setting.id]


def test_the_rip_saw_runs_from_the_first_billet_to_the_end_of_the_last(shop, ledger):
    [rip] = [setting for setting in ledger.settings if setting.tool is Tool.RIP]
    along = np.array([plate.corner[0] for plate in ledger.plates])
    ends = along + [shop.parts[plate.part].length for plate in ledger.plates]
    run = ends.max() - along.min()
    assert 800.0 < run < 1250.0
    cuts = len(cuts_of(ledger, rip))
    assert cuts > 1 and rip.minutes == pytest.approx(cuts * (run / RIP_FEED + shop.machines.rip.minutes_per_cut))


def test_crosscuts_are_counted_one_by_one(ledger):
    settings = [setting for setting in ledger.settings if setting.tool is Tool.CROSSCUT]
    assert settings
    for setting in settings:
        assert setting.minutes == pytest.approx(CROSSCUT_MINUTES * len(cuts_of(ledger, setting)))


def test_settings_in_the_shop_weigh_their_wood_and_those_on_the_mill_what_they_weighed(ledger):
    ledger_of_mill = [setting for setting in ledger.settings if setting.tool is Tool.MILL]
    volumes = dict.fromkeys(ledger.pieces, 4000000.0)
    heavy = {one.id: one for one in weighed(ledger, volumes, DENSITY)}
    for setting in ledger.settings:
        assert heavy[setting.id].weight_kg == pytest.approx(4.0e6 * 1e-9 * DENSITY)  # 3.7 kg
    posed = ledger_of_mill[0]
    ledger.amend(replace(posed, weight_kg=77.0))
    again = {one.id: one for one in weighed(ledger, volumes, DENSITY)}
    assert again[posed.id].weight_kg == 77.0


@pytest.mark.parametrize(("lean", "more"), [(0.0, 0.0), (-np.pi / 4, 3.0), (np.pi / 4, 3.0)])
def test_a_half_that_is_not_turned_square_takes_its_minutes_more(shop, lean, more):
    log = log_of(TrueLog("half", 1300.0, 160.0, taper=0.0, bark=9.0))
    poser = MachinePoser(log, log_sections(log.model), shop.machines, DENSITY)
    half = Piece("log", "log").above((0.0, 0.0, 1.0), 30.0, 2.0, "c1", "half-1", "half")
    slabs = (LayoutSlab(-20.0, 40.0),) if lean == 0.0 else (LayoutSlab(20.0, 30.0),)
    posed = poser.pose(LayoutSetting(np.pi / 2 + lean, slabs, role="half"), half)
    mill = shop.machines.mill
    length = np.ptp(piece_shape(log_sections(log.model), half, bark=True).x)
    cuts = 2 * len(posed.slabs)
    plain = mill.minutes_per_setting + cuts * (length / mill.feed + mill.minutes_per_cut)
    assert posed.drafted.minutes == pytest.approx(plain + more, abs=0.05)


def test_marks_of_a_half_of_a_crosscut_log_lie_on_its_first_line(shop):
    """The end that a crosscut made is the half's own: its points lie on the face, which rounding must not put outside."""
    whole = log_of(TrueLog("two", 2100.0, 160.0, taper=0.0, bark=9.0, butt_tilt=(0.02, 0.01), pith_butt=(7.0, 3.0)))
    kerf = shop.machines.buck.kerf
    _, logs = crosscut_log(whole, (1050.0,), kerf, 90.0)
    assert len(logs) == 2
    sections = log_sections(whole.model)
    for log in logs:
        poser = MachinePoser(log, sections, shop.machines, DENSITY)
        for clock in np.radians([0.0, 20.0, 75.0, 130.0]):
            up = (0.0, -np.sin(clock), np.cos(clock))
            half = log.piece.above(up, 25.0, 2.0, "c9", "half-9", "half")
            posed = poser.pose(LayoutSetting(clock + np.pi / 2, (LayoutSlab(-20.0, 40.0),), role="half"), half)
            marks = posed.drafted.pose.marks
            assert marks.butt.name == marks.top.name == "first line"
