"""Layouts carried out: every piece used once, plates inside their pieces, kerf and pieces make the log; machines' settings."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pithline.geometry.pieces import Piece
from pithline.logmodel.document import model_to_json
from pithline.mill.practice_sizes import Practice
from pithline.mill.sections import log_sections
from pithline.plan.evaluate.evaluation import upper_bound
from pithline.plan.evaluate.judge import Judge
from pithline.plan.evaluate.practice import practice
from pithline.plan.evaluate.totals import sum_up, totals
from pithline.plan.execute.drawn_poser import DrawnPoser
from pithline.plan.execute.machine_setups import MachinePoser
from pithline.plan.execute.operation_json import operations_from_json, operations_to_json
from pithline.plan.problem.layout import LayoutSetting, LayoutSlab
from pithline.plan.problem.operations import Cut, Tool
from pithline.plan.search import price_start
from pithline.script.pieces import saw
from truth.logs import TrueLog, Wave, true_log
from unit.small_logs import BACK, RULE, carried_out, context_of, log_of, products_of, shop_of

TRUTH = TrueLog(
    "c", 1000.0, 160.0, waves=(Wave(2, 4.0, 0.5),), sweep=4.0, bark=9.0, pith_butt=(8.0, -5.0), pith_top=(5.0, 3.0)
)
PRODUCTS = products_of(BACK, RULE, demands=[None, 9])
SHOP = shop_of(PRODUCTS)
KERF = SHOP.machines.mill.kerf


@pytest.fixture(scope="module")
def log():
    return log_of(TRUTH)


@st.composite
def layouts(draw):
    """A first setting of one or two slabs, halves turned about a quarter, a bolt or two fanned once."""

    def slabs(reach, most):
        out, top = [], draw(st.floats(-reach / 3, reach))
        for _ in range(draw(st.integers(1, most))):
            thick = draw(st.floats(11.0, 70.0))
            out.append(LayoutSlab(top - thick, thick))
            top -= thick + KERF + draw(st.floats(0.0, 20.0))
        return tuple(out)

    def bolt(clock):
        return (
            LayoutSetting(clock + draw(st.floats(0.3, 1.2)), slabs(25.0, 1), role="bolt")
            if draw(st.booleans())
            else None
        )

    def half(clock):
        return (
            LayoutSetting(clock, slabs(60.0, 2), bolt(clock), bolt(clock - np.pi / 2), "half")
            if draw(st.booleans())
            else None
        )

    roll = draw(st.floats(0.0, 3.1))
    quarter = np.pi / 2 + draw(st.floats(-0.2, 0.2))
    return LayoutSetting(roll, slabs(80.0, 2), half(roll + quarter), half(roll - quarter))


def poser_of(log, kind):
    if kind == "drawn":
        return DrawnPoser(log, SHOP.machines)
    return MachinePoser(log, log_sections(log.model), SHOP.machines, 929.0)


@settings(max_examples=8)
@given(layouts(), st.sampled_from(["drawn", "machine"]))
def test_laws_of_whatever_is_carried_out(layout, kind):
    log = log_of(TRUTH)
    ledger = carried_out(log, layout, SHOP, poser_of(log, kind))
    entries = {one.id: one for one in ledger.settings}
    seen, there = set(), {"log"}
    for one in ledger.operations:
        assert one.piece in there
        if isinstance(one, Cut):
            assert one.piece not in seen, "a piece is parted twice"
            seen.add(one.piece)
            there |= set(one.sides)
            assert one.tool is entries[one.setting].tool
    written = operations_to_json(ledger.operations)
    assert operations_from_json(written) == tuple(ledger.operations)
    assert there == set(ledger.pieces)
    for plate in ledger.plates:
        piece = ledger.pieces[plate.id]
        assert piece.kind == "plate" and plate.id in ledger.leaves()
        corners = np.array([plate.corner + np.array(on) @ np.array(plate.edges) for on in np.ndindex(2, 2, 2)])
        assert piece.holds(corners, slack=1e-6).all()
        # each of its six faces is a cut
        middle = plate.corner + sum(plate.edges) / 2
        for edge in plate.edges:
            size = np.linalg.norm(edge)
            for side in (-1.0, 1.0):
                gaps = [
                    face.offset - np.dot(face.normal, middle + side * edge / 2)
                    for face in piece.faces
                    if np.dot(face.normal, edge) * side / size > 0.99
                ]
                assert gaps and min(np.abs(gaps)) < 1.0
    script = {"model": model_to_json(log.model), "operations": written, "pieces": []}
    solids = saw(script)
    assert solids.findings == []
    left = sum(solids.volumes[name] for name in solids.leaves())
    assert left + solids.kerf_volume == pytest.approx(solids.log_volume, rel=1e-4)
    sums = totals(sum_up(ledger, SHOP.parts, PRODUCTS, solids.volumes), PRODUCTS, SHOP.machines)
    good = ledger.passing
    assert sums["plates"] == len(good) and sums["settings"] == sum(e.charged for e in entries.values())
    assert sums["instrument_volume"] == pytest.approx(sum(SHOP.parts[plate.part].volume for plate in good))
    assert sums["sets"]["rule"] == min(sum(plate.part == 1 for plate in good), 9)
    sawn = sum(e.minutes for e in entries.values())
    assert sums["minutes"] == pytest.approx(sawn + SHOP.machines.mill.minutes_per_log)


def test_what_is_resawn_dried_comes_last():
    dried = products_of(replace(BACK, resaw="dried"), RULE)
    shop = shop_of(dried)
    log = log_of(TRUTH)
    layout = LayoutSetting(
        0.0, (LayoutSlab(-40.0, 80.0),), LayoutSetting(np.pi / 2, (LayoutSlab(-30.0, 60.0),), role="half")
    )
    ledger = carried_out(log, layout, shop)
    stages = [one.stage for one in ledger.settings]
    assert "dried" in stages and "green" in stages
    assert stages == sorted(stages, key=lambda stage: stage == "dried")
    assert {shop.parts[plate.part].part.name for plate in ledger.plates} == {"back", "rule"}


def test_a_slab_on_a_cylinder_is_set_by_closed_form():
    """Radius 169 with bark: the pith lies 169 mm over the bed, a slab of 80 mm about it is cut at 169 ± 41."""
    truth = TrueLog("s", 1300.0, 160.0, taper=0.0, bark=9.0)
    log = log_of(truth)
    poser = MachinePoser(log, log_sections(log.model), SHOP.machines, 929.0)
    posed = poser.pose(LayoutSetting(np.radians(31.0), (LayoutSlab(-40.0, 80.0),)), Piece("log", "log"))
    drafted, pose = posed.drafted, posed.drafted.pose
    assert drafted.tool is Tool.MILL and drafted.charged and not posed.swapped
    assert pose.roll == pytest.approx(30.0)  # as finely as the log can be turned
    assert [one.lift for one in pose.lifts] == [0.0, 0.0]
    assert pose.marks.butt.name == pose.marks.top.name == "pith"
    assert [pose.marks.butt.height, pose.marks.top.height] == pytest.approx([169.0, 169.0], abs=0.1)
    slab = posed.slabs[0]
    for offset, blade in ((slab.top + KERF / 2, 210.0), (slab.low - KERF / 2, 128.0)):
        cut = posed.plane(offset).blade
        assert cut.height == blade and cut.from_mark == pytest.approx(blade - 169.0, abs=0.1)
        assert cut.width == pytest.approx(2 * np.sqrt(169.0**2 - (blade - 169.0) ** 2), abs=0.5)
    mill = SHOP.machines.mill
    minutes = mill.minutes_per_setting + 2 * (1300.0 / mill.feed + mill.minutes_per_cut)
    assert drafted.minutes == pytest.approx(minutes, rel=0.02)


@pytest.mark.parametrize("kind", ["round", "tapered", "swept"])
def test_settings_on_the_mill_are_what_can_be_set(kind):
    log = log_of(replace(true_log(kind, 2), length=1400.0, bark=10.0))
    mill = SHOP.machines.mill
    half = LayoutSetting(np.pi / 2, (LayoutSlab(-35.0, 70.0), LayoutSlab(-110.0, 70.0)), role="half")
    layout = LayoutSetting(
        0.4, (LayoutSlab(0.0, 60.0), LayoutSlab(-65.0, 60.0)), half, replace(half, clock=3 * np.pi / 2)
    )
    ledger = carried_out(log, layout, SHOP, MachinePoser(log, log_sections(log.model), SHOP.machines, 929.0))
    entries = [one for one in ledger.settings if one.tool is Tool.MILL]
    assert len(entries) == 3
    for entry in entries:
        cuts, pose = [one for one in ledger.cuts if one.setting == entry.id], entry.pose
        assert all(a.blade.height > b.blade.height for a, b in pairwise(cuts))
        heights = [pose.marks.butt.height, pose.marks.top.height]
        for cut in cuts:
            blade = cut.blade
            assert blade.height / mill.height_step == pytest.approx(round(blade.height / mill.height_step))
            assert blade.from_mark == pytest.approx(blade.height - np.mean(heights))
            assert mill.blade_min <= blade.height <= mill.blade_max and blade.width <= mill.guide_opening
            np.testing.assert_allclose(cut.normal, pose.up, atol=1e-12)
        for one in pose.lifts:
            assert one.lift / mill.lift_step == pytest.approx(round(one.lift / mill.lift_step))
        lift = max(one.lift for one in pose.lifts)
        lowest = min(cut.blade.height for cut in cuts)
        assert pose.room.down == pytest.approx(lowest - max(mill.blade_min, mill.clamp_room + lift))
        assert pose.room.down >= 0 and pose.room.up >= 0
    marks = entries[0].pose.marks
    assert abs(marks.butt.height - marks.top.height) <= 2 * mill.lift_step


def test_a_log_too_thick_for_the_throat_is_left_whole_with_a_reason(log):
    shop = shop_of(PRODUCTS, throat=60.0)
    poser = MachinePoser(log, log_sections(log.model), shop.machines, 929.0)
    ledger = carried_out(log, LayoutSetting(0.0, (LayoutSlab(-100.0, 200.0),)), shop, poser)
    assert ledger.operations == [] and ledger.leaves() == ["log"]
    assert len(ledger.cautions) == 1 and "throat would be" in ledger.cautions[0] and "60 mm" in ledger.cautions[0]


def test_the_practice_layout_takes_the_better_number_of_flitches_bolt_by_bolt(log):
    sizes = Practice(100.0, 75.0, 50.0, (2, 3))
    context = context_of(SHOP)
    judge, prices = Judge(context), price_start(SHOP.economics)
    done = practice(log, context, sizes, prices)
    gross = {name: judge.worths(ledger)[0] for name, ledger in (("slabs", done.slabs), ("with", done.with_bolts))}
    assert gross["with"] >= gross["slabs"] > 0
    for count in (2, 3):
        alike = practice(log, context, replace(sizes, flitches=(count,)), prices)
        unlimited = 9 * RULE.volume / 1e6  # rules run out at nine, whichever bolt they come from
        assert gross["with"] >= judge.worths(alike.with_bolts)[0] - unlimited
    assert len([name for name in done.slabs.pieces if name.startswith("slab-")]) == 3
    assert len([name for name in done.slabs.leaves() if done.slabs.pieces[name].kind == "bolt"]) == 4


def test_the_practice_layout_of_a_bent_log_is_crosscut_where_that_is_worth_more():
    """A log that bows by 40 mm, and one that bows by just enough to be compared: each as if it were asked for alone."""
    for sweep in (40.0, 9.0):
        bent = log_of(replace(TRUTH, length=1400.0, sweep=sweep))
        context, sizes = context_of(SHOP), Practice(80.0, 60.0, 40.0, (1, 2))
        judge, prices = Judge(context), price_start(SHOP.economics)
        done = practice(bent, context, sizes, prices)
        each = {places: practice(bent, context, sizes, prices, places) for places in ((0.0,)[:0], (bent.reach / 2.0,))}
        worth = {places: judge.worth(one.with_bolts) for places, one in each.items()}
        assert judge.worth(done.with_bolts) == pytest.approx(max(worth.values()), rel=0.02)
        assert done.log_layout.places == max(worth, key=worth.get)


def test_customary_cuts_that_give_nothing_are_told_as_well():
    """A bent log too short for its part: whole and crosscut both cost their settings alone."""
    bent = log_of(replace(TRUTH, sweep=40.0))
    shop = shop_of(products_of(replace(RULE, length=1200.0)))
    done = practice(bent, context_of(shop), Practice(80.0, 60.0, 40.0, (1, 2)), price_start(shop.economics))
    assert not done.with_bolts.passing and Judge(context_of(shop)).worth(done.with_bolts) < 0.0


@settings(max_examples=15, deadline=None)
@given(layout=layouts())
def test_no_layout_is_worth_more_than_its_wood(log, layout):
    ledger = carried_out(log, layout, SHOP, reserve=False)
    context, market = context_of(SHOP), SHOP.economics.market
    worth = Judge(context).worths(ledger)[0]
    for prices in (market.loose, price_start(SHOP.economics)):
        assert 1e6 * worth <= upper_bound(context, [log], prices)
