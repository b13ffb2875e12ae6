"""What no fan of a bolt is worth more than: the programme of `cradled_fans`, asking for the last cut and the bolt's own faces alone.

It gives values only, of many bolts at once, and is most of what a look at prices costs. So what hangs on a bolt's faces or on the
directions of two runs is reckoned once for all states.
"""

from __future__ import annotations

import numpy as np
from numba import njit, prange
from numpy.typing import NDArray

from pithline.plan.programmes.cradled_fans import parted_off, slabs_of_runs
from pithline.plan.programmes.fan_runs import NEVER, FanGrid, FanRuns
from pithline.plan.programmes.fan_stacks import (
    FAN_REACH,
    LOWEST,
    UNBOUNDED,
    RunSlabs,
    least_waste,
    parted_by_waste,
    places_ahead,
    side_read,
    stack_down,
    stack_up,
    under_waste,
    waste_after,
)

Array = NDArray[np.float64]
Ints = NDArray[np.int64]
Ints32 = NDArray[np.int32]
GENEROUS = 1e-6
"""Places are rounded in a bolt's favour by this much, for they come about by other sums than what is sawn. [cells, mm]"""


@njit(cache=True)
def _turns(g: FanGrid, runs: FanRuns) -> Array:
    """By run q and a later run k, how a cut of q at an offset bounds slabs of k: (4, k, k).

    They begin further out by the first for each mm of the offset, and further in by the second for each state that a face lies higher.
    [cells] The offset of k's own last cut is at least the third times that of q's and the fourth. [mm]
    """
    nk, step = len(runs.steps), np.pi / g.values.shape[0]
    out = np.zeros((4, nk, nk))
    closest = runs.closest * step
    for q in range(nk):
        for k in range(q + 1, nk):
            turn = (runs.steps[k] - runs.steps[q]) * step
            both = 1.0 / np.tan(turn) + 1.0 / np.tan(closest)
            out[0, q, k] = 1.0 / np.sin(turn) / g.across_step
            out[1, q, k] = g.depth_step / np.tan(turn) / g.across_step
            out[2, q, k] = 1.0 / np.sin(turn) / both
            out[3, q, k] = FAN_REACH / np.sin(closest) / both
    return out


FINE = 30
"""Places are reckoned in whole numbers of cells over two to this power: rounding up to cells is then a shift."""


@njit(cache=True, inline="always")
def _further(places: Ints32, line: float, by_face: float, most: int, out: Ints32) -> None:
    """Places by face, and how far out a cut lets slabs begin there; no further than just past the greatest. [cells]"""
    place = np.int64(line * (1 << FINE)) + np.int64((1 << FINE) - 1)
    step = np.int64(by_face * (1 << FINE))
    for s in range(len(places)):
        out[s] = max(places[s], min(place >> FINE, most + 1))
        place -= step


@njit(cache=True)
def _stack_values(  # noqa: PLR0913 - a compiled kernel
    g: FanGrid, roll: int, slabs: RunSlabs, k: int, by_low: Ints32, by_top: Ints32, start: float, waste: int, held: Array
) -> None:  # fmt: skip
    """What `stack_up` gives of a run that may begin with any slab, values alone; slabs begin at `by_low` and `by_top` at least."""
    held[:] = LOWEST
    rolls = g.values.shape[0]
    side, _, most = side_read(g, roll)
    sign = np.int32(1 if side == 0 else -1)
    table = g.values[roll % rolls, side].reshape(-1)
    cand, of_low = slabs.cand[k], slabs.of_low[k]
    tops, carried = 0, start
    for low in range(len(held) - 1):
        first, after, begin = of_low[low], of_low[low + 1], by_low[low]
        if first == after or begin > most:
            continue
        under = low - g.kerf_cells
        while tops <= under - waste:
            carried = max(carried, held[tops])
            tops += 1
        carrying = max(carried, held[under]) if under >= 0 else carried
        for i in range(first, after):
            top = np.uint32(cand[i, 1])
            place = max(begin, by_top[top])
            if place > most:
                continue
            worth = table[np.uint32(cand[i, 2] + sign * place)]
            held[top] = max(held[top], carrying + worth if worth > 0.0 else LOWEST)


@njit(cache=True)
def _most_of_fan(  # noqa: C901, PLR0913 - a compiled kernel
    g: FanGrid, runs: FanRuns, turns: Array, base: int, near: float, far: float, slabs: RunSlabs, parted: Array
) -> float:  # fmt: skip
    """No fan of one bolt is worth more, net of charges. Arguments as for `best_fan`; `slabs` those of its runs."""
    rolls, nk, n = g.values.shape[0], len(runs.steps), g.half_depth
    states = 2 * n + 1
    best = np.full((nk, states), LOWEST)
    # of the states of one direction only those matter that no lower last cut betters: the rest leave less room for less
    front, fronts = np.empty((nk, states), np.int32), np.zeros(nk, np.int32)
    held = np.empty(states)
    of, before, near_low, near_top, by_low, by_top = np.zeros((6, states), np.int32)
    cotangents, lines = np.empty(2), np.empty(2)
    total, pick = np.empty((2, states)), np.empty((2, states), np.int32)
    on_face = int(np.ceil(near / g.depth_step - 1e-6)) + n
    waste = least_waste(g)
    over_waste = on_face + under_waste(g, runs.least_flat, waste)
    top_value = 0.0
    for k in range(nk):
        roll, last, cuts = base + runs.steps[k] + rolls // 2, k == nk - 1, int(k > 0)
        if k == 0 and not last and slabs.of_low[k, 2 * n] == 0:
            continue
        _, _, most = side_read(g, roll)
        if k > 0:
            turn = runs.steps[k] * np.pi / rolls
            cotangents[0], lines[0] = 1.0 / np.tan(turn), near / np.sin(turn)
        cost = runs.cost[0, k]
        if cost < NEVER and last:
            fan = stack_down(g, roll, far, runs.least_flat, waste, cuts, cotangents, lines, total, pick)
            top_value = max(top_value, fan - cost)
        elif cost < NEVER:
            raised = over_waste if k == 0 else -1
            stack_up(
                g, roll, slabs, k, cuts, cotangents, lines, -cost, parted[k], on_face, raised, waste, held, of, before
            )
            if k > 0:
                waste_after(g, UNBOUNDED, -cost, held)
                parted_by_waste(g, -cost, parted[k], held)
            for s in range(states):
                best[k, s] = max(best[k, s], held[s])
        if not last and k > 0:
            places_ahead(g, slabs.by_low[k], cuts, cotangents, lines, True, most, near_low)
            places_ahead(g, slabs.by_top[k], cuts, cotangents, lines, False, most, near_top)
        for q in range(k):
            cost, by_face = runs.cost[q + 1, k], turns[1, q, k]
            if cost >= NEVER:
                continue
            turn = (runs.steps[k] - runs.steps[q]) * np.pi / rolls
            for i in range(fronts[q]):
                c = front[q, i]
                start, offset = best[q, c] - cost, (c - n) * g.depth_step + g.kerf
                if start + slabs.most[k] + slabs.after[k] <= top_value:
                    continue
                if last:
                    cotangents[1], lines[1] = 1.0 / np.tan(turn), offset / np.sin(turn)
                    fan = stack_down(g, roll, far, runs.least_flat, waste, 2, cotangents, lines, total, pick)
                    top_value = max(top_value, start + fan)
                    continue
                line = offset * turns[0, q, k] + n * by_face - GENEROUS
                if by_face > 0.0:
                    _further(near_low, line, by_face, most, by_low)
                    _stack_values(g, roll, slabs, k, by_low, near_top, start, waste, held)
                else:
                    _further(near_top, line, by_face, most, by_top)
                    _stack_values(g, roll, slabs, k, near_low, by_top, start, waste, held)
                lowest = offset * turns[2, q, k] + turns[3, q, k] - GENEROUS
                waste_after(g, lowest, start, held)
                least = max(int(np.ceil((lowest - g.kerf) / g.depth_step - GENEROUS)) + n, 0)
                for s in range(least, states):
                    best[k, s] = max(best[k, s], held[s])
        if last:
            break
        highest = LOWEST / 2  # a run that does not pay itself may bring the bolt to a cheaper one
        for c in range(states):
            if best[k, c] > highest:
                highest = best[k, c]
                front[k, fronts[k]] = c
                fronts[k] += 1
        top_value = max(top_value, highest)
    return top_value


@njit(cache=True, parallel=True)
def fan_bounds(g: FanGrid, runs: FanRuns, bases: Ints, faces: Array, parts: Array) -> Array:
    """No fan of the class is worth more, net of charges: (bases, far faces, near faces). `bases` (b,) rolls, `faces` (f,) mm.

    Each run is held against the near face, the far face and the cut before it. `parts` (runs, bases, far faces, near faces) is what no bolt
    that is parted off by the first slab of a run is worth more than.
    """
    nb, nf = len(bases), len(faces)
    out = np.zeros((nb, nf, nf))
    turns = _turns(g, runs)
    for i in prange(nb * nf):
        b, f = i // nf, i % nf
        slabs = slabs_of_runs(g, runs, bases[b], faces[f])
        for n in range(nf):
            parted = parted_off(g, runs, faces, faces[n], faces[f], parts[:, b, :, n])
            out[b, f, n] = _most_of_fan(g, runs, turns, bases[b], faces[n], faces[f], slabs, parted)
    return out
