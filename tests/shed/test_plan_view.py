"""What a plan made anew at the saw gained or lost against the plan before."""

import json
from dataclasses import replace

import pytest

from pithline.outputs.formatting import Formatter
from pithline.outputs.results import Results
from pithline.shed.folder import SCRIPT, YardFolder
from pithline.shed.plan_view import earlier_plan, gain_in_words, keep_view, write_earlier
from shed_yard import make_yard

BEFORE = Results(
    sets={"small guitar": 3, "ukulele": 1},
    singles={"bridge": 2},
    volume=30.0e6,
    set_volume=20.0e6,
    loose_volume=2.0e6,
    loose_plates=3,
    hours=6.24,
    set_ups=9,
    earnings=612.4,
)


def told(now, units="mm"):
    return gain_in_words(BEFORE, now, Formatter(units), "EUR")


def test_what_is_more_and_what_is_less_is_told():
    now = replace(
        BEFORE,
        sets={"small guitar": 1, "ukulele": 2},
        singles={"bridge": 2, "neck": 1},
        set_volume=14.0e6,
        hours=5.0,
        earnings=402.6,
    )
    assert told(now) == (
        "2 fewer small guitar sets; 1 more ukulele set; 1 more neck; 6.0 L less wood in sets; 1.2 h less at the saws; earns 209 EUR less"
    )
    assert "2.5 bd ft less wood" in told(now, "in")


def test_a_plan_that_lost_nothing_says_so():
    assert told(replace(BEFORE, hours=6.21, set_volume=20.01e6, earnings=612.1)).startswith("as many sets")


def test_money_that_is_not_known_is_not_told():
    assert told(replace(BEFORE, earnings=None, sets={"small guitar": 3})) == "1 fewer ukulele set"


@pytest.fixture
def yard(tmp_path):
    """A plan, and one made anew after its first cut, of which four sets are spoilt."""
    root = make_yard(tmp_path)
    document = json.loads((root / "small" / "plan-1" / SCRIPT).read_text())
    document["totals"] |= {"sets": {"ukulele": 8}, "value": 480.0, "minutes": 93.0}
    document["replan"] = {"after": "cut-1", "kept": ["set-1"], "found": {}, "changed": ["a knot"], "relabelled": []}
    (root / "small" / "plan-2").mkdir()
    (root / "small" / "plan-2" / SCRIPT).write_text(json.dumps(document))
    return YardFolder(root)


def test_a_plan_made_anew_stands_against_the_one_that_it_takes_the_place_of(yard):
    plan = yard.root / "small" / "plan-2"
    assert keep_view(yard, plan, "mm")["against"] == ""  # as the command writes it, nothing tells the earlier one
    write_earlier(plan, "small/plan-1")
    assert earlier_plan(yard, plan) == yard.root / "small" / "plan-1"
    against = keep_view(yard, plan, "mm")["against"]
    assert against.startswith(
        "Against plan-1, which it takes the place of: 4 fewer ukulele sets; 0.3 h more at the saws"
    )
    assert against.endswith("less.")


@pytest.mark.parametrize("earlier", ["../..", "small", "small/plan-2", "nobody/plan-1", "/etc"])
def test_an_earlier_plan_is_one_of_the_yards_or_none(yard, earlier):
    plan = yard.root / "small" / "plan-2"
    write_earlier(plan, earlier)
    assert earlier_plan(yard, plan) is None
    (plan / "earlier.json").write_text("[1")
    assert earlier_plan(yard, plan) is None
