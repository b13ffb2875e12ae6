"""What a log is good for before any plan: the nearest dearer set that a part keeps out, and how that is told."""

import pytest

from pithline.outputs.cut_script.document import ProductFacts
from pithline.outputs.formatting import Formatter
from pithline.outputs.good_for import by_what_it_brings, in_the_way, list_results
from pithline.plan.api import COARSE, Monitor, Objective
from pithline.yard.request import Request
from pithline.yard.weighed_log import next_better, weigh_card
from shed_yard import SAMPLES

SETS = {"ukulele": 48.0, "guitar": 150.0, "jumbo": 210.0, "harp": 900.0}
PRICES = dict.fromkeys(("small", "large", "huge"), SETS)


def miss(part, product, needs, has, why="room", somewhere=False):
    sentence = f"{part}s need {needs:.0f} mm from pith to bark; this log has {has:.0f} mm on average."
    return {
        "part": part, "products": [product], "why": why, "needs": needs, "has": has, "somewhere": somewhere, "sentence": sentence,
    }  # fmt: skip


def row(name, sets, *misfits):
    totals = {
        "sets": sets, "plates": 2, "instrument_volume": 1e6, "set_volume": 1e6, "loose_volume": 0.0, "value": 48.0 * sum(sets.values()),
        "loose_value": 0.0, "labour": 0.0, "earnings": 48.0 * sum(sets.values()), "minutes": 60.0, "settings": 1, "set_ups": 1,
    }  # fmt: skip
    return {"list": name, "searched": "quickly", "misfits": list(misfits), **totals}


ROWS = [
    row("small", {"ukulele": 3}),
    row("large", {"guitar": 0, "jumbo": 0}, miss("side", "jumbo", 130.0, 129.0), miss("back", "jumbo", 260.0, 230.0)),
    row("huge", {"harp": 0}, miss("neck", "harp", 400.0, 210.0)),
]


def test_the_nearest_dearer_set_is_told_by_the_part_that_misses_most():
    found = next_better(ROWS, PRICES)
    assert (found["list"], found["product"], found["price"], found["beside"]) == ("large", "jumbo", 210.0, 48.0)
    assert found["misfit"]["part"] == "back"


def test_a_set_that_the_log_gives_is_not_in_the_way_of_itself():
    given = [row("large", {"jumbo": 1}, miss("back", "jumbo", 260.0, 265.0, somewhere=True))]
    assert next_better(given, PRICES) is None
    assert "No dearer set" in in_the_way(None, "dollars", Formatter())


def test_of_two_lists_with_one_name_each_has_its_own_price():
    rows = [row("small", {"guitar": 1}), row("large", {"guitar": 0}, miss("back", "guitar", 260.0, 230.0))]
    found = next_better(rows, {"small": {"guitar": 90.0}, "large": {"guitar": 170.0}})
    assert (found["list"], found["price"], found["beside"]) == ("large", 170.0, 90.0)


def test_a_cheaper_set_that_does_not_fit_is_in_nobodys_way():
    assert next_better([row("large", {"jumbo": 1}), row("small", {}, miss("back", "ukulele", 90, 80))], PRICES) is None


@pytest.mark.parametrize(("units", "short"), [("mm", "30 mm too little"), ("in", "1 3/16 in too little")])
def test_it_is_told_by_how_much(units, short):
    words = in_the_way(next_better(ROWS, PRICES), "dollars", Formatter(units))
    assert "jumbo (list large) brings 210 dollars" in words and "dearer than the 48" in words and short in words


def test_lists_stand_by_what_they_bring_and_those_not_searched_come_last():
    rows = [{"list": "late", "searched": "no", "misfits": []}, row("less", {"ukulele": 1}), row("more", {"ukulele": 5})]
    found = list_results({"good_for": rows}, ProductFacts({"ukulele": 4}), 0.0)
    assert [one.name for one in by_what_it_brings(found)] == ["more", "less", "late"]


def test_a_card_is_looked_at_without_a_plan():
    told = []
    asked = Request(Objective.SETS, COARSE)
    monitor = Monitor(lambda what, part: told.append((what, part)), stopped=lambda: True)
    found = weigh_card(SAMPLES / "af-12.toml", None, ["guitar", "steel-string-guitar"], asked, monitor)
    assert [one["list"] for one in found["good_for"]] == ["guitar", "steel-string-guitar"]
    assert {one["searched"] for one in found["good_for"]} == {
        "no"
    }  # it was asked to end: only what does not fit is told
    assert found["hour_rate"] > 0 and found["products"]["product"]
    parts = [part for _, part in told]
    assert parts == sorted(parts) and parts[0] > 0.0 and parts[-1] < 1.0
