"""Radial slabs of one bolt: an exact programme over directions and offsets.

A bolt is the wedge between the directions `base` and `base + opening`, bounded by two sawn faces: n(base + 90°)·X ≥ near_face
and n(base + opening − 90°)·X ≥ far_face; a half turned 90° leaves openings of 90°. Its slabs are taken in order of their
direction ψ; a slab at ψ has its faces square to n(ψ + 90°) and reaches outwards along n(ψ). What the last cut left bounds the
next slab, so the state is (direction, offset of the last cut). That holds for most fans, not for all: where a slab lies deep,
an earlier cut may reach further. So there are two programmes: one asks for the last cut alone, and no fan of the class is worth
more than it says (the bound); the other holds each state's whole chain of cuts against the next slab (what is sawn). Slabs
flush with a face of the bolt are sawn against the fence and uncharged, unless the bolts are too heavy or too long for the
resaw (`flush_free`).
"""

from __future__ import annotations

import numpy as np
from numba import njit

LOWEST = -1e9
CHAIN = 24
"""Slabs that one bolt's fan may have."""
FACE_CELLS = 2
"""A fan's slabs are tried every so many depth cells, and no further than `FAN_REACH` off the pith's chord."""
FAN_REACH = 12.0


@njit(cache=True, inline="always")
def slab_worth(values, rolls, roll, low, t, cells, side, place, half_depth, half_across):
    """Table value of the slab with normal clock index `roll` (0 … 2·rolls), lower face at cell `low`, beyond `place`.

    side 0: lateral ≥ place; side 1: lateral ≤ place, in across cells from the middle. Tables hold half a turn only: the
    other half is the same slab seen from behind.
    """
    nd, _nt, nu1 = values.shape[2], values.shape[3], values.shape[4]
    roll = roll % (2 * rolls)
    if roll >= rolls:
        roll -= rolls
        low = -low - cells
        place = -place
        side = 1 - side
    d = low + half_depth
    if d < 0 or d >= nd:
        return 0.0
    u = place + half_across
    if side == 0:
        if u < 0:
            u = 0
        if u > nu1 - 1:
            return 0.0
        return values[roll, 0, d, t, u]
    if u < 0:
        return 0.0
    if u > nu1 - 1:
        u = nu1 - 1
    return values[roll, 1, d, t, u]


@njit(cache=True)
def slabs_of_direction(
    values, rolls, roll, lean, far_face, near_cell, far_low, menu, cells, depth_step, across_step, half_depth, half_across,
    kerf_cells, free_near, free_far, cand, reach,
):  # fmt: skip
    """Slabs of one direction that are worth anything with nothing but the bolt's far face in their way; returns how many.

    `lean` is the angle from the direction on to the far face's normal, −90° … 30°. [rad]

    Writes `cand` ((m, 6): lower face in cells, menu index, top as a state, state under it or −1, whether it may come first, row
    of the table) by rising lower face, and `reach` (m,): how far in the far face lets each begin. [mm]
    """
    n, count = half_depth, 0
    sin_l, cos_l = np.sin(lean), np.cos(lean)
    mirrored = roll % (2 * rolls) >= rolls
    first_reach = int(FAN_REACH / depth_step)
    for low in range(-n, n):
        under = low - kerf_cells + n
        for t in range(len(menu)):
            top = low + cells[t]
            if top > n:
                break
            if free_near:
                first = low == near_cell
            elif free_far:
                first = low == far_low - cells[t]
            else:
                from_deepest = low + int((menu[t] + FAN_REACH) / depth_step)
                first = from_deepest >= 0 and low <= first_reach and from_deepest % FACE_CELLS == 0
            if not first and (under < 0 or free_far):
                continue
            tightest = low if sin_l > 0.0 else top
            u1 = -1000000.0 if free_far else (far_face - tightest * depth_step * sin_l) / cos_l
            place = -4 * half_across if free_far else int(np.ceil(u1 / across_step))
            if slab_worth(values, rolls, roll, low, t, cells[t], 1, -place, half_depth, half_across) <= 0.0:
                continue
            cand[count, 0], cand[count, 1], cand[count, 2] = low, t, top + n
            cand[count, 3], cand[count, 4] = (under if under >= 0 and not free_far else -1), 1 if first else 0
            cand[count, 5] = (-top if mirrored else low) + half_depth
            reach[count] = u1
            count += 1
    return count


@njit(cache=True)
def direction_stack(
    table,
    mirrored,
    cand,
    reach,
    count,
    turns,
    lines,
    ahead,
    depth_step,
    across_step,
    half_across,
    start,
    held,
    of,
    before,
):
    """Slabs stacked in one direction after earlier cuts: `held[top]` is the best value with the topmost face at that state.

    `table` (2, depths, menu, across + 1) is the direction's roll, `mirrored` where that is looked at from behind; `cand` and
    `reach` its candidates. Of the `ahead` cuts that bound the slabs, `turns` are the cotangents of the angles back to their
    directions and `lines` their offsets over the sines: at height h they leave what lies beyond lines − h·turns, least at
    a slab's lower face, or at its upper one where the cut is more than 90° back. `start` is the value before the first slab, its
    charge taken off. `of` and `before` tell how each state came about: its candidate, and the state under it (−1: the
    first slab).
    """
    held[:] = LOWEST
    middle = len(held) // 2
    last = table.shape[3] - 1
    for i in range(count):
        low, t, top, under = cand[i, 0], cand[i, 1], cand[i, 2], cand[i, 3]
        stacked = under >= 0 and held[under] > LOWEST / 2
        if cand[i, 4] == 0 and not stacked:
            continue
        u1 = reach[i]
        lower, upper = low * depth_step, (top - middle) * depth_step
        for j in range(ahead):
            u1 = max(u1, lines[j] - (lower if turns[j] > 0.0 else upper) * turns[j])
        place = int(np.ceil(u1 / across_step)) if u1 > -100000.0 else -4 * half_across
        # `slab_worth` of side 1 up to −place, its table found already
        if mirrored:
            u = place + half_across
            if u > last:
                continue
            worth = table[0, cand[i, 5], t, max(u, 0)]
        else:
            u = half_across - place
            if u < 0:
                continue
            worth = table[1, cand[i, 5], t, min(u, last)]
        if worth <= 0.0:
            continue
        if cand[i, 4] == 1 and start + worth > held[top]:
            held[top], of[top], before[top] = start + worth, i, -1
        if stacked and held[under] + worth > held[top]:
            held[top], of[top], before[top] = held[under] + worth, i, under


@njit(cache=True)
def _ahead(back, stage, q, c, k, spread, rolls, n, depth_step, kerf, near_face, strict, turns, lines):
    """Write cotangents and lines of the cuts that bound the slabs of direction `k` (`direction_stack`); returns how many."""
    count = 0
    if k > 0:
        turn = k * spread * np.pi / rolls
        turns[0], lines[0] = 1.0 / np.tan(turn), near_face / np.sin(turn)
        count = 1
    while q >= 0:
        turn = (k - q) * spread * np.pi / rolls
        turns[count], lines[count] = 1.0 / np.tan(turn), ((c - n) * depth_step + kerf) / np.sin(turn)
        count += 1
        if not strict:
            break
        stage, q, c = back[stage, q, c, 0], back[stage, q, c, 1], back[stage, q, c, 2]
    return count


@njit(cache=True)
def fan(
    values,
    rolls,
    base,
    opening,
    near_face,
    far_face,
    menu,
    cells,
    depth_step,
    across_step,
    half_depth,
    half_across,
    kerf,
    spread,
    charge,
    settings_max,
    chain,
    strict,
    flush_free,
):
    """Best fan of one bolt; `strict` holds every cut of a chain against the next slab, else the last alone.

    `near_face`, `far_face` in mm; `opening` in roll steps, a multiple of the `spread` between directions; `cells` rises.
    Writes the slabs chosen into `chain` ((m, 4): direction in roll steps from `base`, lower face in depth cells, menu index,
    charged), last sawn first, and returns the value net of charges.
    """
    count = opening // spread + 1
    nt = len(menu)
    kerf_cells = int(np.ceil(kerf / depth_step - 1e-6))
    stages = settings_max + 1
    n = half_depth
    best = np.full((stages, count, 2 * n + 1), LOWEST)
    back = np.full((stages, count, 2 * n + 1, 3), -1, np.int32)  # stage, direction and cell of the cut before
    # of the states of one direction only those matter that no lower last cut betters: the rest leave less room for less
    front = np.empty((stages, count, 2 * n + 1), np.int32)
    fronts = np.zeros((stages, count), np.int32)
    held = np.empty(2 * n + 1)
    of, before = np.zeros((2, 2 * n + 1), np.int32)
    cand = np.empty((2 * n * nt, 6), np.int32)
    reach = np.empty(2 * n * nt)
    turns, lines = np.empty(count + 1), np.empty(count + 1)
    near_cell = int(np.ceil(near_face / depth_step - 1e-6))
    far_low = -int(np.ceil(far_face / depth_step - 1e-6))
    top_value, top_s, top_k, top_c = 0.0, -1, -1, -1
    for k in range(count):
        lean = (opening - rolls // 2 - k * spread) * np.pi / rolls
        near, far = k == 0, k == count - 1
        free = flush_free and (near or far)
        roll = (base + k * spread + rolls // 2) % (2 * rolls)
        table, mirrored = values[roll % rolls], roll >= rolls
        cost = 0.0 if free else charge
        some = slabs_of_direction(
            values, rolls, roll, lean, far_face, near_cell, far_low, menu, cells, depth_step, across_step, half_depth,
            half_across, kerf_cells, near, far, cand, reach,
        )  # fmt: skip
        if some == 0:
            continue
        for s in range(stages):
            stage = s if free else s - 1
            if stage < 0:
                continue
            for q in range(-1, k):
                if q < 0 and stage > 0:
                    continue
                for i in range(1 if q < 0 else fronts[stage, q]):
                    c = -1 if q < 0 else front[stage, q, i]
                    start = (0.0 if q < 0 else best[stage, q, c]) - cost
                    ahead = _ahead(
                        back, stage, q, c, k, spread, rolls, n, depth_step, kerf, near_face, strict, turns, lines
                    )
                    direction_stack(
                        table, mirrored, cand, reach, some, turns, lines, ahead, depth_step, across_step, half_across, start,
                        held, of, before,
                    )  # fmt: skip
                    for top in range(2 * n + 1):
                        if held[top] > best[s, k, top]:
                            best[s, k, top] = held[top]
                            back[s, k, top, 0], back[s, k, top, 1], back[s, k, top, 2] = stage, q, c
        for s in range(stages):
            highest = 0.0
            for c in range(2 * n + 1):
                if best[s, k, c] > highest:
                    highest = best[s, k, c]
                    front[s, k, fronts[s, k]] = c
                    fronts[s, k] += 1
                if best[s, k, c] > top_value + 1e-9:
                    top_value, top_s, top_k, top_c = best[s, k, c], s, k, c
    chain[:] = -999
    length = 0
    s, k, c = top_s, top_k, top_c
    while k >= 0:
        stage, q, cell = back[s, k, c]
        lean = (opening - rolls // 2 - k * spread) * np.pi / rolls
        near, far = k == 0, k == count - 1
        roll = (base + k * spread + rolls // 2) % (2 * rolls)
        start = (0.0 if q < 0 else best[stage, q, cell]) - (0.0 if flush_free and (near or far) else charge)
        some = slabs_of_direction(
            values, rolls, roll, lean, far_face, near_cell, far_low, menu, cells, depth_step, across_step, half_depth,
            half_across, kerf_cells, near, far, cand, reach,
        )  # fmt: skip
        ahead = _ahead(back, stage, q, cell, k, spread, rolls, n, depth_step, kerf, near_face, strict, turns, lines)
        direction_stack(
            values[roll % rolls], roll >= rolls, cand, reach, some, turns, lines, ahead, depth_step, across_step, half_across,
            start, held, of, before,
        )  # fmt: skip
        while c >= 0 and length < chain.shape[0]:
            i = of[c]
            chain[length, 0], chain[length, 1], chain[length, 2] = k * spread, cand[i, 0], cand[i, 1]
            chain[length, 3] = 0 if (flush_free and (near or far)) or before[c] >= 0 else 1
            c = before[c]
            length += 1
        s, k, c = stage, q, cell
    return top_value
