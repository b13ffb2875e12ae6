"""What a replan is worth: its prices, its bound, its fills, and the earlier plan sawn to its end beside it."""

import json
from dataclasses import replace

import numpy as np
import pytest

from pithline.plan.evaluate.workbench import STYLES, best_filled
from pithline.plan.replan import search
from pithline.plan.replan.remaining_work import RemainingWork
from replan_work import earlier_script, planned_afresh, planned_anew


def demanding(sets):
    """The earlier script, no more than so many sets being wanted."""
    script = earlier_script()
    script["inputs"]["products"]["product"][0]["demand"] = sets
    return script


def test_where_going_on_as_planned_is_worth_more_the_sawyer_is_told(monkeypatch):
    told = "sawn on by the earlier sheet the log is likely to give"
    assert not any(told in one for one in planned_anew("cut-2")["cautions"])
    look_for = search.search_remaining
    monkeypatch.setattr(search, "search_remaining", lambda *given: look_for(*given)[-1:])  # to leave all of it
    monkeypatch.setattr(RemainingWork, "before", ())
    assert any(told in one for one in json.loads(planned_afresh("cut-2"))["cautions"])


@pytest.mark.parametrize("after", ["cut-9", "cut-14"])
def test_the_bound_is_no_more_than_all_that_is_wanted(after):
    """Pieces bounded by many faces are bounded loosely: what can be sold is not."""
    new = planned_anew(after, script=demanding(12))
    assert new["totals"]["sets"] == {"ukulele": 12}
    assert new["proof"]["bound"] == pytest.approx(new["totals"]["set_volume"])


def test_slabs_are_filled_in_several_ways_and_the_best_is_chosen_among_them(monkeypatch):
    asked = []
    monkeypatch.setattr(
        search, "best_filled", lambda plans, objective: (asked.append(plans), best_filled(plans, objective))[1]
    )
    planned_afresh("cut-2", script=demanding(12))
    assert [one.fill.style for one in asked[0]] == list(STYLES)


def test_prices_fall_where_what_is_wanted_is_sawn_already(monkeypatch):
    asked, looks = [], []
    look_for, seek = search.search_remaining, search.search_prices
    monkeypatch.setattr(search, "search_remaining", lambda *given: (asked.append(given), look_for(*given))[1])
    planned_afresh("cut-6", script=demanding(12))
    monkeypatch.setattr(search, "search_prices", lambda *given: looks.extend(seek(*given)))
    pieces, context, sawn, work, _ = asked[0]
    plenty = np.full_like(sawn, 1000)
    search.search_remaining(pieces, replace(context, effort=replace(context.effort, rounds=6)), plenty, work)
    least = min(looks, key=lambda one: one.bound)
    assert (least.prices < 0.1 * looks[0].prices).all()
