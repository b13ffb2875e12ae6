"""Radial slabs of one bolt: an exact programme over directions and offsets.

A bolt is the quadrant between the directions `base` and `base + 90°`, bounded by two sawn faces: n(base)·X ≥ far_face and
n(base + 90°)·X ≥ near_face. Its slabs are taken in order of their direction ψ; a slab at ψ has its faces square to
n(ψ + 90°) and reaches outwards along n(ψ). What the last cut left is the only bound that matters to the next slab, so the
state is (direction, offset of the last cut). Slabs flush with a face of the bolt are sawn against the fence and uncharged.
"""

from __future__ import annotations

import numpy as np
from numba import njit, prange

LOWEST = -1e9
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
def fan(
    values,
    rolls,
    base,
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
):
    """Best fan of one bolt.

    `near_face`, `far_face` in mm; `spread` roll steps between directions. Writes the slabs chosen into `chain`
    ((m, 4): direction in roll steps from `base`, lower face in depth cells, menu index, charged) and returns the value net of charges.
    """
    steps = rolls // 2
    count = steps // spread + 1
    nt = len(menu)
    step = FACE_CELLS
    kerf_cells = int(np.ceil(kerf / depth_step - 1e-6))
    stages = settings_max + 1
    n = half_depth
    best = np.full((stages, count, 2 * n + 1), LOWEST)
    back = np.full((stages, count, 2 * n + 1, 5), -1, np.int32)
    # of the states of one direction only those matter that no lower last cut betters: the rest leave less room for less
    front = np.empty((stages, count, 2 * n + 1), np.int32)
    fronts = np.zeros((stages, count), np.int32)
    top_value, top_s, top_k, top_c = 0.0, -1, -1, -1
    near_cell = int(np.ceil(near_face / depth_step - 1e-6))
    far_low = -int(np.ceil(far_face / depth_step - 1e-6))
    for k in range(count):
        turn = k * spread * np.pi / rolls
        flush_near, flush_far = k == 0, k == count - 1
        sin_b, cos_b = np.sin(turn), np.cos(turn)
        roll = base + k * spread + rolls // 2
        free = flush_near or flush_far
        for t in range(nt):
            if flush_near:
                first, last = near_cell, near_cell
            elif flush_far:
                first, last = far_low - cells[t], far_low - cells[t]
            else:
                first = -int((menu[t] + FAN_REACH) / depth_step)
                last = int(FAN_REACH / depth_step)
            for low in range(first, last + 1, step):
                top = low + cells[t]
                if low < -n or top > n:
                    continue
                c_low, c_top = low * depth_step, top * depth_step
                from_far = -1000000.0 if flush_far else (far_face + c_top * sin_b) / cos_b
                # what the slab is worth with nothing in its way bounds every use of it
                most = slab_worth(values, rolls, roll, low, t, cells[t], 1, 4 * half_across, half_depth, half_across)
                if most <= 0.0:
                    continue
                for s in range(stages):
                    before = s if free else s - 1
                    if before < 0:
                        continue
                    cost = 0.0 if free else charge
                    # straight from the bolt's near face
                    if before == 0:
                        u1 = from_far if flush_near else max(from_far, (near_face - c_low * cos_b) / sin_b)
                        place = int(np.ceil(u1 / across_step))
                        gain = (
                            slab_worth(values, rolls, roll, low, t, cells[t], 1, -place, half_depth, half_across) - cost
                        )
                        if gain > best[s, k, top + n] and gain > -cost + 1e-6:  # below 0 a second slab may still pay
                            best[s, k, top + n] = gain
                            back[s, k, top + n, 0], back[s, k, top + n, 1] = -1, -1
                            back[s, k, top + n, 2], back[s, k, top + n, 3], back[s, k, top + n, 4] = low, t, 0
                    for q in range(k):
                        delta = (k - q) * spread * np.pi / rolls
                        sin_d, cos_d = np.sin(delta), np.cos(delta)
                        for i in range(fronts[before, q]):
                            c = front[before, q, i]
                            held = best[before, q, c]
                            if held + most - cost <= best[s, k, top + n]:
                                continue
                            line = (c - n) * depth_step + kerf
                            u1 = max(from_far, (line - c_low * cos_d) / sin_d)
                            place = int(np.ceil(u1 / across_step))
                            worth = slab_worth(
                                values, rolls, roll, low, t, cells[t], 1, -place, half_depth, half_across
                            )
                            if worth <= 0.0:
                                continue
                            gain = held + worth - cost
                            if gain > best[s, k, top + n]:
                                best[s, k, top + n] = gain
                                back[s, k, top + n, 0], back[s, k, top + n, 1] = q, c
                                back[s, k, top + n, 2], back[s, k, top + n, 3], back[s, k, top + n, 4] = low, t, before
        # more slabs in the same direction, in the same setting
        for s in range(stages):
            for c in range(2 * n + 1):
                held = best[s, k, c]
                if held <= LOWEST / 2 or flush_far:
                    continue
                low = c - n + kerf_cells
                for t in range(nt):
                    top = low + cells[t]
                    if top > n:
                        continue
                    u1 = (far_face + top * depth_step * sin_b) / cos_b
                    place = int(np.ceil(u1 / across_step))
                    worth = slab_worth(values, rolls, roll, low, t, cells[t], 1, -place, half_depth, half_across)
                    if worth > 0.0 and held + worth > best[s, k, top + n]:
                        best[s, k, top + n] = held + worth
                        back[s, k, top + n, 0], back[s, k, top + n, 1] = k, c
                        back[s, k, top + n, 2], back[s, k, top + n, 3], back[s, k, top + n, 4] = low, t, s
        for s in range(stages):
            held = 0.0
            for c in range(2 * n + 1):
                if best[s, k, c] > held:
                    held = best[s, k, c]
                    front[s, k, fronts[s, k]] = c
                    fronts[s, k] += 1
                if best[s, k, c] > top_value + 1e-9:
                    top_value, top_s, top_k, top_c = best[s, k, c], s, k, c
    length = 0
    s, k, c = top_s, top_k, top_c
    chain[:] = -999
    while k >= 0 and length < chain.shape[0]:
        chain[length, 0], chain[length, 1], chain[length, 2] = k * spread, back[s, k, c, 2], back[s, k, c, 3]
        chain[length, 3] = 0 if (k == 0 or k == count - 1 or back[s, k, c, 0] == k) else 1
        q, qc, qs = back[s, k, c, 0], back[s, k, c, 1], back[s, k, c, 4]
        k, c, s = q, qc, qs
        length += 1
    return top_value


@njit(cache=True, parallel=True)
def fan_table(
    values,
    rolls,
    bases,
    faces,
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
):
    """Values of all bolts: (bases, far faces, near faces)."""
    nb, nf = len(bases), len(faces)
    out = np.zeros((nb, nf, nf), np.float64)
    for i in prange(nb * nf):
        b, f = i // nf, i % nf
        chain = np.empty((12, 4), np.int64)
        for g in range(nf):
            out[b, f, g] = fan(
                values,
                rolls,
                bases[b],
                faces[g],
                faces[f],
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
            )
    return out
