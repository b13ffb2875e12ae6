"""How the best strips of one slab are read back at given prices of plates, by the rules of `slab_values`."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from pithline.plan.programmes.slab_values import (
    NARROWEST,
    Array,
    FillRules,
    Ints,
    PlateWorth,
    layer_count,
    layer_depth,
)


class PlateWorths(NamedTuple):
    """What `PlateWorth` has, at n prices: (n, P) mated and single plates, (n, 3) what cutting a billet, a strip, a slab costs."""

    mated: Array
    single: Array
    cuts: Array

    def some(self, numbers: Sequence[int]) -> PlateWorths:
        """Those of some numbers."""
        return PlateWorths(self.mated[numbers], self.single[numbers], self.cuts[numbers])


def worths_of(worths: Sequence[PlateWorth]) -> PlateWorths:
    """Prices together."""
    mated, single, *cuts = zip(*worths, strict=True)
    return PlateWorths(np.array(mated, float), np.array(single, float), np.array(cuts, float).T.copy())


@njit(cache=True)
def stacked_plates(passing: NDArray[np.uint8], d: int, t: int, rules: FillRules) -> NDArray[np.int16]:
    """Plates of each part in the billet begun at each place of one slab: (P, across, along, 2), mated and single ones.

    `passing` as for `slab_values`; the slab's lower face lies at depth index `d`, its thickness is the `t`-th of the menu.
    """
    parts, nd, nu, nx = passing.shape
    out = np.zeros((parts, nu, nx, 2), np.int16)
    for p in range(parts):
        lone = np.zeros((nu, nx), np.uint8)
        for j in range(layer_count(rules, p, rules.menu[t])):
            mid = layer_depth(rules, p, j, d)
            if mid < 0 or mid >= nd:
                lone[:] = 0
                continue
            for u in range(nu):
                for x in range(nx):
                    if passing[p, mid, u, x] == 0:
                        lone[u, x] = 0
                    elif lone[u, x] == 1:
                        out[p, u, x, 0] += 2
                        out[p, u, x, 1] -= 1
                        lone[u, x] = 0
                    else:
                        out[p, u, x, 1] += 1
                        lone[u, x] = 1
    return out


@njit(cache=True, nogil=True)
def _gains(
    plates: NDArray[np.int16], weight: NDArray[np.float32], worth: PlateWorth, p: int, u: int, gain: Array
) -> bool:
    """What a billet of part `p` begun at each place along counts, net of its cut, no less than nothing; whether any pays."""
    nx = plates.shape[2]
    some = False
    for x in range(nx):
        v = plates[p, u, x, 0] * worth.mated[p] + plates[p, u, x, 1] * worth.single[p]
        if weight.size > 0:
            v *= weight[p, u, x]
        gain[x] = max(v - worth.billet, 0.0)
        some = some or gain[x] > 0.0
    return some


@njit(cache=True, nogil=True)
def _pick_billets(gain: Array, c: int, rules: FillRules, best: Array, pick: NDArray[np.int8]) -> None:
    """Along one strip of a width class: the best value up to each place, and the part whose billet ends there or −1."""
    parts, nx = gain.shape
    wide = rules.class_width[c]
    best[0] = 0.0
    for x in range(1, nx + 1):
        b, chosen = best[x - 1], -1
        for p in range(parts):
            long = rules.cells_along[p]
            if x < long or rules.width_class[p] > c or rules.cells_across[p] * 10 < wide * NARROWEST:
                continue
            if gain[p, x - long] > 0.0 and best[x - long] + gain[p, x - long] > b + 1e-12:
                b, chosen = best[x - long] + gain[p, x - long], p
        best[x] = b
        pick[x] = chosen


@njit(cache=True, nogil=True)
def best_fill(  # noqa: C901, PLR0913 - a compiled kernel
    plates: NDArray[np.int16], some: NDArray[np.bool_], weight: NDArray[np.float32], low: int, high: int,
    rules: FillRules, worth: PlateWorth, counts: Ints, strips: Ints,
) -> float:  # fmt: skip
    """The best strips of one slab between two places across; its value.

    Parameters
    ----------
    plates : (P, across, along, 2) mated and single plates of the billet begun at each place
    some : (P, across) whether any place along has one
    weight : (P, across, along) of 0 to 1 by which those count, or of no size where all count whole
    low, high : places across that bound the strips, cells
    counts : (P, 2) filled with the mated and single plates taken
    strips : (m, 4) filled with place, width class, part and start of each billet, last along first; −1 after them
    """
    parts, nu, nx = plates.shape[0], plates.shape[1], plates.shape[2]
    classes = len(rules.class_width)
    low, high = max(low, 0), min(high, nu)
    counts[:] = 0
    strips[:] = -1
    if low >= high:
        return 0.0
    gain = np.zeros((parts, nx))
    value = np.zeros((classes, nu))
    pick = np.empty(nx + 1, np.int8)
    best = np.zeros(nx + 1)
    active, of_class = np.zeros(parts, np.int64), np.zeros(parts, np.int64)
    for u in range(low, high):
        paying = 0
        for p in range(parts):
            if some[p, u] and _gains(plates, weight, worth, p, u, gain[p]):
                active[paying] = p
                paying += 1
        if paying == 0:
            continue
        for c in range(classes):
            if u + rules.class_width[c] > high:
                continue
            those, shortest, own = 0, nx + 1, False
            for i in range(paying):
                p = active[i]
                if rules.width_class[p] <= c and rules.cells_across[p] * 10 >= rules.class_width[c] * NARROWEST:
                    of_class[those] = p
                    those += 1
                    own = own or rules.width_class[p] == c
                    shortest = min(shortest, rules.cells_along[p])
            # without a part as wide as that the strip of the next narrower class holds as much
            if not own:
                continue
            best[:] = 0.0
            # within the shortest part's length no place hangs on another
            for x0 in range(shortest, nx + 1, shortest):
                x1 = min(x0 + shortest, nx + 1)
                for i in range(those):
                    p = of_class[i]
                    long = rules.cells_along[p]
                    for x in range(max(x0, long), x1):
                        best[x] = max(best[x], best[x - long] + gain[p, x - long])
                for x in range(x0, x1):
                    best[x] = max(best[x], best[x - 1])
            value[c, u] = best[nx] - worth.strip
    total = np.zeros(nu + 1)
    taken = np.full(nu + 1, -1, np.int64)
    for u in range(high - 1, low - 1, -1):
        total[u] = total[u + 1]
        for c in range(classes):
            after = u + rules.class_width[c] + rules.rip_cells
            if value[c, u] > 0.0:
                v = value[c, u] + (total[after] if after < high else 0.0)
                if v > total[u] + 1e-12:
                    total[u] = v
                    taken[u] = c
    n, u = 0, low
    while u < high:
        c = taken[u]
        if c < 0:
            u += 1
            continue
        gain[:] = 0.0
        for p in range(parts):
            if some[p, u]:
                _gains(plates, weight, worth, p, u, gain[p])
        _pick_billets(gain, c, rules, best, pick)
        x = nx
        while x > 0:
            part = int(pick[x])
            if part < 0:
                x -= 1
                continue
            x -= rules.cells_along[part]
            counts[part, 0] += plates[part, u, x, 0]
            counts[part, 1] += plates[part, u, x, 1]
            if n < strips.shape[0]:
                strips[n, 0], strips[n, 1], strips[n, 2], strips[n, 3] = u, c, part, x
                n += 1
        u += rules.class_width[c] + rules.rip_cells
    return max(float(total[low]) - worth.slab, 0.0)


@njit(cache=True, nogil=True)
def best_fills(  # noqa: PLR0913 - a compiled kernel
    plates: NDArray[np.int16], some: NDArray[np.bool_], weight: NDArray[np.float32], low: int, high: int,
    rules: FillRules, worths: PlateWorths, values: Array, counts: Ints, strips: Ints, numbers: Ints,
) -> None:  # fmt: skip
    """`best_fill` at each of n prices.

    Parameters
    ----------
    plates, some, weight, low, high, rules : see `best_fill`
    worths : the prices
    values : (n,) filled with the value at each
    counts : (n, P, 2) filled as `best_fill` has them
    strips : (n, m, 4) filled as `best_fill` has them
    numbers : (n, 2) filled with how many billets and strips `strips` holds
    """
    for k in range(len(values)):
        cuts = worths.cuts[k]
        worth = PlateWorth(worths.mated[k], worths.single[k], cuts[0], cuts[1], cuts[2])
        values[k] = best_fill(plates, some, weight, low, high, rules, worth, counts[k], strips[k])
        last = -1
        for i in range(strips.shape[1]):
            if strips[k, i, 0] < 0:
                break
            numbers[k, 0] += 1
            numbers[k, 1] += strips[k, i, 0] != last
            last = strips[k, i, 0]
