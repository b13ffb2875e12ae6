"""Slabs of one run of a bolt's fan: which there are, and how they are best stacked, wood wasted between them or not."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from pithline.plan.programmes.fan_runs import FanGrid, FanRuns

Array = NDArray[np.float64]
Ints32 = NDArray[np.int32]
LOWEST = -1e9
FAN_REACH = 12.0
"""The first slab of a run in a cradle reaches no further under the pith's chord than this. [mm]"""
UNBOUNDED = -1e6
LEAST_WASTE = 8.0
"""Wood that is wasted between two slabs measures at least this: thinner offcuts are not worth their cut. [mm]"""


class RunSlabs(NamedTuple):
    """Slabs of each of a bolt's k runs but the last, whatever its near face. Faces are states: cells from `half_depth` under the chord.

    cand : (k − 1, m, 5) menu index, top, where the middle of its row lies in the table of its roll and side, whether it may come first
        (in a run along the near face: where it lies on that face), lower face; by rising lower face
    of_low : (k − 1, states + 1) where the slabs of each lower face begin among them
    by_low, by_top : (k − 1, states) how far in the far face lets slabs begin, by lower face and by top; the greater counts [cells]
    most, after : (k,) what a run is worth at most with no cut before it, and what the runs after it may add, less their charges
    """

    cand: Ints32
    of_low: Ints32
    by_low: Ints32
    by_top: Ints32
    most: Array
    after: Array


@njit(cache=True, inline="always")
def side_read(g: FanGrid, roll: int) -> tuple[int, int, int]:
    """How tables are read for slabs of a roll that begin at some place: the side, and the least and the greatest place. [cells]

    A slab that begins further out than the greatest holds nothing, further in than the least no more than there. The place is counted
    from the middle of the row, up on side 0, and down on side 1.
    """
    last = g.values.shape[4] - 1
    if roll % (2 * g.values.shape[0]) >= g.values.shape[0]:
        return 0, -g.half_across, last - g.half_across
    return 1, g.half_across - last, g.half_across


@njit(cache=True)
def run_slabs(  # noqa: PLR0913 - a compiled kernel
    g: FanGrid, roll: int, lean: float, far: float, least_near: float, cand: Ints32, of_low: Ints32, by_low: Ints32, by_top: Ints32
) -> None:  # fmt: skip
    """Slabs of one direction worth anything with but the far face in their way, written as `RunSlabs` has them.

    `lean` is the angle from the direction on to the far face's normal. [rad] `least_near` is negative for a run that does not lie on
    the near face.
    """
    n, count = g.half_depth, 0
    sin_l, cos_l = np.sin(lean), np.cos(lean)
    rolls, row = g.values.shape[0], g.values.shape[4]
    side, least, most = side_read(g, roll)
    sign = 1 if side == 0 else -1
    table = g.values[roll % rolls, side].reshape(-1)
    by_low[:], by_top[:] = least, least
    by_cell = by_low if sin_l > 0.0 else by_top
    for s in range(2 * n + 1):
        begin = np.ceil((far - (s - n) * g.depth_step * sin_l) / cos_l / g.across_step)
        by_cell[s] = int(min(max(begin, least), most + 1))
    for low in range(-n, n):
        of_low[low + n] = count
        for t in range(len(g.menu)):
            top = low + g.cells[t]
            if top > n:
                break
            first = (
                g.menu[t] >= least_near if least_near >= 0.0 else low + int((g.menu[t] + FAN_REACH) / g.depth_step) >= 0
            )
            if least_near < 0.0 and not first:
                continue
            begin = max(by_low[low + n], by_top[top + n])
            if begin > most:
                continue
            place = (((-top if side == 0 else low) + n) * len(g.menu) + t) * row + g.half_across
            if table[place + sign * begin] <= 0.0:
                continue
            cand[count, 0], cand[count, 1], cand[count, 2] = t, top + n, place
            cand[count, 3], cand[count, 4] = int(first), low + n
            count += 1
    of_low[2 * n :] = count


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
def places_ahead(  # noqa: PLR0913 - a compiled kernel
    g: FanGrid, places: Ints32, cuts: int, cotangents: Array, lines: Array, lower: bool, most: int, out: Ints32
) -> None:  # fmt: skip
    """Places by face, and where those cuts ahead let slabs begin that are nearest to them at this face, the lower or the upper one.

    None is further out than just past the greatest. [cells]
    """
    out[:] = places
    for j in range(cuts):
        if (cotangents[j] > 0.0) == lower:
            for s in range(len(places)):
                line = lines[j] - (s - g.half_depth) * g.depth_step * cotangents[j]
                out[s] = max(out[s], np.int32(min(np.ceil(line / g.across_step), most + 1.0)))


@njit(cache=True)
def stack_up(  # noqa: PLR0913 - a compiled kernel
    g: FanGrid, roll: int, slabs: RunSlabs, k: int, cuts: int, cotangents: Array, lines: Array,
    start: float, parted: Array, on_face: int, raised: int, waste: int, held: Array, of: Ints32, before: Ints32,
) -> None:  # fmt: skip
    """Slabs of run `k` stacked from the first up: `held[top]` is the best value with the topmost face at that state.

    The cuts ahead leave what lies beyond lines − h·cotangents at height h. `parted` is by state what the bolt is worth that a first slab
    with its lower face there parts off. In a run along the near face the first slab lies on it, at state
    `on_face`, or over wasted wood, at `raised` or higher; any slab may come first where `raised` is −1. `waste` is how many cells are
    wasted at least between two slabs that do not share a cut. `of` and `before` tell how a state came about.
    """
    held[:] = LOWEST
    n, rolls = g.half_depth, g.values.shape[0]
    side, _, most = side_read(g, roll)
    sign = 1 if side == 0 else -1
    table = g.values[roll % rolls, side].reshape(-1)
    cand, of_low = slabs.cand[k], slabs.of_low[k]
    by_low, by_top = np.empty((2, 2 * n + 1), np.int32)
    places_ahead(g, slabs.by_low[k], cuts, cotangents, lines, True, most, by_low)
    places_ahead(g, slabs.by_top[k], cuts, cotangents, lines, False, most, by_top)
    # the best of the states so far under that a slab may stand, wood wasted between
    tops, carried, carrier = 0, LOWEST, -1
    for low in range(2 * n):
        begin = by_low[low]
        if of_low[low] == of_low[low + 1] or begin > most:
            continue
        under = low - g.kerf_cells
        while tops <= under - waste:  # by rising lower face: nothing comes to these states any more
            if held[tops] > carried:
                carried, carrier = held[tops], tops
            tops += 1
        below, carrying = carrier, carried
        if under >= 0 and held[under] > carrying:
            below, carrying = under, held[under]
        first = start + parted[low]
        if low >= raised and first >= carrying:
            below, carrying = -1, first
        lies = low == on_face and low < raised and first >= carrying
        if carrying <= LOWEST / 2 and not lies:
            continue
        for i in range(of_low[low], of_low[low + 1]):
            top = cand[i, 1]
            place = max(begin, by_top[top])
            if place > most:
                continue
            worth = table[cand[i, 2] + sign * place]
            mine = lies and cand[i, 3] == 1
            value = (first if mine else carrying) + worth
            if worth > 0.0 and value > max(held[top], LOWEST / 2):
                held[top], of[top], before[top] = value, i, -1 if mine else below


@njit(cache=True)
def waste_after(g: FanGrid, lowest: float, start: float, held: Array) -> None:
    """Let the slabs of a run, or none of them, be followed by waste up to the least offset that its last cut may have. [mm]"""
    cell = int(np.ceil((max(lowest, -FAN_REACH) - g.kerf) / g.depth_step - 1e-6)) + g.half_depth
    if 0 <= cell < len(held):
        held[cell] = max(start, held[: cell + 1].max())


@njit(cache=True)
def parted_by_waste(g: FanGrid, start: float, parted: Array, held: Array) -> None:
    """Let a first slab that is wasted part a bolt off too. `parted` as for `stack_up`."""
    thinnest = g.cells.min()
    for c in range(thinnest, len(held)):
        if parted[c - thinnest] > 0.0:
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
    n, rolls, row = g.half_depth, g.values.shape[0], g.values.shape[4]
    highest = min(-int(np.ceil(far / g.depth_step - 1e-6)), n)
    total[:], pick[:] = 0.0, -1
    if highest < -n:
        return 0.0
    side, least_place, most = side_read(g, roll)
    sign = 1 if side == 0 else -1
    table = g.values[roll % rolls, side].reshape(-1)
    nearest = np.full(2 * n + 1, least_place, np.int32)
    by_low, by_top = np.empty((2, 2 * n + 1), np.int32)
    places_ahead(g, nearest, cuts, cotangents, lines, True, most, by_low)
    places_ahead(g, nearest, cuts, cotangents, lines, False, most, by_top)
    tops, carried, carrier = 0, 0.0, -1
    for s in range(highest + n + 1):
        for t in range(len(g.menu)):
            low = s - g.cells[t]
            if low < 0:
                break
            if s == highest + n and g.menu[t] < least:
                continue
            place = max(by_low[low], by_top[s])
            if place > most:
                continue
            worth = table[((2 * n - s if side == 0 else low) * len(g.menu) + t) * row + g.half_across + sign * place]
            if worth <= 0.0:
                continue
            rest = low - g.kerf_cells
            value = worth + (total[1, rest] if rest >= 0 else 0.0)
            if value > total[0, s]:
                total[0, s], pick[0, s] = value, t
        while tops <= s - (waste if s < highest + n else under_waste(g, least, waste)):
            if total[0, tops] > carried:
                carried, carrier = total[0, tops], tops
            tops += 1
        total[1, s], pick[1, s] = (total[0, s], s) if total[0, s] >= carried else (carried, carrier)
    return float(total[1, highest + n])
