"""The season as a mixed-integer programme in arrays, as CP-SAT gets it.

    maximise    Σ_o p_o f_o + Σ_(o,l,r) p_o h_olr − Σ_j c_j z_j
    each log    Σ_(j of l) z_j ≤ 1
    each period Σ_(j of t) m_j z_j ≤ H_t
    each product k and class r of due weeks
                I_k,r = I_k,r−1 + Σ_(j ready in r) n_jk z_j − Σ_(o of k due at r) f_o − Σ_(o,l) h_olr,   I ≥ 0
    matched     Σ_o h_olr ≤ Σ_(j of l, ready in r) n_jk z_j,   Σ_r h_olr ≤ min(q_o, n_lk) g_ol,   Σ_l g_ol ≤ 1
    bounds      z, g in {0, 1};  0 ≤ f_o ≤ q_o;  h ≥ 0;  f, h whole

z_j: option j (log, plan, period) is sawn, at cost c, in m minutes, for n sets. f_o: sets of an order that may mix logs. h_olr: sets of
class r that a matched order o takes from log l; g_ol: it takes from that log. n_lk: the most sets of o's product that any plan of l
has. I: sets in stock that are ready for class r
and not yet delivered. An order may use any set ready by its day, so a running stock is all that links them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from pithline.yard.season.model import Season
from pithline.yard.season.options import Ints, SawingOptions
from pithline.yard.season.orders import Asked, asked

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Program:
    """Variables in blocks (z, f, h, g, I) and rows in blocks; all rows are `matrix @ x ≤ limit`, or `= 0` for `balance`.

    `h_order`, `h_log`, `h_class` and `g_order`, `g_log` say what each h and g stands for.
    """

    options: SawingOptions
    gain: Array
    upper: Array
    matrix: sparse.csc_matrix
    limit: Array
    balance: sparse.csc_matrix
    f_order: Ints
    h_order: Ints
    h_log: Ints
    h_class: Ints
    g_order: Ints
    g_log: Ints

    @property
    def starts(self) -> tuple[int, int, int, int]:
        """Where the blocks f, h, g and I begin."""
        f = len(self.options)
        h = f + len(self.f_order)
        g = h + len(self.h_order)
        return f, h, g, g + len(self.g_order)


class _Rows:
    """Triplets of a sparse matrix, gathered in blocks, and the limits of its rows."""

    def __init__(self) -> None:
        self.at: list[Ints] = []
        self.to: list[Ints] = []
        self.by: list[Array] = []
        self.limits: list[Array] = []
        self.count = 0

    def block(self, limits: Array | Ints) -> int:
        """The first of as many more rows."""
        start, self.count = self.count, self.count + len(limits)
        self.limits.append(np.asarray(limits, float))
        return start

    def add(self, rows: Ints, columns: Ints, values: Array | Ints | float) -> None:
        self.at.append(rows)
        self.to.append(columns)
        self.by.append(np.broadcast_to(np.asarray(values, float), len(rows)))

    def matrix(self, width: int) -> sparse.csc_matrix:
        data = (np.concatenate(self.by), (np.concatenate(self.at), np.concatenate(self.to)))
        return sparse.csc_matrix(data, shape=(self.count, width))


def make_program(season: Season, options: SawingOptions) -> Program:
    """The programme over these options of a season."""
    book, products = asked(season, options), options.products
    count, logs, f_order = len(options), len(season.logs), book.free
    h_order, h_log, h_class = _matched(options, book).T
    pairs, pair_of = np.unique(np.column_stack([h_order, h_log]), axis=0, return_inverse=True)
    sources, source_of = np.unique(
        np.column_stack([h_log, book.product[h_order], h_class]), axis=0, return_inverse=True
    )
    g_order, g_log = pairs.T
    f0, h0 = count, count + len(f_order)
    g0 = h0 + len(h_order)
    i0 = g0 + len(g_order)
    width = i0 + int(book.offset[-1])
    z, h, g = np.arange(count), h0 + np.arange(len(h_order)), g0 + np.arange(len(g_order))

    limits = _Rows()
    row = limits.block(np.ones(logs))
    limits.add(row + options.log, z, 1.0)
    row = limits.block(options.room)
    limits.add(row + options.period, z, options.minutes)
    row = limits.block(np.zeros(len(sources)))
    limits.add(row + source_of.ravel(), h, 1.0)
    for at, to, by in _supply(options, sources):
        limits.add(row + at, to, -by)
    row = limits.block(np.zeros(len(pairs)))
    limits.add(row + pair_of.ravel(), h, 1.0)
    own = np.zeros((logs, len(products)))
    np.maximum.at(own, options.log, options.sets)
    limits.add(row + np.arange(len(pairs)), g, -np.minimum(book.quantity[g_order], own[g_log, book.product[g_order]]))
    single, single_of = np.unique(g_order, return_inverse=True)
    row = limits.block(np.ones(len(single)))
    limits.add(row + single_of, g, 1.0)

    balance = _Rows()
    balance.block(np.zeros(int(book.offset[-1])))
    some, made = np.nonzero(options.sets)
    balance.add(book.offset[made] + options.ready[some, made], some, options.sets[some, made])
    balance.add(book.offset[book.product[h_order]] + h_class, h, -1.0)
    balance.add(*book.flow(i0, f0))

    stock = np.repeat([_most(season, name) for name in products], np.diff(book.offset))
    return Program(
        options,
        np.concatenate([-options.cost, book.price[f_order], book.price[h_order], np.zeros(width - g0)]),
        np.concatenate([np.ones(count), book.quantity[f_order], book.quantity[h_order], np.ones(len(g)), stock]).astype(
            float
        ),
        limits.matrix(width),
        np.concatenate(limits.limits),
        balance.matrix(width),
        f_order,
        h_order,
        h_log,
        h_class,
        g_order,
        g_log,
    )


def _matched(options: SawingOptions, book: Asked) -> Ints:
    """(n, 3): order, log, class of each h, where an option of the log has sets of the product ready in time."""
    out = [np.zeros((0, 3), np.int64)]
    for o in book.matched:
        sets, ready = options.sets[:, book.product[o]], options.ready[:, book.product[o]]
        some = (sets > 0) & (ready <= book.due[o])
        found = np.unique(np.column_stack([options.log[some], ready[some]]), axis=0)
        out.append(np.column_stack([np.full(len(found), o), found]))
    return np.concatenate(out)


def _supply(options: SawingOptions, sources: Ints) -> Iterator[tuple[Ints, Ints, Ints]]:
    """(source, option, sets): what the options give to each (log, product, class) of matched sets."""
    for k in np.unique(sources[:, 1]):
        own = np.flatnonzero(sources[:, 1] == k)
        place = np.full((int(options.log.max()) + 1, len(options.due[k])), -1, np.int64)
        place[sources[own, 0], sources[own, 2]] = own
        some = np.flatnonzero(options.sets[:, k])
        at = place[options.log[some], options.ready[some, k]]
        yield at[at >= 0], some[at >= 0], options.sets[some[at >= 0], k]


def _most(season: Season, product: str) -> int:
    return sum(max((c.sets.get(product, 0) for c in log.columns), default=0) for log in season.logs)
