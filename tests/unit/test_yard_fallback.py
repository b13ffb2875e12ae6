"""A layout that does not hold on replay is set aside for the next best; only where none holds is the plan refused."""

from dataclasses import replace

import pytest

from pithline.errors import ScriptError
from pithline.plan.api import Monitor, Objective
from pithline.yard import ladder_scripts, one_log
from pithline.yard.aside import IN_TURN, Aside
from pithline.yard.one_log import plan_model
from pithline.yard.request import Request
from small_plan import QUICK, TRUTH, inputs_of
from truth.models import to_model

REQUEST = Request(effort=QUICK, samples=2)
_FOUND: dict[Objective, one_log.WaysToSaw] = {}


def planned(monitor=None, aside=IN_TURN):
    """The small log's plan and ladder."""
    return plan_model(to_model(TRUTH), inputs_of(), REQUEST, monitor or Monitor(), aside)


@pytest.fixture
def searched_once(monkeypatch):
    """What a search finds is the same each time; tests that only ask what is made of it share it."""
    search = one_log.ways_to_saw

    def known(own, case, request, *more):
        if request.objective not in _FOUND:
            _FOUND[request.objective] = search(own, case, request, *more)
        found = _FOUND[request.objective]
        return replace(found, candidates=list(found.candidates))

    monkeypatch.setattr(one_log, "ways_to_saw", known)


def failing(monkeypatch, fails):
    """Replays fail where `fails` says so of their number, from 0; the scripts that were asked of."""
    real, asked = ladder_scripts.must_hold, []

    def must_hold(script, sawing):
        asked.append(script)
        if fails(len(asked) - 1):
            raise ScriptError(f"no: {len(asked) - 1}")
        real(script, sawing)

    monkeypatch.setattr(ladder_scripts, "must_hold", must_hold)
    return asked


def told_as_a_defect(script):
    return any("set aside for this one: no: 0" in caution for caution in script["cautions"])


def test_the_next_rung_of_the_ladder_is_taken(monkeypatch):
    asked = failing(monkeypatch, lambda number: number == 0)
    said: list[str] = []
    seen: list[tuple] = []
    drawn: list[tuple] = []
    aside = Aside(ready=lambda script: drawn.append((script, len(asked))))
    plan = planned(Monitor(lambda what, part: said.append(what), carried_out=lambda *shown: seen.append(shown)), aside)
    assert len(asked) >= 2
    # each is given to be drawn before it is proven, and the last is the plan
    assert [number for _, number in drawn] == [0, 1] and drawn[0][0] is asked[0] and drawn[1][0] is plan.script
    model, boxes = seen[
        -1
    ]  # the best that was carried out: its plates are those of a script, but for what is filled more finely
    assert model.length == TRUTH.length and boxes and all(edges.shape == (3, 3) for _, _, edges in boxes)
    products = {product["name"] for product in plan.script["inputs"]["products"]["product"]}
    assert {name.partition(", ")[0] for name, _, _ in boxes} <= products
    assert all(-1.0 <= corner[0] <= TRUTH.length + 1.0 for _, corner, _ in boxes)
    assert any(plan.script is one for one in asked[1:]) and told_as_a_defect(plan.script)
    rows = plan.script["proof"]["ladder"]
    assert len(rows) == len(asked) - 1 and [row["chosen"] for row in rows].count(True) == 1
    assert [row["script"] for row in rows if not row["chosen"]] == list(plan.ladder)
    with_best = [what for what in said if "best so far" in what]
    assert said.index(with_best[0]) == said.index("practice layout") + 1  # before the search begins
    assert any(", at most " in what for what in with_best)


def test_where_no_rung_holds_a_plan_that_is_none_is_taken(searched_once, monkeypatch):
    rungs = []
    real = one_log.climb

    def climbed(*arguments):
        ladder = real(*arguments)
        rungs.extend(ladder.rungs)
        assert ladder.others
        return ladder

    monkeypatch.setattr(one_log, "climb", climbed)
    asked = failing(monkeypatch, lambda number: number < len(rungs))
    plan = planned()
    held = asked[len(rungs) :]
    assert len(held) == 1 + len(plan.ladder) and any(plan.script is one for one in held)
    assert told_as_a_defect(plan.script)
    [row] = [one for one in plan.script["proof"]["ladder"] if one["chosen"]]
    assert row["script"] is None and len(plan.script["proof"]["ladder"]) == len(held)


def test_where_another_rung_fails_the_plan_stays_and_says_so_once(searched_once, monkeypatch):
    asked = failing(monkeypatch, lambda number: number == 1)
    plan = planned()
    assert plan.script is asked[0] and all(one is not asked[1] for one in (plan.script, *plan.ladder.values()))
    assert [caution for caution in plan.script["cautions"] if "no: 1" in caution] == [
        "another plan of the ladder was left out: no: 1"
    ]
    rows = plan.script["proof"]["ladder"]
    assert len(rows) == len(plan.ladder) + 1 == len({id(one) for one in asked}) - 1


def test_where_none_holds_the_first_fault_is_told(searched_once, monkeypatch):
    asked = failing(monkeypatch, lambda number: True)
    with pytest.raises(ScriptError, match="no: 0"):
        planned()
    assert len(asked) > 2


def test_a_plan_by_money_competes_with_what_a_search_by_sets_finds(searched_once, monkeypatch):
    """Carried out and filled for money, so that no plan by sets earns more than the plan by money."""
    seen = []
    real = one_log.climb

    def climbed(case, candidates, monitor, begin=None):
        ladder = real(case, candidates, monitor)
        seen.append((list(candidates), ladder))
        return ladder

    monkeypatch.setattr(one_log, "climb", climbed)
    by_money = plan_model(to_model(TRUTH), inputs_of(), replace(REQUEST, objective=Objective.VALUE))
    by_sets = planned()
    (candidates, ladder), _ = seen
    found = [one for one in candidates if one.status == "found by sets"]
    assert found and not any(one.searched for one in found) and all(one.title == one.bolts.name for one in found)
    widest = max(one.bound for one in candidates if one.searched)
    assert all(
        one.bound == widest for one in candidates if not one.searched
    )  # what is stated beside them holds for every class
    carried_out = [plan.earnings for plan in (*ladder.rungs, *ladder.others)]
    assert ladder.rungs[ladder.paying].earnings == max(carried_out)
    assert by_money.script["totals"]["earnings"] >= by_sets.script["totals"]["earnings"] - 1e-6
