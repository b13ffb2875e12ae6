"""Exact programmes over the slab tables: stacks of one roll, halves turned on, and the best whole layouts.

All settings share the chord's axis, so a turn is a turn of the clock: the upper half of a face at (clock γ, offset f) is
n(γ)·X ≥ f for γ over the whole turn, the lower half the same seen from γ + 180°.
"""

from __future__ import annotations

import numpy as np
from numba import njit, prange
from numpy.typing import NDArray

from pithline.plan.programmes.fans import slab_worth

Array = NDArray[np.float64]


@njit(cache=True)
def stack_table(slab, cells, kerf_cells):
    """F[l, h]: best slabs packed between face cells l and h of one roll; `slab` (depths, menu)."""
    nd, nt = slab.shape
    out = np.zeros((nd, nd))
    for l in range(nd - 2, -1, -1):
        for h in range(l + 1, nd):
            best = max(out[l + 1, h], out[l, h - 1])
            for t in range(nt):
                top = l + cells[t]
                if top > h or slab[l, t] <= 0.0:
                    continue
                nxt = top + kerf_cells
                rest = out[nxt, h] if nxt < h else 0.0
                if slab[l, t] + rest > best:
                    best = slab[l, t] + rest
            out[l, h] = best
    return out


@njit(cache=True)
def beyond_face(values, rolls, turn, angle, face, cells, depth_step, across_step, half_depth, half_across):
    """Slab values (depths, menu) of the half n(turn)·X ≥ face, turned on by `angle` roll steps (`turn` any of 2·rolls)."""
    nd, nt = values.shape[2], values.shape[3]
    out = np.zeros((nd, nt))
    sine, cosine = np.sin(angle * np.pi / rolls), np.cos(angle * np.pi / rolls)
    for d in range(nd):
        for t in range(nt):
            low = d - half_depth
            # where the face leans, it reaches furthest in at one of the slab's own faces
            reach = (face - (low if cosine > 0.0 else low + cells[t]) * depth_step * cosine) / sine
            place = -int(np.ceil(reach / across_step - 1e-6))
            out[d, t] = slab_worth(values, rolls, turn + angle, low, t, cells[t], 1, place, half_depth, half_across)
    return out


@njit(cache=True)
def restricted(values, rolls, roll, cells, side, place, half_depth, half_across):
    """Slab values (depths, menu) of one roll (any of 2·rolls) with the lateral reach bounded."""
    nd, nt = values.shape[2], values.shape[3]
    out = np.zeros((nd, nt))
    for d in range(nd):
        for t in range(nt):
            out[d, t] = slab_worth(
                values, rolls, roll, d - half_depth, t, cells[t], side, place, half_depth, half_across
            )
    return out


@njit(cache=True)
def face_index(faces, offset):
    """Index of the first corner at or beyond `offset`; −1 if none."""
    for i in range(len(faces)):
        if faces[i] >= offset - 1e-6:
            return i
    return -1


@njit(cache=True)
def half_corners(stack, below, above, faces, depth_step, half_depth, kerf_cells):
    """The best stack of a half for each pair of bolts that it may leave.

    `below` and `above` (faces,) are what those are worth by their corner. Returns stack and bolts together (faces + 1, faces + 1) and
    the stack's cells (…, 2); the last place of either axis is no bolt.
    """
    nd, nf = len(stack), len(faces)
    total = np.zeros((nf + 1, nf + 1))
    cells = np.full((nf + 1, nf + 1, 2), -1, np.int64)
    for l in range(nd):
        j = face_index(faces, -(l - half_depth - kerf_cells) * depth_step)
        low = below[j] if j >= 0 else 0.0
        for h in range(l + 1, nd):
            if stack[l, h] <= 0.0:
                continue
            k = face_index(faces, (h - half_depth + kerf_cells) * depth_step)
            value = stack[l, h] + low + (above[k] if k >= 0 else 0.0)
            if value > total[j, k]:
                total[j, k] = value
                cells[j, k, 0], cells[j, k, 1] = l, h
    return total, cells


@njit(cache=True, parallel=True)
def half_table(
    values, rolls, angles, steps, bolts, faces, cells, kerf_cells, depth_step, across_step, half_depth, half_across, costs
):  # fmt: skip
    """Best value of the half n(γ)·X ≥ face, turned on by each angle: (angles, 2·rolls, faces); `costs` (angles,) of its setting."""
    turns = 2 * rolls
    na, nf = len(angles), len(faces)
    out = np.zeros((na, turns, nf))
    for i in prange(na * turns):
        a, g = i // turns, i % turns
        if g % steps[a] != 0:
            continue
        low, high = (g - rolls // 2) % turns, (g + angles[a] - rolls // 2) % turns
        for f in range(nf):
            slab = beyond_face(
                values, rolls, g, angles[a], faces[f], cells, depth_step, across_step, half_depth, half_across
            )
            if not slab.any():
                continue
            stack = stack_table(slab, cells, kerf_cells)
            total, _ = half_corners(
                stack, bolts[a, low, :, f], bolts[na - 1 - a, high, f], faces, depth_step, half_depth, kerf_cells
            )
            out[a, g, f] = max(total.max() - costs[a], 0.0)
    return out


def unstack(
    slab: Array, stack: Array, cells: NDArray[np.int64], kerf_cells: int, low: int, high: int
) -> list[tuple[int, int]]:
    """Slabs (lower cell, menu index) of F[low, high], from the bottom up."""
    out: list[tuple[int, int]] = []
    l, h = low, high
    while l < h and stack[l, h] > 1e-9:
        if abs(stack[l, h] - stack[l + 1, h]) < 1e-9:
            l += 1
            continue
        if h - 1 > l and abs(stack[l, h] - stack[l, h - 1]) < 1e-9:
            h -= 1
            continue
        for t in range(len(cells)):
            top = l + int(cells[t])
            nxt = top + kerf_cells
            rest = stack[nxt, h] if nxt < h else 0.0
            if top <= h and slab[l, t] > 0 and abs(slab[l, t] + rest - stack[l, h]) < 1e-6:
                out.append((l, t))
                l = nxt
                break
        else:
            break
    return out
