"""The exact programmes against exhaustive search and against HiGHS (`scipy.optimize.milp`, a peer) on the same model."""

import itertools
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import Bounds, LinearConstraint, milp

from pithline.plan.columns.candidates import BoltPlace, best_first_settings, bolt_fan
from pithline.plan.problem.layout import settings_of
from pithline.plan.programmes import fans
from pithline.plan.programmes.fans import CHAIN, FanRule, fan
from pithline.plan.programmes.grid import Grid
from pithline.plan.programmes.stacks import HalfTurns, TableGrid, stack_table, unstack
from pithline.plan.programmes.tables import SlabTables, _bolts, solve_tables

STEP = 6.0
MENU = (12.0, 18.0)
KERF = 2.3  # no round numbers: nothing lies exactly on the grid across
ROLLS = 6
QUARTER = ROLLS // 2
ANGLES = np.array([QUARTER - 1, QUARTER, QUARTER + 1])
"""Halves are turned 60°, 90° or 120°."""
STEPS = np.ones(3, np.int64)
GAP = int(np.ceil(KERF / STEP))


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
    grid = TableGrid(None, 0, None, cells, 1.0, 1.0, 0, 0, gap)
    for low, high in itertools.combinations(range(depths), 2):
        assert table[low, high] == pytest.approx(best_stack(slab, cells, gap, low, high))
        told = unstack(grid, slab, table, low, high)
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


def grid_of(half_depth=4, half_across=6):
    return Grid(ROLLS, STEP, 50.0, 10.0, half_depth * STEP, half_across * 10.0, MENU)


def random_values(rng, grid, share=0.5):
    """Worth of every slab: (roll, side, depth, thickness, place), never more from further out, none off the grid."""
    nd, nu = len(grid.depths), len(grid.across)
    steps = rng.uniform(0, 0.4, (ROLLS, nd, 2, nu)) * (rng.uniform(0, 1, (ROLLS, nd, 2, 1)) < share)
    values = np.zeros((ROLLS, 2, nd, 2, nu + 1), np.float32)
    values[:, 0, :, :, :-1] = np.cumsum(steps[..., ::-1], axis=-1)[..., ::-1]
    values[:, 1, :, :, 1:] = np.cumsum(steps, axis=-1)
    for t, cells in enumerate(CELLS):
        values[:, :, nd - cells :, t] = 0.0
    return values


CELLS = np.array([2, 3])
FACES = np.array([1.7, 11.3, 21.9])


def worth_of(values, grid, turn, low, t, from_place):
    """Worth of the slab whose normal has clock index `turn`, lower face at `low` cells, lateral at least `from_place`.

    Lateral runs a quarter turn on from the normal; half a turn on, the same slab is seen from behind.
    """
    half_depth, half_across = len(grid.depths) // 2, len(grid.across) // 2
    turn %= 2 * ROLLS
    if turn >= ROLLS:
        low, side, place = -low - int(CELLS[t]), 1, half_across - from_place
    else:
        side, place = 0, half_across + from_place
    at = low + half_depth
    if not 0 <= at < len(grid.depths):
        return 0.0
    if side == 0 and place > len(grid.across):
        return 0.0
    if side == 1 and place < 0:
        return 0.0
    return float(values[turn % ROLLS, side, at, t, int(np.clip(place, 0, len(grid.across)))])


def first_place(direction, low, top, faces):
    """Where along `direction` a slab between two offsets lies inside every face: (normal angle, offset) pairs, mm."""
    least = -np.inf
    for angle, offset in faces:
        along = np.cos(angle - direction)
        across = -np.sin(direction - angle)  # the slab's normal stands a quarter turn on
        if along < 1e-9:
            assert all(c * across >= offset - 1e-6 for c in (low, top))
            continue
        least = max(least, *((offset - c * across) / along for c in (low, top)))
    return least


class Bolt:
    """The wedge between clock indices `base` and `base` + `opening`, far and near face in mm, and one table of slabs."""

    def __init__(self, values, grid, base, opening, near, far):
        self.values, self.grid, self.base, self.near, self.far = values, grid, base, near, far
        self.opening = opening

    def slab(self, k, low, t, cuts):
        """Worth of a slab at k steps from the base, after cuts (k, offset of the upper edge): all of them bound it."""
        direction = k * np.pi / ROLLS
        c_low, c_top = low * STEP, (low + int(CELLS[t])) * STEP
        faces = [] if k == self.opening else [((self.opening - QUARTER) * np.pi / ROLLS, self.far)]
        if k > 0:
            faces.append((np.pi / 2, self.near))
        faces += [(j * np.pi / ROLLS + np.pi / 2, edge + KERF) for j, edge in cuts if j < k]
        least = first_place(direction, c_low, c_top, faces)
        place = -10_000 if least == -np.inf else int(np.ceil(least / 10.0))
        # lateral of the normal's frame points inwards: outwards from u is lateral at most −u
        turn = self.base + k + ROLLS // 2
        return worth_of(self.values, self.grid, turn + ROLLS, -low - int(CELLS[t]), t, place)

    def free(self, k):
        return k in (0, self.opening)

    def best(self, seen, charge, most):
        """Exhaustive over sequences of slabs that the search looks at, every earlier cut in the way of the next."""
        n = len(self.grid.depths) // 2

        @cache
        def rest(cuts, left):
            best = onward(cuts, left)
            k, top = cuts[-1]
            same = round(top / STEP) + int(np.ceil(KERF / STEP))
            for t, cells in enumerate(CELLS):
                if k < self.opening and same + cells <= n:
                    worth = self.slab(k, same, t, cuts)
                    if worth > 0:
                        after = (*cuts[:-1], (k, (same + int(cells)) * STEP))
                        best = max(best, worth + rest(after, left))
            return best

        def onward(cuts, left):
            best = 0.0
            for j, low, t in seen:
                cost = 0.0 if self.free(j) else charge
                if (not cuts or j > cuts[-1][0]) and (self.free(j) or left > 0):
                    worth = self.slab(j, low, t, cuts)
                    if worth > 0:
                        after = (*cuts, (j, (low + int(CELLS[t])) * STEP))
                        best = max(best, worth - cost + rest(after, left - (not self.free(j))))
            return best

        return onward((), most)


def slabs_of(values, grid):
    """A table of slabs as the kernels read it."""
    half_depth, half_across = len(grid.depths) // 2, len(grid.across) // 2
    steps = (grid.depth_step, grid.across_step)
    return TableGrid(values, ROLLS, np.array(MENU), CELLS, *steps, half_depth, half_across, GAP)


def bounds(values, grid, charge, most):
    turns = HalfTurns(ANGLES, STEPS, np.zeros(3))
    return _bolts(slabs_of(values, grid), turns, FanRule(KERF, 1, charge, most, True), FACES)


def best_fan(values, grid, base, opening, near, far, charge, most):
    """Net value of the fan found for one bolt, every cut of its chain held against the next slab."""
    chain = np.zeros((CHAIN, 4), np.int64)
    rule = FanRule(KERF, 1, charge, most, True)
    return fan(slabs_of(values, grid), rule, fans.Bolt(base, opening, near, far), chain, True)


@pytest.fixture(scope="module")
def looked_at():
    """Which slabs (direction, lower cell, thickness) a fan considers, of each opening, near and far face: asked one by one."""
    grid = grid_of()
    out = {}
    for k, at, t in itertools.product(range(ANGLES[-1] + 1), range(len(grid.depths)), range(2)):
        values = np.zeros((ROLLS, 2, len(grid.depths), 2, len(grid.across) + 1), np.float32)
        low = at - len(grid.depths) // 2
        if low + CELLS[t] > len(grid.depths) // 2:
            continue
        turn = k + QUARTER  # of base 0
        where = (turn, 1, at, t) if turn < ROLLS else (turn - ROLLS, 0, len(grid.depths) - 1 - at - CELLS[t], t)
        values[where] = 1.0
        seen = bounds(values, grid, 0.0, 3)
        for (a, opening), far, near in itertools.product(enumerate(ANGLES), range(len(FACES)), range(len(FACES))):
            if seen[a, 0, far, near] > 0:
                out.setdefault((int(opening), far, near), []).append((k, low, t))
    return out


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize(("charge", "most"), [(0.0, 3), (0.3, 1), (0.3, 2)])
def test_the_best_of_all_fans_lies_between_what_is_found_and_the_bound(seed, charge, most, looked_at):
    rng = np.random.default_rng(seed)
    grid = grid_of()
    values = random_values(rng, grid)
    bound = bounds(values, grid, charge, most)
    equal, highest = 0, dict.fromkeys(ANGLES, 0.0)
    for (opening, far, near), seen in looked_at.items():
        best = Bolt(values, grid, 0, opening, FACES[near], FACES[far]).best(seen, charge, most)
        found = best_fan(values, grid, 0, opening, FACES[near], FACES[far], charge, most)
        assert found <= best + 1e-5
        assert best <= bound[list(ANGLES).index(opening), 0, far, near] + 1e-5
        equal += found > best - 1e-5
        highest[opening] = max(highest[opening], found)
    assert min(highest.values()) > 0.2
    assert equal >= 0.6 * len(looked_at)


def searched(values, grid, charge, most=2, off_square=0.0):
    """The programmes of halves and first settings over a table of slabs, with its fans."""
    bolts = bounds(values, grid, charge, most)
    turns = HalfTurns(ANGLES, STEPS, charge + np.array([off_square, 0.0, off_square]))
    rule = FanRule(KERF, 1, charge, most, True)
    return solve_tables(SlabTables(grid, slabs_of(values, grid), FACES, turns, rule, bolts, off_square))


def face_at(offset):
    """Index of the first face at or beyond an offset, or none."""
    return next((i for i, face in enumerate(FACES) if face >= offset - 1e-6), None)


def bounded_slabs(values, grid, turn, place):
    """(depths, menu): worth of every slab of one clock index with its lateral at least `place`."""
    n = len(grid.depths) // 2
    return np.array(
        [[worth_of(values, grid, turn, at - n, t, place) for t in range(2)] for at in range(len(grid.depths))]
    )


def best_half(values, grid, bolts, gamma, angle, face, cost):
    """Exhaustive: the half n(γ)·X ≥ face turned on by an angle, its stack and the bolts above and below it."""
    n, direction = len(grid.depths) // 2, (angle - QUARTER) * np.pi / ROLLS
    slab = np.zeros((len(grid.depths), 2))
    for low, t in itertools.product(range(-n, n + 1), range(2)):
        top = low + int(CELLS[t])
        least = first_place(direction, low * STEP, top * STEP, [(0.0, FACES[face])])
        # its slabs' normal stands at γ + angle, lateral a quarter on; seen from behind, lateral is away from the face
        if -n <= -top:
            place = int(np.ceil(least / 10.0 - 1e-6))
            slab[-top + n, t] = worth_of(values, grid, gamma + angle + ROLLS, -top, t, place)
    below, above = bolts[list(ANGLES).index(angle)], bolts[list(ANGLES).index(ROLLS - angle)]
    best = 0.0
    for low, high in itertools.combinations(range(-n, n + 1), 2):
        stack = best_stack(slab, CELLS, GAP, n - high, n - low)
        if stack <= 0:
            continue
        up, down = face_at((high + GAP) * STEP), face_at(-(low - GAP) * STEP)
        over = 0.0 if up is None else above[(gamma + angle - QUARTER) % (2 * ROLLS), face, up]
        under = 0.0 if down is None else below[(gamma - QUARTER) % (2 * ROLLS), down, face]
        best = max(best, stack + over + under - cost)
    return best


@pytest.mark.parametrize("seed", range(3))
def test_halves_and_first_settings_are_the_best_of_all(seed):
    rng = np.random.default_rng(seed)
    grid, charge, off_square = grid_of(), 0.2, 0.05
    values = random_values(rng, grid)
    state = searched(values, grid, charge, off_square=off_square)
    bolts = state.tables.bolts
    by_angle = np.zeros((len(ANGLES), 2 * ROLLS, len(FACES)))
    for (a, angle), gamma, face in itertools.product(enumerate(ANGLES), range(2 * ROLLS), range(len(FACES))):
        cost = charge + (0.0 if angle == QUARTER else off_square)
        by_angle[a, gamma, face] = best_half(values, grid, bolts, gamma, int(angle), face, cost)
    assert by_angle.max(axis=(1, 2)).min() > 0.5
    np.testing.assert_allclose(state.by_angle, by_angle, atol=1e-5)
    halves = by_angle.max(axis=0)
    np.testing.assert_allclose(state.halves, halves, atol=1e-5)
    n = len(grid.depths) // 2
    best = 0.0
    for roll in range(ROLLS):
        slab = bounded_slabs(values, grid, roll, -len(grid.across))
        for low, high in itertools.combinations(range(-n, n + 1), 2):
            stack = best_stack(slab, CELLS, GAP, low + n, high + n)
            if stack > 0:
                up, down = face_at((high + GAP) * STEP), face_at(-(low - GAP) * STEP)
                above = 0.0 if up is None else halves[roll, up]
                below = 0.0 if down is None else halves[(roll + ROLLS) % (2 * ROLLS), down]
                best = max(best, stack - charge + above + below)
    columns = best_first_settings(state, list(range(ROLLS)), 4)
    assert columns[0].promise == pytest.approx(best, abs=1e-5)
    assert all(a.promise >= b.promise for a, b in itertools.pairwise(columns))


@pytest.mark.parametrize("seed", range(4))
def test_a_bolts_chain_is_worth_what_its_slabs_are(seed):
    """The settings read back from a fan, in order of direction, each slab clear of every earlier cut."""
    rng = np.random.default_rng(seed + 50)
    grid, charge, most = grid_of(), 0.2, 2
    values = random_values(rng, grid)
    state = searched(values, grid, charge, most)
    chains = 0
    for base, (a, opening), far, near in itertools.product(
        (0, 5), enumerate(ANGLES), range(len(FACES)), range(len(FACES))
    ):
        chain, value = bolt_fan(state, BoltPlace(base, int(opening), near, far))
        bolt = Bolt(values, grid, base, int(opening), FACES[near], FACES[far])
        total, cuts, charged = 0.0, [], 0
        for setting in settings_of(chain):
            k = round(setting.clock * ROLLS / np.pi - base - QUARTER) % (2 * ROLLS)
            assert 0 <= k <= opening and (not cuts or k > cuts[-1][0])
            charged += not bolt.free(k)
            for cut in sorted(setting.slabs, key=lambda one: one.low):
                t, low = MENU.index(cut.thickness), round(cut.low / STEP)
                total += bolt.slab(k, low, t, cuts)
                cuts.append((k, (low + int(CELLS[t])) * STEP))
        assert value == pytest.approx(total, abs=1e-5)
        assert charged <= most
        assert value - charge * charged <= state.tables.bolts[a, base, far, near] + 1e-5
        chains += chain is not None
    assert chains > 5
