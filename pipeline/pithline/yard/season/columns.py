"""The season as columns: an option and the sets it gives to matched orders (its pattern); priced one by one, solved as a linear programme.

    maximise    Σ_c (Σ_(o in c) p_o h_co − c_j) x_c + Σ_o p_o f_o
    each log    Σ_(c of l) x_c ≤ 1                     each period  Σ_(c of t) m_j x_c ≤ H_t
    each matched order  Σ_(c with o) x_c ≤ 1
    each product k and class r of due weeks
                I_k,r = I_k,r−1 + Σ_(c ready in r) (n_jk − Σ_(o of k in c) h_co) x_c − Σ_(o of k due at r) f_o,   I ≥ 0

At prices π_t of a minute, μ_o of the right to serve a matched order and λ_kr of a set, every option earns what its best pattern earns
(matching.py). Any prices give a valid bound (Lagrangian relaxation of all rows but "each log once"; Geoffrion, Mathematical Programming
Study 2, 1974, 82-114):

    bound = Σ_t π_t H_t + Σ_o μ_o + Σ_l max(0, max_(j of l) reduced_j) + Σ_(f, I) u_v max(0, reduced_v)
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import sparse
from scipy.optimize import linprog

from pithline.yard.season.greedy import Draft
from pithline.yard.season.matching import Array, Pattern, Worth, matched_orders
from pithline.yard.season.options import Ints, Options
from pithline.yard.season.season import Season, counted_price

PER_LOG = 3
DUST = 1e-2
"""Less than a hundredth of the smallest coin is the solver's rounding."""


@dataclass(frozen=True, slots=True)
class Point:
    """Prices: of minutes (T), of the right to serve an order (O), of sets by product and class in one row (R)."""

    minute: Array
    serve: Array
    sets: Array

    def toward(self, other: Point, share: float) -> Point:
        """The mean of two, with so much of the other."""
        pairs = ((self.minute, other.minute), (self.serve, other.serve), (self.sets, other.sets))
        return Point(*((1.0 - share) * a + share * b for a, b in pairs))


@dataclass(frozen=True, slots=True)
class Linear:
    """A solved programme: its value, x of the columns and f of the free orders, prices, and what each log earns (its dual)."""

    value: float
    x: Array
    free: Array
    point: Point
    logs: Array


@dataclass(frozen=True, slots=True)
class Plan:
    """A whole plan: its columns; sets of each order that may mix logs, in the order of `Columns.free`; profit, 1/100."""

    columns: tuple[tuple[int, Pattern], ...]
    free: Ints
    objective: int


class Columns:
    """The columns found so far, and the programme over them. Orders, logs and options go by their numbers in the season.

    Parameters
    ----------
    season : Season
    options : Options
    """

    def __init__(self, season: Season, options: Options) -> None:
        self.options, self.logs, self.orders = options, len(season.logs), len(season.orders)
        self.price = np.array([counted_price(order, season.terms) for order in season.orders], np.int64)
        self.quantity = np.array([order.quantity for order in season.orders], np.int64)
        self.product = np.array([options.products.index(order.product) for order in season.orders], np.int64)
        classes = [len(one) for one in options.due]
        self.offset = np.concatenate([[0], np.cumsum(classes)]).astype(np.int64)
        due = [np.searchsorted(options.due[k], o.due) for k, o in zip(self.product, season.orders, strict=True)]
        self.row_of = self.offset[self.product] + np.array(due, np.int64)  # of each order: its product and class
        self.later = np.setdiff1d(np.arange(self.offset[-1]), self.offset)  # classes that have one before
        self.free = np.array([o for o, order in enumerate(season.orders) if not order.matched], np.int64)
        most = np.zeros((self.logs, len(options.products)))
        np.maximum.at(most, options.log, options.sets)
        self.stock = np.repeat(most.sum(axis=0), classes)
        self.list: list[tuple[int, Pattern]] = []
        self._number: dict[tuple[int, Pattern], int] = {}

    def add(self, columns: Iterable[tuple[int, Pattern]]) -> int:
        """How many of them are new."""
        new = [one for one in dict.fromkeys(columns) if one not in self._number]
        self._number.update({one: len(self.list) + at for at, one in enumerate(new)})
        self.list += new
        return len(new)

    def purge(self, at: Point, best: Array, most: float) -> None:
        """Forget the columns that earn less than the best of their log by more than `most` at these prices. [1/100]"""
        logs = self.options.log
        kept = [one for one in self.list if best[logs[one[0]]] - self.earns(*one, at) <= most]
        self.list = kept
        self._number = {one: at for at, one in enumerate(kept)}

    def numbers(self, columns: Iterable[tuple[int, Pattern]]) -> list[int]:
        """Places in `list`."""
        return [self._number[one] for one in columns]

    def earns(self, option: int, pattern: Pattern, at: Point) -> float:
        """What a column earns at these prices, beside its log's."""
        options, left = self.options, self.options.sets[option].astype(float)
        total = -float(options.cost[option]) - float(at.minute[options.period[option]] * options.minutes[option])
        for o, sets in pattern:
            total += float(self.price[o] * sets) - at.serve[o]
            left[self.product[o]] -= sets
        return total + float(left @ at.sets[self.offset[:-1] + options.ready[option]])

    def counted(self, chosen: Iterable[tuple[int, Pattern]], free: Ints) -> int:
        """Profit of whole columns and sets of the free orders, 1/100."""
        total = int(self.price[self.free] @ free)
        for j, pattern in chosen:
            total += sum(int(self.price[o]) * sets for o, sets in pattern) - int(self.options.cost[j])
        return total

    def solve(self, fixed: Sequence[int] = (), barred: Sequence[int] = (), only: bool = False) -> Linear:
        """The programme's best by HiGHS, with columns `fixed` at 1 and `barred` at 0; `only` the fixed ones, if so."""
        options, count, classes = self.options, len(self.list), int(self.offset[-1])
        own = np.array([j for j, _ in self.list], np.int64)
        given = [(c, o, h) for c, (_, pattern) in enumerate(self.list) for o, h in pattern]
        c, o, h = np.array(given, np.int64).reshape(-1, 3).T
        f0, i0 = count, count + len(self.free)
        gain = np.concatenate([-options.cost[own], self.price[self.free], np.zeros(classes)]).astype(float)
        np.add.at(gain, c, self.price[o] * h)
        low, high = np.zeros(len(gain)), np.concatenate([np.ones(count), self.quantity[self.free], self.stock])
        if only:
            high[:count] = 0.0
        high[list(barred)] = 0.0
        low[list(fixed)] = high[list(fixed)] = 1.0
        first, second = self.logs, self.logs + len(options.room)
        at = np.concatenate([options.log[own], first + options.period[own], second + o])
        to = np.concatenate([np.arange(count), np.arange(count), c])
        by = np.concatenate([np.ones(count), options.minutes[own], np.ones(len(o))])
        limits = np.concatenate([np.ones(self.logs), options.room, np.ones(self.orders)])
        under = sparse.csc_matrix((by, (at, to)), shape=(len(limits), len(gain)))
        k = self.product[o]
        some, made = np.nonzero(options.sets[own])
        rows = np.arange(classes)
        entries = [
            (self.offset[made] + options.ready[own[some], made], some, options.sets[own[some], made]),
            (self.offset[k] + options.ready[own[c], k], c, -h),
            (self.row_of[self.free], f0 + np.arange(len(self.free)), -np.ones(len(self.free))),
            (rows, i0 + rows, -np.ones(classes)),
            (self.later, i0 + self.later - 1, np.ones(len(self.later))),
        ]
        at, to, by = (np.concatenate(one) for one in zip(*entries, strict=True))
        balance = sparse.csc_matrix((by, (at, to)), shape=(classes, len(gain)))
        done = linprog(
            -gain,
            A_ub=under,
            b_ub=limits,
            A_eq=balance,
            b_eq=np.zeros(classes),
            bounds=np.column_stack([low, high]),
            method="highs",
        )
        if done.status != 0:  # the fixed columns fit, the rest may be 0, and everything is bounded
            raise RuntimeError(f"the linear relaxation failed: {done.message}")
        y = np.maximum(-done.ineqlin.marginals, 0.0)
        point = Point(y[first:second], y[second:], done.eqlin.marginals)
        return Linear(-float(done.fun), done.x[:count], done.x[f0:i0], point, y[:first])


@dataclass(frozen=True, slots=True)
class Weighed:
    """All options at one point: the bound, what each earns, the best of each log (0 at least), and V."""

    bound: float
    reduced: Array
    best: Array
    worth: Worth


class Weighing:
    """All options at any prices."""

    def __init__(self, season: Season, options: Options, columns: Columns) -> None:
        self.options, self.columns = options, columns
        self.logs = len(season.logs)
        self.matched = matched_orders(season, options)
        self.most = options.sets.max(axis=0, initial=0)

    def __call__(self, at: Point) -> Weighed:
        """Weigh every option at these prices."""
        options, columns = self.options, self.columns
        sets = tuple(at.sets[a:b] for a, b in itertools.pairwise(columns.offset))
        worth = Worth(self.matched, sets, at.serve, self.most)
        reduced = worth.of(options) - options.cost - at.minute[options.period] * options.minutes
        best = np.zeros(self.logs)
        np.maximum.at(best, options.log, reduced)
        free = columns.free
        bound = float(best.sum() + options.room @ at.minute + at.serve.sum())
        bound += float(columns.quantity[free] @ np.maximum(columns.price[free] - at.sets[columns.row_of[free]], 0.0))
        held = -at.sets  # a set in stock leaves one class for the next
        held[columns.later - 1] += at.sets[columns.later]
        bound += float(columns.stock @ np.maximum(held, 0.0))
        return Weighed(bound, reduced, best, worth)

    def better(self, weighed: Weighed, now: Linear) -> list[tuple[int, Pattern]]:
        """Of each log the few options that earn most where weighed, with their patterns, if they improve the programme."""
        options = self.options
        some = np.flatnonzero(weighed.reduced > DUST)
        order = some[np.lexsort((-weighed.reduced[some], options.log[some]))]
        logs = options.log[order]
        rank = np.arange(len(order)) - np.searchsorted(logs, logs)
        found = [(int(j), weighed.worth.pattern(options, int(j))) for j in order[rank < PER_LOG]]
        return [one for one in found if self.columns.earns(*one, now.point) > now.logs[options.log[one[0]]] + DUST]


def drafted(season: Season, columns: Columns, draft: Draft) -> Plan:
    """A draft as columns."""
    options, matched = columns.options, [o for o, order in enumerate(season.orders) if order.matched]
    chosen = []
    for j in draft.options:
        log, ready = int(options.log[j]), options.ready[j]
        sold = [(o, draft.filled[o].get((log, int(ready[columns.product[o]])), 0)) for o in matched]
        chosen.append((j, tuple(one for one in sold if one[1])))
    free = np.array([sum(draft.filled[o].values()) for o in columns.free], np.int64)
    return Plan(tuple(sorted(chosen)), free, draft.objective)


def fullest(season: Season, options: Options) -> list[tuple[int, Pattern]]:
    """Of each log the option whose sets would be worth most if all could be sold."""
    dearest = np.array([max(o.price for o in season.orders if o.product == name) for name in options.products])
    worth = options.sets @ dearest - options.cost
    order = np.lexsort((-worth, options.log))
    first = order[np.r_[True, np.diff(options.log[order]) > 0]]
    return [(int(j), ()) for j in first]
