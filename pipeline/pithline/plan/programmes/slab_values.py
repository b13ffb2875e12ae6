"""What slabs are worth at given prices of plates.

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


@njit(cache=True, fastmath=True)
def _slabs_at(  # noqa: C901 - a compiled kernel
    d: int, places: NDArray[np.uint8], rows: NDArray[np.bool_], some: NDArray[np.uint8], rules: FillRules, worth: PlateWorth,
) -> NDArray[np.float32]:  # fmt: skip
    """`slab_values` of one depth, (2, menu, across + 1). In the body of the loop over depths it would take far longer to compile."""
    parts, nd, nx, nu = places.shape
    nt, classes = len(rules.menu), len(rules.class_width)
    out = np.zeros((2, nt, nu + 1), np.float32)
    best = np.zeros((nx + 1, nu), np.float32)
    strips = np.zeros((nt, classes, nu), np.float32)
    gain = np.zeros((parts, nx, nu), np.float32)  # what a stack of plates begun at each place counts
    lone = np.zeros((parts, nx, nu), np.uint8)  # whether the uppermost plate of that stack still lacks a mate
    begun = np.zeros((parts, nx), np.bool_)
    holds = np.zeros((parts, nu), np.bool_)
    lows, highs = np.full(parts, nu), np.zeros(parts, np.int64)  # the places across that hold any, by part
    layers, those = np.zeros(parts, np.int64), np.empty(parts, np.int64)
    renewed = np.zeros(parts, np.bool_)  # parts of which this slab holds layers that a thinner one does not
    anything, anew = np.zeros(nt, np.bool_), np.zeros(nt, np.bool_)
    # a thicker slab holds the layers of a thinner one and more
    for t in range(nt):
        if d + rules.menu[t] / rules.depth_step > nd - 1:
            break
        for p in range(parts):
            renewed[p] = False
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
            count, low, high, more = 0, nu, 0, False
            for q in range(parts):
                narrow = rules.cells_across[q] * 10 < rules.class_width[c] * NARROWEST
                if lows[q] >= highs[q] or rules.width_class[q] > c or narrow:
                    continue
                those[count] = q
                count += 1
                more = more or renewed[q]
                if rules.width_class[q] == c:
                    low, high = min(low, lows[q]), max(high, highs[q])
            # without a part as wide as that the strip of the next narrower class holds as much
            if low >= high:
                continue
            if not more:
                for u in range(nu):
                    strips[t, c, u] = strips[t - 1, c, u]
                continue
            _longest_rows(gain, begun, those[:count], rules.cells_along, worth.billet, (low, high), best)
            for u in range(low, high):
                own = False
                for k in range(count):
                    own = own or (rules.width_class[those[k]] == c and holds[those[k], u])
                if own and best[nx, u] > 0.0:
                    strips[t, c, u] = max(float(best[nx, u]) - worth.strip, TRIFLE)
    for t in range(nt):
        if not anything[t]:
            continue
        if not anew[t]:
            for u in range(nu + 1):
                out[0, t, u], out[1, t, u] = out[0, t - 1, u], out[1, t - 1, u]
            continue
        strip = strips[t]
        for u in range(nu - 1, -1, -1):
            value = out[0, t, u + 1]
            for k in range(classes):
                wide = rules.class_width[k]
                after = min(u + wide + rules.rip_cells, nu)
                if u + wide <= nu and strip[k, u] > 0.0 and strip[k, u] + out[0, t, after] > value:
                    value = strip[k, u] + out[0, t, after]
            out[0, t, u] = value
        for u in range(1, nu + 1):
            value = out[1, t, u - 1]
            for k in range(classes):
                start = u - rules.class_width[k]
                if start >= 0 and strip[k, start] > 0.0:
                    value = max(value, strip[k, start] + out[1, t, max(start - rules.rip_cells, 0)])
            out[1, t, u] = value
        if worth.slab > 0.0:
            for side in range(2):
                for u in range(nu + 1):
                    if out[side, t, u] > 0.0:
                        out[side, t, u] = max(out[side, t, u] - worth.slab, TRIFLE)
    return out


@njit(cache=True, parallel=True)
def slab_values(
    passing: NDArray[np.uint8], some: NDArray[np.uint8], rules: FillRules, worth: PlateWorth
) -> NDArray[np.float32]:
    """Best value of every slab of one roll: (2, depths, menu, across + 1), from a place outwards (0) and up to a place (1).

    `passing` (P, depths, across, along) tells where a plate of a part passes from that corner, `some` (P, depths, across) where
    any place along does. The slab's lower face lies at the depth index. Strips are as wide as one part.
    """
    _, nd, nu, _ = passing.shape
    places, rows = _turned(passing, some)
    out = np.empty((2, nd, len(rules.menu), nu + 1), np.float32)
    for d in prange(nd):
        # set here, for numba leaves a parallel loop out that it sees set nothing; one by one, for a slice takes seconds more to compile
        own = _slabs_at(d, places, rows, some, rules, worth)
        for side in range(2):
            for t in range(own.shape[1]):
                for u in range(nu + 1):
                    out[side, d, t, u] = own[side, t, u]
    return out
