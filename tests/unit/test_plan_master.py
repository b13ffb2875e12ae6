"""The master (CP-SAT) against HiGHS (`scipy.optimize.milp`, a peer) on the same columns."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import Bounds, LinearConstraint, milp

from pithline.mill.products import Part
from pithline.plan.columns.laid_columns import BoltChoices, FirstSettingChoice, HalfChoice, LaidColumn
from pithline.plan.columns.master import solve_master
from pithline.plan.problem.layout import LayoutSetting, LayoutSlab, settings_of
from pithline.plan.problem.objective import ObjectiveWeights
from pithline.plan.problem.parts import SawnPart
from unit.small_logs import TRADE

PARTS = tuple(
    SawnPart(product, Part(name, count, 400.0, 100.0, 5.0, False), TRADE, 400.0, 100.0, 5.0, volume, demand, 1.0)
    for product, name, count, volume, demand in (
        ("guitar", "back", 2, 0.7e6, None),
        ("guitar", "side", 2, 0.45e6, None),
        ("small", "rule", 1, 0.11e6, 5),
    )
)
WORTH = np.array([part.volume / 1e6 for part in PARTS])


def random_choices(rng, firsts=3, halves=2):
    """Columns as the search would hand them over, plates at random; each setting can be told by its lowest face."""
    number = iter(range(10_000))

    def column(role, charged, most):
        plates = tuple(int(v) for v in rng.integers(0, most, 3))
        setting = LayoutSetting(0.0, (LayoutSlab(float(next(number)), 50.0),), role=role)
        return LaidColumn(setting, plates, charged, float(np.dot(plates, WORTH)))

    def bolt():
        return BoltChoices(tuple(column("bolt", k, 2 + k) for k in range(int(rng.integers(0, 4)))))

    def half():
        extra = float(rng.choice([0.0, 0.7]))  # of one that is not turned 90°
        return HalfChoice(replace(column("half", 1, 5), extra=extra), bolt(), bolt())

    def group():
        return tuple(half() for _ in range(int(rng.integers(0, halves + 1))))

    return [FirstSettingChoice(column("log", 1, 8), group(), group()) for _ in range(firsts)]


def by_milp(choices, aim):
    """One first setting, at most one half a side of it, at most one way a bolt; plates counted up to the demand."""
    columns, rows, limits = [], [], []

    def add(column):
        columns.append(column)
        return len(columns) - 1

    def most(entries, limit):
        rows.append(entries)
        limits.append(limit)

    firsts = []
    for choice in choices:
        first = add(choice.column)
        firsts.append(first)
        for side in (choice.above, choice.below):
            taken = []
            for half in side:
                one = add(half.column)
                taken.append(one)
                for bolt in (half.above, half.below):
                    ways = [add(column) for column in bolt.columns]
                    if ways:
                        most({**dict.fromkeys(ways, 1.0), one: -1.0}, 0.0)
            if taken:
                most({**dict.fromkeys(taken, 1.0), first: -1.0}, 0.0)
    n, p = len(columns), len(PARTS)
    products = list(dict.fromkeys(part.product for part in PARTS))
    for k, part in enumerate(PARTS):  # count k ≤ plates sawn; sets of its product × count ≤ count k
        most({n + k: 1.0, **{i: -float(c.plates[k]) for i, c in enumerate(columns)}}, 0.0)
        most({n + p + products.index(part.product): float(part.part.count), n + k: -1.0}, 0.0)
    if aim.settings_max is not None:
        most({i: float(c.charged) for i, c in enumerate(columns)}, aim.settings_max)
    width = n + p + len(products)
    matrix = np.zeros((len(rows) + 1, width))
    for i, row in enumerate(rows):
        matrix[i, list(row)] = list(row.values())
    matrix[-1, firsts] = 1.0
    low = np.append(np.full(len(rows), -np.inf), 1.0)
    gain = np.concatenate(
        [
            [-aim.charge * c.charged - c.extra for c in columns],
            aim.worth,
            [1000.0 * aim.sets_first * set_worth(product, aim.worth) for product in products],
        ]
    )
    caps = [np.inf if part.demand is None else part.demand for part in PARTS]
    found = milp(
        -gain,
        constraints=LinearConstraint(matrix, low, np.append(limits, 1.0)),
        bounds=Bounds(0, np.concatenate([np.ones(n), caps, np.full(len(products), np.inf)])),
        integrality=np.ones(width),
    )
    return -found.fun if found.success else None


def set_worth(product, worth):
    """What the plates of one set count together."""
    return sum(w * part.part.count for w, part in zip(worth, PARTS, strict=True) if part.product == product)


def sets_worth(plates):
    """What the plates of all complete sets count together."""
    counted = [n if part.demand is None else min(n, part.demand) for n, part in zip(plates, PARTS, strict=True)]
    sets = {
        product: min(n // p.part.count for n, p in zip(counted, PARTS, strict=True) if p.product == product)
        for product in {part.product for part in PARTS}
    }
    return sum(n * set_worth(product, WORTH) for product, n in sets.items())


@settings(max_examples=25)
@given(st.integers(0, 100_000), st.sampled_from([0.0, 0.3, 1.2]), st.booleans(), st.sampled_from([None, 1, 3]))
def test_the_master_is_as_good_as_highs(seed, charge, sets_first, settings_max):
    choices = random_choices(np.random.default_rng(seed))
    aim = ObjectiveWeights(WORTH, charge, sets_first, settings_max)
    answer = solve_master(choices, PARTS, aim, 10.0)
    best = by_milp(choices, aim)
    assert answer is not None and answer.status == "optimal"
    reached = answer.value + 1000.0 * sets_first * sets_worth(answer.plates)
    assert reached == pytest.approx(best, abs=5e-3)
    assert answer.bound >= best - 5e-3
    assert settings_max is None or answer.settings <= settings_max


@pytest.mark.parametrize("seed", range(5))
def test_the_answer_is_the_sum_of_the_columns_it_names(seed):
    choices = random_choices(np.random.default_rng(seed + 900), firsts=4)
    answer = solve_master(choices, PARTS, ObjectiveWeights(WORTH, 0.3), 10.0)
    made = {}
    for choice in choices:
        made[choice.column.setting.slabs[0].low] = choice.column
        for half in (*choice.above, *choice.below):
            made[half.column.setting.slabs[0].low] = half.column
            for bolt in (half.above, half.below):
                made |= {column.setting.slabs[0].low: column for column in bolt.columns}
    used = [made[one.slabs[0].low] for one in settings_of(answer.layout)]
    assert used[0].setting.role == "log"
    assert answer.plates == tuple(np.sum([column.plates for column in used], axis=0))
    assert answer.settings == sum(column.charged for column in used)
    counted = [n if p.demand is None else min(n, p.demand) for n, p in zip(answer.plates, PARTS, strict=True)]
    charges = 0.3 * answer.settings + sum(column.extra for column in used)
    assert answer.value == pytest.approx(np.dot(counted, WORTH) - charges)
    assert answer.grid_value == pytest.approx(sum(column.grid_value for column in used) - 0.3 * answer.settings)


def test_sets_beyond_the_demand_count_for_nothing():
    """Twenty rules where five are wanted are worth five; another layout with six backs is worth more."""
    rules = FirstSettingChoice(LaidColumn(LayoutSetting(0.0, (LayoutSlab(0.0, 50.0),)), (0, 0, 20), 1, 2.2), (), ())
    backs = FirstSettingChoice(LaidColumn(LayoutSetting(1.0, (LayoutSlab(0.0, 50.0),)), (1, 0, 0), 1, 0.7), (), ())
    answer = solve_master([rules, backs], PARTS, ObjectiveWeights(WORTH, 0.3), 10.0)
    assert answer.layout.clock == 1.0 and answer.value == pytest.approx(0.4)
    more = [replace(part, demand=None) for part in PARTS]
    assert solve_master([rules, backs], tuple(more), ObjectiveWeights(WORTH, 0.3), 10.0).layout.clock == 0.0


def test_same_columns_same_seed_same_answer():
    choices = random_choices(np.random.default_rng(77), firsts=5, halves=3)
    answers = [solve_master(choices, PARTS, ObjectiveWeights(WORTH, 0.3), 10.0, seed=3) for _ in range(2)]
    assert answers[0] == answers[1]


def test_no_columns_no_answer():
    assert solve_master([], PARTS, ObjectiveWeights(WORTH, 0.3), 10.0) is None


@pytest.mark.parametrize("seed", range(6))
def test_among_all_but_equals_complete_sets_are_taken(seed):
    """The second solve gives up no more than its share, and never holds less in sets than the first."""
    choices = random_choices(np.random.default_rng(seed))
    best = solve_master(choices, PARTS, ObjectiveWeights(WORTH, 0.3), 10.0)
    fuller = solve_master(choices, PARTS, ObjectiveWeights(WORTH, 0.3, sets_within=0.05), 10.0)
    assert fuller.value >= best.value - 0.05 * abs(best.value) - 1e-3
    assert sets_worth(fuller.plates) + fuller.value >= sets_worth(best.plates) + best.value - 1e-3
    assert fuller.bound == pytest.approx(best.bound, abs=1e-3)
