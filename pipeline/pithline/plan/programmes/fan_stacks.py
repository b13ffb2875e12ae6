"""Slabs of one run of a bolt's fan: which there are, and how they are best stacked, wood wasted between them or not."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from pithline.plan.programmes.fan_runs import FanGrid, FanRuns, slab_worth

Array = NDArray[np.float64]
Ints32 = NDArray[np.int32]
LOWEST = -1e9
FAN_REACH = 12.0
"""The first slab of a run in a cradle reaches no further under the pith's chord than this. [mm]"""
UNBOUNDED = -1e6
LEAST_WASTE = 8.0
"""Wood that is wasted between two slabs measures at least this: thinner offcuts are not worth their cut. [mm]"""


@njit(cache=True)
def run_slabs(  # noqa: PLR0913 - a compiled kernel
    g: FanGrid, roll: int, lean: float, far: float, least_near: float, cand: Ints32, reach: Array
) -> int:
    """Slabs of one direction worth anything with but the far face in their way; returns how many, by rising lower face.

    `cand` ((m, 6): lower cell, menu index, top as a state, state under it or −1, whether it may come first (in a run along the near
    face: where it lies on that face), row of the table); `reach` (m,): how far in the far face lets each begin. [mm] `lean` is the
    angle from the direction on to the far face's normal. [rad] `least_near` is negative for a run that does not lie on the near face.
    """
    n, count = g.half_depth, 0
    sin_l, cos_l = np.sin(lean), np.cos(lean)
    rolls = g.values.shape[0]
    mirrored = roll % (2 * rolls) >= rolls
    for low in range(-n, n):
        under = low - g.kerf_cells + n
        for t in range(len(g.menu)):
            top = low + g.cells[t]
            if top > n:
                break
            first = (
                g.menu[t] >= least_near if least_near >= 0.0 else low + int((g.menu[t] + FAN_REACH) / g.depth_step) >= 0
            )
            if least_near < 0.0 and not first:
                continue
            tightest = low if sin_l > 0.0 else top
            begin = (far - tightest * g.depth_step * sin_l) / cos_l
            if slab_worth(g, roll, low, t, 1, -int(np.ceil(begin / g.across_step))) <= 0.0:
                continue
            cand[count, 0], cand[count, 1], cand[count, 2] = low, t, top + n
            cand[count, 3], cand[count, 4] = (under if under >= 0 else -1), int(first)
            cand[count, 5] = (-top if mirrored else low) + n
            reach[count] = begin
            count += 1
    return count


@njit(cache=True)
def begin_cell(  # noqa: PLR0913 - a compiled kernel
    g: FanGrid, low: int, top: int, begin: float, cuts: int, cotangents: Array, lines: Array
) -> int:
    """The place from which a slab may begin, in cells, under the `cuts` ahead of it."""
    lower, upper = low * g.depth_step, top * g.depth_step
    for j in range(cuts):
        begin = max(begin, lines[j] - (lower if cotangents[j] > 0.0 else upper) * cotangents[j])
    return int(np.ceil(begin / g.across_step)) if begin > UNBOUNDED / 2 else -4 * g.half_across


@njit(cache=True, inline="always")
def lowest_top(g: FanGrid, runs: FanRuns, q: int, c: int, k: int) -> float:
    """The least offset of the last cut of run `k` after a state (q, c): the lines of both cuts then meet no further out than
    where later slabs begin, so that of all cuts the last alone bounds them. [mm]
    """
    step = np.pi / g.values.shape[0]
    turn, closest = (runs.steps[k] - runs.steps[q]) * step, runs.closest * step
    before = (c - g.half_depth) * g.depth_step + g.kerf
    # (before − top cos turn) / sin turn ≤ (top cos closest − FAN_REACH) / sin closest
    return float((before / np.sin(turn) + FAN_REACH / np.sin(closest)) / (1.0 / np.tan(turn) + 1.0 / np.tan(closest)))


@njit(cache=True, inline="always")
def least_waste(g: FanGrid) -> int:
    """How many cells are wasted at least between two slabs that do not share a cut; a slab worth nothing and its kerf are as much."""
    return int(min(np.ceil(LEAST_WASTE / g.depth_step - 1e-6), g.cells.min() + g.kerf_cells))


@njit(cache=True, inline="always")
def under_waste(g: FanGrid, least: float, waste: int) -> int:
    """How many cells lie between the face that carries a run and its first slab where that does not lie on it: `least` mm and a kerf."""
    return max(int(np.ceil(least / g.depth_step - 1e-6)), waste) + g.kerf_cells


@njit(cache=True)
def stack_up(  # noqa: PLR0913 - a compiled kernel
    g: FanGrid, roll: int, cand: Ints32, reach: Array, count: int, cuts: int, cotangents: Array, lines: Array,
    start: float, parted: Array, on_face: int, raised: int, waste: int, held: Array, of: Ints32, before: Ints32,
) -> None:  # fmt: skip
    """Slabs of one run stacked from the first up: `held[top]` is the best value with the topmost face at that state.

    The cuts ahead leave what lies beyond lines − h·cotangents at height h. `parted` is by state what the bolt is worth that a first slab
    with its lower face there parts off. In a run along the near face the first slab lies on it, at state
    `on_face`, or over wasted wood, at `raised` or higher; any slab may come first where `raised` is −1. `waste` is how many cells are
    wasted at least between two slabs that do not share a cut. `of` and `before` tell how a state came about.
    """
    held[:] = LOWEST
    n, rolls, last = g.half_depth, g.values.shape[0], g.values.shape[4] - 1
    tops, carried, carrier = (
        0,
        LOWEST,
        -1,
    )  # the best of the states so far under that a slab may stand, wood wasted between
    mirrored = roll % (2 * rolls) >= rolls
    table = g.values[roll % rolls]
    for i in range(count):
        low, t, top, under = cand[i, 0], cand[i, 1], cand[i, 2], cand[i, 3]
        while tops <= under - waste:  # by rising lower face: nothing comes to these states any more
            if held[tops] > carried:
                carried, carrier = held[tops], tops
            tops += 1
        below, carrying = carrier, carried
        if under >= 0 and held[under] > carrying:
            below, carrying = under, held[under]
        first = low + n >= raised or (cand[i, 4] == 1 and low + n == on_face)
        if first and start + parted[low + n] >= carrying:
            below, carrying = -1, start + parted[low + n]
        if carrying <= LOWEST / 2:
            continue
        begin = reach[i]
        lower, upper = low * g.depth_step, (top - n) * g.depth_step
        for j in range(cuts):
            begin = max(begin, lines[j] - (lower if cotangents[j] > 0.0 else upper) * cotangents[j])
        # `slab_worth` of side 1 up to −place, its table found already
        u = g.half_across + (1 if mirrored else -1) * int(np.ceil(begin / g.across_step))
        if mirrored:
            if u > last:
                continue
            worth = table[0, cand[i, 5], t, max(u, 0)]
        else:
            if u < 0:
                continue
            worth = table[1, cand[i, 5], t, min(u, last)]
        if worth > 0.0 and carrying + worth > held[top]:
            held[top], of[top], before[top] = carrying + worth, i, below


@njit(cache=True)
def waste_alone(g: FanGrid, lowest: float, start: float, parted: Array, held: Array) -> None:
    """Let the slabs of a run, or none of them, be followed by waste up to the least offset that its last cut may have. [mm]

    One that is wasted may part a bolt off too. `parted` as for `stack_up`.
    """
    cell = int(np.ceil((max(lowest, -FAN_REACH) - g.kerf) / g.depth_step - 1e-6)) + g.half_depth
    if 0 <= cell < len(held):
        held[cell] = max(start, held[: cell + 1].max())
    thinnest = g.cells.min()
    if parted.max() > 0.0:
        for c in range(thinnest, len(held)):
            held[c] = max(held[c], start + parted[c - thinnest])


@njit(cache=True)
def stack_down(  # noqa: PLR0913 - a compiled kernel
    g: FanGrid, roll: int, far: float, least: float, waste: int, cuts: int, cotangents: Array, lines: Array,
    total: Array, pick: Ints32,
) -> float:  # fmt: skip
    """Best slabs flat on the far face, from it inwards.

    `total` (2, states) is what is worth most from each state on: with a slab's top there, or with that or wood wasted there. `pick`
    (2, states) is the menu index of that slab, and the state where the next slab's top lies. `waste` as for `stack_up`.
    """
    n = g.half_depth
    highest = min(-int(np.ceil(far / g.depth_step - 1e-6)), n)
    total[:], pick[:] = 0.0, -1
    tops, carried, carrier = 0, 0.0, -1
    for top in range(-n, highest + 1):
        s = top + n
        for t in range(len(g.menu)):
            low = top - g.cells[t]
            if low < -n:
                break
            if top == highest and g.menu[t] < least:
                continue
            worth = slab_worth(g, roll, low, t, 1, -begin_cell(g, low, top, UNBOUNDED, cuts, cotangents, lines))
            if worth <= 0.0:
                continue
            rest = low - g.kerf_cells + n
            value = worth + (total[1, rest] if rest >= 0 else 0.0)
            if value > total[0, s]:
                total[0, s], pick[0, s] = value, t
        while tops <= s - (waste if top < highest else under_waste(g, least, waste)):
            if total[0, tops] > carried:
                carried, carrier = total[0, tops], tops
            tops += 1
        total[1, s], pick[1, s] = (total[0, s], s) if total[0, s] >= carried else (carried, carrier)
    return total[1, highest + n] if highest >= -n else 0.0
