"""The master (CP-SAT) against HiGHS (`scipy.optimize.milp`, a peer) on the same ways and fills."""

from dataclasses import dataclass, field, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pithline.plan.columns import way_master
from pithline.plan.columns.market_model import fills_at, price_family
from pithline.plan.columns.near_columns import MasterTask, merged, near_columns
from pithline.plan.columns.way_master import choose_different_ways, choose_ways
from pithline.plan.pricing.fills import fill_all
from pithline.plan.pricing.log_grid import GridSlab
from pithline.plan.pricing.log_oracle import Component, Way
from pithline.plan.pricing.price_search import worth_at
from pithline.plan.problem.economics import CutCosts
from pithline.plan.problem.layout import LayoutSetting, LayoutSlab, settings_of
from unit.markets import SalesModel, random_fills, random_market

COSTS = CutCosts()
CHARGES = (0.0, 0.3, 0.8)


@dataclass
class HandFills:
    """Slabs that can be filled in a few ways each, by log and slab."""

    maps: dict = field(default_factory=dict)

    def slab(self, log, slab):
        return self.maps[log, slab]


def random_ways(rng, fills, log=0, firsts=3, halves=2):
    """Ways as a price search hands them over, fills at random; each setting can be told by its lowest face."""
    number = iter(range(1000 * log, 1000 * (log + 1)))

    def component(role, cradles=()):
        name = next(number)
        slabs = tuple(GridSlab(0, name, k, 0, 9) for k in range(int(rng.integers(1, 3))))
        for slab in slabs:
            fills.maps[log, slab] = random_fills(rng)
        charge = 0.0 if role == "bolt" and not cradles else float(rng.choice(CHARGES[1:]))
        return Component(LayoutSetting(0.1 * log, (LayoutSlab(float(name), 50.0),), role=role), slabs, charge, cradles)

    def bolt(depth=0):
        if depth == 2 or rng.random() < 0.3:
            return ()
        cradles = () if rng.random() < 0.4 else (int(rng.integers(1, 4)),)
        return (Way(component("bolt", cradles), bolt(depth + 1)),)

    def half():
        return Way(component("half"), bolt(), bolt())

    def group():
        return tuple(half() for _ in range(int(rng.integers(0, halves + 1))))

    return tuple(Way(component("log"), group(), group()) for _ in range(firsts))


def task_of(seed, logs=1, **more):
    rng = np.random.default_rng(seed)
    market = replace(random_market(rng), cost=rng.uniform(0.0, 0.1, 4))
    fills = HandFills()
    ways = tuple(random_ways(rng, fills, log) for log in range(logs))
    return MasterTask(
        market, fills, ways, 0.4, price_family(market, market.loose + 0.3), COSTS, **{"near": np.inf, **more}
    )


def every(ways):
    for way in ways:
        yield way
        yield from every((*way.above, *way.below))


def by_milp(task):
    """One way a log, at most one way to go on from each, each slab filled one way; a cradle is paid for once."""
    model, charged, cradles = SalesModel(task.market), {}, {}
    for log, ways in enumerate(task.ways):

        def add(way, log=log):
            own = model.add(-way.own.charge)
            charged[own] = way.own.charge > 0.0
            for cradle in way.own.cradles:
                if cradle not in cradles:
                    cradles[cradle] = model.add(0.0 if cradle in task.standing else -task.opening)
                model.at_most({own: 1.0, cradles[cradle]: -1.0}, 0.0)
            for slab in way.own.slabs:
                [fills] = fills_at([task.fills.slab(log, slab)], task.market, task.family, task.costs)
                options = [model.add(0.0, fill.counts) for fill in fills]
                model.at_most({**dict.fromkeys(options, 1.0), own: -1.0}, 0.0)
            for side in (way.above, way.below):
                if side:
                    model.at_most({**dict.fromkeys([add(one) for one in side], 1.0), own: -1.0}, 0.0)
            return own

        model.at_most(dict.fromkeys([add(way) for way in ways], 1.0), 1.0)
    if task.settings_max is not None:
        model.at_most({own: 1.0 for own, is_charged in charged.items() if is_charged}, task.settings_max)
    return model.best(task.sawn)


@settings(max_examples=25)
@given(st.integers(0, 100_000), st.sampled_from([1, 2]), st.sampled_from([None, 1, 3]), st.booleans())
def test_the_master_is_as_good_as_highs(seed, logs, settings_max, in_hand):
    sawn = np.random.default_rng(seed).integers(0, 3, (4, 2)) if in_hand else None
    task = task_of(seed, logs, settings_max=settings_max, sawn=sawn)
    answer = choose_ways(task, 20.0, 1)
    best = by_milp(task)
    assert answer.status == "optimal"
    assert answer.value == pytest.approx(best, rel=1e-3, abs=5e-3)
    assert answer.bound >= best - 5e-3


@pytest.mark.parametrize("seed", range(5))
def test_the_answer_is_what_its_ways_come_to(seed):
    """Its charges, cradles and settings are those of the layouts that it names, and what is sold makes up the rest."""
    task = task_of(seed + 900, logs=2)
    answer = choose_ways(task, 20.0, 1)
    by_face = {way.own.setting.slabs[0].low: way.own for ways in task.ways for way in every(ways)}
    used = [by_face[one.slabs[0].low] for layout in answer.layouts for one in settings_of(layout)]
    assert used and [one.setting.role for one in used if one.setting.role == "log"]
    assert set(answer.opened) == {cradle for one in used for cradle in one.cradles}
    charges = sum(one.charge for one in used) + task.opening * len(answer.opened)
    # the plates of those slabs sell for no less than was reckoned with
    model = SalesModel(task.market)
    for one in used:
        for slab in one.slabs:
            log = int(one.setting.slabs[0].low // 1000)
            [fills] = fills_at([task.fills.slab(log, slab)], task.market, task.family, COSTS)
            options = [model.add(0.0, fill.counts) for fill in fills]
            if options:
                model.at_most(dict.fromkeys(options, 1.0), 1.0)
    assert answer.value + charges == pytest.approx(model.best(), rel=1e-3, abs=5e-3)
    assert (answer.sets <= task.market.demand).all()


def test_a_cradle_is_opened_once_for_all_that_use_it():
    """Two bolts of 0.5 each in one cradle that costs 0.4 to set up pay; one alone of 0.3 does not."""
    market = random_market(np.random.default_rng(1), products=1, kinds=1, unlimited=1.0)
    market = replace(
        market,
        need=np.array([[1]]),
        set_worth=np.array([1.0]),
        loose=np.zeros(1),
        single=np.zeros(1),
        mated=np.zeros(1, bool),
    )
    fills = HandFills()

    def bolt(name, plates, charge):
        slab = GridSlab(0, name, 0, 0, 9)
        fills.maps[0, slab] = type(random_fills(np.random.default_rng(0)))((np.array([[0, plates]]),))
        setting = LayoutSetting(0.0, (LayoutSlab(float(name), 10.0),), role="bolt")
        return Way(Component(setting, (slab,), charge, (2,)))

    def asked(*bolts):
        first = replace(bolt(99, 2, 1.5).own, cradles=())
        return MasterTask(market, fills, ((Way(first, bolts[:1], bolts[1:2]),),), 0.4, [np.ones(1)], COSTS)

    both = choose_ways(asked(bolt(1, 1, 0.7), bolt(2, 1, 0.7)), 5.0, 1)
    assert both.value == pytest.approx(0.5 + 0.3 + 0.3 - 0.4, abs=1e-3) and both.opened == (2,)
    alone = choose_ways(asked(bolt(1, 1, 0.7)), 5.0, 1)
    assert alone.value == pytest.approx(0.5, abs=1e-3) and alone.opened == ()


def test_ways_that_begin_alike_are_one_with_the_alternatives_of_both():
    fills = HandFills()
    ways = random_ways(np.random.default_rng(8), fills, firsts=2)
    again = tuple(replace(way, above=way.below, below=way.above) for way in ways)
    found = merged((*ways, *again))
    assert [way.own for way in found] == [way.own for way in ways]
    for way, first, second in zip(found, ways, again, strict=True):
        names = {one.own.setting.slabs for one in (*first.above, *second.above)}
        assert {one.own.setting.slabs for one in way.above} == names


@pytest.mark.parametrize("seed", range(12))
def test_no_column_is_missed_that_costs_less_than_the_answer_lies_below_the_bound(seed):
    """At given prices no plan is worth more than the best column with what sets may still add, less what its own columns lose."""
    task = task_of(seed, logs=1)
    every_one = choose_ways(task, 20.0, 1)
    near = 1.0 - every_one.value / best_at_prices(task) + 1e-3
    assert near > 0.0
    some = choose_ways(replace(task, near=near), 20.0, 1)
    assert some.value == pytest.approx(every_one.value, rel=1e-3, abs=5e-3)


@pytest.mark.parametrize("seed", range(8))
def test_answers_in_hand_stand_until_bettered_and_leave_the_best_to_be_found(seed):
    """Columns that no plan better than those in hand can hold are left out, and the best plan is not among what is lost."""
    task = task_of(seed + 300, logs=1)
    best = choose_different_ways(task, 20.0, 1, 2)
    # of each way's plans one is at hand: what its first setting gives with the pieces beside it left
    bare = replace(task, ways=(tuple(replace(way, above=(), below=()) for way in task.ways[0]),))
    starts = choose_different_ways(bare, 20.0, 1, 2)
    found = choose_different_ways(task, 20.0, 1, 2, starts)
    assert [one.value for one in found] == pytest.approx([one.value for one in best], rel=1e-3, abs=5e-3)
    assert len({one.layouts[0].slabs for one in found if one.layouts[0]}) == len(
        [one for one in found if one.layouts[0]]
    )
    again = choose_different_ways(task, 20.0, 1, 2, found)
    assert again == found


def test_columns_narrowed_to_an_answer_are_fewer_and_hold_it():
    task = task_of(308, logs=1)
    # at prices so high no set is worth more than its plates, so that what is sold besides is bounded
    task = replace(task, family=(np.full(len(task.family[0]), task.market.set_worth.max()), *task.family))
    columns, answer = near_columns(task), choose_ways(task, 20.0, 1)
    narrow = columns.narrowed(columns.ways, columns.bound - answer.value)
    [kept] = way_master._solve(task, narrow, 20.0, 1, 1)
    assert kept.value == pytest.approx(answer.value, rel=1e-3, abs=5e-3)
    sizes = []
    for share in (0.9, 0.5, 0.2, 0.05, 0.0):
        some, few = columns.narrowed(columns.ways, share * columns.bound), near_columns(replace(task, near=share))
        assert some.ways == few.ways
        assert {key: len(own) for key, own in some.fills.items()} == {key: len(own) for key, own in few.fills.items()}
        sizes.append(sum(map(len, some.fills.values())))
    assert sizes == sorted(sizes, reverse=True) and 0 < sizes[-1] < sizes[0]


def best_at_prices(task):
    """What no plan of one log's columns is worth more than, by the first prices of the family."""
    worth = worth_at(task.market, task.family[0], task.costs)

    def value(way):
        own = sum(fill_all([task.fills.slab(0, slab)], worth)[0][0] for slab in way.own.slabs) - way.own.charge
        return own + sum(max([0.0, *map(value, side)]) for side in (way.above, way.below))

    return max(0.0, *map(value, task.ways[0])) + task.market.unsold_bound(task.family[0])


def test_different_ways_have_different_first_settings_the_best_first():
    task = task_of(8)
    found = choose_different_ways(task, 20.0, 1, 3)
    assert len({one.layouts[0].slabs for one in found}) == len(found) > 1
    assert found[0].value == choose_ways(task, 20.0, 1).value
    assert [one.value for one in found] == sorted((one.value for one in found), reverse=True)


def begun(task):
    """An answer that saws the first log by its last way, and leaves the others."""
    alone = choose_ways(replace(task, ways=(task.ways[0][-1:], *((),) * (len(task.ways) - 1))), 20.0, 1)
    assert alone.layouts[0] is not None
    return alone


@pytest.mark.parametrize(("seed", "logs", "in_hand"), [(s, 2 + s % 2, s % 3 == 0) for s in (2, 3, 6, 7, 9, 11)])
def test_logs_chosen_by_turns_end_where_none_alone_can_be_chosen_better(seed, logs, in_hand):
    sawn = np.random.default_rng(seed).integers(0, 3, (4, 2)) if in_hand else None
    task = task_of(seed + 50, logs, sawn=sawn)
    start = begun(task)
    found = way_master._by_turns(task, near_columns(task), start, 20.0, 1)
    assert start.value + 0.05 < found.value <= by_milp(task) + 5e-3
    # what it is worth is what its plates sell for less its charges, each cradle opened once
    plates = np.sum([one.plates for one in found.logs], axis=0) + (0 if sawn is None else sawn)
    model = SalesModel(task.market)
    charges = sum(one.charges for one in found.logs) + task.opening * len(found.opened)
    assert found.value + charges == pytest.approx(model.best(plates), rel=1e-3, abs=5e-3)
    # and with the others held no log can be chosen better
    for k in range(logs):
        held = [one for j, one in enumerate(found.logs) if j != k]
        standing = frozenset().union(*(one.cradles for one in held))
        beside = np.sum([one.plates for one in held], axis=0) + (0 if sawn is None else sawn)
        own = replace(task, ways=tuple(w if j == k else () for j, w in enumerate(task.ways)), sawn=beside)
        best = by_milp(replace(own, standing=standing))
        spent = sum(one.charges for one in held) + task.opening * len(standing)
        assert best - spent <= found.value + 1e-2


def test_a_way_is_chosen_anew_only_where_it_may_better_the_answer(monkeypatch):
    task = task_of(52, 2)
    # at prices so high no set is worth more than its plates, so that what is sold besides is bounded
    dear = np.full(len(task.family[0]), task.market.set_worth.max())
    task = replace(task, family=(dear, *task.family))
    columns, start, asked = near_columns(task), begun(task), []

    def solved(beside, alone, *more):
        asked.extend(way for ways in alone.ways for way in ways)
        return []

    monkeypatch.setattr(way_master, "_solve", solved)
    worth, held, ways = worth_at(task.market, dear, task.costs), start.logs[0], columns.ways[1]
    beside = float(held.plates[:, 0] @ worth.mated + held.plates[:, 1] @ worth.single) - held.charges
    least = start.value - columns.unsold - beside  # a way of the second log that is worth less betters nothing
    for by, number in ((-0.1, 0), (0.1, len(ways))):
        asked.clear()
        near = replace(columns, worths=(columns.worths[0], (least + by,) * len(ways)))
        assert way_master._one_anew(task, near, start, 1, 20.0, 1) is start
        assert len(ways) > 1 and len(asked) == number


def test_same_ways_same_seed_same_answer():
    answers = [choose_ways(task_of(77, logs=2), 20.0, 3) for _ in range(2)]
    assert answers[0].layouts == answers[1].layouts and answers[0].value == answers[1].value


def test_no_ways_no_layout():
    task = replace(task_of(3), ways=((),))
    answer = choose_ways(task, 5.0, 1)
    assert answer is None or (answer.layouts == (None,) and answer.value == 0.0)
