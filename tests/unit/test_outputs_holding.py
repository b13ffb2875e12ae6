"""How pieces lie and what holds them: against angles and sizes worked by hand on the cylinder of the fixtures."""

import numpy as np
import pytest
from shapely.geometry import Polygon, box
from shapely.ops import unary_union

from pithline.outputs.cut_script.document import Saw
from pithline.outputs.holding.arris import arris_at, arris_faces, blade_at, from_arris
from pithline.outputs.holding.pose import pose_of
from pithline.outputs.holding.props import PropKind, holding_of
from pithline.outputs.holding.sketch import block_words, face_names, is_owned
from pithline.outputs.print_job import print_job
from pithline.outputs.shop_words import bench_of
from unit.cradle_fixture import HEEL, cradle_script
from unit.outputs_fixture import small_script


@pytest.fixture(scope="module")
def log():
    return print_job(cradle_script()).log


def setting_of(log, piece, tool=Saw.MILL):
    return next(one for one in log.settings if one.piece == piece and one.tool is tool)


def test_a_half_on_edge_stands_against_stops_on_the_side_of_its_face(log):
    holding = holding_of(log, setting_of(log, "half-a"))
    stop = next(prop for prop in holding.props if prop.kind is PropKind.STOP)
    face = next(one for one in log.faces("half-a") if one.cut == "c1")
    assert float(face.normal @ holding.pose.right) > 0.99
    assert stop.outline[:, 0].min() == pytest.approx(float(face.offset), abs=0.1)
    assert [prop.kind for prop in holding.props].count(PropKind.CHOCK) == 1
    assert "upright, on your right, against the stops" in holding.words


def test_a_log_is_chocked_on_both_sides(log):
    holding = holding_of(log, setting_of(log, "log"))
    assert [prop.kind for prop in holding.props] == [PropKind.CHOCK] * 2
    left, right = (float(prop.outline[:, 0].mean()) for prop in holding.props)
    middle = float(holding.section.points[:, 0].mean())
    assert left < middle < right
    for prop in holding.props:  # under the bark, not in it
        assert prop.outline[:, 1].max() <= holding.section.points[:, 1].max() / 2.0


def test_a_bolt_on_the_bed_needs_nothing_and_rests_at_height_nought(log):
    holding = holding_of(log, setting_of(log, "bolt-1"))
    assert holding.props == () and holding.stands
    assert holding.section.points[:, 1].min() == pytest.approx(0.0, abs=0.1)


def test_a_cradle_holds_its_angle_from_heel_to_crest(log):
    setting = setting_of(log, "bolt-3")
    (cradle,) = holding_of(log, setting).props
    assert cradle.kind is PropKind.CRADLE
    wide, low, high = cradle.size
    assert np.degrees(np.arctan2(high - low, wide)) == pytest.approx(22.5, abs=0.05)
    assert low == pytest.approx(HEEL, abs=1.0)


def test_at_the_band_saw_the_leaning_face_looks_down_at_its_block(log):
    setting = setting_of(log, "bolt-2", Saw.RESAW)
    holding = holding_of(log, setting)
    face = log.face("bolt-2", "c1")
    assert float(face.normal @ holding.pose.right) < 0.0 and float(face.normal @ holding.pose.up) < 0.0
    assert np.degrees(np.arcsin(abs(face.normal @ log.cuts_of(setting)[0].normal))) == pytest.approx(60.0, abs=0.01)
    kinds = [prop.kind for prop in holding.props]
    assert kinds == [PropKind.FENCE, PropKind.CRADLE]
    fence, block = holding.props
    assert fence.outline[:, 0].max() == pytest.approx(block.outline[:, 0].min())
    assert holding.section.points[:, 1].min() == pytest.approx(0.0, abs=0.1)
    lean = block.outline[2] - block.outline[1]
    assert np.degrees(np.arctan2(abs(lean[0]), lean[1])) == pytest.approx(30.0, abs=0.1)


def test_the_blade_is_measured_from_the_arris_of_the_bolts_two_sawn_faces(log):
    """bolt-2 has its faces at z = 9 and y = 10 (half a kerf beyond cuts at 8 and 9): its arris lies at (10, 9)."""
    setting = setting_of(log, "bolt-2", Saw.RESAW)
    holding = holding_of(log, setting)
    arris = arris_at(holding.pose, arris_faces(holding, setting), holding.section.x)
    point = np.array([holding.section.x, 10.0, 9.0])
    assert arris == pytest.approx([point @ holding.pose.right, point @ holding.pose.up + holding.pose.level], abs=0.5)
    cut = log.cuts_of(setting)[0]
    away = blade_at(holding.pose, cut, holding.section.x) - arris[0]
    assert abs(away) == pytest.approx(abs(cut.offset - cut.normal @ point), abs=0.5)
    told = from_arris(log, setting)[cut.id]
    assert told == pytest.approx((away - np.sign(away) * cut.kerf / 2.0,) * 2)


def test_a_blade_that_runs_askew_of_the_arris_is_told_at_both_ends():
    script = cradle_script()
    cut = next(one for one in script["operations"] if one["op"] == "cut" and one["id"] == "c7")
    cut["normal"] = [0.01, *cut["normal"][1:]]
    job = print_job(script)
    setting = setting_of(job.log, "bolt-2", Saw.RESAW)
    told = from_arris(job.log, setting)["c7"]
    stretch = job.log.stretch("bolt-2")
    assert abs(told.top - told.butt) == pytest.approx(0.01 * stretch.length, rel=0.01)
    assert " | " in bench_of(job, setting).places[0]


def test_slabs_lie_on_the_face_that_the_script_names(log):
    setting = next(one for one in log.settings if one.tool is Saw.RIP)
    pose = pose_of(log, setting)
    assert pose.up @ log.face("slab-3", "c1").normal == pytest.approx(-1.0)


def test_a_bolt_of_an_older_script_has_blocks_cut_to_it():
    log = print_job(small_script()).log
    half = setting_of(log, "half-b")
    holding = holding_of(log, half)
    assert all(prop.kind in (PropKind.STOP, PropKind.CHOCK) for prop in holding.props)
    fan = setting_of(log, "bolt-1", Saw.RESAW)
    assert {prop.kind for prop in holding_of(log, fan).props} == {PropKind.BLOCK}


def test_a_cradle_that_the_shop_owns_need_not_be_made():
    script = cradle_script()
    log, fmt = print_job(script).log, print_job(script).fmt
    setting = setting_of(log, "bolt-3")
    assert is_owned(log, setting)
    assert block_words(holding_of(log, setting), fmt, owned=True).startswith(
        "Cradle: 184 wide, 12 high at its low side on your left, 88"
    )
    script["inputs"]["mill"]["mill"]["cradles_deg"] = [45.0]
    other = print_job(script).log
    assert not is_owned(other, setting_of(other, "bolt-3"))
    assert block_words(holding_of(log, setting), fmt).startswith("Cradle to be made: ")
    at_the_saw = setting_of(log, "bolt-2", Saw.RESAW)
    assert is_owned(log, at_the_saw) and "high (mm)" in block_words(holding_of(log, at_the_saw), fmt, owned=True)


@pytest.mark.parametrize("scale", [0.08, 0.25, 1.0])
def test_face_names_lie_in_the_wood_or_beside_it_and_never_on_one_another(log, scale):
    for setting in (one for one in log.settings if one.against is not None):
        holding = holding_of(log, setting)
        wood = unary_union([Polygon(ring * scale).buffer(0.0) for ring in holding.section.outlines])
        names = face_names(holding, lambda spots, s=scale: np.asarray(spots, float) * s, [])
        boxes = [
            box(one.at[0] - one.wide / 2, one.at[1] - 3.5, one.at[0] + one.wide / 2, one.at[1] + 3.5) for one in names
        ]
        assert all(wood.contains(one) or not wood.intersects(one) for one in boxes)
        assert not any(one.intersects(other) for place, one in enumerate(boxes) for other in boxes[:place])
    assert names or scale < 0.25


def test_a_bolt_lies_on_the_face_it_has_not_on_one_a_slab_took_away():
    """Slab 1 lies between cuts c1 and c2: half-b has the face of c2 alone, whichever the script names."""
    script = cradle_script()
    b_cut = {"op": "cut", "id": "c99", "tool": "resaw", "setting": "s99", "piece": "half-b", "normal": [0.0, -1.0, 0.0],
             "offset": 0.0, "kerf": 1.2, "above": "left-b", "below": "right-b"}  # fmt: skip
    setting = {
        "op": "setting", "id": "s99", "tool": "resaw", "piece": "half-b", "stage": "green", "weight_kg": 40.0, "minutes": 6.0,
        "charged": True, "checks": [], "cautions": [], "support": "cradle", "against": {"face": "c1", "angle_deg": 90.0},
    }  # fmt: skip
    script["operations"] += [setting, b_cut]
    script["pieces"] += [{"id": name, "mark": name[:1].upper() + "9", "kind": "bolt", "made_by": "c99", "volume": 1.0e6}
                         for name in ("left-b", "right-b")]  # fmt: skip
    log = print_job(script).log
    (found,) = (one for one in log.settings if one.id == "s99")
    assert found.against.face == "c2" and found.against.angle == 90.0
