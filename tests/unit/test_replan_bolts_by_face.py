"""Planning anew where bolts are set by a face of their own, in a cradle or against the fence, with no marks to set them by."""

import functools
import json
from dataclasses import replace

import numpy as np
import pytest

from pithline.plan.problem.layout import LayoutSetting, LayoutSlab
from pithline.plan.replan import search
from pithline.plan.replan.remaining_pieces import sides_of
from pithline.plan.replan.remaining_work import RemainingWork
from pithline.script.document import dumps
from pithline.script.replay import replay
from pithline.yard.request import Request
from replan_work import operations_until, planned_afresh, planned_anew
from small_plan import QUICK, small_plan


@functools.cache
def _written() -> bytes:
    return dumps(small_plan(request=Request(effort=QUICK, samples=2)))


def bolts_sawn():
    """A script of today's search, and the settings of its bolts, each with its cuts."""
    script = json.loads(_written())
    kinds = {one["id"]: one["kind"] for one in script["pieces"]}
    settings = [one for one in script["operations"] if one["op"] == "setting" and kinds[one["piece"]] == "bolt"]
    cuts = [[cut for cut in script["operations"] if cut.get("setting") == one["id"]] for one in settings]
    return script, settings, cuts


def test_bolts_lie_by_their_own_faces():
    script, settings, cuts = bolts_sawn()
    made = {one["id"] for one in script["operations"] if one["op"] == "cut"}
    assert len(settings) >= 2
    for one, own in zip(settings, cuts, strict=True):
        assert one["against"]["face"] in made and one["support"] in ("cradle", "fence", "bed")
        assert "marks" not in one and own


def slab_of(script, cut):
    """The slab that a cut leaves: its id, and its thickness square to the cut."""
    kinds = {one["id"]: one["kind"] for one in script["pieces"]}
    name = next(cut[side] for side in ("above", "below") if kinds[cut[side]] == "slab")
    faces = [one for one in script["operations"] if one["op"] == "cut" and one.get("setting") == cut["setting"]]
    upper, lower = faces[faces.index(cut) - 1], cut
    return name, upper["offset"] - lower["offset"] - (upper["kerf"] + lower["kerf"]) / 2


def test_a_cut_of_a_bolt_that_came_out_elsewhere_is_taken_up():
    """A slab sawn from a bolt came out 1.5 mm thin: its cut moves by that, all else that was sawn stays, and the rest holds."""
    script, _, cuts = bolts_sawn()
    cut = cuts[0][-1]
    slab, thick = slab_of(script, cut)
    new = planned_anew(cut["id"], {"piece": [{"id": slab, "thickness": thick - 1.5}]}, script=script)
    kept = operations_until(script, cut["id"])
    now = next(one for one in new["operations"] if one["id"] == cut["id"])
    assert now["offset"] - cut["offset"] == pytest.approx(1.5, abs=0.01)
    for one, other in zip(kept[:-1], new["operations"], strict=False):
        free = {"minutes": 0}  # of a setting that was broken off they are those of the cuts made
        assert one | free == other | free
    assert slab_of(new, now)[1] == pytest.approx(thick - 1.5, abs=0.01)
    assert replay(new).holds and new["totals"]["plates"] > 0
    assert any("thick; the plan had" in one for one in new["replan"]["changed"])


def test_a_face_that_a_bolt_lies_by_came_out_elsewhere():
    """The cut on the mill that a sawn bolt lies by was made 1 mm lower: nothing crashes, and what follows holds."""
    script, settings, cuts = bolts_sawn()
    face = next(one for one in script["operations"] if one["id"] == settings[0]["against"]["face"])
    last = cuts[0][-1]["id"]
    found = {"cut": [{"id": face["id"], "blade_height": face["blade_height"] - 1.0}]}
    new = planned_anew(last, found, script=script)
    now = next(one for one in new["operations"] if one["id"] == face["id"])
    assert abs(now["offset"] - face["offset"]) == pytest.approx(1.0, abs=0.01)
    assert replay(new).holds and np.isfinite(new["totals"]["instrument_volume"])
    assert f"{face['id']} was made 1.0 mm lower than planned" in " ".join(new["replan"]["changed"])


def test_broken_off_between_two_cuts_of_a_bolt():
    script, settings, cuts = bolts_sawn()
    after = cuts[1][0]["id"]
    new = planned_anew(after, script=script)
    assert new["replan"]["kept"][-1] == settings[1]["id"]
    assert replay(new).holds
    assert new["totals"]["instrument_volume"] >= 0.95 * script["totals"]["instrument_volume"]


def test_a_half_broken_off_with_two_sawn_faces_is_sawn_on_as_the_bolt_that_it_is(monkeypatch):
    """After one cut of a half what stays on the bed has a face on two sides: it may be fanned, and holds on replay."""
    look_for = search.search_remaining

    def fanned(pieces, context, sawn, work, monitor):
        half = next(i for i, one in enumerate(pieces) if len(sides_of(one.log, one.piece)) == 2)
        assert pieces[half].piece.kind == "half"
        clock = sides_of(pieces[half].log, pieces[half].piece)[0].clock - np.radians(30.0)
        fan = LayoutSetting(clock, (LayoutSlab(-12.0, 24.0),), role="bolt")
        layouts = tuple(fan if i == half else None for i in range(len(pieces)))
        like = look_for(pieces, context, sawn, work, monitor)[-1]
        return [replace(like, log_layout=work.layout(layouts), value=1e9)]

    monkeypatch.setattr(search, "search_remaining", fanned)
    monkeypatch.setattr(RemainingWork, "before", ())
    new = json.loads(planned_afresh("cut-3"))
    kinds = {one["id"]: one["kind"] for one in new["pieces"]}
    settings = [one for one in new["operations"] if one["op"] == "setting"]
    setting = next(one for one in settings if one["piece"] == "rest-2" and one["id"] not in new["replan"]["kept"])
    assert "marks" not in setting and kinds["rest-2"] == "bolt"
    assert replay(new).holds
