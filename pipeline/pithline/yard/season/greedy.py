"""A first plan: logs one after another, each by the option that earns most of what is still asked for."""

from __future__ import annotations

import heapq
from dataclasses import dataclass

import numpy as np

from pithline.yard.season.model import Season, counted_price
from pithline.yard.season.options import Ints, SawingOptions


@dataclass(frozen=True, slots=True)
class Draft:
    """A plan in terms of options.

    Parameters
    ----------
    options : tuple of int
        The options sawn.
    filled : tuple of dict
        Of each order: sets by (log number, class).
    objective : int
        1/100.
    """

    options: tuple[int, ...]
    filled: tuple[dict[tuple[int, int], int], ...]
    objective: int


class _Book:
    """What is still asked for, and what n more sets of a class would earn."""

    def __init__(self, season: Season, options: SawingOptions, most: Ints) -> None:
        self.season, self.options, self.most = season, options, most
        self.left = [order.quantity for order in season.orders]
        self.price = [counted_price(order, season.terms) for order in season.orders]
        self.filled: list[dict[tuple[int, int], int]] = [{} for _ in season.orders]
        self.own: list[list[tuple[int, int]]] = []  # of each product: (order, its class), dearest first
        for k, name in enumerate(options.products):
            orders = [o for o, order in enumerate(season.orders) if order.product == name]
            orders.sort(key=lambda o: (-self.price[o], season.orders[o].due, o))
            self.own.append([(o, int(np.searchsorted(options.due[k], season.orders[o].due))) for o in orders])
        self.tables = [self.table(k) for k in range(len(options.products))]

    def room(self, o: int) -> int:
        return 0 if self.season.orders[o].matched and self.filled[o] else self.left[o]

    def table(self, k: int) -> Ints:
        """(classes, sets + 1): what that many sets of one log would earn."""
        out = np.zeros((len(self.options.due[k]), int(self.most[k]) + 1), np.int64)
        for r in range(len(out)):
            steps: list[int] = []
            for o, last in self.own[k]:
                if last >= r and len(steps) < self.most[k]:
                    steps += [self.price[o]] * min(self.room(o), int(self.most[k]) - len(steps))
            out[r, 1 : len(steps) + 1] = np.cumsum(steps, dtype=np.int64)
            out[r, len(steps) + 1 :] = out[r, len(steps)]
        return out

    def worth(self, some: Ints) -> Ints:
        """What the sets of these options would earn."""
        options = self.options
        total = np.zeros(len(some), np.int64)
        for k, table in enumerate(self.tables):
            total += table[options.ready[some, k], options.sets[some, k]]
        return total

    def sell(self, option: int) -> None:
        options = self.options
        log = int(options.log[option])
        for k in np.flatnonzero(options.sets[option]):
            r, sets = int(options.ready[option, k]), int(options.sets[option, k])
            for o, last in self.own[k]:
                if last >= r and sets and self.room(o):
                    taken = min(self.room(o), sets)
                    self.filled[o][log, r] = self.filled[o].get((log, r), 0) + taken
                    self.left[o] -= taken
                    sets -= taken
            self.tables[k] = self.table(int(k))


def greedy(season: Season, options: SawingOptions, bonus: np.ndarray | None = None) -> Draft:
    """Take, again and again, the option that earns most, until none pays.

    Parameters
    ----------
    season : Season
    options : Options
    bonus : (J,) array or None
        Only ranks logs and options (from a relaxation's prices); what does not pay in money is never taken. [1/100]
    """
    most = options.sets.max(axis=0, initial=0)
    book = _Book(season, options, most)
    room = options.room.copy()
    order = np.argsort(options.log, kind="stable")
    bounds = np.searchsorted(options.log[order], np.arange(len(season.logs) + 1))
    extra = np.zeros(len(options)) if bonus is None else bonus

    def best(log: int) -> tuple[float, int] | None:
        some = order[bounds[log] : bounds[log + 1]]
        some = some[options.minutes[some] <= room[options.period[some]]]
        earns = book.worth(some) - options.cost[some]
        some, earns = some[earns > 0], earns[earns > 0]
        if not len(some):
            return None
        score = earns + extra[some]
        # among equals the latest period: early weeks are scarce
        at = np.lexsort((-options.period[some], -score))[0]
        return float(score[at]), int(some[at])

    heap = [(-found[0], log, found[1]) for log in range(len(season.logs)) if (found := best(log)) is not None]
    heapq.heapify(heap)
    taken: list[int] = []
    while heap:
        _, log, _ = heapq.heappop(heap)
        found = best(log)
        if found is None:
            continue
        if heap and found[0] < -heap[0][0]:
            heapq.heappush(heap, (-found[0], log, found[1]))
            continue
        option = found[1]
        taken.append(option)
        room[options.period[option]] -= options.minutes[option]
        book.sell(option)
    objective = sum(price * sum(sold.values()) for price, sold in zip(book.price, book.filled, strict=True)) - int(
        options.cost[taken].sum()
    )
    return Draft(tuple(taken), tuple(book.filled), int(objective))
