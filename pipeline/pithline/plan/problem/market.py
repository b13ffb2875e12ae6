"""What is sold: sets and what they are made of, plates left over, demand; and what a plate counts at given prices.

A plate counts for the *pools* that hold it (all backs of one product, or those of them with figure); a *recipe* (one set of a
product) takes so many plates of each of its pools. Bookmatched plates are taken as mated pairs. What a pool holds beyond the
sets made is left over, and counts `loose` a plate, up to what is wanted.

Pools nest: a plate counts for every pool that holds it, and a set takes its plates from all of those. So a price of a plate with
figure is that of any plate, and what its figure adds; and `loose` of a narrower pool is what it adds to that of the wider one.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pithline.plan.problem.kinds import PlateKinds
from pithline.plan.problem.parts import first_alike

Array = NDArray[np.float64]
Counts = NDArray[np.int64]


class SetsMade(NamedTuple):
    """How many sets of each product a plan makes, (K,): at least, and at most."""

    fewest: Array
    most: Array


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
    inside : (Q,) the narrowest pool that holds all of a pool's kinds and more; −1 where none does
    lone_worth : (Q,) what a single plate of a pool counts; of nested pools the widest alone counts it
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
    inside: NDArray[np.int64] = field(init=False)
    lone_worth: Array = field(init=False)

    def __post_init__(self) -> None:
        held = self.holds > 0.0
        size = held.sum(axis=1)
        wider = (~held[:, None, :] | held[None, :, :]).all(axis=2) & (size[None, :] > size[:, None])
        nearest = np.where(wider, size[None, :], held.shape[1] + 1).argmin(axis=1)
        object.__setattr__(self, "inside", np.where(wider.any(axis=1), nearest, -1))
        widest = [self.holds[q].sum() >= self.holds[:, held[q]].sum(axis=1).max() for q in range(len(self.loose))]
        each = [self.single[held[q]].max(initial=0.0) for q in range(len(self.loose))]
        object.__setattr__(self, "lone_worth", np.where(np.array(widest, bool), np.array(each, float), 0.0))

    @property
    def from_wide_to_narrow(self) -> tuple[tuple[int, int], ...]:
        """(pool, the pool that it lies in) of those that lie in one, wider pools first."""
        order = np.argsort(-(self.holds > 0.0).sum(axis=1), kind="stable")
        return tuple((int(q), int(self.inside[q])) for q in order if self.inside[q] >= 0)

    @property
    def any_sets(self) -> SetsMade:
        """As many sets of each product as can be sold, or fewer."""
        return SetsMade(np.zeros(len(self.demand)), self.demand)

    @property
    def floor(self) -> Array:
        """The least price of a plate of each pool, (Q,): what one left over counts where any number is wanted."""
        return np.where(np.isfinite(self.wanted), 0.0, self.loose)

    def plate_prices(self, prices: Array) -> tuple[Array, Array]:
        """What a mated plate and a single one of each kind count at prices (Q,) of the pools, net of sawing them: (P,) each."""
        mated = prices @ self.holds
        single = np.where(self.mated, np.minimum(self.single, mated), mated)
        return np.maximum(mated - self.cost, 0.0), np.maximum(single - self.cost, 0.0)

    def unsold_bound(self, prices: Array, sets: SetsMade | None = None) -> float:
        """What sets and plates left over can add at most where each plate has been bought at its price.

        With the best value of any layout at these prices it bounds every plan (Lagrangian relaxation of the pools), or every plan that
        makes so many sets. Infinite where a set of unlimited number is worth more than its plates cost.
        """
        spare = np.maximum(self.loose - prices, 0.0)
        paid = self.need @ np.maximum(prices, self.loose)
        fewest, most = self.any_sets if sets is None else sets
        total = 0.0
        for k in range(len(self.demand)):
            pools = (self.pool_product == k) & np.isfinite(self.wanted)
            total += float(spare[pools] @ self.wanted[pools])
            gain = float(np.max((self.set_worth - paid)[self.product == k], initial=-np.inf))
            if gain > 1e-9:
                total += gain * most[k]
            elif gain < 0.0 < fewest[k]:
                total += gain * fewest[k]
        return total

    def pooled(self, mated: Counts, single: Counts) -> Array:
        """Plates that count for sets, (Q,), of `mated` and `single` plates by kind, (P,) each."""
        return self.holds @ np.where(self.mated, mated, mated + single)

    def worth(self, mated: Counts, single: Counts) -> tuple[float, Counts]:
        """What plates by kind are worth, sold at their best, before any charge; and the sets made of each recipe, (R,).

        Recipes are filled in order of what a set is worth, so it is exact where pools of different recipes are disjoint or
        nested with the narrower one worth more. What is left over of a pool is so of every pool that it lies in.
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
        for narrow, wide in self.from_wide_to_narrow:
            spare[narrow] = min(spare[narrow], spare[wide])
        lone = np.minimum(self.lone(single), np.maximum(room - spare, 0.0))
        return float(sets @ self.set_worth + spare @ self.loose + lone @ self.lone_worth), sets

    def lone(self, single: Counts) -> Array:
        """Single plates of kinds that count in pairs, by pool (Q,)."""
        return self.holds @ np.where(self.mated, single, 0)


def market_of(kinds: PlateKinds, set_worth: Mapping[str, float], loose: Array, single: Array, cost: Array) -> Market:
    """The market of some kinds of plates; parts of one product make its sets.

    A kind's pool holds it and the same part's kinds of greater factors. Parts that are alike share the pools of the first of them, those of
    the others hold nothing. A product has a set for each factor: its widest plates are of that factor or a greater one, and it is worth so
    many times a plain one.

    Parameters
    ----------
    kinds : PlateKinds
        P of them.
    set_worth : mapping of str to float
        Of one plain set, by product; litres, or money.
    loose, single, cost : (P,) arrays
        As in `Market`, by kind; `loose` is of a plate of that kind.
    """
    parts, factor, alike = kinds.sawn, np.array(kinds.factor), first_alike(kinds.parts)
    part = np.array([alike[p] for p in kinds.part])  # parts that are alike are one
    own_pool = part == np.array(kinds.part)
    names = list(dict.fromkeys(one.product for one in parts))
    product = np.array([names.index(one.product) for one in parts])
    count = np.array([one.part.count for one in parts])
    wanted = np.array([np.inf if one.demand is None else float(one.demand) for one in parts])
    sold = [float(np.min((wanted / count)[product == k])) for k in range(len(names))]
    added = np.array(loose, float)
    for p in range(len(kinds.parts)):
        own = list(kinds.of_part(p))
        added[own] = np.diff(added[own], prepend=0.0)
    added[~own_pool] = 0.0
    together = [
        wanted[(part == p) & (factor == f)].sum() if own else 0.0
        for p, f, own in zip(part, factor, own_pool, strict=True)
    ]
    recipes = [recipe for k in range(len(names)) for recipe in _recipes(kinds, np.flatnonzero(product == k))]
    recipes = [*(one for one in recipes if one.plain), *(one for one in recipes if not one.plain)]
    sets = np.array([int(product[one.need > 0][0]) for one in recipes])
    return Market(
        holds=(own_pool[:, None] & (part[:, None] == part[None, :]) & (factor[None, :] >= factor[:, None])).astype(
            float
        ),
        need=np.array([one.need for one in recipes]),
        set_worth=np.array([set_worth[names[k]] * one.factor for k, one in zip(sets, recipes, strict=True)]),
        product=sets,
        demand=np.array(sold),
        pool_product=product,
        loose=added,
        wanted=np.array(together, float),
        mated=np.array([one.part.bookmatched for one in parts]),
        single=np.asarray(single, float),
        cost=np.asarray(cost, float),
    )


class _Recipe(NamedTuple):
    """A set of one product: what its figure multiplies its price by, plates that it takes of each pool (Q,), whether any plates do."""

    factor: float
    need: NDArray[np.int64]
    plain: bool


def _recipes(kinds: PlateKinds, own: NDArray[np.intp]) -> list[_Recipe]:
    """The sets that can be made of one product's kinds, by rising factor."""
    parts, alike = sorted({kinds.part[kind] for kind in own}), first_alike(kinds.parts)
    widest = [p for p in parts if kinds.parts[p].widest]
    factors = sorted({kinds.factor[kind] for p in widest for kind in kinds.of_part(p)})
    out: list[_Recipe] = []
    for factor in factors:
        need = np.zeros(len(kinds.part), np.int64)
        for p in parts:
            pools = kinds.of_part(alike[p])
            enough = next((n for n, kind in enumerate(pools) if p not in widest or kinds.factor[kind] >= factor), None)
            if enough is None:
                return out  # plates of one of its widest parts are never so figured
            need[list(pools[: enough + 1])] += kinds.parts[p].part.count
        out.append(_Recipe(factor, need, not out))
    return out
