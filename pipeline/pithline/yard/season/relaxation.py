"""The linear relaxation by column generation: a bound on every plan, and prices.

A programme over few columns gives prices; all options are then weighed at those prices, each by its best pattern, and the
best of each log are added, until none is worth more than what the programme has. Prices jump from round to round; weighing at a mean of the
programme's and of those that gave the best bound so far needs fewer rounds (Wentges, International Transactions in Operational Research
4, 1997, 151-162).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pithline.yard.season.column_pool import ColumnPool, DualPrices, Weighing

Array = NDArray[np.float64]

ROUNDS = 80
CLOSE = 1e-5
"""The bound is worth no more rounds within this share of the programme's own value."""
CENTRE = 0.5
"""Share of the best prices so far in those at which options are weighed."""


@dataclass(frozen=True, slots=True)
class Relaxation:
    """Bound and prices; all money in 1/100.

    Parameters
    ----------
    bound : float
        No plan over all options is worth more.
    reduced : (J,) array
        What each option earns at these prices; `bound` falls by the best of the log less this where the option must be taken.
    best : (L,) array
        The greatest of 0 and the log's `reduced`.
    share : (J,) array
        How much of each option the relaxation takes.
    minute : (T,) array
        Price of a minute in each period, over its cost.
    sets : tuple of arrays
        Of each product, the price of a set by class: no plan's sets are worth more than so much each.
    point : Point
        All prices.
    """

    bound: float
    reduced: Array
    best: Array
    share: Array
    minute: Array
    sets: tuple[Array, ...]
    point: DualPrices


def relax(columns: ColumnPool, weigh: Weighing, close: float = CLOSE) -> Relaxation:
    """The relaxation of a season over all options, from the columns found so far; those it needs are added to them."""
    options = columns.options
    found, centre = None, None
    for _ in range(ROUNDS):
        now = columns.solve()
        if found is not None and found.bound - now.value <= close * max(abs(now.value), 1.0):
            break
        for at in [now.point] if centre is None else [now.point.toward(centre, CENTRE), now.point]:
            weighed = weigh(at)
            if found is None or weighed.bound < found.bound:
                found, centre = weighed, at
            if columns.add(weigh.better(weighed, now)):
                break
        else:
            break
    assert found is not None and centre is not None
    share = np.zeros(len(options))
    np.add.at(share, [j for j, _ in columns.list[: len(now.x)]], now.x)
    return Relaxation(found.bound, found.reduced, found.best, share, centre.minute, found.worth.slopes, centre)
