"""The independent judge, tried on scripts written by hand."""

import time

import numpy as np
import pytest

from truth.by_hand import cylinder, slab_script
from truth.judge import judge, replay
from truth.logs import TrueDefect


def causes(verdict):
    return {b.what for b in verdict.hard}, {b.what for b in verdict.losses}


def test_a_good_script_holds_and_is_measured_right():
    script = slab_script(cylinder())
    verdict = judge(script, cylinder())
    assert verdict.hard == ()
    assert verdict.losses == ()
    assert verdict.true_volume == verdict.claimed_volume == 2 * 800 * 200 * 5
    first = verdict.plates[0]
    # mid-plane at z = 47.5 from y = 30 to 230: the ring normal is radial
    assert first.ring_min == pytest.approx(np.degrees(np.arctan2(30, 47.5)), abs=0.01)
    assert first.runout == pytest.approx(0.0, abs=1e-6)
    assert verdict.settings[0]["gaps"] == "100:+0.0 1100:+0.0"


@pytest.mark.parametrize("tilt_deg", [0.5, 1.0, 2.0])
def test_raising_one_end_gives_just_that_runout(tilt_deg):
    """One end raised by h over L: runout arctan(h/L) on the slab's faces, by definition."""
    verdict = judge(slab_script(cylinder(), np.radians(tilt_deg)), cylinder())
    assert [p.runout for p in verdict.plates] == pytest.approx([tilt_deg] * 2, abs=1e-3)


def test_a_plate_pushed_out_of_its_piece_is_caught():
    script = slab_script(cylinder())
    script["plates"][0]["corner"][2] += 3.0
    hard, _ = causes(judge(script, cylinder()))
    assert {"plate outside its piece", "plate face is no cut"} <= hard


def test_a_plate_that_is_too_small_for_its_cuts_is_caught():
    script = slab_script(cylinder())
    script["plates"][0]["edges"][1][1] -= 1.5
    hard, _ = causes(judge(script, cylinder()))
    assert hard == {"plate face is no cut"}


@pytest.mark.parametrize(
    ("log", "cause"),
    [
        (cylinder(radius=232.0), "bark"),
        (cylinder(pith_butt=(40.0, 40.0), pith_top=(40.0, 40.0)), "pith"),
        (cylinder(trim_butt=210.0), "ends"),
        (cylinder(defects=(TrueDefect("knot", x=600.0, clock=np.radians(285.0), diameter=60.0),)), "defect"),
    ],
)
def test_wood_that_is_not_there_is_a_loss(log, cause):
    """The script was made for another log than the true one."""
    verdict = judge(slab_script(cylinder()), log)
    assert cause in causes(verdict)[1]
    assert verdict.true_volume < verdict.claimed_volume


def test_limits_are_held_against_the_true_wood():
    script = slab_script(cylinder(), np.radians(2.0))
    script["inputs"]["products"]["limits"]["any"] = {"ring_angle_min_deg": 60.0, "runout_max_deg": 1.5}
    assert causes(judge(script, cylinder()))[1] == {"ring angle", "runout"}


def test_operations_out_of_order_are_caught():
    script = slab_script(cylinder())
    cuts = [k for k, op in enumerate(script["operations"]) if op["op"] == "cut"]
    ops = script["operations"]
    ops[cuts[0]], ops[cuts[1]] = ops[cuts[1]], ops[cuts[0]]
    assert "cut piece" in causes(judge(script, cylinder()))[0]


@pytest.mark.parametrize(
    ("change", "what"),
    [
        (lambda s: s["operations"][1].update(blade_height=400.0), "blade height and plane"),
        (lambda s: s["operations"][1].update(from_mark=0.0), "from_mark"),
        (lambda s: s["operations"][0]["lifts"][0].update(bunk=20.0), "bunk within 25 mm of an end"),
        (lambda s: s["operations"][0]["lifts"][0].update(bunk=400.0), "no such bunk"),
        (lambda s: s["operations"][0]["lifts"][0].update(lift=3.0), "lift cannot be set"),
        (lambda s: s["inputs"]["mill"].update(throat=100.0), "throat"),
        (lambda s: s["inputs"]["mill"].update(guide_opening=500.0), "guide opening"),
        (lambda s: s["inputs"]["mill"].update(clamp_room=270.0), "clamp room"),
        (lambda s: s["inputs"]["mill"].update(blade_min=300.0), "blade below its range"),
        (lambda s: s["operations"][0]["mark_room"].update(down=0.0), "mark_room"),
        (lambda s: s["totals"].update(settings=2), "totals"),
        (lambda s: s["operations"][0]["marks"]["top"].update(height=300.0), "marks"),
        (lambda s: s["operations"][-3].update(charged=True), "charged"),
    ],
)
def test_each_breach_is_named(change, what):
    script = slab_script(cylinder())
    change(script)
    assert what in causes(judge(script, cylinder()))[0]


def test_a_fatter_log_than_planned_stands_higher():
    verdict = judge(slab_script(cylinder()), cylinder(radius=304.0))
    assert verdict.settings[0]["gaps"] == "100:-4.0 1100:-4.0"


def test_the_judge_is_quick():
    start = time.perf_counter()
    judge(slab_script(cylinder()), cylinder())
    assert time.perf_counter() - start < 5.0


def test_common_practice_leaves_four_bolts():
    """A straight log 26 in inside the bark, 44 in long: a 4 in slab, then 3 in from each half (common practice)."""
    inch, kerf = 25.4, 2.0
    log = cylinder(radius=13 * inch, length=44 * inch)
    ops, pieces = [], [{"id": "log", "kind": "log", "made_by": None}]

    def setting(id, piece, normal, thick, parts):
        ops.append({"op": "setting", "id": id, "piece": piece})
        rest = piece
        for n, (offset, above, below) in enumerate(((thick / 2, *parts[0]), (-thick / 2, *parts[1]))):
            offset += kerf / 2 if n == 0 else -kerf / 2
            ops.append({"op": "cut", "id": f"{id}{n}", "setting": id, "piece": rest, "normal": normal, "offset": offset,
                        "kerf": kerf, "above": above[0], "below": below[0]})  # fmt: skip
            pieces.extend({"id": name, "kind": kind, "made_by": f"{id}{n}"} for name, kind in (above, below))
            rest = below[0]

    setting("a", "log", [0, 0, 1], 4 * inch, ((("h1", "half"), ("r", "log")), (("s1", "slab"), ("h2", "half"))))
    for h in ("h1", "h2"):
        parts = (((f"{h}b1", "bolt"), (f"{h}r", "half")), ((f"{h}s", "slab"), (f"{h}b2", "bolt")))
        setting(f"{h}x", h, [0, 1, 0], 3 * inch, parts)
    hard = []
    solids, used = replay({"operations": ops, "pieces": pieces}, np.eye(4), hard)
    assert hard == []
    clock, share = np.meshgrid(np.radians(np.arange(360)), np.linspace(0, 1, 60))
    points = np.stack([np.full(clock.shape, 500.0), *(share * log.radius * f(clock) for f in (np.sin, np.cos))], -1)
    full = {name: bool((solid.depth(points) > 1).any()) for name, solid in solids.items() if name not in used}
    assert full == dict.fromkeys(("s1", "h1s", "h2s", "h1b1", "h1b2", "h2b1", "h2b2"), True)
