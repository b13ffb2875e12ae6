"""How bolts are held by their sawn faces, and how settings of one set-up follow one another."""

from dataclasses import replace

import numpy as np
import pytest

from pithline.geometry.pieces import Piece
from pithline.mill.sections import log_sections, piece_shape
from pithline.plan.execute.bolt_holds import CRADLE_WITHIN_DEG, bolt_holds, hold_as_sawn, stands
from pithline.plan.execute.drawn_poser import DrawnPoser
from pithline.plan.execute.machine_setups import BLOCK_STEP, MachinePoser
from pithline.plan.problem.layout import LayoutSetting, LayoutSlab
from pithline.plan.problem.log_frame import clock_of_normal, normal_at
from pithline.plan.problem.operations import Support, Tool
from truth.logs import TrueLog
from unit.small_logs import BACK, RULE, carried_out, log_of, products_of, shop_of

DENSITY = 929.0
QUARTER = np.pi / 2
TRUTH = TrueLog("bolts", 1300.0, 210.0, taper=0.0, bark=9.0)
PRODUCTS = products_of(BACK, RULE)
FLITCH = (LayoutSlab(-12.0, 24.0),)


@pytest.fixture(scope="module")
def log():
    return log_of(TRUTH)


def bolt_of(log, base=0.0):
    """The quarter between clock angles `base` and `base` + 90°, 40 mm off the pith's chord."""
    piece = Piece("log", "log")
    for k, clock in enumerate((base, base + QUARTER)):
        piece = piece.above(
            normal_at(log.axis, clock), 40.0 + float(log.origin @ normal_at(log.axis, clock)), 2.0, f"c{k}", "b", "bolt"
        )
    return piece


def held(log, turn_deg, cradles=(), any_angle=False, base=0.3):
    """Ways to hold a bolt for cuts whose normal stands so far on from its first face's."""
    wanted = normal_at(log.axis, base + np.radians(turn_deg))
    return bolt_holds(log, bolt_of(log, base), wanted, Tool.RESAW, cradles, any_angle)


def turned(log, hold, base=0.3):
    """How far on from the first face's normal the cuts of a hold truly stand, 0 to 180. [degrees]"""
    return float(np.degrees(clock_of_normal(hold.normal) - base)) % 180.0


@pytest.mark.parametrize(("turn", "face"), [(0.0, "c0"), (0.9, "c0"), (90.0, "c1"), (179.4, "c0"), (270.8, "c1")])
def test_cuts_along_a_sawn_face_lie_flat_on_it(log, turn, face):
    [hold] = held(log, turn, (22.5, 45.0), True)
    assert hold.flat and hold.face.cut == face and hold.set_up == (Tool.RESAW, 0.0)
    assert turned(log, hold) == pytest.approx({"c0": 0.0, "c1": 90.0}[face], abs=1e-6) or turned(log, hold) > 179.99


@pytest.mark.parametrize("turn", [22.5, 24.0, 67.5, 66.0, 112.5, 157.5])
def test_a_cradle_stands_at_its_angle_from_either_face(log, turn):
    """Cuts drawn a little off are sawn at exactly the cradle's angle from the face that lies on it."""
    holds = held(log, turn, (22.5,))
    assert holds and all(hold.angle_deg == 22.5 and hold.listed for hold in holds)
    for hold in holds:
        lean = np.degrees(np.arccos(abs(float(hold.normal @ np.asarray(hold.face.normal)))))
        assert lean == pytest.approx(22.5, abs=1e-6)
        off = abs(turned(log, hold) - turn)
        assert min(off, 180.0 - off) < CRADLE_WITHIN_DEG
        assert float(hold.normal @ log.axis) == pytest.approx(0.0, abs=1e-9)


def test_the_nearest_cradle_comes_first_and_none_is_too_far(log):
    assert [hold.angle_deg for hold in held(log, 23.0, (20.5, 22.5, 40.0))] == [22.5, 20.5]
    assert held(log, 26.0, (22.5,)) == () and len(held(log, 25.0, (22.5,))) == 1
    # 45° stands 45° from both faces
    assert sorted(hold.face.cut for hold in held(log, 45.0, (45.0,))) == ["c0", "c1"]


def test_where_any_cradle_may_be_made_those_that_are_there_come_first(log):
    near = held(log, 24.0, (22.5,), True)
    assert (near[0].angle_deg, near[0].listed) == (22.5, True) and any(not one.listed for one in near)
    free = held(log, 31.0, (22.5,), True)
    assert sorted(round(hold.angle_deg, 6) for hold in free) == [31.0, 59.0] and not any(one.listed for one in free)


def layout_of(angles_deg):
    """Four bolts, each sawn once, at these angles on from its first direction."""

    def bolt(base, angle):
        return LayoutSetting(base + QUARTER + np.radians(angle), FLITCH, role="bolt")

    def half(clock, above, below):
        return LayoutSetting(clock, (LayoutSlab(-37.0, 74.0),), above, below, "half")

    upper = half(QUARTER, bolt(0.0, angles_deg[0]), bolt(3 * QUARTER, angles_deg[1]))
    lower = half(3 * QUARTER, bolt(2 * QUARTER, angles_deg[2]), bolt(QUARTER, angles_deg[3]))
    return LayoutSetting(0.0, (LayoutSlab(-37.0, 74.0),), upper, lower)


def sawn(log, angles, **resaw):
    shop = shop_of(PRODUCTS)
    machines = replace(shop.machines, resaw=replace(shop.machines.resaw, piece_weight_max=None, **resaw))
    shop = replace(shop, machines=machines)
    poser = MachinePoser(log, log_sections(log.model), machines, DENSITY)
    return carried_out(log, layout_of(angles), shop, poser), machines


def of_bolts(ledger):
    bolts = {name for name, piece in ledger.pieces.items() if piece.kind == "bolt"}
    return [one for one in ledger.settings if one.piece in bolts and one.tool in (Tool.RESAW, Tool.MILL)]


def test_settings_of_one_cradle_follow_one_another_and_repeats_take_less(log):
    ledger, machines = sawn(
        log, (30.0, 45.0, 30.0, 30.0), cradles_deg=(30.0, 45.0), cradle_any=False,
        minutes_per_setting=9.0, minutes_repeat=4.0, minutes_per_cut=0.5,
    )  # fmt: skip
    settings = of_bolts(ledger)
    assert [one.against.angle_deg for one in settings] == [30.0, 30.0, 30.0, 45.0]
    assert len({one.set_up for one in settings[:3]}) == 1 and settings[3].set_up not in {"", settings[0].set_up}
    feed = machines.resaw.feed
    for one, own in zip(settings, (9.0, 4.0, 4.0, 9.0), strict=True):
        assert one.charged and one.support is Support.CRADLE
        cuts = sum(cut.setting == one.id for cut in ledger.cuts)
        assert one.minutes == pytest.approx(own + cuts * (1300.0 / feed + 0.5), rel=2e-3)
    # three settings of logs and halves, and two set-ups
    assert ledger.set_ups == 5 and ledger.charged == 7


def test_a_bolt_that_no_cradle_holds_is_left_whole_with_a_reason(log):
    ledger, _ = sawn(log, (30.0, 30.0, 30.0, 38.0), cradles_deg=(30.0,), cradle_any=False)
    assert len(of_bolts(ledger)) == 3
    assert ["no cradle of the shop holds it" in one for one in ledger.cautions] == [True]
    whole = [name for name in ledger.leaves() if ledger.pieces[name].kind == "bolt"]
    assert len(whole) >= 1


def test_runs_flat_on_a_face_come_first_and_cost_nothing_in_the_shop(log):
    ledger, _ = sawn(log, (0.0, 30.0, 0.0, 30.0), cradles_deg=(30.0,), minutes_per_setting=9.0)
    settings = of_bolts(ledger)
    assert [one.against.angle_deg for one in settings] == [0.0, 0.0, 30.0, 30.0]
    assert [one.charged for one in settings] == [False, False, True, True]
    assert [one.support for one in settings] == [Support.FENCE] * 2 + [Support.CRADLE] * 2
    assert settings[0].set_up == "" and settings[2].set_up == settings[3].set_up != ""


def test_a_bolt_too_heavy_for_the_resaw_is_parted_on_the_mill(log):
    shop = shop_of(PRODUCTS, cradles_deg=(30.0,), minutes_repeat=2.0)
    machines = replace(shop.machines, resaw=replace(shop.machines.resaw, piece_weight_max=5.0))
    shop = replace(shop, machines=machines)
    poser = MachinePoser(log, log_sections(log.model), machines, DENSITY)
    ledger = carried_out(log, layout_of((30.0, 30.0, 30.0, 30.0)), shop, poser)
    settings = of_bolts(ledger)
    assert settings and all(one.tool is Tool.MILL and one.charged for one in settings)
    for one in settings:
        assert one.pose.marks is None and one.pose.room is None and one.against.angle_deg in (0.0, 30.0)
        assert one.support is (Support.BED if one.against.angle_deg == 0.0 else Support.CRADLE)
        for cut in (each for each in ledger.cuts if each.setting == one.id):
            step = machines.mill.height_step
            assert cut.blade.from_mark is None
            assert cut.blade.height / step == pytest.approx(round(cut.blade.height / step))
    assert [one.support for one in settings].count(Support.CRADLE) == 4
    for one in settings:
        lowest = min(cut.blade.height for cut in ledger.cuts if cut.setting == one.id)
        assert lowest >= max(machines.mill.blade_min, machines.mill.clamp_room)
    first, *more = [one.minutes for one in settings]
    assert all(minutes < first - 1.0 for minutes in more)


def test_as_drawn_every_angle_is_held(log):
    shop = shop_of(PRODUCTS)
    ledger = carried_out(log, layout_of((31.7, 12.0, 45.0, 31.7)), shop, DrawnPoser(log, shop.machines))
    turned_by = []
    for setting in of_bolts(ledger):
        [cut, *_] = [one for one in ledger.cuts if one.setting == setting.id]
        turned_by.append(round(float(np.degrees(clock_of_normal(np.array(cut.normal)))) % 90.0, 3))
    assert sorted(turned_by) == [12.0, 31.7, 31.7, 45.0]


def test_a_bolt_read_back_is_held_by_the_face_that_held_it(log):
    """Both faces hold it 45° on; one leans a third of a degree along the log, so cuts held by it lean too."""
    piece = Piece("log", "log")
    for k, lean in enumerate((0.006, 0.0)):
        normal = normal_at(log.axis, 0.3 + k * QUARTER) + lean * log.axis
        normal /= np.linalg.norm(normal)
        piece = piece.above(normal, 40.0 + float(log.origin @ normal), 2.0, f"c{k}", "b", "bolt")
    wanted = normal_at(log.axis, 0.3 + np.radians(45.0))
    holds = bolt_holds(log, piece, wanted, Tool.RESAW, (45.0,), False)
    leans = {hold.face.cut: float(hold.normal @ log.axis) for hold in holds}
    assert leans == {"c0": pytest.approx(0.006 / np.sqrt(2.0), rel=0.01), "c1": pytest.approx(0.0, abs=1e-9)}
    for name, lean in leans.items():
        assert hold_as_sawn(holds, log.axis, lean).face.cut == name
    assert hold_as_sawn(holds, log.axis, None) is holds[0] and hold_as_sawn((), log.axis, 0.0) is None
    # a hold that turns the bolt otherwise is not taken, however its cuts lean
    other = bolt_holds(log, piece, wanted, Tool.RESAW, (45.0, 43.0), False)
    assert hold_as_sawn(sorted(other, key=lambda hold: hold.angle_deg != 43.0), log.axis, 0.0042).angle_deg == 43.0


def test_a_bolt_stands_where_its_weight_is_over_the_face_that_carries_it(log):
    """A quarter lies flat on either face and in a cradle on both; leaning 69° out over one of them it would fall, to either side."""
    piece = bolt_of(log)
    shape = piece_shape(log_sections(log.model), piece, bark=True)
    first, second = (normal_at(log.axis, clock) for clock in (0.0, QUARTER))
    out, on = np.sin(1.2), np.cos(1.2)
    for up in (first, second, (first + second) / np.sqrt(2.0)):
        assert stands(shape, piece, up, log.axis)
    for up in (on * first - out * second, on * second - out * first):
        assert not stands(shape, piece, up, log.axis)
    assert not stands(shape, piece, -first, log.axis)


@pytest.mark.parametrize(("margin", "asked"), [(0.0, False), (1e4, True)])
def test_a_clearance_run_is_asked_for_where_a_limit_is_near(log, margin, asked):
    """Of throat, guides and blade, each nearer than the mill's margin is named; heights and lifts have none."""
    shop = shop_of(PRODUCTS)
    machines = replace(shop.machines, mill=replace(shop.machines.mill, clearance_margin=margin))
    poser = MachinePoser(log, log_sections(log.model), machines, DENSITY)
    posed = poser.pose(LayoutSetting(0.3, FLITCH), log.piece)
    named = ["throat", "guide opening", "blade max"] if asked else []
    assert [one.partition(" is close to its limit: clearance run first")[0] for one in posed.drafted.cautions] == named


def test_a_cradle_stands_on_blocks_where_its_lowest_cut_would_meet_the_dogs(log):
    """Dogs that need 137 mm: every bolt in a cradle is sawn all the same, on blocks as high as it takes, in their own steps."""
    shop = shop_of(PRODUCTS, cradles_deg=(30.0,), clamp_room=137.0)
    machines = replace(shop.machines, resaw=replace(shop.machines.resaw, piece_weight_max=5.0))
    poser = MachinePoser(log, log_sections(log.model), machines, DENSITY)
    ledger = carried_out(log, layout_of((30.0, 30.0, 30.0, 30.0)), replace(shop, machines=machines), poser)
    held = [one for one in of_bolts(ledger) if one.support is Support.CRADLE]
    assert len(held) == 4
    for one in held:
        lowest = min(cut.blade.height for cut in ledger.cuts if cut.setting == one.id)
        assert 137.0 <= lowest < 137.0 + BLOCK_STEP + machines.mill.height_step


def test_a_bolt_whose_cuts_are_too_high_for_the_resaw_goes_to_the_mill(log):
    """Light enough for the shop's saw, but not low enough: it is sawn all the same, and left only where neither saw takes it."""
    shop = shop_of(PRODUCTS, cradles_deg=(30.0,))
    resaw = replace(shop.machines.resaw, cradles_deg=(30.0,), height_max=60.0)
    layout = layout_of((30.0, 30.0, 30.0, 30.0))

    def sawn(machines):
        poser = MachinePoser(log, log_sections(log.model), machines, DENSITY)
        return carried_out(log, layout, replace(shop, machines=machines), poser)

    on_mill = sawn(replace(shop.machines, resaw=resaw))
    settings = of_bolts(on_mill)
    assert len(settings) == 4 and all(one.tool is Tool.MILL for one in settings) and not on_mill.cautions
    roomy = sawn(replace(shop.machines, resaw=replace(resaw, height_max=400.0)))
    assert all(one.tool is Tool.RESAW for one in of_bolts(roomy))
    neither = sawn(replace(shop.machines, mill=replace(shop.machines.mill, cradles_deg=(15.0,)), resaw=resaw))
    assert not of_bolts(neither) and len([name for name in neither.leaves() if name.startswith("bolt-")]) == 4
    assert neither.cautions and all("in the shop a cut would be" in one and "60 mm" in one for one in neither.cautions)


def test_a_slab_next_to_the_bed_that_the_blade_cannot_reach_stays_on_the_bolt(log):
    """Two slabs parallel to the face that a bolt lies on: where the lower cut would be too low, the upper ones are made all the same."""
    piece = bolt_of(log)
    shop = shop_of(PRODUCTS)
    setting = LayoutSetting(0.0, (LayoutSlab(100.0, 24.0), LayoutSlab(41.0, 24.0)), role="bolt")

    def posed(blade_min):
        mill = replace(shop.machines.mill, blade_min=blade_min, clamp_room=10.0)
        resaw = replace(shop.machines.resaw, piece_weight_max=1.0)
        poser = MachinePoser(log, log_sections(log.model), replace(shop.machines, mill=mill, resaw=resaw), DENSITY)
        [hold] = poser.holds(setting, piece)
        assert hold.flat and hold.tool is Tool.MILL
        return poser.pose_bolt(setting, piece, hold)

    assert [slab.thickness for slab in posed(20.0).slabs] == pytest.approx([24.0, 24.0])
    # a little thicker is better than none
    assert [slab.thickness for slab in posed(30.0).slabs] == pytest.approx([24.0, 29.0])
    one = posed(40.0)
    assert len(one.slabs) == 1 and min(blade.height for _, blade in one.blades) >= 40.0
    assert one.slabs[0].low == pytest.approx(posed(20.0).slabs[0].low, abs=2.0)
    assert "blade min would be" in posed(400.0).why


def test_a_run_that_no_saw_takes_is_passed_over_for_the_one_that_follows(log):
    """A first run at an angle that no cradle has, a second that one has: the second is sawn, and nothing is said to stay whole."""
    shop = shop_of(PRODUCTS)
    resaw = replace(shop.machines.resaw, piece_weight_max=None, cradles_deg=(30.0,))
    machines = replace(shop.machines, resaw=resaw)
    poser = MachinePoser(log, log_sections(log.model), machines, DENSITY)

    def first_run(bolt):
        return replace(bolt, clock=bolt.clock - np.radians(20.0), above=bolt)

    def half(setting):
        return replace(setting, above=first_run(setting.above), below=first_run(setting.below))

    whole = layout_of((30.0, 30.0, 30.0, 30.0))
    chained = replace(whole, above=half(whole.above), below=half(whole.below))
    ledger = carried_out(log, chained, replace(shop, machines=machines), poser)
    assert [one.against.angle_deg for one in of_bolts(ledger)] == [30.0] * 4 and not ledger.cautions
    alone = replace(whole.above.above, clock=whole.above.above.clock - np.radians(20.0))
    left = carried_out(
        log, replace(whole, above=replace(whole.above, above=alone)), replace(shop, machines=machines), poser
    )
    assert len(of_bolts(left)) == 3 and left.cautions == [
        "a bolt is left whole, since on the mill no cradle of the shop holds it as it is to be sawn"
    ]


def test_a_cradle_is_set_up_once_where_some_bolt_needs_it_later(log):
    """Three bolts need 30° alone, one 45° before that: the cradle that serves most waits for it."""
    shop = shop_of(PRODUCTS)
    resaw = replace(shop.machines.resaw, piece_weight_max=None, cradles_deg=(30.0, 45.0))
    machines = replace(shop.machines, resaw=resaw)
    poser = MachinePoser(log, log_sections(log.model), machines, DENSITY)
    whole = layout_of((30.0, 30.0, 30.0, 30.0))
    last = whole.above.above
    first = replace(last, clock=last.clock + np.radians(15.0), slabs=(LayoutSlab(60.0, 24.0),), below=last)
    ledger = carried_out(
        log, replace(whole, above=replace(whole.above, above=first)), replace(shop, machines=machines), poser
    )
    angles = [one.against.angle_deg for one in of_bolts(ledger)]
    assert angles == [45.0, 30.0, 30.0, 30.0, 30.0]
    assert len({one.set_up for one in of_bolts(ledger)}) == 2
