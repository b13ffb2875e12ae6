"""What is sold: sets and what they are made of, plates left over, demand; and what a plate counts at given prices.

A plate counts for the *pools* that hold it (all backs of one product, or those of them with figure); a *recipe* (one set of a
product) takes so many plates of each of its pools. Bookmatched plates are taken as mated pairs. What a pool holds beyond the
sets made is left over, and counts `loose` a plate, up to what is wanted.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pithline.plan.problem.parts import SawnPart

Array = NDArray[np.float64]
Counts = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Market:
    """Q pools, R recipes, K products, P kinds of plates. Worths in the objective's own unit: litres, or money.

    holds : (Q, P) whether plates of a kind count for a pool
    need : (R, Q) plates of a pool that one set takes
    set_worth : (R,) of one set
    product : (R,) whose demand a recipe's sets are
    demand : (K,) sets that can be sold; infinite where nothing is said
    pool_product : (Q,) the product a pool's plates belong to
    loose : (Q,) of a plate left over, where bookmatched one of a mated pair
    wanted : (Q,) plates of a pool that can be sold at all
    mated : (P,) whether plates count for sets in mated pairs only
    single : (P,) of a plate that has no mate
    cost : (P,) of sawing one plate
    """

    holds: Array
    need: Array
    set_worth: Array
    product: NDArray[np.int64]
    demand: Array
    pool_product: NDArray[np.int64]
    loose: Array
    wanted: Array
    mated: NDArray[np.bool_]
    single: Array
    cost: Array

    @property
    def floor(self) -> Array:
        """The least price of a plate of each pool, (Q,): what one left over counts where any number is wanted."""
        return np.where(np.isfinite(self.wanted), 0.0, self.loose)

    def plate_prices(self, prices: Array) -> tuple[Array, Array]:
        """What a mated plate and a single one of each kind count at prices (Q,) of the pools, net of sawing them: (P,) each."""
        mated = prices @ self.holds
        single = np.where(self.mated, np.minimum(self.single, mated), mated)
        return np.maximum(mated - self.cost, 0.0), np.maximum(single - self.cost, 0.0)

    def unsold_bound(self, prices: Array) -> float:
        """What sets and plates left over can add at most where each plate has been bought at its price.

        With the best value of any layout at these prices it bounds every plan (Lagrangian relaxation of the pools). Infinite
        where a set of unlimited demand is worth more than its plates cost.
        """
        spare = np.maximum(self.loose - prices, 0.0)
        paid = self.need @ np.maximum(prices, self.loose)
        total = 0.0
        for k in range(len(self.demand)):
            pools = (self.pool_product == k) & np.isfinite(self.wanted)
            total += float(spare[pools] @ self.wanted[pools])
            gain = float(np.max((self.set_worth - paid)[self.product == k], initial=0.0))
            if gain > 1e-9:
                total += gain * self.demand[k]
        return total

    def pooled(self, mated: Counts, single: Counts) -> Array:
        """Plates that count for sets, (Q,), of `mated` and `single` plates by kind, (P,) each."""
        return self.holds @ np.where(self.mated, mated, mated + single)

    def worth(self, mated: Counts, single: Counts) -> tuple[float, Counts]:
        """What plates by kind are worth, sold at their best, before any charge; and the sets made of each recipe, (R,).

        Recipes are filled in order of what a set is worth, so it is exact where pools of different recipes are disjoint or
        nested with the narrower one worth more.
        """
        have = self.pooled(mated, single)
        left = self.demand.copy()
        sets = np.zeros(len(self.set_worth), np.int64)
        for r in np.argsort(-self.set_worth, kind="stable"):
            uses = self.need[r] > 0
            most = min(float(np.min(have[uses] // self.need[r][uses])), left[self.product[r]])
            sets[r] = int(most)
            have = have - most * self.need[r]
            left[self.product[r]] -= most
        room = np.maximum(self.wanted - sets @ self.need, 0.0)
        spare = np.minimum(np.maximum(have, 0.0), room)
        lone = np.minimum(self.lone(single), np.maximum(room - spare, 0.0))
        return float(sets @ self.set_worth + spare @ self.loose + lone @ self.lone_worth), sets

    def lone(self, single: Counts) -> Array:
        """Single plates of kinds that count in pairs, by pool (Q,)."""
        return self.holds @ np.where(self.mated, single, 0)

    @property
    def lone_worth(self) -> Array:
        """What a single plate of a pool counts, (Q,); of nested pools the widest alone counts it."""
        kinds = self.holds > 0.0
        widest = np.array(
            [self.holds[q].sum() >= self.holds[:, kinds[q]].sum(axis=1).max() for q in range(len(self.loose))]
        )
        each = np.array([self.single[kinds[q]].max(initial=0.0) for q in range(len(self.loose))])
        return np.where(widest, each, 0.0)


def market_of(
    parts: Sequence[SawnPart], set_worth: Mapping[str, float], loose: Array, single: Array, cost: Array
) -> Market:
    """The market of some parts, a pool each; parts of one product make its sets.

    Parameters
    ----------
    parts : sequence of SawnPart
        P of them.
    set_worth : mapping of str to float
        Of one set, by product; litres, or money.
    loose, single, cost : (P,) arrays
        As in `Market`, by part.
    """
    names = list(dict.fromkeys(part.product for part in parts))
    product = np.array([names.index(part.product) for part in parts])
    count = np.array([part.part.count for part in parts])
    wanted = np.array([np.inf if part.demand is None else float(part.demand) for part in parts])
    sold = [float(np.min((wanted / count)[product == k])) for k in range(len(names))]
    return Market(
        holds=np.eye(len(parts)),
        need=np.array([np.where(product == k, count, 0) for k in range(len(names))]),
        set_worth=np.array([set_worth[name] for name in names]),
        product=np.arange(len(names)),
        demand=np.array(sold),
        pool_product=product,
        loose=np.asarray(loose, float),
        wanted=wanted,
        mated=np.array([part.part.bookmatched for part in parts]),
        single=np.asarray(single, float),
        cost=np.asarray(cost, float),
    )
