"""The slim sample through the command: planned coarsely, replayed, and held against the log it was made from."""

import contextlib
import io
import json
from pathlib import Path

import pytest

from pithline.cli.main import main
from truth.judge import judge
from truth.samples import sample_scan, sample_truth

CARD = Path(__file__).resolve().parents[2] / "sample_scans" / "af-15.toml"
FILES = {
    "cut-script.json",
    "set-up-sheet.pdf",
    "shop-cards.pdf",
    "overview.pdf",
    "end-templates.pdf",
    "end-templates-full-size.pdf",
    "labels.pdf",
    "labels.csv",
    "preview.html",
    "preview.png",
    "plan.glb",
}


@pytest.fixture(scope="module")
def planned(tmp_path_factory):
    """(folder, exit status, what was printed) of one coarse plan."""
    folder = tmp_path_factory.mktemp("plan") / "out"
    said = io.StringIO()
    with contextlib.redirect_stdout(said):
        status = main(["plan", str(CARD), "--effort", "coarse", "--json", "--out", str(folder)])
    return folder, status, said.getvalue()


@pytest.fixture(scope="module")
def script(planned):
    return json.loads((planned[0] / "cut-script.json").read_text(encoding="utf-8"))


def test_the_whole_folder_is_written(planned):
    folder, status, _ = planned
    assert status == 0
    assert {path.name for path in folder.iterdir() if path.is_file()} == FILES
    assert all((folder / name).stat().st_size > 500 for name in FILES)


def test_every_other_plan_of_the_ladder_is_a_script_that_holds(planned, script):
    """The plan itself is one rung; each other stands in ladder/, and the script names it."""
    rungs = script["proof"]["ladder"]
    others = {row["script"] for row in rungs if not row["chosen"]}
    assert sum(row["chosen"] for row in rungs) == 1 and len(others) == len(rungs) - 1
    assert {f"ladder/{path.name}" for path in planned[0].glob("ladder/*")} == others
    for name in others:
        assert main(["check", str(planned[0] / name)]) == 0
    assert [row["set_ups"] for row in rungs] == sorted({row["set_ups"] for row in rungs})


def test_the_summary_says_what_the_script_says(planned, script):
    summary = json.loads(planned[2])
    for key in ("totals", "practice", "proof", "uncertainty", "cautions"):
        assert summary[key] == script[key]
    first = next(one for one in script["operations"] if one["op"] == "setting")
    assert summary["first_setting"]["roll"] == first["roll"] and summary["log"] == "af-15"


def test_check_finds_that_it_holds(planned, capsys):
    assert main(["check", str(planned[0] / "cut-script.json")]) == 0
    assert capsys.readouterr().err == ""


def test_it_holds_on_the_true_log(script):
    """By a judge that shares no code with the planner: no contradiction, and the wood gives what was claimed."""
    verdict = judge(script, sample_truth("af-15"), sample_scan("af-15").truth_to_scan)
    assert verdict.hard == ()
    assert verdict.claimed_volume > 5e6
    assert verdict.ratio >= 0.97


def counted(totals, share):
    """What the default objective counts before work is charged: litres in sets, and a share of those in none."""
    return totals["set_volume"] + share * totals["loose_volume"]


def test_figures_that_belong_together(script):
    totals, proof, practice = script["totals"], script["proof"], script["practice"]
    assert proof["bound"] >= proof["objective"] > 0
    # a script states it to six places
    assert proof["gap"] == pytest.approx(1 - proof["objective"] / proof["bound"], abs=1e-6)
    custom, share = practice["with_bolts"], script["inputs"]["products"]["loose_share"]
    assert practice["ratio"] == pytest.approx(counted(totals, share) / counted(custom, share))
    assert practice["volume_ratio"] == pytest.approx(totals["instrument_volume"] / custom["instrument_volume"])
    assert counted(custom, share) >= counted(practice["slabs"], share)
    kinds = {piece["id"]: piece for piece in script["pieces"]}
    good = sum(kinds[plate["id"]]["volume"] for plate in script["plates"] if plate["passes"])
    whole = good + totals["kerf_volume"] + totals["offcut_volume"]
    assert whole == pytest.approx(totals["log_volume"], rel=1e-6)
    p = script["uncertainty"]["instrument_volume"]
    assert p["p10"] <= p["p50"] <= p["p90"] <= totals["instrument_volume"] + 1
    wanted = {one["name"]: one.get("demand") for one in script["inputs"]["products"]["product"]}
    assert all(wanted[name] is None or made <= wanted[name] for name, made in totals["sets"].items())
