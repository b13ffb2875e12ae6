"""Prices of pools that make the Lagrangian bound least, by cutting planes in a box round the best prices so far.

With prices π of the pools, no plan is worth more than L(π) = V(π) + U(π): V the best value of any layout at these prices, U what
sets and plates left over can add (`Market.unsold_bound`). V is convex in π, its slope the plates that the best layout puts in
each pool; each layout seen is a plane under V. The least of the planes plus U, a linear programme, foretells where L is least.
Wild steps are kept in by a box (Marsten, Hogan and Blankenship, "The boxstep method for large-scale optimization", Operations
Research 23(3), 1975; from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linprog

from pithline.plan.problem.market import Market, SetsMade

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Plane:
    """V is at least value + slope·(π − prices), (Q,) each."""

    value: float
    slope: Array
    prices: Array


def price_scale(market: Market) -> Array:
    """How far prices of the pools (Q,) may sensibly move: half of what a set's share by plates would be, or its loose worth."""
    share = np.zeros(len(market.loose))
    for r, need in enumerate(market.need):
        uses = need > 0
        share[uses] = np.maximum(share[uses], market.set_worth[r] / need[uses])
    return np.maximum(share / 2.0, np.maximum(market.loose, 1e-6))


MOST_OF_SCALE = 2.0
"""No price needs to be above this many times `price_scale`: there a plate counts as much as the whole set that it is part of."""


class LeastOfPlanes(NamedTuple):
    """The least of planes and U, its prices (Q,), and the sets of each product that the mixture of layouts makes there (K,)."""

    value: float
    prices: Array
    sets: Array


MUST_BE_MADE = 4.0
"""How many times dearer where a number of sets is asked for: one that a log does not give, or only just, makes its plates so dear."""


def least_of_planes(
    market: Market, planes: Sequence[Plane], centre: Array, reach: Array, sets: SetsMade | None = None
) -> LeastOfPlanes | None:
    """The least of planes and U; None where there is none.

    Variables: prices, V (no less than 0: a log may be left), one T a product (its share of U), and h = max(loose − price, 0) a pool.

    Parameters
    ----------
    market : Market
        What is sold.
    planes : sequence of Plane
        Under the best value of any layout.
    centre, reach : (Q,) arrays
        Prices of the pools, and how far from them others are tried.
    sets : SetsMade, optional
        Of plans that make so many alone.
    """
    q, k = len(market.loose), len(market.demand)
    n = q + 1 + k + q
    rows: list[Array] = []
    most: list[float] = []
    made: list[tuple[int, int, float]] = []  # row, product, sets that it stands for

    def at_most(row: Array, limit: float) -> None:
        rows.append(row)
        most.append(limit)

    for plane in planes:
        row = np.zeros(n)
        row[:q], row[q] = plane.slope, -1.0
        at_most(row, float(plane.slope @ plane.prices) - plane.value)
    numbers = market.any_sets if sets is None else sets
    for product in range(k):
        own = (market.pool_product == product) & np.isfinite(market.wanted)
        spare = np.zeros(n)
        spare[q + 1 + product] = -1.0
        spare[q + 1 + k :] = np.where(own, np.where(np.isfinite(market.wanted), market.wanted, 0.0), 0.0)
        for number in sorted({float(numbers.fewest[product]), float(numbers.most[product])}):
            if number == 0.0:
                at_most(spare, 0.0)
                continue
            for r in np.flatnonzero(market.product == product):
                made.append((len(rows), product, number if np.isfinite(number) else 1.0))
                if not np.isfinite(number):
                    one = np.zeros(n)
                    one[:q] = -market.need[r]
                    at_most(one, -float(market.set_worth[r]))
                    continue
                one = spare.copy()
                one[:q] -= number * market.need[r]
                one[q + 1 + k :] -= number * market.need[r]
                at_most(one, -number * float(market.set_worth[r]))
    for pool in range(q):
        row = np.zeros(n)
        row[pool], row[q + 1 + k + pool] = -1.0, -1.0
        at_most(row, -float(market.loose[pool]))
    cost = np.zeros(n)
    cost[q : q + 1 + k] = 1.0
    low = np.maximum(market.floor, centre - reach)
    # a plate that counts as much as its whole set can count no more: the price of what a log has none of would else have no end;
    # where sets must be made, or may not, plates of them can
    high = np.minimum(centre + reach, MOST_OF_SCALE * price_scale(market) * (1.0 if sets is None else MUST_BE_MADE))
    bounds = [*zip(low, np.maximum(low, high), strict=True), (0.0, None), *[(None, None)] * k, *[(0.0, None)] * q]
    found = linprog(cost, A_ub=np.array(rows), b_ub=np.array(most), bounds=bounds, method="highs")
    if found.status != 0:
        return None
    mixed = np.zeros(k)
    for at, product, number in made:
        mixed[product] -= number * found.ineqlin.marginals[at]
    return LeastOfPlanes(float(found.fun), found.x[:q], mixed)


def affordable(market: Market, prices: Array) -> Array:
    """Prices raised so that no set of unlimited demand is worth more than its plates cost; else the bound is infinite."""
    out = np.maximum(prices, market.floor)
    for r, need in enumerate(market.need):
        paid = float(need @ out)
        if not np.isfinite(market.demand[market.product[r]]) and paid < market.set_worth[r]:
            uses = need > 0
            lift = market.set_worth[r] - paid
            out[uses] += lift / float(need[uses].sum())
    return out
