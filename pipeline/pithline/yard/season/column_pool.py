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
from numpy.typing import NDArray
from scipy import sparse
from scipy.optimize import linprog

from pithline.yard.season.greedy import Draft
from pithline.yard.season.matched_orders import Pattern, PatternWorth, matched_orders
from pithline.yard.season.model import Season
from pithline.yard.season.options import Ints, SawingOptions
from pithline.yard.season.orders import asked

Array = NDArray[np.float64]

PER_LOG = 3
DUST = 1e-2
"""Less than a hundredth of the smallest coin is the solver's rounding."""


@dataclass(frozen=True, slots=True)
class DualPrices:
    """Prices: of minutes (T), of the right to serve an order (O), of sets by product and class in one row (R)."""

    minute: Array
    serve: Array
    sets: Array

    def toward(self, other: DualPrices, share: float) -> DualPrices:
        """The mean of two, with so much of the other."""
        pairs = ((self.minute, other.minute), (self.serve, other.serve), (self.sets, other.sets))
        return DualPrices(*((1.0 - share) * a + share * b for a, b in pairs))


@dataclass(frozen=True, slots=True)
class Linear:
    """A solved programme: its value, x of the columns and f of the free orders, prices, and what each log earns (its dual)."""

    value: float
    x: Array
    free: Array
    point: DualPrices
    logs: Array


@dataclass(frozen=True, slots=True)
class SeasonPlan:
    """A whole plan: its columns; sets of each order that may mix logs, in the order of the book's `free`; profit, 1/100."""

    columns: tuple[tuple[int, Pattern], ...]
    free: Ints
    objective: int


class ColumnPool:
    """The columns found so far, and the programme over them. Orders, logs and options go by their numbers in the season.

    Parameters
    ----------
    season : Season
    options : Options
    """

    def __init__(self, season: Season, options: SawingOptions) -> None:
        self.options, self.logs, self.book = options, len(season.logs), asked(season, options)
        most = np.zeros((self.logs, len(options.products)))
        np.maximum.at(most, options.log, options.sets)
        self.stock = np.repeat(most.sum(axis=0), np.diff(self.book.offset))
        self.list: list[tuple[int, Pattern]] = []
        self._number: dict[tuple[int, Pattern], int] = {}
        self._given: list[tuple[int, int, int]] = []  # column, order, sets

    def add(self, columns: Iterable[tuple[int, Pattern]]) -> int:
        """How many of them are new."""
        new = [one for one in dict.fromkeys(columns) if one not in self._number]
        for at, one in enumerate(new, len(self.list)):
            self._number[one] = at
            self._given += [(at, o, h) for o, h in one[1]]
        self.list += new
        return len(new)

    def purge(self, at: DualPrices, best: Array, most: float) -> None:
        """Forget the columns that earn less than the best of their log by more than `most` at these prices. [1/100]"""
        logs = self.options.log
        kept = [one for one in self.list if best[logs[one[0]]] - self.earns(*one, at) <= most]
        self.list, self._number, self._given = [], {}, []
        self.add(kept)

    def numbers(self, columns: Iterable[tuple[int, Pattern]]) -> list[int]:
        """Places in `list`."""
        return [self._number[one] for one in columns]

    def earns(self, option: int, pattern: Pattern, at: DualPrices) -> float:
        """What a column earns at these prices, beside its log's."""
        options, left = self.options, self.options.sets[option].astype(float)
        total = -float(options.cost[option]) - float(at.minute[options.period[option]] * options.minutes[option])
        for o, sets in pattern:
            total += float(self.book.price[o] * sets) - at.serve[o]
            left[self.book.product[o]] -= sets
        return total + float(left @ at.sets[self.book.offset[:-1] + options.ready[option]])

    def counted(self, chosen: Iterable[tuple[int, Pattern]], free: Ints) -> int:
        """Profit of whole columns and sets of the free orders, 1/100."""
        total = int(self.book.price[self.book.free] @ free)
        for j, pattern in chosen:
            total += sum(int(self.book.price[o]) * sets for o, sets in pattern) - int(self.options.cost[j])
        return total

    def solve(self, fixed: Sequence[int] = (), barred: Sequence[int] = (), only: bool = False) -> Linear:
        """The programme's best by HiGHS, with columns `fixed` at 1 and `barred` at 0; `only` the fixed ones, if so."""
        options, book, count, classes = self.options, self.book, len(self.list), int(self.book.offset[-1])
        own = np.array([j for j, _ in self.list], np.int64)
        c, o, h = np.array(self._given, np.int64).reshape(-1, 3).T
        f0, i0 = count, count + len(book.free)
        gain = np.concatenate([-options.cost[own], book.price[book.free], np.zeros(classes)]).astype(float)
        np.add.at(gain, c, book.price[o] * h)
        low, high = np.zeros(len(gain)), np.concatenate([np.ones(count), book.quantity[book.free], self.stock])
        if only:
            high[:count] = 0.0
        high[list(barred)] = 0.0
        low[list(fixed)] = high[list(fixed)] = 1.0
        first, second = self.logs, self.logs + len(options.room)
        at = np.concatenate([options.log[own], first + options.period[own], second + o])
        to = np.concatenate([np.arange(count), np.arange(count), c])
        by = np.concatenate([np.ones(count), options.minutes[own], np.ones(len(o))])
        limits = np.concatenate([np.ones(self.logs), options.room, np.ones(len(book.price))])
        under = sparse.csc_matrix((by, (at, to)), shape=(len(limits), len(gain)))
        k = book.product[o]
        some, made = np.nonzero(options.sets[own])
        entries = [
            (book.offset[made] + options.ready[own[some], made], some, options.sets[own[some], made]),
            (book.offset[k] + options.ready[own[c], k], c, -h),
            book.flow(i0, f0),
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
        point = DualPrices(y[first:second], y[second:], done.eqlin.marginals)
        return Linear(-float(done.fun), done.x[:count], done.x[f0:i0], point, y[:first])


@dataclass(frozen=True, slots=True)
class ValuedOptions:
    """All options at one point: the bound, what each earns, the best of each log (0 at least), and V."""

    bound: float
    reduced: Array
    best: Array
    worth: PatternWorth


class Weighing:
    """All options at any prices."""

    def __init__(self, columns: ColumnPool) -> None:
        self.columns = columns
        self.matched = matched_orders(columns.book)
        self.most = columns.options.sets.max(axis=0, initial=0)

    def __call__(self, at: DualPrices) -> ValuedOptions:
        """Weigh every option at these prices."""
        columns, options, book = self.columns, self.columns.options, self.columns.book
        sets = tuple(at.sets[a:b] for a, b in itertools.pairwise(book.offset))
        worth = PatternWorth(self.matched, sets, at.serve, self.most)
        reduced = worth.of(options) - options.cost - at.minute[options.period] * options.minutes
        best = np.zeros(columns.logs)
        np.maximum.at(best, options.log, reduced)
        bound = float(best.sum() + options.room @ at.minute + at.serve.sum())
        beyond = book.price - at.sets[book.row]
        bound += float(book.quantity[book.free] @ np.maximum(beyond[book.free], 0.0))
        held = -at.sets  # a set in stock leaves one class for the next
        held[book.later - 1] += at.sets[book.later]
        bound += float(columns.stock @ np.maximum(held, 0.0))
        return ValuedOptions(bound, reduced, best, worth)

    def better(self, weighed: ValuedOptions, now: Linear) -> list[tuple[int, Pattern]]:
        """Of each log the few options that earn most where weighed, with their patterns, if they improve the programme."""
        options = self.columns.options
        some = np.flatnonzero(weighed.reduced > DUST)
        order = some[np.lexsort((-weighed.reduced[some], options.log[some]))]
        logs = options.log[order]
        rank = np.arange(len(order)) - np.searchsorted(logs, logs)
        found = [(int(j), weighed.worth.pattern(options, int(j))) for j in order[rank < PER_LOG]]
        return [one for one in found if self.columns.earns(*one, now.point) > now.logs[options.log[one[0]]] + DUST]


def drafted(columns: ColumnPool, draft: Draft) -> SeasonPlan:
    """A draft as columns."""
    options, book = columns.options, columns.book
    chosen = []
    for j in draft.options:
        log, ready = int(options.log[j]), options.ready[j]
        sold = [(int(o), draft.filled[o].get((log, int(ready[book.product[o]])), 0)) for o in book.matched]
        chosen.append((j, tuple(one for one in sold if one[1])))
    free = np.array([sum(draft.filled[o].values()) for o in book.free], np.int64)
    return SeasonPlan(tuple(sorted(chosen)), free, draft.objective)


def fullest(columns: ColumnPool) -> list[tuple[int, Pattern]]:
    """Of each log the option whose sets would be worth most if all could be sold."""
    options, book = columns.options, columns.book
    dearest = np.zeros(len(options.products))
    np.maximum.at(dearest, book.product, book.price)
    worth = options.sets @ dearest - options.cost
    order = np.lexsort((-worth, options.log))
    first = order[np.r_[True, np.diff(options.log[order]) > 0]]
    return [(int(j), ()) for j in first]
