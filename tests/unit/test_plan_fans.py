"""The exact programme for fans of a bolt, and for bolts that a slab parts off, against exhaustive search."""

import itertools
from functools import cache

import numpy as np
import pytest

from pithline.plan.pricing.log_oracle import fan_of
from pithline.plan.programmes.cradled_fans import MOST_SLABS, best_fan, parted_off, slabs_of_runs
from pithline.plan.programmes.fan_bounds import fan_bounds
from pithline.plan.programmes.fan_runs import NEVER, fan_runs, slab_worth
from pithline.plan.programmes.fan_stacks import FAN_REACH
from unit.slab_tables_fixture import (
    ANGLES,
    CELLS,
    FACES,
    GAP,
    KERF,
    MENU,
    QUARTER,
    ROLLS,
    STEP,
    WASTE,
    fan_grid,
    first_place,
    grid_of,
    random_values,
    searched,
    worth_of,
)


class Bolt:
    """The wedge between clock indices `base` and `base` + opening, near and far face in mm, one table of slabs, its runs."""

    def __init__(self, values, grid, runs, base, near, far, beside=()):
        self.values, self.grid, self.runs, self.base, self.near, self.far = values, grid, runs, base, near, far
        self.opening = int(runs.steps[-1])
        self.beside = list(beside)  # further faces that bound it: angle from the base, offset

    def slab(self, k, low, t, cuts):
        """Worth of a slab at k steps from the base, after cuts (k, offset of the upper edge): all of them bound it."""
        direction = k * np.pi / ROLLS
        c_low, c_top = low * STEP, (low + int(CELLS[t])) * STEP
        faces = list(self.beside)
        faces += [] if k == self.opening else [((self.opening - QUARTER) * np.pi / ROLLS, self.far)]
        if k > 0:
            faces.append((np.pi / 2, self.near))
        faces += [(j * np.pi / ROLLS + np.pi / 2, edge + KERF) for j, edge in cuts if j < k]
        least = first_place(direction, c_low, c_top, faces)
        place = -10_000 if least == -np.inf else int(np.ceil(least / 10.0))
        # lateral of the normal's frame points inwards: outwards from u is lateral at most −u
        turn = self.base + k + ROLLS // 2
        return worth_of(self.values, turn + ROLLS, -low - int(CELLS[t]), t, place)

    def bounded_by_last(self, before, after):
        """Whether two cuts meet no further out than a later slab begins: the class of fans is of such alone.

        Both are (steps, offset of the upper edge). A later slab turns on by the least turn there is, and begins no further in than
        where its lower face, `FAN_REACH` under the chord, meets the last cut.
        """
        turn, closest = (after[0] - before[0]) * np.pi / ROLLS, self.runs.closest * np.pi / ROLLS
        first, second = before[1] + KERF, after[1] + KERF
        # the cuts' crossing in axes along and square to the later one
        normals = np.array([[np.sin(turn), np.cos(turn)], [0.0, 1.0]])
        crossing = np.linalg.solve(normals, [first, second])[0]
        begins = (second * np.cos(closest) - FAN_REACH) / np.sin(closest)
        return crossing <= begins + 1e-9

    def under(self, top, first):
        """Slabs on the grid under a face, wood wasted between or not; the one a bolt lies flat on measures the least that takes."""
        least = self.runs.least_flat
        least_waste = max(int(np.ceil(least / STEP)), WASTE) + GAP if first else WASTE
        lowest = -(self.values.shape[2] // 2)
        for low, t in itertools.product(range(lowest, top), range(2)):
            under = top - (low + int(CELLS[t]))
            if (under == 0 and (not first or MENU[t] >= least)) or (under > 0 and under >= least_waste):
                yield low, t

    def best(self, seen, parted=None):
        """Exhaustive over fans that begin each run as the search looks at, every earlier cut in the way of the next slab.

        `parted` is what the bolt is worth that a first slab parts off, by steps and lower cell.
        """
        n, steps = len(self.grid.depths) // 2, self.runs.steps.tolist()

        @cache
        def on_far_face(top, cuts, first):
            """Slabs flat on the far face, from it inwards."""
            best = 0.0
            for low, t in self.under(top, first):
                best = max(best, self.slab(self.opening, low, t, cuts) + on_far_face(low - GAP, cuts, False))
            return best

        @cache
        def after(cuts):
            """What can follow these cuts, one a run."""
            best, before = 0.0, steps.index(cuts[-1][0]) + 1 if cuts else 0
            for k in range(before, len(steps)):
                cost = float(self.runs.cost[before, k])
                if cost >= NEVER:
                    continue
                if k == len(steps) - 1:
                    top = min(-int(np.ceil(self.far / STEP - 1e-6)), n)
                    best = max(best, on_far_face(top, cuts, True) - cost)
                    continue
                for low, t in seen.get(steps[k], ()):
                    worth = self.slab(steps[k], low, t, cuts)
                    if parted is not None and not cuts:
                        worth += parted(steps[k], low)
                    best = max(best, worth - cost + upwards(cuts, steps[k], low + int(CELLS[t])))
            return best

        @cache
        def upwards(cuts, k, top):
            """The run stacked on, or left at this face if a later slab then is bounded by its last cut."""
            cut, best = (k, top * STEP), -np.inf
            if not cuts or self.bounded_by_last(cuts[-1], cut):
                best = after((*cuts, cut))
            for low, (t, cells) in itertools.product(range(top + GAP, n), enumerate(CELLS)):
                if low + cells <= n and (low == top + GAP or low >= top + GAP + WASTE):
                    best = max(best, self.slab(k, low, t, cuts) + upwards(cuts, k, low + int(cells)))
            return best

        return after(())


def runs_of(opening, charge, kind):
    """Runs of a bolt: in two cradles, or at any angle."""
    if kind == "cradles":
        return fan_runs(int(opening), {1: charge, 2: charge * 1.5}, 0.05)
    return fan_runs(int(opening), {1: charge}, 0.0, free_spread=1, free=charge * 2, least_flat=15.0)


def parts_of(g, runs, kind, bases, nothing=False, charge=0.0):
    """What bolts that a slab of each run may part off are worth at most: (runs, bases, far faces, near faces)."""
    out = np.zeros((len(runs.steps), len(bases), len(FACES), len(FACES)))
    for k in () if nothing else runs.parting:
        own = runs_of(runs.steps[k], charge, kind)
        whole = np.zeros((len(own.steps), len(bases), len(FACES), len(FACES)))
        out[k] = fan_bounds(g, own, bases, FACES, whole)
    return out


@pytest.fixture(scope="module")
def begun():
    """How a run may begin, by opening, near face and steps from the base: (lower cell, thickness), asked one by one."""
    grid = grid_of()
    n = len(grid.depths) // 2
    out = {}
    for k, low, t in itertools.product(range(ANGLES[-1]), range(-n, n), range(2)):
        if low + CELLS[t] > n:
            continue
        values = np.zeros((ROLLS, 2, len(grid.depths), 2, len(grid.across) + 1), np.float32)
        turn = k + QUARTER  # of base 0
        where = (turn, 1, low + n, t) if turn < ROLLS else (turn - ROLLS, 0, n - low - CELLS[t], t)
        values[where] = 1.0
        g = fan_grid(values, grid)
        for opening, kind in itertools.product(ANGLES, ("cradles", "free")):
            if k >= opening:
                continue
            runs = runs_of(opening, 0.0, kind)
            found = fan_bounds(g, runs, np.array([0]), FACES, parts_of(g, runs, kind, np.array([0]), nothing=True))
            for near in range(len(FACES)):
                if found[0, :, near].any():
                    out.setdefault((int(opening), kind, near), {}).setdefault(k, []).append((low, t))
    return out


def test_runs_begin_near_the_piths_chord_and_the_first_on_its_face(begun):
    """Each begins no further than `FAN_REACH` under the chord; the one along the near face lies on that face, as thick as it must be, or
    over as much that is wasted.
    """
    assert len(begun) == len(ANGLES) * 2 * len(FACES)
    for (_, kind, near), by_step in begun.items():
        on_face = int(np.ceil(FACES[near] / STEP - 1e-6))
        least = 0.0 if kind == "cradles" else 15.0
        raised = on_face + GAP + max(int(np.ceil(least / STEP)), WASTE)
        fits = [(on_face, t) for t in range(2) if MENU[t] >= least] + list(
            itertools.product(range(raised, 5), range(2))
        )
        assert sorted(by_step.get(0, [])) == [(low, t) for low, t in fits if low + CELLS[t] <= 4]
        for k, firsts in by_step.items():
            assert all(low * STEP + MENU[t] >= -FAN_REACH for low, t in firsts) or k == 0


@pytest.mark.parametrize("kind", ["cradles", "free"])
@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("charge", [0.0, 0.2])
def test_the_best_of_all_fans_lies_between_what_is_found_and_the_bound(seed, charge, kind, begun):
    rng = np.random.default_rng(seed)
    grid = grid_of()
    values = random_values(rng, grid)
    g = fan_grid(values, grid)
    equal, cases, highest = 0, 0, dict.fromkeys(ANGLES.tolist(), 0.0)
    every = np.arange(2 * ROLLS)
    for opening in ANGLES.tolist():
        runs = runs_of(opening, charge, kind)
        nothing = parts_of(g, runs, kind, every, nothing=True)
        bounds = fan_bounds(g, runs, every, FACES, nothing)
        for base, far, near in itertools.product((0, 4), range(len(FACES)), range(len(FACES))):
            bolt = Bolt(values, grid, runs, base, FACES[near], FACES[far])
            best = bolt.best(begun[opening, kind, near])
            chain = np.zeros((MOST_SLABS, 5), np.int64)
            slabs = slabs_of_runs(g, runs, base, FACES[far])
            whole = parted_off(g, runs, FACES, FACES[near], FACES[far], nothing[:, base, :, near])
            found = best_fan(g, runs, base, FACES[near], FACES[far], slabs, whole, chain)
            assert found <= best + 1e-5
            assert best <= bounds[base, far, near] + 1e-5
            equal += found > best - 1e-5
            cases += 1
            highest[opening] = max(highest[opening], found)
    assert min(highest.values()) > 0.2
    assert equal >= 0.6 * cases


@pytest.mark.parametrize("kind", ["cradles", "free"])
@pytest.mark.parametrize("seed", range(4))
def test_a_fans_chain_is_worth_what_its_slabs_are(seed, kind):
    """Read back: runs in order of direction, each slab clear of every earlier cut, and each run charged once."""
    rng = np.random.default_rng(seed + 50)
    grid = grid_of()
    values = random_values(rng, grid)
    g = fan_grid(values, grid)
    chains = 0
    for opening, base, far, near in itertools.product(ANGLES.tolist(), (0, 5), range(len(FACES)), range(len(FACES))):
        runs = runs_of(opening, 0.1, kind)
        bolt = Bolt(values, grid, runs, base, FACES[near], FACES[far])
        chain = np.zeros((MOST_SLABS, 5), np.int64)
        whole = parted_off(g, runs, FACES, FACES[near], FACES[far], np.zeros((len(runs.steps), len(FACES))))
        slabs = slabs_of_runs(g, runs, base, FACES[far])
        value = best_fan(g, runs, base, FACES[near], FACES[far], slabs, whole, chain)
        rows = [row for row in chain[::-1].tolist() if row[0] != -999]
        chains += bool(rows)
        total, cuts, before = 0.0, {}, 0
        for k, group in itertools.groupby(rows, key=lambda row: row[0]):
            run = list(group)
            assert {row[4] for row in run} == {before}
            total -= runs.cost[before, k]
            step, last = int(runs.steps[k]), k == len(runs.steps) - 1
            ahead = list(cuts.items())
            for _, low, t, place, _ in run:
                worth = bolt.slab(step, low, t, ahead)
                assert worth > 0
                assert slab_worth(g, base + step + ROLLS // 2, low, t, 1, -place) == pytest.approx(worth)
                total += worth
            lows = sorted((low, low + int(CELLS[t])) for _, low, t, _, _ in run)
            assert all(c == b + GAP or c >= b + GAP + WASTE for (_, b), (c, _) in itertools.pairwise(lows))
            if last:
                assert max(b for _, b in lows) * STEP <= -FACES[far] + 1e-6
            cuts[step] = max(b for _, b in lows) * STEP
            before = k + 1
        assert value == pytest.approx(total, abs=1e-5)
    assert chains > 8


@pytest.mark.parametrize("seed", range(3))
def test_a_bolt_that_a_slab_parts_off_is_held_by_the_bound_and_sawn_in_its_turn(seed, begun):
    """Exhaustive: the first slab of a bolt at half its opening, the bolt under it, and the runs that follow."""
    rng, grid, kind, charge = np.random.default_rng(seed + 20), grid_of(), "cradles", 0.05
    g = fan_grid(random_values(rng, grid), grid)
    parted_ways = 0
    solved = searched(g.values, grid, charge, flat=0.05)
    for (a, opening), base in itertools.product(enumerate(ANGLES.tolist()), (0, 7)):
        runs = solved.runs[opening]
        for far, near in itertools.product(range(len(FACES)), range(len(FACES))):
            bolt = Bolt(g.values, grid, runs, base, FACES[near], FACES[far])

            @cache
            def parted(step, low, base=base, near=near, far=far, runs=runs, opening=opening):
                """With the bolt's own far face held against what lies under the slab: where that parts off it takes nothing."""
                angle = step * np.pi / ROLLS
                under = [at for at, face in enumerate(FACES) if face >= KERF - low * STEP - 1e-6]
                if step not in {int(runs.steps[k]) for k in runs.parting} or not under:
                    return 0.0
                # where the slab's lower face meets the near one, along the base
                meets = (FACES[near] * np.cos(angle) - low * STEP + KERF) / np.sin(angle)
                own_far = ((opening - QUARTER) * np.pi / ROLLS, FACES[far])
                if not np.cos(own_far[0]) * meets + np.sin(own_far[0]) * FACES[near] >= FACES[far] - 1e-6:
                    return 0.0
                faces = (g.values, grid, solved.runs[step], base, FACES[near], FACES[under[0]])
                if (step, kind, near) not in begun:
                    return 0.0
                found = Bolt(*faces, [own_far]).best(begun[step, kind, near])
                assert found == pytest.approx(Bolt(*faces).best(begun[step, kind, near]))
                return found

            seen = begun[opening, kind, near]
            plain, best = bolt.best(seen), bolt.best(seen, parted)
            assert plain <= best <= solved.bolts[a, base, far, near] + 1e-5
            ways = fan_of(solved, base, a, (near, far))
            worths = [fan_worth(g, way) for way in ways]
            assert max(worths, default=0.0) <= solved.bolts[a, base, far, near] + 1e-5
            if any(way.below for way in ways):
                parted_ways += worths[0] > plain + 1e-5
                assert len(ways) == 1 or not ways[1].below
    assert parted_ways >= 3


def fan_worth(g, way):
    """What a way's slabs are worth less its charges, with all that follows."""
    own = sum(float(g.values[one.roll, 1 if one.low == 0 else 0, one.depth, one.thickness, one.high if one.low == 0 else one.low])
              for one in way.own.slabs)  # fmt: skip
    return own - way.own.charge + sum(fan_worth(g, one) for side in (way.above, way.below) for one in side[:1])


@pytest.mark.parametrize("opening", [4, 6, 9])
@pytest.mark.parametrize("cradles", [(2,), (1, 3), (3,)])
def test_a_cradle_holds_a_run_by_near_face_far_face_or_the_face_before(opening, cradles):
    cost = {angle: 1.0 + angle for angle in cradles}
    runs = fan_runs(opening, cost, 0.25)
    steps = runs.steps.tolist()
    # what can be reached from either face by cradles alone
    reached = {0, opening, *(opening - angle for angle in cradles if angle < opening)}
    while more := {step + angle for step in reached for angle in cradles if step + angle < opening} - reached:
        reached |= more
    assert steps == sorted(reached) and runs.closest == min(np.diff(steps))
    for k, q in itertools.product(range(len(steps)), repeat=2):
        if q > k:
            continue
        before = 0 if q == 0 else steps[q - 1]
        if steps[k] in (0, opening):
            assert runs.cost[q, k] == 0.25
            continue
        faces = (steps[k] - before, steps[k], opening - steps[k])
        assert runs.cost[q, k] == min([cost[angle] for angle in faces if angle in cost], default=NEVER)
    free = fan_runs(opening, cost, 0.25, free_spread=1, free=9.0)
    assert free.steps.tolist() == list(range(opening + 1))
    assert free.cost[np.tril_indices(opening + 2, -1, opening + 1)].min() == NEVER
    assert np.triu(free.cost).max() == 9.0
