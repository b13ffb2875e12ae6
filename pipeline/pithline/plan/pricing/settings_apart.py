"""First settings of one log told apart: looks at prices that suit the one that may be worth most, until none may be worth much more.

The bound of a look holds for every layout of its class, and at its best prices what makes it is a mixture of layouts. A plan has one first
setting. With prices π of the pools, a layout with first setting f is worth no more than V_f(π) + U(π): V_f the best value of such a
layout, which the programmes give for every f at once, and U what is unsold. So no layout is worth more than the greatest, over f, of
the least such bound at any prices looked at: a branching by first settings, in which every look serves all branches.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from pithline.plan.pricing.class_search import ClassFound, Look, ValuedLogs, layout_of, look_at, most_by_first_setting
from pithline.plan.pricing.cutting_planes import Plane, affordable
from pithline.plan.pricing.fills import GridFills
from pithline.plan.pricing.price_search import SeenLayout, Sold, priced_layouts, prices_for, slope_of

Array = NDArray[np.float64]
CLOSE = 0.005
"""A first setting is done with where its layouts foretell that no prices lessen its bound by more than this share."""
REACH = 4.0
"""How far its prices may go from the best of it so far, in units of `price_scale`."""


@dataclass(slots=True)
class _Branch:
    """One first setting: its layouts that were seen, and the planes that they are under its worth."""

    layouts: list[SeenLayout] = field(default_factory=list)
    planes: list[Plane] = field(default_factory=list)


def looks_by_first_setting(
    valued: ValuedLogs,
    fills: GridFills,
    found: ClassFound,
    least: float,
    most_looks: int,
    stopped: Callable[[], bool] = lambda: False,
) -> tuple[Look, ...]:
    """More looks at a class of one log, each at prices that suit the first setting that may be worth most by then.

    They end where no first setting may be worth more than a plan that is known, where the one that may is worth that much by its layouts
    too, or where there were enough.

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
    looks, out = list(found.looks), list[Look]()
    branches: dict[int, _Branch] = {}
    while len(out) < most_looks and not stopped():
        most = most_by_first_setting(looks)
        if most is None or most.max() <= least:
            break
        first = int(most.argmax())
        prices = next(one.prices for one in looks if one.most is not None and one.most[first] == most[first])
        branch = branches.setdefault(first, _Branch())
        if branch.layouts:
            foretold, prices = prices_for(sold, branch.layouts, branch.planes, prices, REACH)
            prices = affordable(market, prices)
            seen_before = any(np.allclose(prices, one.prices, rtol=1e-9) for one in looks)
            if seen_before or most[first] - foretold <= CLOSE * most[first]:
                break
        look = look_at(task, valued, found.bolts, prices, first)
        layout = layout_of(task, look, fills, -1)
        branch.layouts.append(layout)
        for one in (*looks, look):
            for value, mated, single in priced_layouts(market, [layout], one.prices, sold.costs):
                branch.planes.append(Plane(value, slope_of(market, one.prices, mated, single), one.prices))
        looks.append(look)
        out.append(look)
    return tuple(out)
