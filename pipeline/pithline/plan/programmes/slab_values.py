"""What slabs are worth at given prices of plates, and how the best strips of one slab are read back.

A slab is filled with strips, strips with billets along them, billets with plates through the slab's thickness. Plates of one
billet that lie next to each other and both pass are mates; what has no mate is a single plate. Where plates pass does not
depend on prices, so a search asks these programmes again and again of the same places.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit, prange
from numpy.typing import NDArray

Array = NDArray[np.float64]
Ints = NDArray[np.int64]
Strips = NDArray[np.float32]
NARROWEST = 6
"""Parts at least so many tenths as wide as a strip may share it."""


class FillRules(NamedTuple):
    """Numbers of parts (P,) and saws for the compiled kernels, in cells of the grid where not said otherwise."""

    thickness: Array  # [mm]
    cells_along: Ints  # with the kerf of one crosscut
    cells_across: Ints
    width_class: Ints
    class_width: Ints  # (classes,) rising
    menu: Array  # slab thicknesses, rising [mm]
    depth_step: float  # [mm]
    resaw_kerf: float  # [mm]
    rip_cells: int
    spring: float  # of a slab's thickness, kept for cleaning up [mm]


class PlateWorth(NamedTuple):
    """What plates count, (P,) each, and what cuts cost, in the objective's unit."""

    mated: Array
    single: Array
    billet: float  # cost of crosscutting one
    strip: float  # cost of ripping one
    slab: float  # cost of sawing one


@njit(cache=True, inline="always")
def layer_count(rules: FillRules, p: int, thickness: float) -> int:
    """Plates of part `p` in a slab of this thickness. [mm]"""
    return int((thickness - rules.spring + rules.resaw_kerf + 0.01) / (rules.thickness[p] + rules.resaw_kerf))


@njit(cache=True, inline="always")
def layer_depth(rules: FillRules, p: int, j: int, d: int) -> int:
    """Depth index of the mid-plane of layer `j` of part `p`, in a slab whose lower face lies at depth index `d`."""
    step = rules.thickness[p] + rules.resaw_kerf
    return int(np.floor(d + (rules.thickness[p] / 2 + j * step) / rules.depth_step + 0.5))


TRIFLE = 1e-4
"""A slab whose plates just do not pay for its cuts still opens a log or a half, so it is no less than this: no bound may miss it."""


@njit(cache=True, parallel=True)
def _turned(passing: NDArray[np.uint8], some: NDArray[np.uint8]) -> tuple[NDArray[np.uint8], NDArray[np.bool_]]:
    """Where plates pass, (P, depths, along, across), so that many places across are worked on at once; and where any across does."""
    parts, nd, nu, nx = passing.shape
    out, rows = np.zeros((parts, nd, nx, nu), np.uint8), np.zeros((parts, nd, nx), np.bool_)
    for d in prange(nd):
        for p in range(parts):
            for u in range(nu):
                if some[p, d, u]:
                    for x in range(nx):
                        if passing[p, d, u, x]:
                            out[p, d, x, u] = 1
                            rows[p, d, x] = True
    return out, rows


@njit(cache=True, fastmath=True)
def _add_layer(  # noqa: PLR0913 - a compiled kernel
    passing: NDArray[np.uint8], some: NDArray[np.bool_], span: tuple[int, int], worth: tuple[float, float], gain: Strips,
    lone: NDArray[np.uint8], begun: NDArray[np.bool_],
) -> None:  # fmt: skip
    """Lay one more layer of plates (along, across) on the stacks begun at each place of a span across; `some` (along,) where it has any.

    `worth` is that of a lone plate, and what its mate adds. `gain` (along, across) is what a stack counts, `lone` whether its uppermost
    plate still lacks a mate, `begun` (along,) whether any is begun.
    """
    (low, high), (first, second) = span, worth
    for x in range(len(passing)):
        if not some[x]:
            if begun[x]:
                lone[x, low:high] = 0
            continue
        begun[x] = True
        here, own, alone = passing[x, low:high], gain[x, low:high], lone[x, low:high]
        for u in range(len(here)):
            own[u] += (second if alone[u] else first) if here[u] else 0.0
        for u in range(len(here)):
            alone[u] = here[u] & (1 - alone[u])


@njit(cache=True, fastmath=True)
def _longest_rows(  # noqa: PLR0913 - a compiled kernel
    gain: Strips, begun: NDArray[np.bool_], those: Ints, long: Ints, billet: float, span: tuple[int, int], best: Strips
) -> None:  # fmt: skip
    """The best row of billets of parts `those` up to each place along, `best` (along + 1, across), for strips of a span across.

    `begun` (P, along) tells where any stack is begun.
    """
    low, high = span
    best[0, low:high] = 0.0
    for x in range(1, len(best)):
        here, before = best[x, low:high], best[x - 1, low:high]
        for u in range(len(here)):
            here[u] = before[u]
        for p in those:
            if x < long[p] or not begun[p, x - long[p]]:
                continue
            start, own = best[x - long[p], low:high], gain[p, x - long[p], low:high]
            if billet == 0.0:
                for u in range(len(here)):
                    here[u] = max(here[u], start[u] + own[u])
            else:
                for u in range(len(here)):
                    here[u] = max(here[u], start[u] + own[u] - billet)


@njit(cache=True, fastmath=True, parallel=True)
def slab_values(  # noqa: C901 - a compiled kernel
    passing: NDArray[np.uint8], some: NDArray[np.uint8], rules: FillRules, worth: PlateWorth,
) -> NDArray[np.float32]:  # fmt: skip
    """Best value of every slab of one roll: (2, depths, menu, across + 1), from a place outwards (0) and up to a place (1).

    `passing` (P, depths, across, along) tells where a plate of a part passes from that corner, `some` (P, depths, across) where
    any place along does. The slab's lower face lies at the depth index. Strips are as wide as one part.
    """
    parts, nd, nu, nx = passing.shape
    nt, classes = len(rules.menu), len(rules.class_width)
    out = np.zeros((2, nd, nt, nu + 1), np.float32)
    places, rows = _turned(passing, some)
    for d in prange(nd):
        best = np.zeros((nx + 1, nu), np.float32)
        strips, tops = np.zeros((nt, classes, nu), np.float32), np.zeros((nt, classes), np.float32)
        gain = np.zeros((parts, nx, nu), np.float32)  # what a stack of plates begun at each place counts
        lone = np.zeros((parts, nx, nu), np.uint8)  # whether the uppermost plate of that stack still lacks a mate
        begun = np.zeros((parts, nx), np.bool_)
        holds = np.zeros((parts, nu), np.bool_)
        lows, highs = np.full(parts, nu), np.zeros(parts, np.int64)  # the places across that hold any, by part
        layers = np.zeros(parts, np.int64)
        renewed = np.zeros(parts, np.bool_)  # parts of which this slab holds layers that a thinner one does not
        anything, anew = np.zeros(nt, np.bool_), np.zeros(nt, np.bool_)
        # a thicker slab holds the layers of a thinner one and more
        for t in range(nt):
            if d + rules.menu[t] / rules.depth_step > nd - 1:
                break
            renewed[:] = False
            for p in range(parts):
                if worth.mated[p] <= 0.0 and worth.single[p] <= 0.0:
                    continue
                n = layer_count(rules, p, rules.menu[t])
                plate = worth.single[p], worth.mated[p] * 2.0 - worth.single[p]
                for j in range(layers[p], n):
                    mid = layer_depth(rules, p, j, d)
                    if mid < nd:
                        for u in range(nu):
                            if some[p, mid, u]:
                                renewed[p] = holds[p, u] = True
                                lows[p], highs[p] = min(lows[p], u), max(highs[p], u + 1)
                    if lows[p] >= highs[p]:
                        continue
                    if mid < nd:
                        _add_layer(places[p, mid], rows[p, mid], (lows[p], highs[p]), plate, gain[p], lone[p], begun[p])
                    else:
                        lone[p] = 0
                layers[p] = max(layers[p], n)
            if not holds.any():
                continue
            anything[t], anew[t] = True, renewed.any()
            for c in range(classes):
                those = np.flatnonzero(
                    (lows < highs)
                    & (rules.width_class <= c)
                    & (rules.cells_across * 10 >= rules.class_width[c] * NARROWEST)
                )
                low, high, more = nu, 0, False
                for q in those:
                    more = more or renewed[q]
                    if rules.width_class[q] == c:
                        low, high = min(low, lows[q]), max(high, highs[q])
                # without a part as wide as that the strip of the next narrower class holds as much
                if low >= high:
                    continue
                if not more:
                    strips[t, c], tops[t, c] = strips[t - 1, c], tops[t - 1, c]
                    continue
                _longest_rows(gain, begun, those, rules.cells_along, worth.billet, (low, high), best)
                for u in range(low, high):
                    own = False
                    for q in those:
                        own = own or (rules.width_class[q] == c and holds[q, u])
                    if own and best[nx, u] > 0.0:
                        strips[t, c, u] = max(float(best[nx, u]) - worth.strip, TRIFLE)
                        tops[t, c] = max(tops[t, c], strips[t, c, u])
        for t in range(nt):
            if not anything[t]:
                continue
            if not anew[t]:
                out[0, d, t], out[1, d, t] = out[0, d, t - 1], out[1, d, t - 1]
                continue
            strip = strips[t]
            filled = np.flatnonzero(tops[t] > 0.0)
            for u in range(nu - 1, -1, -1):
                value = out[0, d, t, u + 1]
                for k in filled:
                    wide = rules.class_width[k]
                    after = min(u + wide + rules.rip_cells, nu)
                    if u + wide <= nu and strip[k, u] > 0.0 and strip[k, u] + out[0, d, t, after] > value:
                        value = strip[k, u] + out[0, d, t, after]
                out[0, d, t, u] = value
            for u in range(1, nu + 1):
                value = out[1, d, t, u - 1]
                for k in filled:
                    start = u - rules.class_width[k]
                    if start >= 0 and strip[k, start] > 0.0:
                        value = max(value, strip[k, start] + out[1, d, t, max(start - rules.rip_cells, 0)])
                out[1, d, t, u] = value
            if worth.slab > 0.0:
                for side in range(2):
                    for u in range(nu + 1):
                        if out[side, d, t, u] > 0.0:
                            out[side, d, t, u] = max(out[side, d, t, u] - worth.slab, TRIFLE)
    return out


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
