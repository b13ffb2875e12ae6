"""The books refuse whatever a choice must not do."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pithline.yard.season.accounts import account, as_scripted
from pithline.yard.season.model import (
    Order,
    PlanColumn,
    SawnLog,
    Season,
    SeasonChoice,
    SeasonTerms,
    YardLog,
    sets_sold,
)

COLUMN = PlanColumn("p", {"guitar": 2}, {"guitar": 4}, 100)
SEASON = Season(
    (YardLog("a", 1000, (COLUMN,)), YardLog("b", 1000, (COLUMN,), first_week=1)),
    (Order("guitar", 3, 15000, due=6), Order("guitar", 4, 12000, matched=True)),
    SeasonTerms(150, 10, overhead=500, hour_rate=6000),
)
GOOD = SeasonChoice((SawnLog("a", "p", 0), SawnLog("b", "p", 1)), ({"a": 2, "b": 1}, {"b": 1}), 0, 0.0, "")


def test_a_good_choice_is_counted_to_the_cent():
    books = account(SEASON, GOOD)
    # 3 × 150.00 + 120.00; two logs at 10.00 + 5.00 + 100 minutes of 60.00 an hour
    assert (books.value, books.cost, books.profit, books.minutes) == (57000, 23000, 34000, 200)
    assert books.sets == {"guitar": 4}


def test_what_orders_take_of_each_log_is_added_up():
    assert sets_sold(SEASON, GOOD) == {"a": {"guitar": 2}, "b": {"guitar": 2}}
    assert sets_sold(SEASON, replace(GOOD, filled=({"a": 1}, {}))) == {"a": {"guitar": 1}, "b": {}}


def test_the_books_of_scripts_have_their_minutes_and_sets():
    other = replace(COLUMN, name="q")
    season = replace(SEASON, logs=(replace(SEASON.logs[0], columns=(other, COLUMN)), *SEASON.logs[1:]))
    scripts = {
        "a": {"totals": {"sets": {"guitar": 2, "box": 0}, "minutes": 80.2}},
        "b": {"totals": {"sets": {"guitar": 3}, "minutes": 100.0}},
    }
    sawn = as_scripted(season, GOOD, scripts)
    assert sawn.logs[0].columns == (other, replace(COLUMN, minutes=81))
    assert sawn.logs[1].columns == (replace(COLUMN, sets={"guitar": 3}),)
    books = account(sawn, GOOD)
    assert (books.value, books.minutes) == (57000, 181) and books.cost == 23000 - 19 * 100
    scripts["a"]["totals"]["sets"]["guitar"] = 1
    with pytest.raises(ValueError, match="a sells more guitar than it has"):
        account(as_scripted(season, GOOD, scripts), GOOD)


@pytest.mark.parametrize(
    ("sawn", "filled", "words"),
    [
        (GOOD.sawn, ({"a": 2, "b": 1}, {"b": 2}), "b sells more guitar than it has"),
        (GOOD.sawn, ({"a": 2, "b": 2}, {}), "an order of 3 guitar is filled with 4"),
        (GOOD.sawn, ({}, {"a": 1, "b": 1}), "a matched order of guitar is filled from 2 logs"),
        (GOOD.sawn, ({"a": 0}, {}), "filled with 0"),
        ((GOOD.sawn[0], SawnLog("a", "p", 1)), ({"a": 1}, {}), "a log is sawn twice"),
        ((SawnLog("a", "p", 2),), ({"a": 1}, {}), "a is not dry in time"),
        ((SawnLog("b", "p", 0),), ({"b": 1}, {}), "outside its weeks"),
        ((SawnLog("a", "p", 1), SawnLog("b", "p", 1)), ({"a": 1}, {}), None),
        ((SawnLog("a", "p", 0), SawnLog("b", "p", 10)), ({"a": 1}, {}), "outside its weeks"),
    ],
)
def test_a_broken_rule_is_told(sawn, filled, words):
    choice = replace(GOOD, sawn=sawn, filled=filled)
    if words is None:  # 200 minutes by the end of week 1, of 300
        assert account(SEASON, choice).minutes == 200
        return
    with pytest.raises(ValueError, match=words):
        account(SEASON, choice)


def test_hours_that_do_not_suffice_are_told():
    tight = replace(SEASON, terms=replace(SEASON.terms, minutes_per_week=90))
    with pytest.raises(ValueError, match="do not suffice for a"):
        account(tight, GOOD)
