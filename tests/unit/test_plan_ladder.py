"""The ladder of plans, and what locks cost: by plans whose work and worth are made up."""

import itertools
from dataclasses import dataclass, replace

import pytest

from pithline.plan import search
from pithline.plan.evaluate import workbench as bench_room
from pithline.plan.evaluate.ladder import MOST_RUNGS, ladder_of, ladder_without, paying_rung, worth_a_rung
from pithline.plan.evaluate.workbench import ExecutedPlan, Workbench, Workbenches
from pithline.plan.execute.bucked_log import LogLayout
from pithline.plan.problem.economics import Objective
from pithline.plan.problem.effort import COARSE
from pithline.plan.problem.layout import NO_LOCKS, Locks
from pithline.plan.search import Candidate, cost_of_locks
from unit.small_logs import BACK, context_of, products_of, shop_of

SHOP = shop_of(products_of(BACK))


@dataclass(frozen=True)
class Work:
    """A ledger of which nothing is asked but its set-ups."""

    set_ups: int


@dataclass(frozen=True)
class Case:
    """A case whose slabs are looked at as finely as they are sawn, so that nothing is carried out again."""

    log: object = None
    context: object = context_of(SHOP, effort=replace(COARSE, fine=1.0, closely=0))


def bench(case):
    """A bench that need not judge."""
    return Workbenches(Workbench(case, None))


def plan(set_ups, likely, earnings=None):
    return ExecutedPlan(None, Work(set_ups), likely, earnings)


def candidate(value):
    return Candidate(None, None, value, 2.0 * value, "", None, 0, "")


def test_no_rung_is_bettered_by_one_of_as_few_set_ups():
    plans = [plan(3, 5.0), plan(5, 4.0), plan(7, 8.0), plan(7, 7.0), plan(2, 1.0), plan(9, 8.0)]
    ladder = ladder_of(bench(Case()), plans)
    assert [(one.set_ups, one.likely) for one in ladder.rungs] == [(2, 1.0), (3, 5.0), (7, 8.0)]
    assert [one.likely for one in ladder.others] == [8.0, 7.0, 4.0]
    assert ladder.paying == 2


def test_what_a_failing_plan_kept_out_takes_its_place(monkeypatch):
    """A plan as much work as the failing one, and worth less, is better than the rung below it."""
    monkeypatch.setattr(bench_room, "judge_on_samples", lambda log, context: None)
    plans = [plan(3, 2.0, 2.0), plan(7, 8.0, 8.0), plan(7, 6.0, 6.0), plan(9, 5.0, 5.0)]
    ladder = ladder_of(bench(Case()), plans)
    failing = ladder.rungs[ladder.paying]
    assert failing.likely == 8.0
    left = ladder_without(Case(), ladder, [failing])
    assert [(one.set_ups, one.likely) for one in left.rungs] == [(3, 2.0), (7, 6.0)] and left.paying == 1
    assert [one.likely for one in left.others] == [5.0]
    assert not ladder_without(Case(), ladder, plans).rungs


def test_a_plan_that_fails_once_it_was_filled_anew_does_not_come_back(monkeypatch):
    """What fails is the plan as it is to be sawn; the one that it was made of is as bad."""
    monkeypatch.setattr(bench_room, "judge_on_samples", lambda log, context: None)
    monkeypatch.setattr(bench_room, "_filled_finely", lambda bench, plan: (replace(plan), None))
    ladder = ladder_of(bench(Case()), [plan(3, 2.0, 2.0), plan(7, 8.0, 8.0), plan(7, 6.0, 6.0)])
    fails, first = [], ladder
    while ladder.rungs and len(fails) < 4:
        fails.append(ladder.rungs[-1])
        ladder = ladder_without(Case(), first, fails)
    assert [one.likely for one in fails] == [8.0, 6.0, 2.0]


def test_a_plan_spared_set_ups_comes_before_those_that_need_more(monkeypatch):
    """And one that needs no fewer, is worth no more and earns no more than it is no rung."""
    spared = {8.0: plan(2, 8.0, 8.0)}
    monkeypatch.setattr(bench_room, "without_idle_cuts", lambda bench, plan, _: spared.get(plan.likely, plan))
    ladder = ladder_of(bench(Case()), [plan(3, 5.0, 5.0), plan(7, 8.0, 8.0), plan(8, 9.0, 9.0)])
    assert [(one.set_ups, one.likely) for one in ladder.rungs] == [(2, 8.0), (8, 9.0)] and ladder.paying == 1
    assert [one.likely for one in ladder.others] == [5.0]


def test_a_ladder_has_few_rungs_the_first_and_the_last_among_them():
    plans = [plan(k, float(k * k)) for k in range(1, 12)]
    rungs = ladder_of(bench(Case()), plans).rungs
    assert len(rungs) == MOST_RUNGS and (rungs[0].set_ups, rungs[-1].set_ups) == (1, 11)
    assert all(a.likely < b.likely for a, b in itertools.pairwise(rungs))


@pytest.mark.parametrize(
    ("earnings", "paying"),
    [([None, None, None], 2), ([10.0, 20.0, 30.0], 2), ([10.0, 20.0, 15.0], 1), ([10.0, 9.0, 8.0], 0)],
)
def test_the_rung_that_pays_earns_most(earnings, paying):
    assert paying_rung(earnings) == paying


@pytest.mark.parametrize(
    ("objective", "filled", "chosen"),
    [
        (
            Objective.SETS,
            [(10.0, 50.0), (10.05, 40.0), (9.95, 70.0), (9.0, 90.0)],
            (9.95, 70.0),
        ),  # alike in litres: the money
        (Objective.SETS, [(10.0, None), (10.05, None), (9.95, None), (9.0, None)], (10.05, None)),
        (Objective.VOLUME, [(10.0, 50.0), (10.05, 40.0), (9.95, 70.0), (9.0, 90.0)], (10.05, 40.0)),
        (Objective.VALUE, [(50.0, 50.0), (40.0, 40.0), (49.9, 49.9), (50.0, 50.0)], (50.0, 50.0)),
    ],
)
def test_of_several_ways_to_fill_the_one_that_is_likely_worth_most_is_taken(monkeypatch, objective, filled, chosen):
    """The plan as it was compared, and filled anew in three ways."""
    ways = iter([(ExecutedPlan(None, Work(3), *one), None) for one in filled[1:]])
    monkeypatch.setattr(bench_room, "_in_each_style", lambda *asked: ways)
    first = ExecutedPlan(replace(candidate(1.0), log_layout=LogLayout(None, (), (None,), (None,))), Work(3), *filled[0])
    case = Case(context=context_of(shop_of(products_of(BACK), objective=objective), effort=replace(COARSE, closely=0)))
    [found] = ladder_of(bench(case), [first]).rungs
    assert (found.likely, found.earnings) == chosen and next(ways, None) is None


@pytest.mark.parametrize(
    ("earnings", "kept"),
    [
        ([100.0, 90.0, 300.0], [0, 2]),  # more work for less money is no rung
        ([100.0, 150.0, 150.0, 300.0], [0, 1, 3]),
        ([300.0, 200.0, 250.0], [0, 2]),  # the best by sets ends the ladder, whatever it earns
        ([-20.0, -5.0, -10.0, 4.0], [0, 1, 3]),
        ([None, None, None], [0, 1, 2]),
        ([100.0], [0]),
    ],
)
def test_between_the_first_and_the_best_a_rung_earns_more_than_those_before(earnings, kept):
    assert worth_a_rung(earnings) == kept


@pytest.mark.parametrize(("free", "locked", "cost"), [((5.0, 7.0), (4.0, 6.0), 1.0), ((5.0,), (6.0,), 0.0)])
def test_locks_cost_what_the_best_without_them_is_worth_more(monkeypatch, free, locked, cost):
    """No more than nothing where the locked search happens to find more; the other search has no locks, and may crosscut."""
    asked = []

    def found(log, context, monitor):
        asked.append(context)
        return [candidate(value) for value in free]

    monkeypatch.setattr(search, "search_candidates", found)
    context = context_of(SHOP, locks=Locks(roll=0.3), bucking=False)
    assert cost_of_locks(None, context, [candidate(value) for value in locked]) == pytest.approx(cost)
    assert asked[0].locks == NO_LOCKS and asked[0].bucking


def test_what_is_begun_at_another_bench_comes_out_in_order():
    """Every other piece of work is begun elsewhere before those here are done, the last among them."""
    order = []

    def work(asked, item):
        order.append((asked, item))
        return 10 * item

    def begin(at, packed, work, *about):
        assert packed == b"case"
        order.append(("begun", *about))
        return lambda: work("there", *about)

    two = Workbenches(Workbench(None, None), begin, b"case")
    assert two.each(work, [1, 2, 3, 4]) == [10, 20, 30, 40]
    assert order[:2] == [("begun", 4), ("begun", 2)]
    assert [item for where, item in order if where == "there"] == [2, 4]
    assert Workbenches(Workbench(None, None)).each(lambda own, item: -item, [1, 2, 3]) == [-1, -2, -3]
