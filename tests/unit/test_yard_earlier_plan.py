"""`plan --keep`: an earlier plan is read back as it was sawn, and a new plan is not worse than it."""

import json
from dataclasses import replace

import numpy as np
import pytest

from pithline.cli.main import main
from pithline.errors import InputError
from pithline.logmodel.document import model_from_json
from pithline.plan.execute.bucked_log import LogLayout
from pithline.plan.execute.ledger import vector
from pithline.plan.execute.operation_json import operations_from_json, operations_to_json
from pithline.plan.execute.simulate import FillRequest
from pithline.plan.pricing.log_oracle import BoltClass
from pithline.plan.problem.economics import Objective
from pithline.plan.problem.layout import settings_of
from pithline.plan.problem.log_frame import plan_log
from pithline.plan.problem.operations import Cut, Tool
from pithline.plan.replan.script_layouts import crosscut_places, in_log_frame, script_layouts
from pithline.plan.search import Candidate, price_start
from pithline.script.document import dumps
from pithline.yard import one_log
from pithline.yard.earlier_plan import check_same_scan, earlier_candidate
from pithline.yard.prepared_log import prepare_log
from pithline.yard.request import Request
from replan_work import earlier_script
from small_plan import QUICK, inputs_of, small_plan


def carried(script):
    """A script's own layout carried out again, and the operations that come of it."""
    own = prepare_log(model_from_json(script["model"]), inputs_of())
    task = own.task(Objective.VOLUME)
    prices = price_start(task.economics)
    beside = Candidate(LogLayout(own.log, (), (own.log,), (None,)), BoltClass("none"), 0.0, 1e6, "", prices, 0, "")
    way = earlier_candidate(script, own.log, own.inputs, beside)
    assert way.status == "earlier plan kept" and not way.searched
    return own.workshop.execute(way.log_layout, task, FillRequest(task.economics, prices))


FIRST = ("log", "half", "bolt")


def first_cuts(operations, kinds):
    """Cuts of log, halves and bolts, in working order."""
    return [one for one in operations if one["op"] == "cut" and kinds[one["piece"]] in FIRST]


def test_a_plan_read_back_is_sawn_the_same():
    """Every cut of log, halves and bolts comes out again with its own id and pieces, at its place to a hundredth."""
    script = small_plan()
    kinds = {one["id"]: one["kind"] for one in script["pieces"]}
    ledger = carried(script)
    again = first_cuts(
        operations_to_json(ledger.operations), {name: piece.kind for name, piece in ledger.pieces.items()}
    )
    old = first_cuts(script["operations"], kinds)
    assert len(old) > 5 and len(again) == len(old)
    for one, other in zip(old, again, strict=True):
        assert (one["id"], one["piece"], one["above"], one["below"]) == (
            other["id"], other["piece"], other["above"], other["below"]
        )  # fmt: skip
        assert one["offset"] == pytest.approx(other["offset"], abs=0.01)


def test_an_older_plan_is_sawn_at_its_places():
    """One written before set-ups: its bolts come in another order, and every cut at its own place to a hundredth, in as many settings.

    Two of its bolts' faces hold a third bolt at the same turn, and lean along the log unlike each other: the one that held it does.
    """
    script = earlier_script()
    kinds = {one["id"]: one["kind"] for one in script["pieces"]}
    ledger = carried(script)

    def planes(operations, of):
        cuts = first_cuts(operations, of)
        rows = [(*(np.round(one["normal"], 3) + 0.0), one["offset"]) for one in cuts]
        return np.array(sorted(rows)), len({one["setting"] for one in cuts})

    old, settings = planes(script["operations"], kinds)
    new, again = planes(operations_to_json(ledger.operations), {name: one.kind for name, one in ledger.pieces.items()})
    assert len(old) > 15 and again == settings
    np.testing.assert_allclose(new, old, atol=0.01)


def test_crosscuts_are_read_back():
    script = earlier_script()
    model = model_from_json(script["model"])
    log = plan_log(model, 15.0, 25.0, 25.0, ())
    cut = Cut("cut-0", Tool.BUCK, "set-0", "log", vector(log.axis), float(log.axis @ log.origin) + 400.0, 6.0, "a", "b")
    assert crosscut_places([cut, *operations_from_json(script["operations"])], log) == pytest.approx((400.0,))


def test_planes_in_another_frame_of_the_same_scan():
    """A log fitted the other way up: the layout turns with it."""
    script = earlier_script()
    turn = np.diag([1.0, -1.0, -1.0, 1.0])
    turn[:3, 3] = (3.0, -2.0, 5.0)
    planned = operations_from_json(script["operations"])
    moved = in_log_frame(planned, np.eye(4), turn)
    for one, other in zip(planned, moved, strict=True):
        if isinstance(one, Cut):
            point = np.array(one.normal) * one.offset
            assert np.dot(other.normal, turn[:3, :3] @ point + turn[:3, 3]) == pytest.approx(other.offset, abs=1e-3)
    kinds = {one["id"]: one["kind"] for one in script["pieces"]}
    log = plan_log(model_from_json(script["model"]), 15.0, 25.0, 25.0, ())
    before, after = (settings_of(script_layouts(some, kinds).layout(log, "log")) for some in (planned, moved))
    # half a turn about the log's length
    assert np.degrees(after[0].clock - before[0].clock) % 360.0 == pytest.approx(180.0, abs=0.01)
    assert [len(one.slabs) for one in before] == [len(one.slabs) for one in after]


def test_the_better_of_both_is_written(monkeypatch):
    """An earlier plan that a poorer search does not find again is kept, and the proof says so."""
    script = earlier_script()
    poorer = one_log.search_candidates

    def worse(*arguments):
        ways = poorer(*arguments)
        best = ways[0]
        first = best.log_layout.layouts[0]
        return [
            replace(
                best,
                log_layout=LogLayout(best.log_layout.whole, (), best.log_layout.logs, (replace(first, above=None),)),
            )
        ]

    monkeypatch.setattr(one_log, "search_candidates", worse)
    alone = small_plan(request=Request(effort=QUICK, samples=2))
    kept = small_plan(request=Request(effort=QUICK, samples=2, keep=script))
    assert alone["totals"]["instrument_volume"] < script["totals"]["instrument_volume"]
    assert kept["totals"]["instrument_volume"] >= script["totals"]["instrument_volume"] - 1.0
    assert kept["proof"]["status"] == "earlier plan kept"


def test_a_plan_of_another_log_is_refused():
    script = earlier_script()
    script["log"]["scan_sha256"] = "1" * 64
    with pytest.raises(InputError, match="--keep names a plan of log small on another scan"):
        check_same_scan(script, inputs_of())
    script = earlier_script()
    script["log"]["scan_to_log"][0][3] += 900.0
    with pytest.raises(InputError, match="another log in this scan"):
        small_plan(request=Request(effort=QUICK, samples=2, keep=script))


def test_refused_beside_locks(tmp_path, capsys):
    (tmp_path / "old.json").write_bytes(dumps(earlier_script()))
    arguments = ["plan", "w.toml", "--out", str(tmp_path / "new"), "--keep", str(tmp_path / "old.json"), "--roll", "30"]
    assert main(arguments) == 2
    assert "so it cannot stand with --roll" in capsys.readouterr().err
    (tmp_path / "old.json").write_text(json.dumps({"format": "pithline-cut-script", "version": 1}), encoding="utf-8")
    assert main(arguments[:-2]) == 2
    assert "lacks" in capsys.readouterr().err
