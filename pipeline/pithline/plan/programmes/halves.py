"""Exact programmes over slab values: stacks of one roll, halves turned on, first settings.

All settings share the chord's axis, so a turn is a turn of the clock: the upper half of a face at (clock γ, offset f) is
n(γ)·X ≥ f for γ over the whole turn, the lower half the same seen from γ + 180°.
"""

from __future__ import annotations

import numpy as np
from numba import njit, prange
from numpy.typing import NDArray

from pithline.plan.programmes.fan_runs import FanGrid, slab_worth

Array = NDArray[np.float64]
Ints = NDArray[np.int64]


@njit(cache=True)
def stack_table(slab: Array, cells: Ints, kerf_cells: int) -> Array:
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


@njit(cache=True, inline="always")
def half_place(g: FanGrid, rolls: int, angle: int, face: float, low: int, t: int) -> int:
    """The place in cells beyond which the half n·X ≥ face leaves a slab of a turn `angle` roll steps further on."""
    sine, cosine = np.sin(angle * np.pi / rolls), np.cos(angle * np.pi / rolls)
    # where the face leans, it reaches furthest in at one of the slab's own faces
    reach = (face - (low if cosine > 0.0 else low + g.cells[t]) * g.depth_step * cosine) / sine
    return int(np.ceil(reach / g.across_step - 1e-6))


@njit(cache=True)
def half_slabs(g: FanGrid, turn: int, angle: int, face: float) -> Array:
    """Slab values (depths, menu) of the half n(turn)·X ≥ face, turned on by `angle` roll steps (`turn` any of 2·rolls)."""
    rolls, nd, nt = g.values.shape[0], g.values.shape[2], g.values.shape[3]
    out = np.zeros((nd, nt))
    for d in range(nd):
        for t in range(nt):
            low = d - g.half_depth
            out[d, t] = slab_worth(g, turn + angle, low, t, 1, -half_place(g, rolls, angle, face, low, t))
    return out


@njit(cache=True)
def bounded_slabs(g: FanGrid, roll: int, side: int, place: int) -> Array:
    """Slab values (depths, menu) of one roll (any of 2·rolls) with the lateral reach bounded."""
    nd, nt = g.values.shape[2], g.values.shape[3]
    out = np.zeros((nd, nt))
    for d in range(nd):
        for t in range(nt):
            out[d, t] = slab_worth(g, roll, d - g.half_depth, t, side, place)
    return out


@njit(cache=True)
def face_index(faces: Array, offset: float) -> int:
    """Index of the first corner at or beyond `offset`; −1 if none."""
    for i in range(len(faces)):
        if faces[i] >= offset - 1e-6:
            return i
    return -1


@njit(cache=True)
def half_corners(g: FanGrid, stack: Array, below: Array, above: Array, faces: Array) -> tuple[Array, Ints]:
    """The best stack of a half for each pair of bolts that it may leave, be it worth nothing itself.

    `below` and `above` (faces,) are what those are worth by their corner. Returns stack and bolts together (faces + 1, faces + 1) and
    the stack's cells (…, 2); the last place of either axis is no bolt.
    """
    nd, nf, thinnest = len(stack), len(faces), g.cells.min()
    total = np.zeros((nf + 1, nf + 1))
    cells = np.full((nf + 1, nf + 1, 2), -1, np.int64)
    for l in range(nd):
        j = face_index(faces, -(l - g.half_depth - g.kerf_cells) * g.depth_step)
        low = below[j] if j >= 0 else 0.0
        for h in range(l + thinnest, nd):
            k = face_index(faces, (h - g.half_depth + g.kerf_cells) * g.depth_step)
            value = stack[l, h] + low + (above[k] if k >= 0 else 0.0)
            if value > total[j, k]:
                total[j, k] = value
                cells[j, k, 0], cells[j, k, 1] = l, h
    return total, cells


@njit(cache=True, parallel=True)
def half_table(g: FanGrid, angles: Ints, bolts: Array, faces: Array, costs: Array) -> Array:
    """Best value of the half n(γ)·X ≥ face, turned on by each angle: (angles, 2·rolls, faces).

    `angles` (a,) in roll steps, rising and symmetric about the quarter turn; `bolts` (a, 2·rolls, faces, faces) what bolts of those
    openings are worth by base, far and near face; `costs` (a,) of the half's setting.
    """
    rolls = g.values.shape[0]
    turns, na, nf = 2 * rolls, len(angles), len(faces)
    out = np.zeros((na, turns, nf))
    for i in prange(na * turns):
        a, turn = i // turns, i % turns
        low, high = (turn - rolls // 2) % turns, (turn + angles[a] - rolls // 2) % turns
        for f in range(nf):
            slab = half_slabs(g, turn, angles[a], faces[f])
            if slab.max() <= 0.0 and bolts[a, low, :, f].max() <= 0.0 and bolts[na - 1 - a, high, f].max() <= 0.0:
                continue
            stack = stack_table(slab, g.cells, g.kerf_cells)
            total, _ = half_corners(g, stack, bolts[a, low, :, f], bolts[na - 1 - a, high, f], faces)
            out[a, turn, f] = max(total.max() - costs[a], 0.0)
    return out


def unstack(
    slab: Array, stack: Array, cells: NDArray[np.int64], kerf_cells: int, span: tuple[int, int]
) -> list[tuple[int, int]]:
    """The slabs that make up one value of a stack table, (lower cell, menu index) each, from the bottom up.

    Parameters
    ----------
    slab : (n, T) array
        Net value of the slab from each lower cell on, by thickness of the menu.
    stack : (n, n) array
        What `stack_table` made of it: the best stack between a lower and an upper cell.
    cells : (T,) int array
        Thicknesses of the menu, cells.
    kerf_cells : int
        Kerf, cells.
    span : (int, int)
        The lower and the upper cell.
    """
    out: list[tuple[int, int]] = []
    l, h = span
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
