"""Stacks of slabs against exhaustive search and against HiGHS (`scipy.optimize.milp`, a peer) on the same model."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import Bounds, LinearConstraint, milp

from pithline.plan.programmes.halves import stack_table, unstack


def best_stack(slab, cells, gap, low, high):
    """Exhaustive: the best sum of slabs between two cells, one gap between neighbours."""
    best = 0.0
    for t, size in enumerate(cells):
        for at in range(low, high - size + 1):
            if slab[at, t] > 0:
                best = max(best, slab[at, t] + best_stack(slab, cells, gap, at + size + gap, high))
    return best


def stack_by_milp(slab, cells, gap):
    """The same as a packing of intervals: no cell in two slabs with their kerfs."""
    nd = len(slab)
    made = [(at, t) for t, size in enumerate(cells) for at in range(nd - size) if slab[at, t] > 0]
    if not made:
        return 0.0
    rows = np.zeros((nd + gap, len(made)))
    for column, (at, t) in enumerate(made):
        rows[at : at + cells[t] + gap, column] = 1.0
    worth = np.array([slab[at, t] for at, t in made])
    found = milp(
        -worth, constraints=LinearConstraint(rows, ub=1.0), bounds=Bounds(0, 1), integrality=np.ones(len(made))
    )
    assert found.success
    return -found.fun


@settings(max_examples=40)
@given(st.integers(0, 10_000), st.integers(3, 9), st.integers(1, 2))
def test_stacks_are_the_best_of_all(seed, depths, gap):
    rng = np.random.default_rng(seed)
    cells = np.array([1, 3])
    slab = np.round(rng.uniform(-0.5, 1.0, (depths, 2)), 3).clip(0.0)
    table = stack_table(slab, cells, gap)
    for low, high in itertools.combinations(range(depths), 2):
        assert table[low, high] == pytest.approx(best_stack(slab, cells, gap, low, high))
        told = unstack(slab, table, cells, gap, (low, high))
        assert sum(slab[at, t] for at, t in told) == pytest.approx(table[low, high])
        ends = [(at, at + cells[t]) for at, t in told]
        assert all(low <= a and b <= high for a, b in ends)
        assert all(b + gap <= c for (_, b), (c, _) in itertools.pairwise(ends))


@pytest.mark.parametrize("seed", range(5))
def test_stacks_are_what_highs_finds(seed):
    rng = np.random.default_rng(seed)
    cells, gap = np.array([3, 5, 8, 13]), 1
    slab = rng.uniform(-1.0, 1.0, (70, 4)).clip(0.0) * np.array([1.0, 1.7, 2.8, 4.4])
    assert stack_table(slab, cells, gap)[0, 69] == pytest.approx(stack_by_milp(slab, cells, gap), abs=1e-6)
