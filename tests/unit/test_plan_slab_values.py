"""Slabs filled with strips, billets and plates: the compiled programmes against enumeration of every way to fill."""

import itertools
from functools import cache

import numpy as np
import pytest

from pithline.plan.programmes.slab_strips import best_fill, stacked_plates
from pithline.plan.programmes.slab_values import NARROWEST, TRIFLE, FillRules, PlateWorth, slab_values

PARTS, DEPTHS, ACROSS, ALONG = 3, 12, 9, 7
NO_WEIGHT = np.zeros((0, 0, 0), np.float32)
RULES = FillRules(
    thickness=np.array([4.0, 5.0, 9.0]),
    cells_along=np.array([3, 2, 4]),
    cells_across=np.array([4, 2, 3]),
    width_class=np.array([2, 0, 1]),
    class_width=np.array([2, 3, 4]),
    menu=np.array([10.0, 16.0, 24.0]),
    depth_step=2.5,
    resaw_kerf=1.2,
    rip_cells=1,
    spring=0.0,
)


def random_places(seed, share=0.6):
    """Where plates pass, at random; and where any along does."""
    passing = (np.random.default_rng(seed).random((PARTS, DEPTHS, ACROSS, ALONG)) < share).astype(np.uint8)
    for p in range(PARTS):  # none hangs over the slab's end or edge
        passing[p, :, ACROSS - RULES.cells_across[p] + 1 :] = 0
        passing[p, :, :, ALONG - RULES.cells_along[p] + 1 :] = 0
    return passing, passing.any(axis=-1).astype(np.uint8)


def random_worth(seed, costly):
    rng = np.random.default_rng(seed)
    mated = rng.uniform(0.2, 1.0, PARTS)
    costs = rng.uniform(0.0, 0.3, 3) if costly else np.zeros(3)
    return PlateWorth(mated, mated * rng.choice([0.0, 0.5, 1.0], PARTS), *costs)


def layers_of(p, thickness, rules=RULES):
    """Plates of a part through a slab: each takes its thickness, and a kerf but for the last."""
    n = 0
    while (n + 1) * rules.thickness[p] + n * rules.resaw_kerf <= thickness - rules.spring + 0.01:
        n += 1
    return n


def billet_plates(passing, d, t, p, u, x, rules=RULES):
    """Mated and single plates of the billet of a part begun at a place: neighbours that pass are mates, in pairs from below."""
    passes = []
    for j in range(layers_of(p, rules.menu[t], rules)):
        middle = d * rules.depth_step + rules.thickness[p] / 2 + j * (rules.thickness[p] + rules.resaw_kerf)
        at = int(np.floor(middle / rules.depth_step + 0.5))
        passes.append(at < DEPTHS and bool(passing[p, at, u, x]))
    runs = [len(list(group)) for good, group in itertools.groupby(passes) if good]
    return sum(run // 2 * 2 for run in runs), sum(run % 2 for run in runs)


class Slab:
    """One slab to be filled in every way there is."""

    def __init__(self, passing, d, t, worth, rules=RULES, weight=None):
        self.passing, self.d, self.t, self.worth, self.rules, self.weight = passing, d, t, worth, rules, weight

    @cache  # noqa: B019
    def billet(self, p, u, x):
        mated, single = billet_plates(self.passing, self.d, self.t, p, u, x, self.rules)
        if mated + single == 0:
            return -np.inf
        share = 1.0 if self.weight is None else float(self.weight[p, u, x])
        return share * (mated * self.worth.mated[p] + single * self.worth.single[p]) - self.worth.billet

    @cache  # noqa: B019
    def along(self, c, u, x):
        """Best billets of a strip from `x` on."""
        if x >= ALONG:
            return 0.0
        best = self.along(c, u, x + 1)
        wide = self.rules.class_width[c]
        for p in range(PARTS):
            fits = NARROWEST * wide <= 10 * self.rules.cells_across[p] <= 10 * wide
            if fits and x + self.rules.cells_along[p] <= ALONG:
                best = max(best, self.billet(p, u, x) + self.along(c, u, x + int(self.rules.cells_along[p])))
        return best

    @cache  # noqa: B019
    def strips(self, low, high):
        if low >= high:
            return 0.0
        best = self.strips(low + 1, high)
        for c, wide in enumerate(self.rules.class_width):
            if low + wide <= high:
                strip = self.along(c, low, 0) - self.worth.strip
                best = max(best, strip + self.strips(low + int(wide) + self.rules.rip_cells, high))
        return best

    def best(self, low, high):
        return max(self.strips(low, high) - self.worth.slab, 0.0)


@pytest.mark.parametrize("costly", [False, True])
@pytest.mark.parametrize("seed", range(4))
def test_every_slab_between_any_places_is_worth_its_best_fill(seed, costly):
    passing, some = random_places(seed)
    worth = random_worth(seed, costly)
    found = slab_values(passing, some, RULES, worth)
    assert found.shape == (2, DEPTHS, 3, ACROSS + 1) and found.max() > 1.0
    for d, t in itertools.product(range(DEPTHS), range(3)):
        if d + RULES.menu[t] / RULES.depth_step > DEPTHS - 1:
            assert not found[:, d, t].any()
            continue
        slab = Slab(passing, d, t, worth)
        outwards = [slab.best(u, ACROSS) for u in range(ACROSS + 1)]
        np.testing.assert_allclose(found[0, d, t], outwards, atol=2 * TRIFLE)
        np.testing.assert_allclose(found[1, d, t], [slab.best(0, u) for u in range(ACROSS + 1)], atol=2 * TRIFLE)


@pytest.mark.parametrize("spring", [0.0, 3.0])
def test_a_billets_plates_are_stacked_through_the_slab(spring):
    rules = RULES._replace(spring=spring)
    passing, _ = random_places(9)
    for d, t in itertools.product(range(DEPTHS), range(3)):
        plates = stacked_plates(passing, d, t, rules)
        for p, u, x in np.ndindex(PARTS, ACROSS, ALONG):
            assert tuple(plates[p, u, x]) == billet_plates(passing, d, t, p, u, x, rules)
    assert stacked_plates(passing, 0, 2, RULES).sum() > stacked_plates(passing, 0, 2, RULES._replace(spring=8.0)).sum()


@pytest.mark.parametrize("weighed", [False, True])
@pytest.mark.parametrize("seed", range(5))
def test_a_slab_is_read_back_as_it_is_worth(seed, weighed):
    passing, _ = random_places(seed + 20)
    worth = random_worth(seed + 20, True)
    rng = np.random.default_rng(seed)
    weight = rng.uniform(0.3, 1.0, (PARTS, ACROSS, ALONG)).astype(np.float32) if weighed else None
    for d, t, (low, high) in itertools.product((0, 3), range(3), ((0, ACROSS), (2, ACROSS), (0, 5), (1, 4), (4, 4))):
        plates = stacked_plates(passing, d, t, RULES)
        counts, strips = np.zeros((PARTS, 2), np.int64), np.full((64, 4), -1, np.int64)
        weights = NO_WEIGHT if weight is None else weight
        value = best_fill(plates, plates.any(axis=(2, 3)), weights, low, high, RULES, worth, counts, strips)
        assert value == pytest.approx(Slab(passing, d, t, worth, weight=weight).best(low, high), abs=1e-5)
        told = strips[strips[:, 0] >= 0]
        total, taken = 0.0, np.zeros((PARTS, 2), np.int64)
        for u, c, p, x in told:
            assert low <= u and u + RULES.class_width[c] <= high and x + RULES.cells_along[p] <= ALONG
            share = 1.0 if weight is None else weight[p, u, x]
            total += share * (plates[p, u, x] @ [worth.mated[p], worth.single[p]]) - worth.billet
            taken += np.where(np.arange(PARTS)[:, None] == p, plates[p, u, x], 0)
        by_strip = {int(u): int(c) for u, c, _, _ in told}
        total -= worth.strip * len(by_strip) + worth.slab
        assert value == pytest.approx(max(total, 0.0), abs=1e-5)
        np.testing.assert_array_equal(counts, taken)
        for (u, c), (v, _) in itertools.pairwise(sorted(by_strip.items())):
            assert u + RULES.class_width[c] + RULES.rip_cells <= v
        for u in by_strip:  # billets of one strip side by side
            ends = sorted((int(x), int(x + RULES.cells_along[p])) for v, _, p, x in told if v == u)
            assert all(b <= c for (_, b), (c, _) in itertools.pairwise(ends))
