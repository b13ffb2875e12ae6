"""Plans of one log told apart, by their first setting and by the sets that they make, until none may be worth much more.

The bound of a look holds for every layout of its class, and at its best prices what makes it is a mixture of layouts. A plan has one first
setting, and makes whole sets. With prices π of the pools, a plan with first setting f that makes a number of sets within N is worth no
more than V_f(π) + U_N(π): V_f the best value of such a layout, which the programmes give for every f at once, and U_N what is unsold. So
no plan is worth more than the greatest, over f and the N that share out all numbers, of the least such bound at any prices looked at: a
branching in which every look serves all branches.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from pithline.plan.pricing.class_search import ClassFound, Look, ValuedLogs, layout_of, look_at
from pithline.plan.pricing.cutting_planes import Plane, least_of_planes, price_scale
from pithline.plan.pricing.fills import GridFills
from pithline.plan.pricing.price_search import SeenLayout, Sold, priced_layouts, prices_for, slope_of
from pithline.plan.problem.market import Market, SetsMade

Array = NDArray[np.float64]
CLOSE = 0.005
"""A branch is done with where its layouts foretell that no prices lessen its bound by more than this share."""
REACH = 4.0
"""How far its prices may go from the best of it so far, in units of `price_scale`."""
STEPS = 4
"""How often branches are parted or looked at, as many times as there are looks at most."""
LEAST = -1e12
"""Less than any layout is worth: one that there is not, beside sets of any number that gain at prices asked for fewer."""
WHOLE = 0.02
"""A number of sets this near to a whole one is one: a branch is not parted there."""


@dataclass(frozen=True, slots=True)
class ToldApart:
    """More looks at a class, and what no plan of it is worth more than, the known one's own worth at least."""

    looks: tuple[Look, ...]
    proven: float


@dataclass(slots=True)
class _First:
    """One first setting: its layouts that were seen, and the planes that they are under its worth."""

    layouts: list[SeenLayout] = field(default_factory=list)
    planes: list[Plane] = field(default_factory=list)

    def see(self, sold: Sold, layout: SeenLayout, looks: Sequence[Look]) -> None:
        """One layout more, and the planes that it is at the prices of some looks."""
        self.layouts.append(layout)
        for one in looks:
            for value, mated, single in priced_layouts(sold.market, [layout], one.prices, sold.costs):
                self.planes.append(Plane(value, slope_of(sold.market, one.prices, mated, single), one.prices))


@dataclass(slots=True)
class _Branches:
    """What plans are worth at most that make so many sets, by first setting: `most` has an array (F,) for each of `sets`."""

    market: Market
    looks: list[Look]
    sets: list[SetsMade] = field(default_factory=list)
    most: list[Array] = field(default_factory=list)

    def bounds(self, look: Look, sets: SetsMade) -> Array:
        """Of one look (F,); −∞ where no layout has such a first setting."""
        assert look.worths is not None
        unsold = self.market.unsold_bound(look.prices, sets)
        return np.where(look.worths > -np.inf, np.maximum(look.worths, LEAST) + unsold, -np.inf)

    def add(self, sets: SetsMade) -> None:
        """Plans that make so many sets."""
        self.sets.append(sets)
        self.most.append(np.minimum.reduce([self.bounds(look, sets) for look in self.looks]))

    def see(self, look: Look) -> None:
        """One look more."""
        self.looks.append(look)
        for sets, most in zip(self.sets, self.most, strict=True):
            np.minimum(most, self.bounds(look, sets), out=most)

    @property
    def highest(self) -> tuple[int, int]:
        """The branch that may be worth most: numbers of its sets, and of its first setting."""
        branch = int(np.argmax([one.max() for one in self.most]))
        return branch, int(self.most[branch].argmax())

    @property
    def bound(self) -> float:
        """No plan is worth more, where one with a first setting is worth anything."""
        return max(float(one.max()) for one in self.most)

    def best_prices(self, branch: int, first: int) -> Array:
        """Prices of the look that is best for a branch."""
        return min(self.looks, key=lambda one: float(self.bounds(one, self.sets[branch])[first])).prices

    def part(self, branch: int, made: Array) -> bool:
        """Part plans that make fewer sets of one product from those that make more; False where all numbers made (K,) are whole."""
        uneven = np.abs(made - np.rint(made)) * np.array(
            [self.market.set_worth[self.market.product == k].max(initial=0.0) for k in range(len(made))]
        )
        fewest, most = self.sets[branch]
        uneven[(np.abs(made - np.rint(made)) < WHOLE) | (made < fewest) | (made > most)] = 0.0
        k = int(uneven.argmax())
        if uneven[k] <= 0.0:
            return False
        self.sets.pop(branch)
        self.most.pop(branch)
        below, above = most.copy(), fewest.copy()
        below[k], above[k] = np.floor(made[k]), np.floor(made[k]) + 1.0
        self.add(SetsMade(fewest, below))
        self.add(SetsMade(above, most))
        return True


def looks_told_apart(
    valued: ValuedLogs,
    fills: GridFills,
    found: ClassFound,
    least: float,
    most_looks: int,
    stopped: Callable[[], bool] = lambda: False,
) -> ToldApart:
    """More looks at a class of one log, each at prices that suit the plans that may be worth most by then.

    They end where no plan may be worth more than one that is known, where those that may make whole sets and are worth that much by their
    layouts too, or where there were enough.

    Parameters
    ----------
    valued : ValuedLogs
        The log, and what is asked of it; its task tells first settings apart.
    fills : GridFills
        Slabs met before, and those that are met; filled.
    found : ClassFound
        What the search of the class found.
    least : float
        What a plan is worth that is known.
    most_looks : int
        Looks at most.
    stopped : callable
        Asked before each look.
    """
    task = valued.task
    market = task.economics.market
    sold = Sold(market, task.economics.costs)
    branches = _Branches(market, [one for one in found.looks if one.worths is not None])
    branches.add(market.any_sets)
    out: list[Look] = []
    firsts: dict[int, _First] = {}
    for _ in range(STEPS * most_looks):
        number, first = branches.highest
        if branches.bound <= least or len(out) >= most_looks or stopped():
            break
        if first not in firsts:
            firsts[first] = _First()
            for one in branches.looks:
                for rank in np.flatnonzero(np.array(one.firsts) == first)[:1]:
                    firsts[first].see(sold, layout_of(task, one, fills, int(rank)), branches.looks)
        sets, own, prices = branches.sets[number], firsts[first], branches.best_prices(number, first)
        if own.layouts:
            foretold, better = prices_for(replace(sold, sets=sets), own.layouts, own.planes, prices, REACH)
            better = np.maximum(better, market.floor)
            seen_before = any(np.allclose(better, one.prices, rtol=1e-9) for one in branches.looks)
            if seen_before or branches.bound - foretold <= CLOSE * branches.bound:
                mixed = least_of_planes(market, own.planes, prices, REACH * price_scale(market), sets)
                if mixed is None or not branches.part(number, mixed.sets):
                    break
                continue
            prices = better
        look = look_at(task, valued, found.bolts, prices, first)
        branches.see(look)
        own.see(sold, layout_of(task, look, fills, -1), branches.looks)
        out.append(look)
    return ToldApart(tuple(out), max(branches.bound, least))
