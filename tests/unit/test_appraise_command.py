"""The whole way of one small log by tape, through the command."""

import json

import pytest

from pithline.cli.main import main
from pithline.files.bundled import bundled

CARD = """[log]
id = "row-1"
species = "black walnut"
cost = 10
felled = 2026-02-01
[grain]
spiral_deg = 0
[bark]
thickness = "12 mm"
[tape]
length = "650 mm"
girth_butt = "1110 mm"
girth_top = "1100 mm"
sweep = "0 mm"
sweep_clock_deg = 0
[pith]
radius = "15 mm"
butt = { up = "176 mm", right = "176 mm", down = "176 mm", left = "176 mm" }
top = { up = "175 mm", right = "175 mm", down = "175 mm", left = "175 mm" }
"""
PRODUCTS = """sizes = "green"
currency = "money"
[limits.trade]
ring_angle_min_deg = 60
ring_angle_mean_deg = 75
runout_max_deg = 3
[[product]]
name = "small back"
price = 40
[[product.part]]
name = "back"
count = 2
length = "300 mm"
width = "90 mm"
thickness = "6 mm"
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A folder with two cards, products and priors that draw little."""
    folder = tmp_path_factory.mktemp("lot")
    (folder / "row-1.toml").write_text(CARD, encoding="utf-8")
    short = CARD.replace('"row-1"', '"row-2"').replace('"650 mm"', '"500 mm"')
    (folder / "row-2.toml").write_text(short, encoding="utf-8")
    (folder / "products.toml").write_text(PRODUCTS, encoding="utf-8")
    priors = bundled("priors.toml").read_text(encoding="utf-8")
    for name, old, new in (("samples", 64, 16), ("replans", 16, 9), ("answers", 3, 2), ("inner", 8, 4)):
        assert f"\n{name} = {old}" in priors
        priors = priors.replace(f"\n{name} = {old}", f"\n{name} = {new}")
    (folder / "priors.toml").write_text(priors, encoding="utf-8")
    return folder


def appraise(folder, cards, workers, out):
    """Run the command on cards of the folder."""
    command = [
        "appraise",
        *[str(folder / f"{name}.toml") for name in cards],
        "--on",
        "2026-04-01",
        "--workers",
        workers,
    ]
    command += ["--products", str(folder / "products.toml"), "--priors", str(folder / "priors.toml")]
    assert main([*command, "--out", str(folder / out)]) == 0
    return folder / out


@pytest.fixture(scope="module")
def written(folder):
    """Where the command wrote the lot of two."""
    return appraise(folder, ("row-2", "row-1"), "1", "out")


def test_a_log_by_tape_has_a_span_a_bid_and_what_a_scan_is_worth(written):
    document = json.loads((written / "appraisal.json").read_text(encoding="utf-8"))
    log = document["logs"][0]
    assert log["id"] == "row-1" and log["rank"] == 1 and log["basis"] == "tape"
    assert 0 <= log["volume"]["p10"] < log["volume"]["p90"] <= log["cubic_volume"]
    assert log["value"]["p10"] <= log["value"]["mean"] <= log["value"]["p90"] + 3 * log["value"]["error"]
    assert log["value"]["mean"] > 0 and log["highest_bid"] < log["value"]["mean"] + log["rest_value"]
    assert log["value"]["mean"] < log["sales"]["mean"] and log["plan"]["searched"]
    assert log["other_buyer"]["gives"] == log["other_buyer"]["price"] * log["scaled"]["board_feet"]["doyle"]
    assert {"scanning it", "cleaning both ends"} <= {one["what"] for one in log["worth_finding_out"]}
    assert len(log["spoilers"]) == 3 and document["samples"] == 16


def test_the_log_too_short_for_the_mill_says_so_in_its_row(written):
    log = json.loads((written / "appraisal.json").read_text(encoding="utf-8"))["logs"][1]
    assert log["state"] == "failed" and "the shortest log the mill takes is 600 mm" in log["why"]


def test_all_three_files_are_there(written):
    assert sorted(path.name for path in written.iterdir()) == ["appraisal.csv", "appraisal.html", "appraisal.json"]


def test_processes_that_share_a_single_log_change_no_byte_of_it(folder, written):
    shared = appraise(folder, ("row-1",), "2", "shared")
    document = json.loads((shared / "appraisal.json").read_text(encoding="utf-8"))
    assert document["logs"] == json.loads((written / "appraisal.json").read_text(encoding="utf-8"))["logs"][:1]
