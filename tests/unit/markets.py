"""Small markets, and what plates in them are worth by HiGHS (`scipy.optimize.milp`, a peer)."""

import itertools
from dataclasses import dataclass

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp

from pithline.mill.products import Limits, Part
from pithline.plan.columns.market_model import MarketModel
from pithline.plan.pricing.fills import Fill
from pithline.plan.problem.kinds import PlateKinds
from pithline.plan.problem.market import Market, market_of
from pithline.plan.problem.parts import SawnPart

TRADE = Limits("trade", np.radians(70), np.radians(78), np.radians(3))


def random_market(rng, products=2, kinds=4, unlimited=0.4):
    """A pool each kind of plate; kinds of one product make its sets, worth more than their plates loose."""
    product = np.sort(np.concatenate([np.arange(products), rng.integers(0, products, kinds - products)]))
    count = rng.integers(1, 4, kinds)
    mated = (count % 2 == 0) & (rng.random(kinds) < 0.7)
    loose = np.where(rng.random(kinds) < 0.7, rng.uniform(0.0, 1.0, kinds), 0.0)
    demand = np.where(rng.random(products) < unlimited, np.inf, rng.integers(0, 6, products))
    need = np.array([np.where(product == k, count, 0) for k in range(products)])
    return Market(
        holds=np.eye(kinds),
        need=need,
        set_worth=need @ loose + rng.uniform(0.5, 4.0, products),
        product=np.arange(products),
        demand=demand,
        pool_product=product,
        loose=loose,
        wanted=demand[product] * count,
        mated=mated,
        single=np.where(mated, loose * rng.uniform(0.0, 1.0, kinds), loose),
        cost=np.zeros(kinds),
    )


def figured_market(demand=np.inf):
    """Backs with figure and without: any back makes a plain set with a side, two with figure a dearer one."""
    return Market(
        holds=np.array([[1.0, 0.0, 0.0], [1.0, 1.0, 0.0], [0.0, 0.0, 1.0]]),  # figured backs, all backs, sides
        need=np.array([[2, 2, 2], [0, 2, 2]]),
        set_worth=np.array([9.0, 5.0]),
        product=np.array([0, 1]),
        demand=np.array([demand, np.inf]),
        pool_product=np.array([0, 1, 1]),
        loose=np.array([0.0, 0.5, 0.25]),
        wanted=np.array([np.inf, np.inf, np.inf]),
        mated=np.array([False, False, False]),
        single=np.array([0.0, 0.0, 0.0]),
        cost=np.zeros(3),
    )


def nested_pools(market):
    """(narrow, wide) of all pools of which one holds all kinds of the other and more."""
    held = market.holds > 0
    pairs = itertools.permutations(range(len(held)), 2)
    return [
        (one, other) for one, other in pairs if (held[one] < held[other]).any() and (held[one] <= held[other]).all()
    ]


def random_figured_market(rng, unlimited=0.4):
    """One or two products of a wide part and a narrow one, the wide one's plates of up to three factors; and its kinds and prices.

    A set is worth more than its plates are loose, whatever their figure.
    """
    parts, factors, prices, loose = [], [], {}, []
    for k in range(int(rng.integers(1, 3))):
        product, demand = f"p{k}", None if rng.random() < unlimited else int(rng.integers(0, 4))
        own = sorted(rng.choice([0.6, 1.0, 1.5, 2.5], int(rng.integers(1, 4)), replace=False).tolist())
        wide, narrow = rng.uniform(0.2, 1.0, 2)
        for name, count, width, levels, each in (
            ("wide", int(rng.integers(1, 3)), 100.0, own, wide),
            ("narrow", int(rng.integers(1, 3)), 50.0, [1.0], narrow),
        ):
            part = Part(name, count, 300.0, width, 5.0, False, loose_price=float(each))
            wanted = None if demand is None else demand * count
            parts.append(SawnPart(product, part, TRADE, 300.0, width, 5.0, 1.0, wanted, 0.0, width == 100.0))
            factors.append(levels)
            loose.append(float(each))
        prices[product] = 8.0 + float(rng.uniform(0.0, 4.0))
    more = [(p, factor) for p, own in enumerate(factors) for factor in own[1:]]
    kinds = PlateKinds(
        tuple(parts),
        (*range(len(parts)), *(p for p, _ in more)),
        (*(own[0] for own in factors), *(factor for _, factor in more)),
    )
    each = np.array([loose[p] for p in kinds.part]) * np.array(kinds.factor)
    return market_of(kinds, prices, each, each, np.zeros(len(each))), kinds, prices


def sold_by_trying(kinds, prices, counts):
    """What plates by kind (P,) are worth by the rule itself: every way to make up sets of one plate after the other is tried."""
    total = 0.0
    for product in prices:
        own = [p for p, part in enumerate(kinds.parts) if part.product == product]
        plates = tuple(
            tuple(sorted(kinds.factor[k] for k in kinds.of_part(p) for _ in range(int(counts[k])))) for p in own
        )
        total += _best_of(tuple(kinds.parts[p] for p in own), prices[product], plates, None)
    return total


def _best_of(parts, price, plates, left):
    """The best of selling what there is loose, and of making one more set of any plates."""
    if left is None:
        left = min((part.demand // part.part.count for part in parts if part.demand is not None), default=99)
        left = left, left
    demand, sets = left
    best = 0.0
    for part, factors in zip(parts, plates, strict=True):
        most = len(factors) if part.demand is None else part.demand - (demand - sets) * part.part.count
        best += part.part.loose_price * sum(sorted(factors, reverse=True)[: max(most, 0)])
    if sets == 0:
        return best
    ways = [sorted(set(itertools.combinations(own, part.part.count))) for part, own in zip(parts, plates, strict=True)]
    for way in itertools.product(*ways):
        rest = []
        for own, taken in zip(plates, way, strict=True):
            own = list(own)
            for factor in taken:
                own.remove(factor)
            rest.append(tuple(own))
        factor = min(factor for part, taken in zip(parts, way, strict=True) if part.widest for factor in taken)
        best = max(best, price * factor + _best_of(parts, price, tuple(rest), (demand, sets - 1)))
    return best


@dataclass(frozen=True)
class FixedFills:
    """A slab that can be filled in a few ways, (P, 2) mated and single plates each; it takes the best, or none."""

    options: tuple[np.ndarray, ...]

    def fills(self, worths):
        return [self._fill(mated, single) for mated, single in zip(worths.mated, worths.single, strict=True)]

    def _fill(self, mated, single):
        values = [float(one[:, 0] @ mated + one[:, 1] @ single) for one in self.options]
        value, best = max((value, -k) for k, value in enumerate([0.0, *values]))
        counts = np.zeros_like(self.options[0]) if best == 0 else self.options[-best - 1]
        return value, Fill(counts, np.zeros((0, 4), np.int64))


def random_fills(rng, kinds=4, most=3):
    """A slab with one to three ways to fill it."""
    options = [rng.integers(0, most, (kinds, 2)) for _ in range(int(rng.integers(1, 4)))]
    for one in options:
        one[:, 0] = one[:, 0] // 2 * 2
    return FixedFills(tuple(np.asarray(one, np.int64) for one in options))


@dataclass
class SalesModel:
    """Sets, plates left over and choices as a mixed-integer programme of its own, to be solved by HiGHS."""

    market: Market

    def __post_init__(self):
        self.columns, self.rows = [], []  # (worth, mated (P,), single (P,), limit, whole)

    def add(self, worth, counts=None, limit=1.0):
        """A choice with what it is worth itself and the plates it gives; its number."""
        kinds = self.market.holds.shape[1]
        self.columns.append((worth, np.zeros((kinds, 2)) if counts is None else counts, limit))
        return len(self.columns) - 1

    def at_most(self, entries, limit):
        """Σ entries ≤ limit, by the choices' numbers."""
        self.rows.append((entries, limit))

    def best(self, sawn=None, whole=True):
        """The greatest worth; `whole` False relaxes what is whole."""
        market = self.market
        m, r, q = len(self.columns), len(market.set_worth), len(market.loose)
        kinds = market.holds.shape[1]
        fixed = np.zeros((kinds, 2)) if sawn is None else sawn
        width = m + r + 2 * q
        gain = np.zeros(width)
        gain[:m] = [worth - market.cost @ counts.sum(axis=1) for worth, counts, _ in self.columns]
        gain[m : m + r], gain[m + r : m + r + q], gain[m + r + q :] = market.set_worth, market.loose, market.lone_worth
        rows, limits = [], []
        for entries, limit in self.rows:
            row = np.zeros(width)
            row[list(entries)] = list(entries.values())
            rows.append(row)
            limits.append(limit)
        counts = np.array([one for _, one, _ in self.columns]).reshape(m, kinds, 2)
        for pool in range(q):
            held = market.holds[pool] > 0
            row = np.zeros(width)  # used in sets or left over: no more than there are
            have = counts[:, held, 0].sum(axis=1) + counts[:, held & ~market.mated, 1].sum(axis=1)
            row[:m], row[m : m + r], row[m + r + pool] = -have, market.need[:, pool], 1.0
            rows.append(row)
            limits.append(fixed[held, 0].sum() + fixed[held & ~market.mated, 1].sum())
            row = np.zeros(width)
            row[:m], row[m + r + q + pool] = -counts[:, held & market.mated, 1].sum(axis=1), 1.0
            rows.append(row)
            limits.append(fixed[held & market.mated, 1].sum())
            if np.isfinite(market.wanted[pool]):
                row = np.zeros(width)
                row[m : m + r], row[m + r + pool], row[m + r + q + pool] = market.need[:, pool], 1.0, 1.0
                rows.append(row)
                limits.append(market.wanted[pool])
        for narrow, wide in nested_pools(market):  # what is left over of a pool is so of the pools that it lies in
            row = np.zeros(width)
            row[m + r + narrow], row[m + r + wide] = 1.0, -1.0
            rows.append(row)
            limits.append(0.0)
        for k in range(len(market.demand)):
            if np.isfinite(market.demand[k]):
                row = np.zeros(width)
                row[m : m + r] = market.product == k
                rows.append(row)
                limits.append(market.demand[k])
        most = np.concatenate([[limit for _, _, limit in self.columns], np.full(r + 2 * q, np.inf)])
        found = milp(
            -gain,
            constraints=LinearConstraint(np.array(rows), ub=limits),
            bounds=Bounds(0, most),
            integrality=np.ones(width) if whole else None,
        )
        assert found.success
        return -found.fun - float(market.cost @ fixed.sum(axis=1))


def sold_by_milp(market, counts):
    """What plates, (P, 2) mated and single by kind, are worth at their best."""
    return SalesModel(market).best(counts)


def models_of_fills(market, fills):
    """The model and its peer of slabs that are each filled in one of some ways, `fills` by slab, or not at all."""
    model, peer = MarketModel(market), SalesModel(market)
    for own in fills:
        model.add_fills(1, own)
        choices = [peer.add(0.0, fill.counts) for fill in own]
        if choices:
            peer.at_most(dict.fromkeys(choices, 1.0), 1.0)
    return model, peer
