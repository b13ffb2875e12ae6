"""Settings on the mill and in the shop, replayed on a cylinder and on its turned half; each breach by its kind."""

import copy

import numpy as np
import pytest

from pithline.script.envelope import Bed, area_of, envelope_of, pith_at, sections, width_at
from pithline.script.machine import hull_edge, machine_findings
from pithline.script.pieces import SawnFace, saw
from pithline.script.replay import replay
from pithline.script.shop import shop_findings
from pithline.script.solid import largest_share, vertices
from unit.scripts_by_hand import BARK, DENSITY, RADIUS, fill, turned_script, whole_script

SCRIPT = turned_script()
SOLIDS = {}
SAWN = saw(SCRIPT, SOLIDS.__setitem__)
CORNERS = {name: vertices(solid) for name, solid in SOLIDS.items()}
LUMPS = {name: largest_share(solid) for name, solid in SOLIDS.items()}
OP = {one["id"]: i for i, one in enumerate(SCRIPT["operations"])}
MILL = ("inputs", "mill", "mill")


def op(name, *key):
    return ("operations", OP[name], *key)


def changed(changes):
    document = copy.deepcopy(SCRIPT)
    for path, value in changes:
        at = document
        for key in path[:-1]:
            at = at[key]
        at[path[-1]] = value
    return document


def kinds(changes):
    document = changed(changes)
    return {one.kind for one in (*machine_findings(document, SAWN, LUMPS), *shop_findings(document, SAWN, CORNERS))}


def turned_up(degrees):
    return [float(np.sin(np.radians(degrees))), 0.0, float(np.cos(np.radians(degrees)))]


BREACHES = [
    ("pose-up", [(op("s1", "up"), [0.0, 0.0, 1.01])]),
    ("mark", [(op("s1", "marks", "butt", "point"), [5.0, 0.0, 0.0])]),
    ("mark", [(op("s1", "marks", "top", "point"), [1200.0, 5.0, 0.0])]),
    ("mark-height", [(op("s1", "marks", "top", "height"), 313.0)]),
    ("roll", [(op("s1", "roll"), 2.5)]),
    ("roll", [(("inputs", "mill", "mill", "roll_step_deg"), 40.0), (op("s5", "roll"), 270.0),
              (op("s1", "roll"), 0.0), (op("s1", "up"), turned_up(0.0)), (op("s5", "up"), [0.0, 0.9, 0.1])]),
    ("rest-height", [(op("s1", "marks", end, "height"), 312.0) for end in ("butt", "top")]),
    ("rest-height", [(op("s1", "lifts", 0, "lift"), 2.0), (op("s1", "lifts", 1, "lift"), 2.0)]),
    ("rest-angle", [(op("s1", "lifts", 0, "lift"), 4.0)]),
    ("bunk-end", [(("inputs", "mill", "mill", "bunks"), [10.0, 100.0, 1100.0]),
                  (op("s1", "lifts"), [{"bunk": 10.0, "lift": 0.0}])]),
    ("bunks", [(op("s1", "butt_at"), 700.0)]),
    ("lift", [(op("s1", "lifts", 0, "bunk"), 120.0)]),
    ("lift", [(op("s1", "lifts", 0, "lift"), 1.0)]),
    ("lift", [(op("s1", "lifts", 0, "lift"), 160.0)]),
    ("cut-level", [(op("c1", "normal"), turned_up(0.1))]),
    ("blade-height", [(op("c1", "offset"), 52.0)]),
    ("from-mark", [(op("c1", "from_mark"), 51.2)]),
    ("height-step", [((*MILL, "height_step"), 2.0)]),
    ("blade-range", [((*MILL, "blade_max"), 350.0)]),
    ("blade-range", [((*MILL, "blade_min"), 270.0)]),
    ("descend", [(op("c2", "blade_height"), 362.0)]),
    ("throat", [((*MILL, "throat"), 240.0)]),
    ("guide-opening", [((*MILL, "guide_opening"), 600.0)]),
    ("clearance-run", [((*MILL, "guide_opening"), 620.0)]),
    ("width", [(op("c1", "width"), 590.0)]),
    ("clamp-room", [((*MILL, "clamp_room"), 260.0)]),
    ("mark-room", [(op("s1", "mark_room", "down"), 230.0)]),
    ("mark-room", [(op("s5", "mark_room", "up"), 230.0)]),
    ("log-size", [((*MILL, "log_length_max"), 1100.0)]),
    ("log-size", [((*MILL, "log_length_min"), 1300.0)]),
    ("log-size", [((*MILL, "log_diameter_max"), 600.0)]),
    ("weight", [(op("s1", "weight_kg"), 0.0)]),
    ("weight", [(op("s5", "weight_kg"), 200.0)]),
    ("kerf", [(("inputs", "mill", "rip", "kerf"), 3.0)]),
    ("resaw-height", [(("inputs", "mill", "resaw", "height_max"), 190.0)]),
    ("resaw-piece", [(("inputs", "mill", "resaw", "piece_length_max"), 700.0)]),
    ("resaw-piece", [(("inputs", "mill", "resaw", "piece_weight_max"), 5.0), (op("s4", "weight_kg"), 8.0)]),
    ("depth", [(("inputs", "mill", "rip", "depth_max"), 90.0)]),
]  # fmt: skip


def test_the_turned_half_holds():
    assert replay(SCRIPT).findings == ()


@pytest.mark.parametrize(("kind", "changes"), BREACHES)
def test_a_breach_is_found(kind, changes):
    assert kind in kinds(changes)


def test_a_piece_in_several_lumps_may_not_go_on_the_mill():
    found = machine_findings(SCRIPT, SAWN, LUMPS | {"h1": 0.9})
    assert [(one.kind, one.place) for one in found] == [("lumps", "s5")]
    with_crumbs = machine_findings(SCRIPT, SAWN, LUMPS | {"h1": 0.985})
    assert with_crumbs == []


def test_a_clearance_run_that_is_asked_for_is_enough():
    asked = [{"what": "guide opening", "value": 611.0, "limit": 620.0, "clearance_run": True}]
    changes = [((*MILL, "guide_opening"), 620.0), (op("s1", "checks"), asked)]
    assert kinds(changes) == set()


def test_a_first_setting_that_leaves_the_pith_out_of_level_is_found():
    """With the top end raised by h over the bunks' distance L, the plates run out by arctan(h/L) exactly."""
    document = whole_script(tilt=-float(np.arctan(20.0 / 1000.0)))
    document["operations"][0]["lifts"] = [{"bunk": 100.0, "lift": 0.0}, {"bunk": 1100.0, "lift": 20.0}]
    found = {one.kind: one for one in replay(document).findings}
    assert "pith-level" in found and "rest-angle" not in found and "runout" not in found
    assert document["plates"][0]["runout"] == pytest.approx(np.degrees(np.arctan(0.02)))


@pytest.mark.parametrize(
    ("gap", "middle", "pair"),
    [
        ([0.0, 5.0, 0.0], 40.0, (0, 2)),
        ([0.0, -5.0, 0.0], 40.0, (0, 1)),
        ([0.0, -5.0, 0.0], 60.0, (1, 2)),
        ([3.0, 0.0, 1.0], 90.0, (1, 2)),
    ],
)
def test_the_weight_rests_on_the_lower_hull(gap, middle, pair):
    assert hull_edge(np.array([0.0, 50.0, 100.0]), np.array(gap), middle) == pair


def test_sections_of_the_turned_half_are_a_circle_cut_by_a_chord():
    envelope = envelope_of(SCRIPT["model"])
    radius, face = RADIUS + BARK, SawnFace(np.array([0.0, 0.0, -1.0]), -52.0, "c1")
    assert pith_at(envelope, envelope.ends[1]) == pytest.approx([1200.0, 0.0, 0.0])
    bed = Bed(np.zeros(3), np.array([1.0, 0, 0]), np.array([0.0, 0, -1]), np.array([0.0, 1, 0]), 0.0, 305.0)
    outline = sections(envelope, bed, (face,), np.array([600.0]))[0]
    segment = radius**2 * np.arccos(52.0 / radius) - 52.0 * np.sqrt(radius**2 - 52.0**2)
    assert area_of(outline) == pytest.approx(segment, rel=1e-3)
    assert outline[:, 1].min() == pytest.approx(305.0 - np.sqrt(radius**2 - 52.0**2), abs=0.02)
    assert width_at(outline, 305.0) == pytest.approx(radius - 52.0, abs=0.02)
    assert (
        len(sections(envelope, bed, (face,), np.array([1201.0]))[0]) == 0
        and len(sections(envelope, bed, (face,), np.array([-1.0]))[0]) == 0
    )


def bucked_script():
    """The cylinder bucked at 500 mm; the top log on the mill for one cut through its middle."""
    document = whole_script()
    pith = {"butt": [504.0, 0.0, 0.0], "top": [1200.0, 0.0, 0.0]}
    marks = {end: {"name": "pith", "point": point, "height": 310.0} for end, point in pith.items()}
    buck = {
        "op": "setting",
        "id": "s1",
        "tool": "buck",
        "piece": "log",
        "stage": "green",
        "weight_kg": 300.0,
        "minutes": 0.0,
        "charged": True,
        "checks": [],
        "cautions": [],
        "support": "cradle",
        "against": None,
    }
    first = {
        "op": "cut",
        "id": "c1",
        "tool": "buck",
        "setting": "s1",
        "piece": "log",
        "normal": [1.0, 0.0, 0.0],
        "offset": 500.0,
        "kerf": 8.0,
        "above": "log-top",
        "below": "log-butt",
    }
    mill = {
        "op": "setting",
        "id": "s2",
        "tool": "mill",
        "piece": "log-top",
        "stage": "green",
        "minutes": 1.0,
        "weight_kg": DENSITY * np.pi * 310.0**2 * 696.0,
        "charged": True,
        "checks": [],
        "cautions": [],
        "up": [0.0, 0.0, 1.0],
        "roll": 0.0,
        "butt_at": 0.0,
        "marks": marks,
        "lifts": [{"bunk": 100.0, "lift": 0.0}, {"bunk": 600.0, "lift": 0.0}],
        "mark_room": {"down": 280.0, "up": 490.0},
    }
    second = {
        "op": "cut",
        "id": "c2",
        "tool": "mill",
        "setting": "s2",
        "piece": "log-top",
        "normal": [0.0, 0.0, 1.0],
        "offset": 0.0,
        "kerf": 2.0,
        "blade_height": 310.0,
        "from_mark": 0.0,
        "width": 620.0,
        "above": "h1",
        "below": "h2",
    }
    kinds = (
        ("log", "log", None),
        ("log-top", "log", "c1"),
        ("log-butt", "log", "c1"),
        ("h1", "half", "c2"),
        ("h2", "half", "c2"),
    )
    document["operations"] = [buck, first, mill, second]
    document["pieces"] = [
        {"id": name, "mark": "", "kind": kind, "made_by": by, "volume": 0.0} for name, kind, by in kinds
    ]
    document["plates"] = []
    document["inputs"] = copy.deepcopy(document["inputs"])
    document["inputs"]["mill"]["mill"]["bunks"] = [100.0, 600.0, 1100.0]
    fill(document)
    document["totals"] |= {"sets": {}, "value": 0.0}
    document["practice"] = {"slabs": document["totals"], "with_bolts": document["totals"], "ratio": None}
    return document


def test_a_bucked_log_has_its_own_ends_and_bed():
    document = bucked_script()
    assert replay(document).findings == ()
    moved = copy.deepcopy(document)
    moved["operations"][2]["butt_at"] = 200.0  # one bunk only is left under it
    moved["operations"][2]["marks"]["butt"]["point"] = [500.0, 0.0, 0.0]
    assert {one.kind for one in replay(moved).findings} >= {"bunks", "mark"}


def test_what_is_bucked_is_a_log_in_a_cradle():
    document = bucked_script()
    document["pieces"][2]["kind"] = "bolt"
    document["operations"][0]["support"] = "table"
    document["operations"][0]["charged"] = False
    assert {one.kind for one in replay(document).findings} == {"piece-kind", "against", "charged", "totals"}
