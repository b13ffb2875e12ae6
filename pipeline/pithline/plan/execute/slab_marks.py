"""Where plates of each part pass in one slab as it truly lies, and how surely.

Of the reserve that a log keeps (doubts of surface and pith), every place keeps a share: the least, over a plate's box, of how far
each limit is away in units of its doubt. Plates that keep little of it are likely to fail, so they count less.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

Array = NDArray[np.float64]
Readings = NDArray[np.float32]
LEVELS = ((0.3, 65), (0.9, 86), (1.5, 100))
"""Shares of a log's reserve, and of 100 plates that keep just so much how many count: the others are likely to fail."""
NO_RESERVE = ((0.0, 100),)
"""What is judged on the fitted log alone."""
SURE = 1e-6
"""A doubt less than this is none. [rad, mm]"""
MOST_SHARE = 9.0
"""More of the reserve than this makes no plate surer."""


class PartLimits(NamedTuple):
    """Of one part: what the compiled programme asks of its plates. [mm, rad]"""

    thickness: float
    layers: int
    long: int  # cells
    wide: int
    ring_min: float
    ring_mean: float
    ring_max: float
    runout_max: float
    slope_max: float
    kept_out: float  # depth under the bark that plates keep


class SlabWood(NamedTuple):
    """A slab's wood on planes through its thickness, (k, along, across) each, and the planes' distance. [mm, rad]"""

    angle: Readings
    runout: Readings
    slope: Readings
    depth: Readings
    turn: Readings
    sink: Readings
    unusable: NDArray[np.bool_]
    step: float


@njit(cache=True, fastmath=True)
def _least_of_next(values: Array, length: int) -> None:
    """Turn each row of (n, m) values, in place, into the least of itself and the `length` − 1 rows after it.

    Runs double in length, whole rows at a time. The last rows, after which fewer follow, hold nothing of use.
    """
    n, reach = len(values), 1
    while reach < length:
        step = min(reach, length - reach)
        for i in range(n - step):
            row, later = values[i], values[i + step]
            for k in range(len(row)):
                row[k] = min(row[k], later[k])
        reach += step


@njit(cache=True, fastmath=True)
def _least_along_row(row: Array, length: int) -> None:
    """As `_least_of_next`, for the values of one row."""
    n, reach = len(row), 1
    while reach < length:
        step = min(reach, length - reach)
        for k in range(n - step):
            row[k] = min(row[k], row[k + step])
        reach += step


@njit(cache=True, fastmath=True)
def _between(planes: Readings, i: int, t: float, x: int, out: Array) -> None:
    """One row of readings (k, along, across) between the planes i and i + 1, linearly."""
    low, high = planes[i, x], planes[i + 1, x]
    for u in range(len(out)):
        out[u] = low[u] * (1 - t) + high[u] * t


@njit(cache=True, fastmath=True)
def _kept_shares(  # noqa: PLR0913 - a compiled kernel
    wood: SlabWood, part: PartLimits, layer: int, resaw_kerf: float, slope_doubt: float, shares: Array,
    angle: Array, turn: Array,
) -> None:  # fmt: skip
    """Fill (along, across): the share kept at each cell of one layer, and its mid-plane's ring angle and doubt of that."""
    planes, nx, nu = wood.angle.shape
    low = layer * (part.thickness + resaw_kerf)
    first = int(np.floor(low / wood.step + 1e-9))
    last = min(int(np.ceil((low + part.thickness) / wood.step - 1e-9)), planes - 1)
    at = (low + part.thickness / 2) / wood.step
    i = min(int(at), planes - 2)
    t = at - i
    slack = max(slope_doubt, SURE)
    runout, slope = np.empty(nu), np.empty(nu)
    # few arrays a loop, and none left early: so compilers work on several cells at once
    for x in range(nx):
        share, a, d = shares[x], angle[x], turn[x]
        _between(wood.angle, i, t, x, a)
        _between(wood.turn, i, t, x, d)
        _between(wood.runout, i, t, x, runout)
        _between(wood.slope, i, t, x, slope)
        for u in range(nu):
            doubt = max(d[u], SURE)
            share[u] = min((a[u] - part.ring_min) / doubt, (part.ring_max - a[u]) / doubt)
        for u in range(nu):
            share[u] = min(share[u], min((part.runout_max - runout[u]) / slack, (part.slope_max - slope[u]) / slack))
        for k in range(first, last + 1):
            depth, sink, unusable = wood.depth[k, x], wood.sink[k, x], wood.unusable[k, x]
            for u in range(nu):
                deep = (depth[u] - part.kept_out) / max(sink[u], SURE)
                share[u] = min(share[u], -MOST_SHARE if unusable[u] else deep)
        for u in range(nu):
            share[u] = min(max(share[u], -MOST_SHARE), MOST_SHARE)


@njit(cache=True, fastmath=True, nogil=True)
def mark_layers(
    wood: SlabWood, part: PartLimits, resaw_kerf: float, slope_doubt: float, levels: Array,
    marks: NDArray[np.uint8],
) -> None:  # fmt: skip
    """Fill `marks` (layers, across, along): how many of 100 plates begun at a place count; 0 where none passes.

    `levels` (m, 2): shares of the reserve, rising, and what plates that keep as much count.
    """
    _planes, nx, nu = wood.angle.shape
    l, w = part.long + 1, part.wide + 1
    if l > nx or w > nu:
        return
    shares, angle, turn = np.empty((nx, nu)), np.empty((nx, nu)), np.empty((nx, nu))
    angles, turns = np.zeros((nx + 1, nu + 1)), np.zeros((nx + 1, nu + 1))
    for layer in range(part.layers):
        _kept_shares(wood, part, layer, resaw_kerf, slope_doubt, shares, angle, turn)
        _least_of_next(shares, l)
        most = -MOST_SHARE
        for x in range(nx - l + 1):
            for u in range(nu):
                most = max(most, shares[x, u])
        if most < levels[0, 0]:
            continue
        for x in range(nx):
            a, d = 0.0, 0.0
            for u in range(nu):
                a += angle[x, u]
                d += turn[x, u]
                angles[x + 1, u + 1] = angles[x, u + 1] + a
                turns[x + 1, u + 1] = turns[x, u + 1] + d
        for x in range(nx - l + 1):
            found = shares[x]
            _least_along_row(found, w)
            for u in range(nu - w + 1):
                share = found[u]
                if share < levels[0, 0]:
                    continue
                a = angles[x + l, u + w] - angles[x, u + w] - angles[x + l, u] + angles[x, u]
                d = turns[x + l, u + w] - turns[x, u + w] - turns[x + l, u] + turns[x, u]
                share = min(share, (a - part.ring_mean * l * w) / max(d, SURE * l * w))
                for m in range(len(levels)):
                    if share >= levels[m, 0]:
                        marks[layer, u, x] = levels[m, 1]


@njit(cache=True, nogil=True)
def billets_of(marks: NDArray[np.uint8], plates: NDArray[np.int16], weight: NDArray[np.float32]) -> None:
    """Fill plates (across, along, 2), mated and single, and weight (across, along) of the billet begun at each place."""
    layers, nu, nx = marks.shape
    for u in range(nu):
        for x in range(nx):
            mated, single, lone, total = 0, 0, False, 0.0
            for k in range(layers):
                if marks[k, u, x] == 0:
                    lone = False
                    continue
                total += marks[k, u, x]
                if lone:
                    mated, single, lone = mated + 2, single - 1, False
                else:
                    single, lone = single + 1, True
            plates[u, x, 0], plates[u, x, 1] = mated, single
            weight[u, x] = total / (100.0 * (mated + single)) if mated + single > 0 else 0.0
