"""The exact programmes for halves and first settings against exhaustive search."""

import itertools

import numpy as np
import pytest

from pithline.plan.pricing.log_oracle import BoltClass, PricedLog, fan_of, solve_log
from pithline.plan.problem.economics import Charges
from pithline.plan.programmes.first_settings import First, best_span, by_halves, half_faces, number_by_halves
from unit.slab_tables_fixture import (
    ANGLES,
    CELLS,
    FACES,
    GAP,
    QUARTER,
    ROLLS,
    STEP,
    WHOLE_LOCKS,
    fan_grid,
    first_place,
    grid_of,
    log_of,
    random_values,
    searched,
    worth_of,
)
from unit.test_plan_stacks import best_stack


def face_at(offset):
    """Index of the first corner at or beyond an offset, or none."""
    return next((i for i, face in enumerate(FACES) if face >= offset - 1e-6), None)


def bounded_slabs(values, grid, turn, place):
    """(depths, menu): worth of every slab of one clock index with its lateral at least `place`."""
    n = len(grid.depths) // 2
    return np.array([[worth_of(values, turn, at - n, t, place) for t in range(2)] for at in range(len(grid.depths))])


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
            slab[-top + n, t] = worth_of(values, gamma + angle + ROLLS, -top, t, place)
    below, above = bolts[list(ANGLES).index(angle)], bolts[list(ANGLES).index(ROLLS - angle)]
    best = 0.0
    for low, high in itertools.combinations(range(-n, n + 1), 2):
        stack = best_stack(slab, CELLS, GAP, n - high, n - low)
        if high - low < min(CELLS):
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
    solved = searched(values, grid, charge, off_square)
    by_angle = np.zeros((len(ANGLES), 2 * ROLLS, len(FACES)))
    for (a, angle), gamma, face in itertools.product(enumerate(ANGLES), range(2 * ROLLS), range(len(FACES))):
        cost = charge + (0.0 if angle == QUARTER else off_square)
        by_angle[a, gamma, face] = best_half(values, grid, solved.bolts, gamma, int(angle), face, cost)
    assert by_angle.max(axis=(1, 2)).min() > 0.5
    np.testing.assert_allclose(solved.halves, by_angle, atol=1e-5)
    halves = by_angle.max(axis=0)
    n = len(grid.depths) // 2
    best = 0.0
    for roll in range(ROLLS):
        slab = bounded_slabs(values, grid, roll, -len(grid.across))
        for low, high in itertools.combinations(range(-n, n + 1), 2):
            stack = best_stack(slab, CELLS, GAP, low + n, high + n)
            if high - low >= min(CELLS):
                up, down = face_at((high + GAP) * STEP), face_at(-(low - GAP) * STEP)
                above = 0.0 if up is None else halves[roll, up]
                below = 0.0 if down is None else halves[(roll + ROLLS) % (2 * ROLLS), down]
                best = max(best, stack - charge + above + below)
    assert solved.bound == pytest.approx(best, abs=1e-5)
    assert all(a.promise >= b.promise for a, b in itertools.pairwise(solved.firsts))
    assert solved.bolts.max() > 0.3


def test_first_settings_that_leave_the_same_halves_are_one():
    """By cell of the stack: each promise is no more than that of its number, one of them is, and the span read back has it."""
    grid = grid_of()
    solved = searched(random_values(np.random.default_rng(7), grid), grid, 0.2)
    depths = len(grid.depths)
    faces = half_faces(solved.priced.mill, grid, solved.priced.grid.corners)
    every = by_halves(solved.promises, *faces).ravel()
    members = {}
    for roll, low, high in itertools.product(range(ROLLS), range(depths), range(depths)):
        promise = float(solved.promises[roll, low, high])
        if np.isfinite(promise):
            first = First(roll, (low, high), int(faces[0][low]), int(faces[1][high]), promise)
            members.setdefault(number_by_halves(first, *faces), []).append(first)
    assert len(members) < sum(map(len, members.values())) / 2
    for number, own in members.items():
        assert len({(one.roll, one.under, one.over) for one in own}) == 1
        assert every[number] == max(one.promise for one in own)
        roll, (low, high) = best_span(solved.promises, *faces, number)
        assert roll == own[0].roll and solved.promises[roll, low, high] == every[number]
    left_out = np.delete(every, sorted(members))
    assert (left_out == -np.inf).all() and every.max() == pytest.approx(solved.bound)


def test_bolts_that_are_left_are_worth_nothing():
    grid = grid_of()
    values = random_values(np.random.default_rng(1), grid)
    g = fan_grid(values, grid)
    log = log_of(grid)
    charges = (Charges(0.2, 0.2, 0.2), Charges(0.2, 0.2, 0.0))
    left = solve_log(PricedLog(log, None, g, g), BoltClass("left", sawn=False), charges, ANGLES, WHOLE_LOCKS)
    assert not left.bolts.any() and left.bound < searched(values, grid, 0.2).bound
    assert fan_of(left, 0, 1, (0, 0)) == ()
