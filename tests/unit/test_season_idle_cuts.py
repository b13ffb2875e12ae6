"""The scripts of a season leave billets that no order takes in their slabs, and its report tells of the scripts."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from pithline.cli.main import main
from pithline.files.orders import read_orders
from pithline.script.replay import replay
from pithline.yard.one_log import fit_scan
from pithline.yard.request import read_inputs
from pithline.yard.season import cluster
from pithline.yard.season.asks import asked, first_asks
from pithline.yard.season.log_plans import plan_data, plans_of
from pithline.yard.season.plan_script import script_of_plan
from season_boxes import LOG, Near, make_yard_of_boxes

BOXES = 3
"""Ordered of a log that gives more."""


@pytest.fixture(scope="module")
def yard(tmp_path_factory):
    folder = tmp_path_factory.mktemp("boxes")
    make_yard_of_boxes(folder, quantity=200)
    return folder


@pytest.fixture(scope="module")
def planned(yard):
    """The fitted log, what was read for it at the prices of the orders, its plan with most boxes, and the products as listed."""
    read = read_inputs(str(yard / f"{LOG}.toml"), None, (str(yard / "products.toml"),))
    model = fit_scan(read)
    [ask] = first_asks(read_orders(str(yard / "orders.csv"), read.products), 60.0, 1)
    inputs = asked(read, ask)
    plans, _, one = plans_of(model, inputs, [ask])
    return model, inputs, plan_data(max(plans, key=lambda plan: plan.sets["small box"]), one), read.products


def script(planned, sold, **listed):
    model, inputs, plan, products = planned
    [box] = products.products
    parts = tuple(replace(part, loose_price=listed.get(part.name, 0.0)) for part in box.parts)
    own = replace(products, products=(replace(box, parts=parts),))
    out = script_of_plan(model, inputs, plan | {"sold": {"small box": sold} if sold else {}}, own)
    assert replay(out).holds
    return out


def billets(script):
    return [piece["id"] for piece in script["pieces"] if piece["id"].startswith("billet-")]


def cuts(script):
    return sum(one["op"] == "cut" for one in script["operations"])


def passing(script, part):
    return sum(plate["passes"] for plate in script["plates"] if plate["part"] == part)


@pytest.fixture(scope="module")
def whole(planned):
    """Every box that the plan gives is sold."""
    return script(planned, planned[2]["sets"]["small box"])


@pytest.fixture(scope="module")
def spared(planned):
    return script(planned, BOXES)


def test_billets_that_no_order_takes_stay_in_their_slabs(planned, whole, spared):
    given = planned[2]["sets"]["small box"]
    assert given > 2 * BOXES and whole["totals"]["sets"]["small box"] == given
    assert BOXES <= spared["totals"]["sets"]["small box"] < given
    assert len(billets(spared)) < 0.7 * len(billets(whole))
    assert cuts(spared) < 0.7 * cuts(whole)
    assert spared["totals"]["minutes"] < whole["totals"]["minutes"] <= planned[2]["minutes"] + 1e-6


def test_no_billet_is_left_that_neither_the_fitted_nor_a_sampled_log_needs(spared):
    """What is sold takes two sides and a lid a box: what is sawn beyond that is for logs on which some of them fail."""
    assert passing(spared, "side") >= 2 * BOXES and passing(spared, "lid") >= BOXES
    sets = spared["uncertainty"]["sets"]["small box"]
    assert sets["p10"] >= BOXES - 1


def test_plates_left_over_that_have_a_price_are_sawn(planned, spared):
    """The list sells lids by themselves: every lid of the plan is sawn, and no more sides than boxes take."""
    with_lids = script(planned, BOXES, lid=5.0)
    assert passing(with_lids, "lid") > passing(spared, "lid")
    assert len(billets(with_lids)) > len(billets(spared))
    assert with_lids["totals"]["loose_value"] == 0.0  # nobody ordered them, so the season counts them nothing


def test_a_log_of_which_no_order_takes_anything_is_sawn_as_it_was_counted(planned, whole, spared):
    """It is sawn for its own priority, with every plate; where boxes are sold, no more is sawn than that."""
    made = script(planned, 0)
    assert made["totals"]["minutes"] == pytest.approx(planned[2]["minutes"])
    assert cuts(spared) < cuts(whole) <= cuts(made)
    assert passing(made, "side") >= passing(whole, "side") > passing(spared, "side")


@pytest.fixture(scope="module")
def season(tmp_path_factory):
    """The folder of a season that orders few boxes."""
    folder = tmp_path_factory.mktemp("few")
    make_yard_of_boxes(folder, quantity=BOXES)
    command = ["season", str(folder / "logs.csv"), "--orders", str(folder / "orders.csv"), "--out", str(folder / "out")]
    command += ["--products", str(folder / "products.toml"), "--start", "2026-04-06", "--plans", "1", "--rounds", "0"]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(cluster, "Cluster", Near)
        assert main([*command, "--json"]) == 0
    return folder / "out"


def test_the_report_tells_of_the_scripts(season):
    document = json.loads((season / "season.json").read_text())
    [log], total = document["logs"], document["totals"]
    assert log["state"] == "planned"
    script = json.loads((season / log["script"]).read_text())
    assert replay(script).holds
    assert log["minutes"] - 1 < script["totals"]["minutes"] <= log["minutes"]
    assert log["sets"] == {name: n for name, n in script["totals"]["sets"].items() if n}
    assert document["orders"][0]["from"] == {LOG: BOXES}
    assert total["minutes"] == log["minutes"] == sum(week["minutes"] for week in document["weeks"])
    # no priorities: what was compared differs from the profit by what the scripts spare
    assert document["objective"] + document["spared"]["cost"] == pytest.approx(total["profit"])
