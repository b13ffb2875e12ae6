"""What the sets of one plan are worth where some may go to matched orders, each of which takes its sets from one log only.

At prices λ_kr of a set of product k ready in class r, and μ_o of the right to serve matched order o, n sets of one log earn

    V_kr(n) = max_(a ≤ n) W_kr(a) + λ_kr (n − a)
    W_kr(a) = max Σ_(o in S) (p_o h_o − μ_o)   over sets S of matched orders of k due in class r or later, 1 ≤ h_o ≤ q_o, Σ h_o = a

W is a knapsack programme, one order after another from the latest due, so that every class finds its own on the way.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pithline.yard.season.options import Ints, SawingOptions
from pithline.yard.season.orders import Asked

Array = NDArray[np.float64]

Pattern = tuple[tuple[int, int], ...]
"""(order, sets) that one plan gives to matched orders."""


@dataclass(frozen=True, slots=True)
class Matched:
    """Matched orders of one product, latest due first. Their numbers among all orders; class, price [1/100], sets asked for."""

    order: Ints
    due: Ints
    price: Ints
    quantity: Ints


def matched_orders(book: Asked) -> tuple[Matched, ...]:
    """The matched orders of each product."""
    out = []
    for k in range(len(book.offset) - 1):
        own = book.matched[book.product[book.matched] == k]
        own = own[np.argsort(-book.due[own], kind="stable")]
        out.append(Matched(own, book.due[own], book.price[own], book.quantity[own]))
    return tuple(out)


@dataclass(frozen=True, slots=True)
class _Table:
    """Of one product: `value` (classes, sets + 1); `given` sets that go to matched orders; the programme's own choices."""

    value: Array
    given: Ints
    taken: Ints  # (orders, sets + 1): sets that an order takes where the orders up to it take so many
    counts: Ints  # of each class: how many orders are due in time
    slope: Array  # of each class: what a set is worth at most, whatever their number


class PatternWorth:
    """What sets of each product and class earn at given prices: V, by table.

    Parameters
    ----------
    matched : tuple of Matched
    sets : tuple of arrays
        λ, of each product by class. [1/100]
    serve : (orders,) array
        μ. [1/100]
    most : (K,) array
        The most sets of each product that a plan has.
    """

    def __init__(self, matched: tuple[Matched, ...], sets: tuple[Array, ...], serve: Array, most: Ints) -> None:
        self.matched = matched
        self.tables = [
            _table(*one, serve, int(n)) for one, n in zip(zip(matched, sets, strict=True), most, strict=True)
        ]

    @property
    def slopes(self) -> tuple[Array, ...]:
        """Of each product and class: the least price at which no number of sets is worth more than here."""
        return tuple(table.slope for table in self.tables)

    def of(self, options: SawingOptions) -> Array:
        """(J,): what the sets of each option earn."""
        total = np.zeros(len(options))
        for k, table in enumerate(self.tables):
            total += table.value[options.ready[:, k], options.sets[:, k]]
        return total

    def pattern(self, options: SawingOptions, option: int) -> Pattern:
        """What the option gives to matched orders where it earns most."""
        out: list[tuple[int, int]] = []
        for k in np.flatnonzero(options.sets[option]):
            table, own = self.tables[k], self.matched[k]
            r = int(options.ready[option, k])
            left = int(table.given[r, options.sets[option, k]])
            for at in reversed(range(int(table.counts[r]))):
                taken = int(table.taken[at, left])
                if taken:
                    out.append((int(own.order[at]), taken))
                    left -= taken
        return tuple(sorted(out))


def _table(own: Matched, sets: Array, serve: Array, most: int) -> _Table:
    room = int(own.quantity.sum())
    best = np.full(room + 1, -np.inf)
    best[0] = 0.0
    taken = np.zeros((len(own.order), room + 1), np.int64)
    counts = np.array([(own.due >= r).sum() for r in range(len(sets))], np.int64)
    value, given = np.zeros((len(sets), most + 1)), np.zeros((len(sets), most + 1), np.int64)
    slope = np.zeros(len(sets))
    n = np.arange(most + 1)
    done = 0
    for r in reversed(range(len(sets))):
        for at in range(done, int(counts[r])):
            before = best.copy()
            for h in range(1, int(own.quantity[at]) + 1):
                other = np.full(room + 1, -np.inf)
                other[h:] = before[: room + 1 - h] + float(own.price[at] * h) - serve[own.order[at]]
                better = other > best
                best[better], taken[at, better] = other[better], h
        done = max(done, int(counts[r]))
        over = best - sets[r] * np.arange(room + 1)
        first = np.maximum.accumulate(over)
        where = np.maximum.accumulate(np.where(over >= first, np.arange(room + 1), 0))
        given[r] = where[np.minimum(n, room)]
        value[r] = first[np.minimum(n, room)] + sets[r] * n
        slope[r] = max(float(sets[r]), float((best[1:] / np.arange(1, room + 1)).max(initial=0.0)))
    return _Table(value, given, taken, counts, slope)
