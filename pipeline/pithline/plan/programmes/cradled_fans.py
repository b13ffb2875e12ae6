"""Slabs of one bolt, sawn at the few angles to its own sawn faces at which a shop can hold it.

A bolt is the wedge between the directions `base` and `base + opening`, bounded by two sawn faces: n(base + 90°)·X ≥ near and
n(base + opening − 90°)·X ≥ far. It is sawn in runs of parallel slabs, in order of their direction ψ: first those flat on the
near face (ψ = 0), then those of a cradle, last those flat on the far face. A slab at ψ has its faces square to n(ψ + 90°) and
reaches outwards along n(ψ). A cradle of angle a serves a run at ψ where the bolt lies on a face that stands a from it: the
near face, the face that the run before left, or the far face.

Wood may be wasted between slabs of a run, and under the first. So a slab that is worth nothing at the prices asked needs no place in
a fan: what it carries stands over wood that is wasted. All fans are of the class, whatever the prices.

The first slab of a bolt's first run may part off a bolt of its own: what lies between the near face and its lower face. That one is
sawn in runs too, and parts off no other.

What the last cut left bounds the next slab, so a state is (direction, offset of the last cut). Where a slab lies deep an earlier
cut may reach further; so the programme runs in two ways: with a state's whole chain of cuts held against the next slab, which is what
is sawn, and asking for the last cut and the bolt's own faces alone, when no fan of the class is worth more than it says
(`fan_bounds`).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby

import numpy as np
from numba import njit
from numpy.typing import NDArray

from pithline.plan.programmes.fan_runs import NEVER, FanGrid, FanRuns
from pithline.plan.programmes.fan_stacks import (
    LOWEST,
    UNBOUNDED,
    RunSlabs,
    begin_cell,
    least_waste,
    lowest_top,
    run_slabs,
    stack_down,
    stack_up,
    under_waste,
)

Array = NDArray[np.float64]
Ints = NDArray[np.int64]
Ints32 = NDArray[np.int32]
MOST_SLABS = 32
"""Slabs that one bolt's fan may have."""


@njit(cache=True)
def _cuts_ahead(  # noqa: PLR0913 - a compiled kernel
    g: FanGrid, runs: FanRuns, back: Ints, q: int, c: int, k: int, near: float, cotangents: Array, lines: Array,
) -> int:  # fmt: skip
    """Write every cut that bounds the slabs of run `k` after a state (q, c); returns how many. The near face is one of them."""
    count = 0
    step = np.pi / g.values.shape[0]
    if k > 0:
        turn = runs.steps[k] * step
        cotangents[0], lines[0] = 1.0 / np.tan(turn), near / np.sin(turn)
        count = 1
    while q >= 0:
        turn = (runs.steps[k] - runs.steps[q]) * step
        cotangents[count] = 1.0 / np.tan(turn)
        lines[count] = ((c - g.half_depth) * g.depth_step + g.kerf) / np.sin(turn)
        count += 1
        q, c = back[q, c, 0], back[q, c, 1]
    return count


@njit(cache=True)
def slabs_of_runs(g: FanGrid, runs: FanRuns, base: int, far: float) -> RunSlabs:
    """Slabs of every run of a bolt but the last, which is stacked from the far face down."""
    nk, n, rolls = len(runs.steps), g.half_depth, g.values.shape[0]
    out = RunSlabs(
        np.empty((nk - 1, 2 * n * len(g.menu), 5), np.int32),
        np.empty((nk - 1, 2 * n + 2), np.int32),
        np.empty((nk - 1, 2 * n + 1), np.int32),
        np.empty((nk - 1, 2 * n + 1), np.int32),
        np.zeros(nk),
        np.zeros(nk),
    )
    held, none = np.empty(2 * n + 1), np.empty(0)
    total, pick = np.empty((2, 2 * n + 1)), np.empty((2, 2 * n + 1), np.int32)
    waste, nothing = least_waste(g), np.zeros(2 * n + 1)
    no = len(none)  # a bare 0 would be a type of its own, and each kernel it is handed to compiled once more
    of, before = np.zeros((2, 2 * n + 1), np.int32)
    for k in range(nk - 1):
        lean = (runs.steps[nk - 1] - rolls // 2 - runs.steps[k]) * np.pi / rolls
        roll = base + runs.steps[k] + rolls // 2
        least = runs.least_flat if k == 0 else -1.0
        run_slabs(g, roll, lean, far, least, out.cand[k], out.of_low[k], out.by_low[k], out.by_top[k])
        if k > 0:  # the first run hangs on the near face, and none comes before it
            stack_up(g, roll, out, k, no, none, none, 0.0, nothing, -1, -1, waste, held, of, before)
            out.most[k] = max(held.max(), 0.0)
    roll = base + runs.steps[nk - 1] + rolls // 2
    out.most[nk - 1] = stack_down(g, roll, far, runs.least_flat, waste, no, none, none, total, pick)
    for k in range(nk - 2, -1, -1):
        for later in range(k + 1, nk):
            if runs.cost[k + 1, later] < NEVER:
                out.after[k] = max(out.after[k], out.most[later] - runs.cost[k + 1, later] + out.after[later])
    return out


@njit(cache=True)
def best_fan(  # noqa: C901, PLR0913 - a compiled kernel
    g: FanGrid, runs: FanRuns, base: int, near: float, far: float, slabs: RunSlabs, parted: Array, chain: Ints
) -> float:  # fmt: skip
    """The best fan of one bolt, every earlier cut held against each slab; its value net of charges.

    `base` in rolls, `near` and `far` in mm, `slabs` those of its runs, `parted` as `parted_off` gives it. `chain` (m, 5) is filled with
    direction index, lower cell, menu index, place in cells and the state before its run (index of the direction before, plus one), last
    sawn first; −999 after them.
    """
    rolls, nk = g.values.shape[0], len(runs.steps)
    opening, n = runs.steps[nk - 1], g.half_depth
    best = np.full((nk, 2 * n + 1), LOWEST)
    back = np.full((nk, 2 * n + 1, 2), -1, np.int64)
    # of the states of one direction only those matter that no lower last cut betters: the rest leave less room for less
    front, fronts = np.empty((nk, 2 * n + 1), np.int32), np.zeros(nk, np.int32)
    held = np.empty(2 * n + 1)
    of, before = np.zeros((2, 2 * n + 1), np.int32)
    cotangents, lines = np.empty(nk + 1), np.empty(nk + 1)
    total, pick = np.zeros((2, 2 * n + 1)), np.full((2, 2 * n + 1), -1, np.int32)
    on_face = int(np.ceil(near / g.depth_step - 1e-6)) + n
    waste, nothing = least_waste(g), np.zeros(2 * n + 1)
    over_waste = on_face + under_waste(g, runs.least_flat, waste)
    top_value, top_k, top_c = 0.0, -1, -1
    far_q, far_c = -2, -1
    for k in range(nk):
        roll = base + runs.steps[k] + rolls // 2
        last = k == nk - 1
        if not last and slabs.of_low[k, 2 * n] == 0:
            continue
        for q in range(-1, k):
            cost = runs.cost[q + 1, k]
            if cost >= NEVER:
                continue
            for i in range(1 if q < 0 else fronts[q]):
                c = -1 if q < 0 else front[q, i]
                start = (0.0 if q < 0 else best[q, c]) - cost
                if q >= 0 and start + slabs.most[k] + slabs.after[k] <= top_value:
                    continue
                cuts = _cuts_ahead(g, runs, back, q, c, k, near, cotangents, lines)
                under = parted[k] if q < 0 else nothing
                if last:
                    value = start + stack_down(
                        g, roll, far, runs.least_flat, waste, cuts, cotangents, lines, total, pick
                    )
                    if value > top_value + 1e-9:
                        top_value, top_k, top_c, far_q, far_c = value, k, -1, q, c
                    continue
                stack_up(
                    g,
                    roll,
                    slabs,
                    k,
                    cuts,
                    cotangents,
                    lines,
                    start,
                    under,
                    on_face,
                    over_waste if k == 0 else -1,
                    waste,
                    held,
                    of,
                    before,
                )
                lowest = lowest_top(g, runs, q, c, k) if q >= 0 else UNBOUNDED
                for top in range(2 * n + 1):
                    if held[top] > best[k, top] and (top - n) * g.depth_step + g.kerf >= lowest:
                        best[k, top] = held[top]
                        back[k, top, 0], back[k, top, 1] = q, c
        if last:
            break
        highest = LOWEST / 2  # a run that does not pay itself may bring the bolt to a cheaper one
        for c in range(2 * n + 1):
            if best[k, c] > highest:
                highest = best[k, c]
                front[k, fronts[k]] = c
                fronts[k] += 1
            if best[k, c] > top_value + 1e-9:
                top_value, top_k, top_c, far_q = best[k, c], k, c, -2
    chain[:] = -999
    length, k, c = 0, top_k, top_c
    if far_q > -2:
        cuts = _cuts_ahead(g, runs, back, int(far_q), int(far_c), int(k), near, cotangents, lines)
        roll = base + opening + rolls // 2
        stack_down(g, roll, far, runs.least_flat, waste, cuts, cotangents, lines, total, pick)
        top = min(-int(np.ceil(far / g.depth_step - 1e-6)), n)
        while top >= -n and total[1, top + n] > 0.0 and length < chain.shape[0]:
            top = pick[1, top + n] - n
            t = pick[0, top + n]
            low = top - g.cells[t]
            chain[length, 0], chain[length, 1], chain[length, 2] = k, low, t
            chain[length, 3] = begin_cell(g, low, top, UNBOUNDED, cuts, cotangents, lines)
            chain[length, 4] = far_q + 1
            length += 1
            top = low - g.kerf_cells
        k, c = far_q, far_c
    while k >= 0:
        q, cell = back[k, c, 0], back[k, c, 1]
        roll = base + runs.steps[k] + rolls // 2
        cuts = _cuts_ahead(g, runs, back, q, cell, k, near, cotangents, lines)
        raised = over_waste if k == 0 else -1
        stack_up(
            g,
            roll,
            slabs,
            k,
            cuts,
            cotangents,
            lines,
            0.0,
            parted[k] if q < 0 else nothing,
            on_face,
            raised,
            waste,
            held,
            of,
            before,
        )
        while c >= 0 and length < chain.shape[0]:
            t, low = slabs.cand[k, of[c], 0], slabs.cand[k, of[c], 4]
            chain[length, 0], chain[length, 1], chain[length, 2] = k, low - n, t
            ahead = begin_cell(g, chain[length, 1], chain[length, 1] + g.cells[t], UNBOUNDED, cuts, cotangents, lines)
            chain[length, 3] = max(ahead, slabs.by_low[k, low], slabs.by_top[k, c])
            chain[length, 4] = q + 1
            c = before[c]
            length += 1
        k, c = q, cell
    return top_value


@njit(cache=True)
def parted_off(g: FanGrid, runs: FanRuns, faces: Array, near: float, far: float, worth: Array) -> Array:
    """What the bolt is worth that the first slab of a bolt's first run parts off, by run and state of the slab's lower face.

    `worth` (runs, faces) is that of the bolt between the near face, at `near`, and the slab, by its far face; 0 where a run parts nothing
    off. A slab parts off only where its lower face meets the near one no further in than the bolt's own far face does, at `far`: of the
    bolt under it that face then takes nothing. [mm]
    """
    n, step = g.half_depth, np.pi / g.values.shape[0]
    out = np.zeros((len(worth), 2 * n + 1))
    opening = runs.steps[-1] * step
    corner = (far + near * np.cos(opening)) / np.sin(opening)  # where the bolt's faces meet, along the base
    for k in range(len(worth)):
        turn = runs.steps[k] * step
        highest = near * np.cos(turn) - corner * np.sin(turn)
        j = len(faces) - 1
        for c in range(2 * n + 1):
            height = (c - n) * g.depth_step - g.kerf
            if height > highest + 1e-6:
                break
            while j > 0 and faces[j - 1] >= -height - 1e-6:
                j -= 1
            if faces[j] >= -height - 1e-6:
                # more wood is worth no less: what lies under a slab may be wasted in part
                out[k, c] = max(worth[k, j], out[k, c - 1] if c > 0 else 0.0)
    return out


@dataclass(frozen=True, slots=True)
class FanRun:
    """One run of a fan: its direction and that of the run before it, as indices (−1: none); slabs (lower cell, menu index, place)."""

    direction: int
    before: int
    slabs: tuple[tuple[int, int, int], ...]


def fan_to_saw(g: FanGrid, runs: FanRuns, base: int, near: float, far: float, parted: Array) -> tuple[FanRun, ...]:
    """The runs of the best fan of a bolt in the order in which they are sawn, every earlier cut held against each slab.

    Parameters
    ----------
    g : FanGrid
        Slab values of all rolls.
    runs : FanRuns
        The directions of its runs, and what each is charged.
    base : int
        The direction along its near face, in rolls.
    near, far : float
        Where its faces lie. [mm]
    parted : (runs, states) array
        What the bolt is worth that a first slab parts off, as `parted_off` gives it.
    """
    chain = np.full((MOST_SLABS, 5), -999, np.int64)
    best_fan(g, runs, base, near, far, slabs_of_runs(g, runs, base, far), parted, chain)
    rows = [[int(v) for v in row] for row in chain[::-1] if row[0] != -999]
    return tuple(
        FanRun(k, before - 1, tuple((low, t, place) for _, low, t, place, _ in some))
        for (k, before), some in groupby(rows, key=lambda row: (row[0], row[4]))
    )
