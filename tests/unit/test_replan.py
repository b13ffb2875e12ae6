"""Planning anew once the log is open: what is sawn stays, what was found counts, and the new script holds."""

import json
from dataclasses import replace

import numpy as np
import pytest

from pithline.errors import InputError, ScriptError
from pithline.logmodel.card import Defect
from pithline.logmodel.document import model_from_json
from pithline.plan.evaluate import spare_cuts
from pithline.script.document import dumps
from pithline.wood.field import wood_field
from pithline.wood.unusable import in_defect
from replan_work import earlier_script, operations_until, planned_afresh, planned_anew, replayed, solid_points
from small_plan import TRUTH
from truth.judge import judge
from truth.logs import TrueDefect

KNOT = {"kind": "knot", "x": 400.0, "clock_deg": 60.0, "diameter": 60.0, "margin": 10.0}


def volume(script):
    return script["totals"]["instrument_volume"]


def plates(script, passing=True):
    return {one["id"]: one for one in script["plates"] if one["passes"] or not passing}


def existing(script, after):
    """Pieces that exist after a cut."""
    done = [one for one in operations_until(script, after) if one["op"] == "cut"]
    return {one[side] for one in done for side in ("above", "below")} - {one["piece"] for one in done}


def opening_cuts(script):
    """Cuts of logs, halves and bolts."""
    kinds = {one["id"]: one["kind"] for one in script["pieces"]}
    return [
        one for one in script["operations"] if one["op"] == "cut" and kinds[one["piece"]] in ("log", "half", "bolt")
    ]


def test_a_billet_of_which_nothing_comes_stays_in_its_slab_unless_something_is_lost_by_it(monkeypatch):
    whole = planned_anew("cut-2")
    cuts = [one for one in whole["operations"] if one["op"] == "cut"]
    idle = [one["piece"] for one in cuts if one["piece"].startswith("billet-")][-1]
    monkeypatch.setattr(spare_cuts, "billets_of_nothing", lambda judge, ledger: frozenset({idle}))
    monkeypatch.setattr(spare_cuts, "slabs_of_nothing", lambda judge, ledger: frozenset())
    assert json.loads(planned_afresh("cut-2")) == whole
    monkeypatch.setattr(spare_cuts, "as_good", lambda judge, ledger, before: True)
    spared = json.loads(planned_afresh("cut-2"))
    assert replayed(spared).holds
    corners = [{tuple(one["corner"]) for one in plates(script).values()} for script in (spared, whole)]
    assert corners[0] < corners[1]
    assert sum(one["op"] == "cut" for one in spared["operations"]) < len(cuts)


def test_a_slab_of_which_nothing_comes_is_not_sawn_off_unless_something_is_lost_by_it(monkeypatch):
    """The last slab of all is said to give nothing."""
    whole = planned_anew("cut-2")
    kinds = {one["id"]: one["kind"] for one in whole["pieces"]}
    idle = [side for cut in opening_cuts(whole) for side in (cut["above"], cut["below"]) if kinds[side] == "slab"][-1]
    slabs = sum(kind == "slab" for kind in kinds.values())

    def nothing(judge, ledger):
        """Asked of the plan as it is, but not of one that has a slab less."""
        made = sum(piece.kind == "slab" for piece in ledger.pieces.values())
        return frozenset({idle} if made == slabs else ())

    monkeypatch.setattr(spare_cuts, "billets_of_nothing", lambda judge, ledger: frozenset())
    monkeypatch.setattr(spare_cuts, "slabs_of_nothing", nothing)
    assert json.loads(planned_afresh("cut-2")) == whole
    monkeypatch.setattr(spare_cuts, "as_good", lambda judge, ledger, before: True)
    spared = json.loads(planned_afresh("cut-2"))
    assert replayed(spared).holds
    assert sum(one["kind"] == "slab" for one in spared["pieces"]) < slabs
    assert len(opening_cuts(spared)) < len(opening_cuts(whole))
    assert len(operations_until(spared, "cut-2")) == len(operations_until(whole, "cut-2"))


@pytest.mark.parametrize("after", ["cut-1", "cut-2", "cut-3", "cut-11", "cut-27", "cut-66"])
def test_nothing_found(after):
    """After the first cut, the first setting, mid-setting of a half and of a bolt, and after some work in the shop."""
    old, new = earlier_script(), planned_anew(after)
    assert replayed(new).holds
    kept = operations_until(old, after)
    same = [dict(one) for one in new["operations"][: len(kept)]]
    broken = next(i for i, one in enumerate(kept) if one["id"] == kept[-1]["setting"])
    if "mark_room" in kept[broken]:  # cuts that were not made need no room
        assert all(same[broken]["mark_room"][side] >= room for side, room in kept[broken]["mark_room"].items())
        same[broken]["mark_room"] = kept[broken]["mark_room"]
    if kept[-1]["tool"] != "mill":  # what is still to be sawn of a run in the shop takes its share of the minutes
        assert same[broken]["minutes"] <= kept[broken]["minutes"]
        same[broken]["minutes"] = kept[broken]["minutes"]
    assert same == kept
    assert new["replan"]["after"] == after
    assert new["replan"]["kept"] == [one["id"] for one in kept if one["op"] == "setting"]
    assert new["replan"]["changed"] == ["nothing was found otherwise than planned"]
    assert volume(new) >= 0.95 * volume(old)
    assert new["model"] == old["model"] and new["inputs"] == old["inputs"]
    marks = {one["id"]: one["mark"] for one in old["pieces"]}
    for one in new["pieces"]:
        assert one["mark"] == marks[one["id"]] if one["id"] in marks else one["mark"] not in marks.values()


def test_ids_are_not_used_again():
    """A piece of the same name is the same piece: made by the same cut, on the same side."""
    old = earlier_script()
    made = {one["id"]: one["made_by"] for one in old["pieces"]}
    planes = {one["id"]: (one["normal"], one["offset"]) for one in old["operations"] if one["op"] == "cut"}
    new = planned_anew("cut-2", {"defect": [KNOT]})
    shared = [one for one in new["pieces"] if one["id"] in made]
    assert len(shared) < len(new["pieces"])
    for one in shared:
        assert one["made_by"] == made[one["id"]]
    for one in new["operations"]:
        if one["op"] == "cut" and one["id"] in planes:
            assert (one["normal"], one["offset"]) == planes[one["id"]]


def test_the_same_bytes_each_time():
    assert planned_afresh("cut-2", {"defect": [KNOT]}) == dumps(planned_anew("cut-2", {"defect": [KNOT]}))


@pytest.mark.parametrize("after", ["cut-2", "cut-16", "cut-40"])
def test_no_plate_through_a_defect(after):
    """A knot found in a half, in slabs, and in what is in the shop already; some plates of the earlier plan go through it."""
    old, new = earlier_script(), planned_anew(after, {"defect": [KNOT]})
    model = model_from_json(new["model"])
    field = wood_field(model)
    knot = Defect("knot", x=400.0, clock=np.radians(60.0), diameter=60.0, margin=10.0)
    counts = []
    for script in (old, new):
        counts.append(
            sum(bool(in_defect(knot, model, field, solid_points(one)).any()) for one in plates(script).values())
        )
    assert counts[0] > 3 and counts[1] == 0
    assert new["inputs"]["card"]["defect"] == [KNOT] and new["replan"]["found"] == {"defect": [KNOT]}
    assert any("knot found 400 mm from the butt end" in one for one in new["replan"]["changed"])
    assert 0.5 * volume(old) < volume(new) < volume(old)


def test_the_judge_agrees_on_the_true_log():
    """The true log has the knot that was found: nothing of what is claimed is lost to it."""
    truth = replace(TRUTH, pith_radius=15.0)
    marked = replace(truth, defects=(TrueDefect("knot", x=400.0, clock=np.radians(60.0), diameter=60.0, margin=10.0),))
    new = planned_anew("cut-2", {"defect": [KNOT]})
    verdict = judge(new, marked)
    assert not verdict.hard
    assert verdict.true_volume == pytest.approx(verdict.claimed_volume)
    assert judge(earlier_script(), marked).true_volume <= verdict.true_volume


def test_the_pith_elsewhere():
    """Seen at mid-length: the ends keep their marks, the pith between them bends, history stays."""
    found = {"pith": {"seen": [{"x": 400.0, "up": 7.0, "right": -5.0}]}}
    old, new = earlier_script(), planned_anew("cut-2", found)
    was, now = (np.array([one["pith"] for one in script["model"]["stations"]]) for script in (old, new))
    x = np.array([one["x"] for one in new["model"]["stations"]])
    shift = now - was
    middle = int(np.abs(x - 400.0).argmin())
    assert shift[middle] == pytest.approx([5.0, 7.0], abs=0.2)
    assert np.abs(shift[(x <= 0.0) | (x >= TRUTH.length)]).max() < 0.1
    assert new["operations"][:3] == operations_until(old, "cut-2")
    assert replayed(new).holds


def test_sightings_near_one_another_count_as_one():
    """A millimetre between two readings of one place would bend the pith sharply, and runout with it."""
    two = [{"x": 395.0, "up": 6.0, "right": 1.0}, {"x": 405.0, "up": 3.0, "right": 3.0}]
    one = {"x": 400.0, "up": 4.5, "right": 2.0}
    near, mean = (planned_anew("cut-4", {"pith": {"seen": seen}}) for seen in (two, [one]))
    assert near["model"] == mean["model"] and near["plates"] == mean["plates"]
    assert len(near["replan"]["changed"]) == 2


def test_the_pith_marked_anew_by_the_arms_of_the_cross():
    found = {"pith": {"butt": {"up": 160.0, "down": 174.0, "left": 158.0, "right": 168.0}}}
    new = planned_anew("cut-2", found)
    assert new["inputs"]["card"]["pith"]["butt"] == found["pith"]["butt"]
    assert any("the pith on the butt end lies" in one for one in new["replan"]["changed"])
    point = np.array(new["model"]["ends"]["butt"]["point"])
    old = np.array(earlier_script()["model"]["ends"]["butt"]["point"])
    assert 1.0 < np.linalg.norm(point - old) < 15.0


def test_a_cut_at_another_height():
    old = earlier_script()
    new = planned_anew("cut-4", {"cut": [{"id": "2", "blade_height": 143.0}]})
    cut, was = (next(one for one in script["operations"] if one["id"] == "cut-2") for script in (new, old))
    assert cut["blade_height"] == 143.0 and cut["offset"] == pytest.approx(was["offset"] - 2.0)
    assert cut["from_mark"] == pytest.approx(was["from_mark"] - 2.0)
    volumes = [next(one["volume"] for one in script["pieces"] if one["id"] == "slab-1") for script in (old, new)]
    assert volumes[1] > 1.1 * volumes[0]
    assert new["replan"]["changed"] == ["cut-2 was made 2.0 mm lower than planned, at a blade height of 143 mm"]


def test_what_is_measured_from_a_face_moves_with_it():
    """Plates resawn from a billet whose lower face came out 0.6 mm high lie as much higher, and keep their thickness."""
    old = earlier_script()
    new = planned_anew("cut-58", {"cut": [{"id": "2", "from_mark": old["operations"][2]["from_mark"] + 0.6}]})
    before, after = (plates(script, passing=False)["plate-2"] for script in (old, new))
    normal = np.array(before["edges"][2]) / np.linalg.norm(before["edges"][2])
    lift = (np.array(after["corner"]) - before["corner"]) @ normal
    assert abs(lift) == pytest.approx(0.6, abs=0.05)
    assert np.linalg.norm(after["edges"][2]) == pytest.approx(np.linalg.norm(before["edges"][2]), abs=0.01)


def test_spoilt_pieces():
    """A slab by its crayon mark and a plate by its id: both are offcuts, and nothing is made of them."""
    old = earlier_script()
    mark = next(one["mark"] for one in old["pieces"] if one["id"] == "slab-2")
    new = planned_anew("cut-16", {"piece": [{"id": mark, "spoilt": True}]})
    slab = next(one for one in new["pieces"] if one["id"] == "slab-2")
    assert slab["kind"] == "offcut" and slab["mark"] == mark
    assert not any(one["piece"] == "slab-2" for one in new["operations"])
    stopped = planned_anew("cut-81", {"piece": [{"id": "plate-7", "spoilt": True}]})
    assert "plate-7" not in plates(stopped, passing=False)
    assert len(plates(stopped)) == len(plates(old)) - 1
    mate = plates(old)["plate-7"]["mate"]
    assert plates(stopped)[mate]["mate"] is None and mate in stopped["replan"]["relabelled"]


def test_another_thickness():
    """A slab half as thick holds fewer plates, and still some; a plate too thin does not pass."""
    old = earlier_script()
    new = planned_anew("cut-16", {"piece": [{"id": "slab-4", "thickness": 15.0}]})
    count = [sum("slab-4" in line(script, one) for one in plates(script)) for script in (old, new)]
    assert count[0] > count[1] > 0
    thin = planned_anew("cut-81", {"piece": [{"id": "plate-11", "thickness": 3.0}]})
    assert not plates(thin, passing=False)["plate-11"]["passes"]
    assert np.linalg.norm(plates(thin, passing=False)["plate-11"]["edges"][2]) == pytest.approx(3.0, abs=0.01)


def line(script, piece):
    parents = {
        one[side]: one["piece"] for one in script["operations"] if one["op"] == "cut" for side in ("above", "below")
    }
    found = [piece]
    while found[-1] in parents:
        found.append(parents[found[-1]])
    return found


def test_thicker_bark():
    old, new = earlier_script(), planned_anew("cut-2", {"bark": {"thickness": 14.0}})
    assert new["inputs"]["card"]["bark"] == {"thickness": 14.0}
    assert new["log"]["volume"] < old["log"]["volume"] and volume(new) < volume(old)
    assert new["replan"]["changed"] == ["the bark is 14 mm thick; the plan had 9 mm"]


def test_sapwood_is_taken_up():
    new = planned_anew("cut-2", {"sapwood": {"thickness": 31.0}})
    assert new["model"]["sapwood_thickness"] == 31.0 and new["inputs"]["card"]["sapwood"] == {"thickness": 31.0}


def test_figure_that_shows_once_the_log_is_open():
    """It is added to the card, and sets whose wide plates lie within it sell at its factor."""
    zone = {"kind": "curl", "factor": 2.0, "to": 700.0}
    plain, new = planned_anew("cut-4"), planned_anew("cut-4", {"figure": [zone]})
    assert new["inputs"]["card"]["figure"] == [zone]
    assert new["replan"]["changed"] == [
        "curl found from the butt end to 700 mm: wide plates within it sell at 2 times their price"
    ]
    assert new["totals"]["value"] > plain["totals"]["value"]
    figured = [one for one in new["plates"] if one.get("figure") == 2.0]
    assert figured and all(stations_of(one)[1] <= 700.0 for one in figured)


def stations_of(plate):
    """Where along the log a plate begins and ends. [mm]"""
    x = solid_points(plate)[:, 0]
    return x.min(), x.max()


def test_again_after_some_of_the_new_plan():
    """A script that was planned anew is planned anew once more; all that is sawn by then is history."""
    first = planned_anew("cut-2", {"defect": [KNOT]})
    after = [one["id"] for one in first["operations"] if one["op"] == "cut"][5]
    second = planned_anew(after, {"bark": {"thickness": 11.0}}, script=first)
    assert second["operations"][: len(operations_until(first, after))] == operations_until(first, after)
    assert set(first["replan"]["kept"]) < set(second["replan"]["kept"])
    assert second["inputs"]["card"]["defect"] == [KNOT]


@pytest.mark.parametrize(
    ("after", "found", "message"),
    [
        (
            "cut-200",
            {},
            "--after names the cut cut-200, which the script does not have; its cuts run from cut-1 to cut-81",
        ),
        ("cut-4", {"cut": [{"id": "cut-9", "blade_height": 100.0}]}, "cut-9 comes after the cut that --after names"),
        ("cut-4", {"cut": [{"id": "900", "blade_height": 100.0}]}, "names the cut 900, which the script does not have"),
        ("cut-30", {"cut": [{"id": "20", "blade_height": 100.0}]}, "was made on the rip, which has no blade height"),
        (
            "cut-4",
            {"cut": [{"id": "2", "blade_height": 165.0}]},
            "cut-2 cannot have been made there: the faces of rest-1 leave",
        ),
        ("cut-4", {"cut": [{"id": "1", "blade_height": 145.0}]}, "cut-2, sawn later, would have found no wood"),
        ("cut-4", {"cut": [{"id": "1", "blade_height": 500.0}]}, "nothing would be left of"),
        ("cut-4", {"piece": [{"id": "slab-9", "spoilt": True}]}, "does not exist yet"),
        ("cut-4", {"piece": [{"id": "S99", "spoilt": True}]}, "names the piece S99, which the script does not have"),
        (
            "cut-20",
            {"piece": [{"id": "half-1", "spoilt": True}]},
            "was sawn up by cut-3; say it of what was made of it: B2",
        ),
        ("cut-4", {"piece": [{"id": "bolt-1", "thickness": 50.0}]}, "is a bolt; only of a slab or a plate"),
        ("cut-9", {"piece": [{"id": "slab-5", "thickness": 0.5}]}, "cannot be 0.5 mm thick; where it is spoilt"),
        (
            "cut-81",
            {"piece": [{"id": "plate-12", "thickness": 40.0}]},
            r"cannot be 40 mm thick: cut-67 sawed it from a piece that held \d+ mm",
        ),
        (
            "cut-4",
            {"cut": [{"id": "2", "blade_height": 143.0}], "piece": [{"id": "slab-1", "thickness": 20.0}]},
            "was left by cut-2, whose height",
        ),
        (
            "cut-4",
            {"pith": {"seen": [{"x": 400.0, "up": 120.0, "right": 0.0}]}},
            "lies 120 mm from where the plan has it",
        ),
        (
            "cut-4",
            {"pith": {"seen": [{"x": 400.0, "up": 9.0, "right": 0.0}, {"x": 420.0, "up": -9.0, "right": 0.0}]}},
            "at 400 mm and at 420 mm lies 18 mm apart, seen against the plan's; no pith bends so sharply",
        ),
        (
            "cut-4",
            {"pith": {"seen": [{"x": 5000.0, "up": 1.0, "right": 0.0}]}},
            "lies off the log, which is 820 mm long",
        ),
        ("cut-4", {"bark": {"thickness": 165.0}}, "bark.thickness is 165 mm"),
        ("cut-4", {"sapwood": {"thickness": 300.0}}, "sapwood.thickness is 300 mm"),
        (
            "cut-4",
            {"figure": [{"kind": "curl", "factor": 2.0, "from": 900.0}]},
            "curl begins at 900 mm, but the log is 820 mm long",
        ),
        ("cut-4", {"defect": [{**KNOT, "x": 4000.0}]}, "a knot stands at x = 4000 mm, but the log is 820 mm long"),
    ],
)
def test_what_cannot_be(after, found, message):
    with pytest.raises(InputError, match=message):
        planned_anew(after, found)


def test_a_script_that_does_not_hold():
    script = earlier_script()
    next(one for one in script["pieces"] if one["id"] == "half-1")["volume"] *= 1.2
    with pytest.raises(
        ScriptError, match="the earlier script does not hold, so nothing can be built on it: half-1 is stated"
    ):
        planned_anew("cut-2", script=script)


def test_history_is_not_held_to_rest_and_heights_but_the_rest_is():
    new = planned_anew("cut-4")
    kept = set(new["replan"]["kept"])
    assert replayed(new).holds
    lifted = json.loads(json.dumps(new))
    for one in lifted["operations"]:
        if one["op"] == "setting" and one["id"] in kept:
            one["lifts"][0]["lift"] += 50.0
            one["marks"]["butt"]["height"] += 9.0
    assert replayed(lifted).holds
    unkept = json.loads(json.dumps(lifted))
    del unkept["replan"]
    assert not replayed(unkept).holds
    moved = json.loads(json.dumps(new))
    moved["operations"][1]["offset"] += 5.0
    assert not replayed(moved).holds


def test_history_must_come_first_and_end_where_it_says():
    new = planned_anew("cut-4")
    for change, kind in (({"kept": ["set-1", "set-5"]}, "history"), ({"after": "cut-3"}, "history")):
        wrong = json.loads(json.dumps(new))
        wrong["replan"].update(change)
        assert kind in {one.kind for one in replayed(wrong).findings}
