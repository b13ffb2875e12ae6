"""Slabs of one bolt, sawn at the few angles to its own sawn faces at which a shop can hold it.

A bolt is the wedge between the directions `base` and `base + opening`, bounded by two sawn faces: n(base + 90°)·X ≥ near and
n(base + opening − 90°)·X ≥ far. It is sawn in runs of parallel slabs, in order of their direction ψ: first those flat on the
near face (ψ = 0), then those of a cradle, last those flat on the far face. A slab at ψ has its faces square to n(ψ + 90°) and
reaches outwards along n(ψ). A cradle of angle a serves a run at ψ where the bolt lies on a face that stands a from it: the
near face, the face that the run before left, or the far face.

Wood may be wasted between slabs of a run, and under the first. So a slab that is worth nothing at the prices asked needs no place in
a fan: what it carries stands over wood that is wasted. All fans are of the class, whatever the prices.

What the last cut left bounds the next slab, so a state is (direction, offset of the last cut). Where a slab lies deep an earlier
cut may reach further; so the programme runs in two ways: asking for the last cut and the bolt's own faces alone, when no fan of the
class is worth more than it says (`fan_bounds`), and with a state's whole chain of cuts held against the next slab, which is what is
sawn.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit, prange
from numpy.typing import NDArray

from pithline.plan.programmes.fan_runs import NEVER, FanGrid, FanRuns, slab_worth

Array = NDArray[np.float64]
Ints = NDArray[np.int64]
Ints32 = NDArray[np.int32]
LOWEST = -1e9
MOST_SLABS = 32
"""Slabs that one bolt's fan may have."""
FAN_REACH = 12.0
"""The first slab of a run in a cradle reaches no further under the pith's chord than this. [mm]"""
UNBOUNDED = -1e6
LEAST_WASTE = 8.0
"""Wood that is wasted between two slabs measures at least this: thinner offcuts are not worth their cut. [mm]"""


@njit(cache=True)
def _run_slabs(  # noqa: PLR0913 - a compiled kernel
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
def _begin(  # noqa: PLR0913 - a compiled kernel
    g: FanGrid, low: int, top: int, begin: float, cuts: int, cotangents: Array, lines: Array
) -> int:
    """The place from which a slab may begin, in cells, under the `cuts` ahead of it."""
    lower, upper = low * g.depth_step, top * g.depth_step
    for j in range(cuts):
        begin = max(begin, lines[j] - (lower if cotangents[j] > 0.0 else upper) * cotangents[j])
    return int(np.ceil(begin / g.across_step)) if begin > UNBOUNDED / 2 else -4 * g.half_across


@njit(cache=True, inline="always")
def _lowest_top(g: FanGrid, runs: FanRuns, q: int, c: int, k: int) -> float:
    """The least offset of the last cut of run `k` after a state (q, c): the lines of both cuts then meet no further out than
    where later slabs begin, so that of all cuts the last alone bounds them. [mm]
    """
    step = np.pi / g.values.shape[0]
    turn, closest = (runs.steps[k] - runs.steps[q]) * step, runs.closest * step
    before = (c - g.half_depth) * g.depth_step + g.kerf
    # (before − top cos turn) / sin turn ≤ (top cos closest − FAN_REACH) / sin closest
    return float((before / np.sin(turn) + FAN_REACH / np.sin(closest)) / (1.0 / np.tan(turn) + 1.0 / np.tan(closest)))


@njit(cache=True, inline="always")
def _least_waste(g: FanGrid) -> int:
    """How many cells are wasted at least between two slabs that do not share a cut; a slab worth nothing and its kerf are as much."""
    return min(int(np.ceil(LEAST_WASTE / g.depth_step - 1e-6)), g.cells.min() + g.kerf_cells)


@njit(cache=True, inline="always")
def _under_waste(g: FanGrid, least: float, waste: int) -> int:
    """How many cells lie between the face that carries a run and its first slab where that does not lie on it: `least` mm and a kerf."""
    return max(int(np.ceil(least / g.depth_step - 1e-6)), waste) + g.kerf_cells


@njit(cache=True)
def _stack_up(  # noqa: PLR0913 - a compiled kernel
    g: FanGrid, roll: int, cand: Ints32, reach: Array, count: int, cuts: int, cotangents: Array, lines: Array,
    start: float, on_face: int, raised: int, waste: int, held: Array, of: Ints32, before: Ints32,
) -> None:  # fmt: skip
    """Slabs of one run stacked from the first up: `held[top]` is the best value with the topmost face at that state.

    The cuts ahead leave what lies beyond lines − h·cotangents at height h. In a run along the near face the first slab lies on it, at state
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
        if first and start >= carrying:
            below, carrying = -1, start
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
def _waste_up_to(g: FanGrid, lowest: float, start: float, held: Array) -> None:
    """Let the slabs of a run, or none of them, be followed by waste up to the least offset that its last cut may have. [mm]"""
    cell = int(np.ceil((max(lowest, -FAN_REACH) - g.kerf) / g.depth_step - 1e-6)) + g.half_depth
    if 0 <= cell < len(held):
        held[cell] = max(start, held[: cell + 1].max())


@njit(cache=True)
def _stack_down(  # noqa: PLR0913 - a compiled kernel
    g: FanGrid, roll: int, far: float, least: float, waste: int, cuts: int, cotangents: Array, lines: Array,
    total: Array, pick: Ints32,
) -> float:  # fmt: skip
    """Best slabs flat on the far face, from it inwards.

    `total` (2, states) is what is worth most from each state on: with a slab's top there, or with that or wood wasted there. `pick`
    (2, states) is the menu index of that slab, and the state where the next slab's top lies. `waste` as for `_stack_up`.
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
            worth = slab_worth(g, roll, low, t, 1, -_begin(g, low, top, UNBOUNDED, cuts, cotangents, lines))
            if worth <= 0.0:
                continue
            rest = low - g.kerf_cells + n
            value = worth + (total[1, rest] if rest >= 0 else 0.0)
            if value > total[0, s]:
                total[0, s], pick[0, s] = value, t
        while tops <= s - (waste if top < highest else _under_waste(g, least, waste)):
            if total[0, tops] > carried:
                carried, carrier = total[0, tops], tops
            tops += 1
        total[1, s], pick[1, s] = (total[0, s], s) if total[0, s] >= carried else (carried, carrier)
    return total[1, highest + n] if highest >= -n else 0.0


@njit(cache=True)
def _cuts_ahead(  # noqa: PLR0913 - a compiled kernel
    g: FanGrid, runs: FanRuns, back: Ints, q: int, c: int, k: int, near: float, whole_chain: bool,
    cotangents: Array, lines: Array,
) -> int:  # fmt: skip
    """Write the cuts that bound the slabs of run `k` after a state (q, c); returns how many. The near face is one of them."""
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
        if not whole_chain:
            break
        q, c = back[q, c, 0], back[q, c, 1]
    return count


class RunSlabs(NamedTuple):
    """Slabs of each run of a bolt, whatever its near face: see `_run_slabs`.

    `most` (k,) is what a run is worth at most with no cut before it, `after` (k,) what the runs after it may add, less their charges.
    """

    lengths: Ints  # (k,)
    cand: Ints32  # (k − 1, m, 6)
    reach: Array  # (k − 1, m)
    most: Array
    after: Array


@njit(cache=True)
def slabs_of_runs(g: FanGrid, runs: FanRuns, base: int, far: float) -> RunSlabs:
    """Slabs of every run of a bolt but the last, which is stacked from the far face down."""
    nk, most = len(runs.steps), 2 * g.half_depth * len(g.menu)
    rolls = g.values.shape[0]
    out = RunSlabs(
        np.zeros(nk, np.int64),
        np.empty((nk - 1, most, 6), np.int32),
        np.empty((nk - 1, most)),
        np.zeros(nk),
        np.zeros(nk),
    )
    n = g.half_depth
    held, none = np.empty(2 * n + 1), np.empty(0)
    total, pick = np.empty((2, 2 * n + 1)), np.empty((2, 2 * n + 1), np.int32)
    waste = _least_waste(g)
    no = len(none)  # a bare 0 would be a type of its own, and each kernel it is handed to compiled once more
    of, before = np.zeros((2, 2 * n + 1), np.int32)
    for k in range(nk - 1):
        lean = (runs.steps[nk - 1] - rolls // 2 - runs.steps[k]) * np.pi / rolls
        roll = base + runs.steps[k] + rolls // 2
        out.lengths[k] = _run_slabs(g, roll, lean, far, runs.least_flat if k == 0 else -1.0, out.cand[k], out.reach[k])
        if k > 0:  # the first run hangs on the near face, and none comes before it
            _stack_up(
                g, roll, out.cand[k], out.reach[k], out.lengths[k], no, none, none, 0.0, -1, -1, waste, held, of, before
            )
            out.most[k] = max(held.max(), 0.0)
    roll = base + runs.steps[nk - 1] + rolls // 2
    out.most[nk - 1] = _stack_down(g, roll, far, runs.least_flat, waste, no, none, none, total, pick)
    for k in range(nk - 2, -1, -1):
        for later in range(k + 1, nk):
            if runs.cost[k + 1, later] < NEVER:
                out.after[k] = max(out.after[k], out.most[later] - runs.cost[k + 1, later] + out.after[later])
    return out


@njit(cache=True)
def best_fan(  # noqa: C901, PLR0913 - a compiled kernel
    g: FanGrid, runs: FanRuns, base: int, near: float, far: float, slabs: RunSlabs, chain: Ints, whole_chain: bool,
) -> float:  # fmt: skip
    """The best fan of one bolt; its value net of charges.

    `base` in rolls, `near` and `far` in mm, `slabs` those of its runs. `chain` (m, 5) is filled with direction index, lower cell, menu
    index, place in cells and the state before its run (index of the direction before, plus one), last sawn first; −999 after them.
    `whole_chain` holds every earlier cut against a slab, else but the last one and the near face.
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
    waste = _least_waste(g)
    over_waste = on_face + _under_waste(g, runs.least_flat, waste)
    top_value, top_k, top_c = 0.0, -1, -1
    far_q, far_c = -2, -1
    for k in range(nk):
        roll = base + runs.steps[k] + rolls // 2
        last = k == nk - 1
        some = slabs.lengths[k]
        if not last and some == 0:
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
                cuts = _cuts_ahead(g, runs, back, q, c, k, near, whole_chain, cotangents, lines)
                if last:
                    value = start + _stack_down(
                        g, roll, far, runs.least_flat, waste, cuts, cotangents, lines, total, pick
                    )
                    if value > top_value + 1e-9:
                        top_value, top_k, top_c, far_q, far_c = value, k, -1, q, c
                    continue
                _stack_up(
                    g,
                    roll,
                    slabs.cand[k],
                    slabs.reach[k],
                    some,
                    cuts,
                    cotangents,
                    lines,
                    start,
                    on_face,
                    over_waste if k == 0 else -1,
                    waste,
                    held,
                    of,
                    before,
                )
                lowest = _lowest_top(g, runs, q, c, k) if q >= 0 else UNBOUNDED
                if not whole_chain and k > 0:
                    _waste_up_to(g, lowest, start, held)
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
    if len(chain) == 0:
        return top_value
    chain[:] = -999
    length, k, c = 0, top_k, top_c
    if far_q > -2:
        cuts = _cuts_ahead(g, runs, back, int(far_q), int(far_c), int(k), near, whole_chain, cotangents, lines)
        roll = base + opening + rolls // 2
        _stack_down(g, roll, far, runs.least_flat, waste, cuts, cotangents, lines, total, pick)
        top = min(-int(np.ceil(far / g.depth_step - 1e-6)), n)
        while top >= -n and total[1, top + n] > 0.0 and length < chain.shape[0]:
            top = pick[1, top + n] - n
            t = pick[0, top + n]
            low = top - g.cells[t]
            chain[length, 0], chain[length, 1], chain[length, 2] = k, low, t
            chain[length, 3] = _begin(g, low, top, UNBOUNDED, cuts, cotangents, lines)
            chain[length, 4] = far_q + 1
            length += 1
            top = low - g.kerf_cells
        k, c = far_q, far_c
    while k >= 0:
        q, cell = back[k, c, 0], back[k, c, 1]
        roll = base + runs.steps[k] + rolls // 2
        cand, reach = slabs.cand[k], slabs.reach[k]
        cuts = _cuts_ahead(g, runs, back, q, cell, k, near, whole_chain, cotangents, lines)
        raised = over_waste if k == 0 else -1
        _stack_up(
            g,
            roll,
            cand,
            reach,
            slabs.lengths[k],
            cuts,
            cotangents,
            lines,
            0.0,
            on_face,
            raised,
            waste,
            held,
            of,
            before,
        )
        while c >= 0 and length < chain.shape[0]:
            i = of[c]
            chain[length, 0], chain[length, 1], chain[length, 2] = k, cand[i, 0], cand[i, 1]
            low = chain[length, 1]  # as wide a number as elsewhere: else the kernel would be compiled once more
            chain[length, 3] = _begin(g, low, cand[i, 2] - n, reach[i], cuts, cotangents, lines)
            chain[length, 4] = q + 1
            c = before[c]
            length += 1
        k, c = q, cell
    return top_value


@njit(cache=True, parallel=True)
def fan_bounds(g: FanGrid, runs: FanRuns, bases: Ints, faces: Array) -> Array:
    """No fan of the class is worth more, net of charges: (bases, far faces, near faces). `bases` (b,) rolls, `faces` (f,) mm.

    Each run is held against the near face, the far face and the cut before it.
    """
    nb, nf = len(bases), len(faces)
    out = np.zeros((nb, nf, nf))
    for i in prange(nb * nf):
        b, f = i // nf, i % nf
        chain = np.empty((0, 5), np.int64)
        whole_chain = len(chain) > 0  # not the bare False: for a constant the kernels would be compiled once more
        slabs = slabs_of_runs(g, runs, bases[b], faces[f])
        for n in range(nf):
            out[b, f, n] = best_fan(g, runs, bases[b], faces[n], faces[f], slabs, chain, whole_chain)
    return out
