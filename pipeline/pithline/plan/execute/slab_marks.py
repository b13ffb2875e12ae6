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

    angle: NDArray[np.float32]
    runout: NDArray[np.float32]
    slope: NDArray[np.float32]
    depth: NDArray[np.float32]
    turn: NDArray[np.float32]
    sink: NDArray[np.float32]
    unusable: NDArray[np.bool_]
    step: float


@njit(cache=True)
def _least_in_windows(values: Array, length: int, out: Array, left: Array, right: Array) -> None:
    """Least of each run of `length` values: `out[i]` of values[i : i + length]; `left` and `right` are scratch."""
    n = len(values)
    for i in range(n):
        left[i] = values[i] if i % length == 0 else min(left[i - 1], values[i])
    right[n - 1] = values[n - 1]
    for i in range(n - 2, -1, -1):
        right[i] = values[i] if (i + 1) % length == 0 else min(right[i + 1], values[i])
    for i in range(n - length + 1):
        out[i] = min(right[i], left[i + length - 1])


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
    for x in range(nx):
        for u in range(nu):
            a = wood.angle[i, x, u] * (1 - t) + wood.angle[i + 1, x, u] * t
            d = wood.turn[i, x, u] * (1 - t) + wood.turn[i + 1, x, u] * t
            r = wood.runout[i, x, u] * (1 - t) + wood.runout[i + 1, x, u] * t
            angle[x, u], turn[x, u] = a, d
            share = min((a - part.ring_min) / max(d, SURE), (part.ring_max - a) / max(d, SURE))
            g = wood.slope[i, x, u] * (1 - t) + wood.slope[i + 1, x, u] * t
            share = min(share, (part.runout_max - r) / max(slope_doubt, SURE))
            share = min(share, (part.slope_max - g) / max(slope_doubt, SURE))
            for k in range(first, last + 1):
                if wood.unusable[k, x, u]:
                    share = -MOST_SHARE
                    break
                share = min(share, (wood.depth[k, x, u] - part.kept_out) / max(wood.sink[k, x, u], SURE))
            shares[x, u] = min(max(share, -MOST_SHARE), MOST_SHARE)


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
    along = np.empty((nx, nu))
    most = max(nx, nu)
    row, found, left, right = np.empty(most), np.empty(most), np.empty(most), np.empty(most)
    angles, turns = np.zeros((nx + 1, nu + 1)), np.zeros((nx + 1, nu + 1))
    for layer in range(part.layers):
        _kept_shares(wood, part, layer, resaw_kerf, slope_doubt, shares, angle, turn)
        some = False
        for u in range(nu):
            for x in range(nx):
                row[x] = shares[x, u]
            _least_in_windows(row[:nx], l, found, left, right)
            for x in range(nx - l + 1):
                along[x, u] = found[x]
                some = some or found[x] >= levels[0, 0]
        if not some:
            continue
        for x in range(nx):
            a, d = 0.0, 0.0
            for u in range(nu):
                a += angle[x, u]
                d += turn[x, u]
                angles[x + 1, u + 1] = angles[x, u + 1] + a
                turns[x + 1, u + 1] = turns[x, u + 1] + d
        for x in range(nx - l + 1):
            _least_in_windows(along[x], w, found, left, right)
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
