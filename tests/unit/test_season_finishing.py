"""A season of real scans, planned, replayed and finished: a small invented log, the planner's coarse effort."""

from __future__ import annotations

import functools
import html
import json

import pytest

from pithline.cli.main import main
from pithline.plan.api import COARSE
from pithline.script.replay import replay
from pithline.yard.season import cluster, question
from season_boxes import Near, make_yard_of_boxes

WHOLE = {"cut-script.json", "set-up-sheet.pdf", "end-templates.pdf", "labels.pdf", "labels.csv", "preview.html"}


@pytest.fixture(scope="module")
def finished(tmp_path_factory):
    """The folder of a finished season of one small log."""
    folder = tmp_path_factory.mktemp("yard")
    make_yard_of_boxes(folder, quantity=200)
    command = ["season", str(folder / "logs.csv"), "--orders", str(folder / "orders.csv"), "--out", str(folder / "out")]
    command += [
        "--products",
        str(folder / "products.toml"),
        "--start",
        "2026-04-06",
        "--finish",
        "--plans",
        "1",
        "--json",
    ]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(cluster, "Cluster", Near)
        patch.setattr(question, "SeasonQuestion", functools.partial(question.SeasonQuestion, finish=COARSE))
        assert main(command) == 0
    return folder / "out"


def test_every_sawn_log_has_its_whole_folder_and_no_less_than_was_promised(finished):
    document = json.loads((finished / "season.json").read_text())
    sawn = [log for log in document["logs"] if log["state"] == "planned"]
    assert sawn
    for log in sawn:
        folder = finished / "logs" / log["id"]
        assert {path.name for path in folder.iterdir()} >= WHOLE
        script = json.loads((folder / "cut-script.json").read_text())
        assert all(script["totals"]["sets"][name] >= n for name, n in log["sets"].items())
        assert script["totals"]["minutes"] < log["minutes"] + 1
        assert replay(script).holds


def test_the_report_says_how_the_finished_plans_differ(finished):
    document = json.loads((finished / "season.json").read_text())
    page = (finished / "season.html").read_text()
    for log in document["logs"]:
        if log["state"] == "planned":
            assert log["finished"].startswith(("the full search holds", "the season's own plan is kept"))
            assert log["finished"] in html.unescape(page)


def test_the_season_is_bounded_over_all_plans_of_its_class(finished):
    document = json.loads((finished / "season.json").read_text())
    assert document["columns"]["beyond"] >= document["bound"] >= document["objective"] > 0
