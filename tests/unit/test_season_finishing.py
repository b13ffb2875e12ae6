"""A season of real scans, planned, replayed and finished: a small invented log, the planner's coarse effort."""

from __future__ import annotations

import functools
import html
import json
from dataclasses import replace

import pytest

from pithline.cli.main import main
from pithline.plan.api import COARSE
from pithline.script.replay import replay
from pithline.yard.season import cluster, question
from pithline.yard.season.work import work
from truth.logs import true_log
from truth.scans import Yard, card_text, simulate_scan, write_binary_ply

PRODUCTS = """[limits.loose]
ring_angle_min_deg = 55
ring_angle_mean_deg = 65
runout_max_deg = 4
sapwood = "any"
[[product]]
name = "small box"
price = 60
limits = "loose"
[[product.part]]
name = "side"
count = 2
length = "300 mm"
width = "90 mm"
thickness = "6 mm"
[[product.part]]
name = "lid"
count = 1
length = "240 mm"
width = "70 mm"
thickness = "6 mm"
"""
WHOLE = {"cut-script.json", "set-up-sheet.pdf", "end-templates.pdf", "labels.pdf", "labels.csv", "preview.html"}


class Near:
    """The real work, done in this process."""

    def __init__(self, *options) -> None:
        pass

    def __enter__(self):
        return self

    def __exit__(self, *what) -> None:
        pass

    def results(self, jobs):
        for job in jobs:
            yield job, work(job)


@pytest.fixture(scope="module")
def finished(tmp_path_factory):
    """The folder of a finished season of one small log."""
    folder = tmp_path_factory.mktemp("yard")
    rows = ["card,cost"]
    for name, seed in (("s-1", 1),):
        log = replace(true_log("slim", seed), name=name, radius=150.0, length=800.0)
        scan = simulate_scan(log, seed, Yard(points=20_000, clutter=False, bearers=False))
        write_binary_ply(folder / f"{name}.ply", scan.points)
        (folder / f"{name}.toml").write_text(card_text(log, scan, f"{name}.ply"), encoding="utf-8")
        rows.append(f"{name}.toml,20")
    (folder / "logs.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    (folder / "orders.csv").write_text("product,quantity\nsmall box,200\n", encoding="utf-8")
    (folder / "products.toml").write_text(PRODUCTS, encoding="utf-8")
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
