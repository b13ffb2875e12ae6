"""Exact programmes over slab tables: stacks of parallel slabs of one roll, and halves turned on.

All settings share the chord's axis, so a turn is a turn of the clock: the upper half of a face at (clock γ, offset f) is
n(γ)·X ≥ f for γ over the whole turn, the lower half the same seen from γ + 180°.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit, prange
from numpy.typing import NDArray

Array = NDArray[np.float64]
Ints = NDArray[np.int64]


class TableGrid(NamedTuple):
    """Slab tables as the compiled kernels read them.

    Attributes
    ----------
    values : (rolls, 2, depths, menu, across + 1) array
        What the slab whose lower face lies at a depth is worth, from a place across outwards (0) and up to it (1).
    rolls : int
        Over half a turn.
    menu, cells : (menu,) arrays
        Thicknesses, rising [mm], and in depth cells.
    depth_step, across_step : float
        [mm]
    half_depth, half_across : int
        Cells from the chord to the outermost depth, and from the middle across.
    kerf_cells : int
        Depth cells that the mill's kerf takes.
    """

    values: NDArray[np.float32]
    rolls: int
    menu: Array
    cells: Ints
    depth_step: float
    across_step: float
    half_depth: int
    half_across: int
    kerf_cells: int


class HalfTurns(NamedTuple):
    """How far halves may be turned on.

    Attributes
    ----------
    angles : (angles,) array
        In roll steps: rising, symmetric about the quarter turn.
    steps : (angles,) array
        Rolls between the halves that are looked at.
    costs : (angles,) array
        What a half's setting is charged.
    """

    angles: Ints
    steps: Ints
    costs: Array


class BoltCorners(NamedTuple):
    """What the bolts that a half may leave are worth by their corners below and above, (faces,) each; the corners' offsets. [mm]"""

    below: Array
    above: Array
    faces: Array


@njit(cache=True, inline="always")
def slab_worth(grid: TableGrid, roll: int, low: int, t: int, side: int, place: int) -> float:
    """Table value of the slab with normal clock index `roll` (0 … 2·rolls), lower face at cell `low`, beyond `place`.

    side 0: lateral ≥ place; side 1: lateral ≤ place, in across cells from the middle. Tables hold half a turn only: the
    other half is the same slab seen from behind.
    """
    values = grid.values
    nd, nu1 = values.shape[2], values.shape[4]
    roll = roll % (2 * grid.rolls)
    if roll >= grid.rolls:
        roll -= grid.rolls
        low = -low - grid.cells[t]
        place = -place
        side = 1 - side
    d = low + grid.half_depth
    if d < 0 or d >= nd:
        return 0.0
    u = place + grid.half_across
    if side == 0:
        if u < 0:
            u = 0
        if u > nu1 - 1:
            return 0.0
        outwards: float = values[roll, 0, d, t, u]
        return outwards
    if u < 0:
        return 0.0
    if u > nu1 - 1:
        u = nu1 - 1
    inwards: float = values[roll, 1, d, t, u]
    return inwards


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


@njit(cache=True)
def beyond_face(grid: TableGrid, turn: int, angle: int, face: float) -> Array:
    """Slab values (depths, menu) of the half n(turn)·X ≥ face, turned on by `angle` roll steps (`turn` any of 2·rolls)."""
    nd, nt = grid.values.shape[2], grid.values.shape[3]
    out = np.zeros((nd, nt))
    sine, cosine = np.sin(angle * np.pi / grid.rolls), np.cos(angle * np.pi / grid.rolls)
    for d in range(nd):
        for t in range(nt):
            low = d - grid.half_depth
            # where the face leans, it reaches furthest in at one of the slab's own faces
            reach = (face - (low if cosine > 0.0 else low + grid.cells[t]) * grid.depth_step * cosine) / sine
            place = -int(np.ceil(reach / grid.across_step - 1e-6))
            out[d, t] = slab_worth(grid, turn + angle, low, t, 1, place)
    return out


@njit(cache=True)
def restricted(grid: TableGrid, roll: int, side: int, place: int) -> Array:
    """Slab values (depths, menu) of one roll (any of 2·rolls) with the lateral reach bounded."""
    nd, nt = grid.values.shape[2], grid.values.shape[3]
    out = np.zeros((nd, nt))
    for d in range(nd):
        for t in range(nt):
            out[d, t] = slab_worth(grid, roll, d - grid.half_depth, t, side, place)
    return out


@njit(cache=True)
def face_index(faces: Array, offset: float) -> int:
    """Index of the first corner at or beyond `offset`; −1 if none."""
    for i in range(len(faces)):
        if faces[i] >= offset - 1e-6:
            return i
    return -1


@njit(cache=True)
def half_corners(grid: TableGrid, stack: Array, bolts: BoltCorners) -> tuple[Array, Ints]:
    """The best stack of a half for each pair of bolts that it may leave.

    Returns stack and bolts (`BoltCorners`) together (faces + 1, faces + 1) and the stack's cells (…, 2); the last place of either
    axis is no bolt.
    """
    nd, nf = len(stack), len(bolts.faces)
    total = np.zeros((nf + 1, nf + 1))
    cells = np.full((nf + 1, nf + 1, 2), -1, np.int64)
    for l in range(nd):
        j = face_index(bolts.faces, -(l - grid.half_depth - grid.kerf_cells) * grid.depth_step)
        low = bolts.below[j] if j >= 0 else 0.0
        for h in range(l + 1, nd):
            if stack[l, h] <= 0.0:
                continue
            k = face_index(bolts.faces, (h - grid.half_depth + grid.kerf_cells) * grid.depth_step)
            value = stack[l, h] + low + (bolts.above[k] if k >= 0 else 0.0)
            if value > total[j, k]:
                total[j, k] = value
                cells[j, k, 0], cells[j, k, 1] = l, h
    return total, cells


@njit(cache=True, parallel=True)
def half_table(grid: TableGrid, turns: HalfTurns, bolts: Array, faces: Array) -> Array:
    """Best value of the half n(γ)·X ≥ face, turned on by each of `turns` (`HalfTurns`): (angles, 2·rolls, faces).

    `bolts` (angles as openings, 2·rolls, faces, faces) is what bolts are worth by their corners at `faces`. [mm]
    """
    rolls = grid.rolls
    na, nf = len(turns.angles), len(faces)
    out = np.zeros((na, 2 * rolls, nf))
    for i in prange(na * 2 * rolls):
        a, g = i // (2 * rolls), i % (2 * rolls)
        if g % turns.steps[a] != 0:
            continue
        low, high = (g - rolls // 2) % (2 * rolls), (g + turns.angles[a] - rolls // 2) % (2 * rolls)
        for f in range(nf):
            slab = beyond_face(grid, g, turns.angles[a], faces[f])
            if not slab.any():
                continue
            stack = stack_table(slab, grid.cells, grid.kerf_cells)
            corners = BoltCorners(bolts[a, low, :, f], bolts[na - 1 - a, high, f], faces)
            total, _ = half_corners(grid, stack, corners)
            out[a, g, f] = max(total.max() - turns.costs[a], 0.0)
    return out


def unstack(grid: TableGrid, slab: Array, stack: Array, low: int, high: int) -> list[tuple[int, int]]:
    """Slabs (lower cell, menu index) of F[low, high], from the bottom up; `slab` and `stack` as for `stack_table`."""
    out: list[tuple[int, int]] = []
    l, h = low, high
    while l < h and stack[l, h] > 1e-9:
        if abs(stack[l, h] - stack[l + 1, h]) < 1e-9:
            l += 1
            continue
        if h - 1 > l and abs(stack[l, h] - stack[l, h - 1]) < 1e-9:
            h -= 1
            continue
        for t in range(len(grid.cells)):
            top = l + int(grid.cells[t])
            nxt = top + grid.kerf_cells
            rest = stack[nxt, h] if nxt < h else 0.0
            if top <= h and slab[l, t] > 0 and abs(slab[l, t] + rest - stack[l, h]) < 1e-6:
                out.append((l, t))
                l = nxt
                break
        else:
            break
    return out
