"""Every way to saw a log: a plan, and a period of weeks in which the log is done.

Weeks between which no order's last day, no log's first day and no plan's last week falls are alike, so they make one period
whose hours add up: a log may be begun on Friday and ended on Monday. Sets of a product that are ready between the same two due
dates are alike too, and share a class: the number of the first due week they keep.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pithline.yard.season.model import Season, counted_gain, sawing_cost

Array = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class SawingOptions:
    """All options of a season, J of them, over K products and T periods.

    Parameters
    ----------
    log, column, period, minutes, cost : (J,) arrays
        Indices into the season; minutes; cost less the log's priority, 1/100.
    sets, ready : (J, K) arrays
        Complete sets that can still be sold, and their class; 0 sets where every order's day is missed.
    products : tuple of str
    due : tuple of arrays
        Of each product, its distinct due weeks, rising; a class is a place in it.
    first, weeks : (T,) arrays
        First week of each period, and how many it has.
    """

    log: Ints
    column: Ints
    period: Ints
    minutes: Ints
    cost: Ints
    sets: Ints
    ready: Ints
    products: tuple[str, ...]
    due: tuple[Ints, ...]
    first: Ints
    weeks: Ints
    minutes_per_week: int

    def __len__(self) -> int:
        return len(self.log)

    @property
    def room(self) -> Ints:
        """Minutes of each period."""
        return self.weeks * self.minutes_per_week

    def take(self, chosen: Ints) -> SawingOptions:
        """The same season with some of the options."""
        return replace(
            self,
            log=self.log[chosen],
            column=self.column[chosen],
            period=self.period[chosen],
            minutes=self.minutes[chosen],
            cost=self.cost[chosen],
            sets=self.sets[chosen],
            ready=self.ready[chosen],
        )


def make_options(season: Season) -> SawingOptions:
    """All options that could sell a set and fit their period's hours, by log, plan and period."""
    products = tuple(sorted({order.product for order in season.orders}))
    due = tuple(np.array(sorted({o.due for o in season.orders if o.product == name}), np.int64) for name in products)
    first, weeks = _periods(season, products, due)
    last = first + weeks - 1
    room = weeks * season.terms.minutes_per_week
    parts: list[tuple[Ints, ...]] = []
    for number, log in enumerate(season.logs):
        gain = counted_gain(log, season.terms)
        for which, column in enumerate(log.columns):
            cost = sawing_cost(log, column, season.terms) - gain
            periods = np.flatnonzero((first >= log.first_week) & (last <= column.last_week) & (room >= column.minutes))
            sets = np.zeros((len(periods), len(products)), np.int64)
            ready = np.zeros_like(sets)
            for k, name in enumerate(products):
                made = column.sets.get(name, 0)
                if made:
                    ready[:, k] = np.searchsorted(due[k], last[periods] + 1 + column.drying[name])
                    sets[:, k] = np.where(ready[:, k] < len(due[k]), made, 0)
            keep = sets.any(axis=1)
            size = int(keep.sum())
            same = [np.full(size, value, np.int64) for value in (number, which, column.minutes, cost)]
            parts.append((same[0], same[1], periods[keep], same[2], same[3], sets[keep], ready[keep]))
    if not parts:
        empty, wide = np.zeros(0, np.int64), np.zeros((0, len(products)), np.int64)
        parts = [(empty, empty, empty, empty, empty, wide, wide)]
    joined = (np.concatenate(group) for group in zip(*parts, strict=True))
    log_, column_, period, minutes, cost_, sets_, ready_ = joined
    ready_ = np.where(sets_ > 0, ready_, 0)
    return SawingOptions(
        log_,
        column_,
        period,
        minutes,
        cost_,
        sets_,
        ready_,
        products,
        due,
        first,
        weeks,
        season.terms.minutes_per_week,
    )


def _periods(season: Season, products: tuple[str, ...], due: tuple[Ints, ...]) -> tuple[Ints, Ints]:
    """First weeks and lengths of the runs of weeks that are alike."""
    drying = {
        (name, column.drying[name])
        for log in season.logs
        for column in log.columns
        for name in column.sets
        if name in products
    }
    starts = {0} | {log.first_week for log in season.logs}
    starts |= {column.last_week + 1 for log in season.logs for column in log.columns}
    for name, weeks in drying:
        # sawn in week w, ready at w + 1 + weeks: the last week that keeps a due week D is D - 1 - weeks
        starts |= {int(d) - weeks for d in due[products.index(name)]}
    first = np.array(sorted(one for one in starts if 0 <= one < season.terms.weeks), np.int64)
    return first, np.diff(np.append(first, season.terms.weeks))
