"""Layouts of looks, carried out beside the answers of a small log; and small logs whose best plans are compared as they are sawn."""

from dataclasses import dataclass, replace

import pytest

from pithline.mill.products import Product
from pithline.plan import search as search_room
from pithline.plan.class_choice import SMALL
from pithline.plan.crosscut_search import CrosscutWay
from pithline.plan.evaluate import ladder as ladder_room
from pithline.plan.evaluate.ladder import ladder_of, ladder_without
from pithline.plan.evaluate.workbench import ExecutedPlan, Workbench, Workbenches
from pithline.plan.priced_logs import PricedLogs
from pithline.plan.pricing.log_oracle import BoltClass
from pithline.plan.problem.economics import Objective
from pithline.plan.problem.effort import COARSE
from pithline.plan.problem.layout import NO_LOCKS, Locks, settings_of
from pithline.plan.search import price_start, search_candidates, search_seen, see_way
from truth.logs import TrueLog
from unit.small_logs import BACK, RULE, TINY, context_of, log_of, products_of, shop_of

CLASSES = BoltClass("bolts left", sawn=False), BoltClass("cradle 30°", (30.0,))
EFFORT = replace(TINY, rounds=4, nearby=2, firsts=3)
LOG = log_of(TrueLog("l", 620.0, 150.0, taper=8.0, bark=8.0, pith_butt=(8.0, 3.0), pith_top=(2.0, 9.0)), 18.0)


def context(objective="value", beside=EFFORT.beside, locks=NO_LOCKS):
    """Sets of two backs and three rules: few of them make up what a small log is worth."""
    one = Product("guitar", 30.0, "trade", (BACK, replace(RULE, count=3)), 5)
    products = replace(products_of(BACK, RULE), products=(one,))
    shop = shop_of(products, 0.2e6, Objective(objective), (), 620.0, hour_rate=5.0)
    return context_of(shop, replace(EFFORT, beside=beside), locks=locks, seed=1)


def way(asked):
    return see_way(CrosscutWay((), (LOG,), 0.0, price_start(asked.economics)), asked)


def searched(**asked):
    own = context(**asked)
    return search_seen(LOG, way(own), own, CLASSES)[0]


def layouts_of(candidate):
    return candidate.log_layout.layouts


@pytest.mark.parametrize("objective", ["sets", "value"])
def test_layouts_of_looks_follow_the_answers_each_but_once_and_none_above_its_bound(objective):
    answers, more = searched(objective=objective, beside=0), searched(objective=objective)
    found, beside = more[: len(answers)], more[len(answers) :]
    assert list(map(layouts_of, found)) == list(map(layouts_of, answers))
    assert 2 < len(beside) <= EFFORT.beside
    own = set(map(layouts_of, beside))
    assert len(own) == len(beside) and not own & set(map(layouts_of, answers))
    assert [one.value for one in beside] == sorted((one.value for one in beside), reverse=True)
    assert max(one.value for one in beside) <= max(one.value for one in answers) + 1e-6
    bounds = {one.bolts: one.bound for one in answers}
    assert all(one.searched and one.bound == bounds[one.bolts] and one.value <= one.bound for one in beside)


def test_fewer_are_the_best_of_them():
    answers, few, many = (searched(beside=count) for count in (0, 2, EFFORT.beside))
    at = len(answers)
    assert len(few) == at + 2
    assert [one.value for one in few[at:]] == [one.value for one in many[at : at + 2]]


def test_they_keep_to_the_settings_that_are_allowed():
    found = searched(locks=Locks(settings_max=2))
    assert len(found) > len(searched(locks=Locks(settings_max=2), beside=0))
    # a run that lies on a face it has is no charged setting
    assert all(sum(one.role != "bolt" for one in settings_of(layouts_of(each)[0])) <= 2 for each in found)


def test_larger_logs_and_logs_that_are_priced_often_have_none(monkeypatch):
    own = context()
    answers = searched(beside=0)
    assert len(PricedLogs(LOG, way(own)).layouts(own, classes=CLASSES)) == len(answers)
    monkeypatch.setattr(search_room, "small", lambda logs: False)
    assert len(searched()) == len(answers)


def test_no_layout_is_carried_out_twice():
    found = search_candidates(LOG, replace(context(), bucking=False))
    assert len(set(map(layouts_of, found))) == len(found) > len(searched(beside=0))


@dataclass(frozen=True)
class Work:
    """A ledger of which nothing is asked but its set-ups."""

    set_ups: int


@dataclass(frozen=True)
class Case:
    """A case of so much wood."""

    log: float
    context: object = context_of(shop_of(products_of(BACK)), effort=replace(COARSE, closely=2))


FINELY = {5.0: 5.2, 6.0: 9.0, 7.0: 7.5, 8.0: 8.1}
"""What plans that are told apart coarsely come to once they are filled as they are sawn."""


@pytest.fixture
def done(monkeypatch):
    """The plans that were filled, in turn."""
    seen = []

    def finished(bench, plan):
        seen.append(plan.likely)
        if plan.compared is not None:
            return plan
        return replace(plan, likely=FINELY[plan.likely], earnings=FINELY[plan.likely], compared=plan)

    monkeypatch.setattr(ladder_room, "finished", finished)
    monkeypatch.setattr(ladder_room, "small", lambda logs: logs[0] <= SMALL)
    return seen


def plans(*likely, set_ups=5):
    return [ExecutedPlan(None, Work(set_ups), one, one) for one in likely]


def bench(log, begin=None):
    return Workbenches(Workbench(Case(log), None), begin)


@pytest.mark.parametrize(
    ("wood", "likely", "filled"), [(SMALL, 8.1, [8.0, 7.0]), (2.0 * SMALL, 8.1, [8.0]), (SMALL, 9.0, [7.0, 6.0])]
)
def test_the_best_of_a_small_log_is_found_among_plans_as_they_are_sawn(done, wood, likely, filled):
    """Two are filled so; what is worth most then need not be what was worth most before."""
    coarse = plans(5.0, 6.0, 7.0, 8.0) if likely == 8.1 else plans(5.0, 6.0, 7.0)
    ladder = ladder_of(bench(wood), coarse)
    assert [one.likely for one in ladder.rungs] == [likely] and done == filled
    assert len(ladder.others) == len(coarse) - 1


def test_at_two_benches_the_same_is_found(done):
    def begin(at, packed, work, *about):
        return lambda: work(None, *about)

    alone, two = (ladder_of(bench(SMALL, one), plans(5.0, 6.0, 7.0)) for one in (None, begin))
    assert alone == two and done == [7.0, 6.0, 7.0, 6.0]


def test_a_plan_that_fails_as_it_is_sawn_does_not_come_back(done, monkeypatch):
    monkeypatch.setattr(ladder_room, "benches_of", lambda case: Workbenches(Workbench(case, None)))
    case = Case(SMALL)
    ladder = ladder_of(bench(SMALL), plans(5.0, 6.0, 7.0))
    [failing] = ladder.rungs
    assert failing.likely == 9.0
    left = ladder_without(case, ladder, [failing])
    assert [one.likely for one in left.rungs] == [7.5] and [one.likely for one in left.others] == [5.2]
