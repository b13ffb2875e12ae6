"""Exact programmes over the slab tables: stacks of one roll, halves turned on, and the best whole layouts.

All settings share the chord's axis, so a turn is a turn of the clock: the upper half of a face at (clock γ, offset f) is
n(γ)·X ≥ f for γ over the whole turn, the lower half the same seen from γ + 180°.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit, prange
from numpy.typing import NDArray

from pithline.plan.fan_bounds import fan_bounds
from pithline.plan.fans import CHAIN, fan, slab_worth
from pithline.plan.layout import Setting, SlabCut
from pithline.plan.slabs import Grid

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Tables:
    """What the programmes need of one log."""

    grid: Grid
    values: NDArray[np.float32]  # (rolls, 2, depths, menu, across + 1)
    cells: NDArray[np.int64]  # thickness in depth cells
    menu: Array
    faces: Array  # corner offsets of bolts
    angles: NDArray[np.int64]  # how far a half may be turned, in roll steps: rising, symmetric about the quarter turn
    steps: NDArray[np.int64]  # rolls between the halves that are looked at, for each angle
    bolts: NDArray[np.float64]  # (angles as openings, 2·rolls, faces, faces)
    charge: float
    mill_kerf: float
    fan_spread: int
    settings_per_bolt: int
    flush_free: bool = True  # whether a bolt's slabs along its own faces are sawn against the fence, uncharged
    off_square: float = 0.0  # what a half's setting is charged more where it is not turned 90°

    @property
    def square(self) -> int:
        """Index of the quarter turn among the angles."""
        return len(self.angles) // 2

    @property
    def extra(self) -> Array:
        """What a half's setting is charged beyond any setting, (angles,)."""
        return np.where(np.arange(len(self.angles)) == self.square, 0.0, self.off_square)


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


@dataclass(frozen=True, slots=True)
class Search:
    """Tables plus the halves they lead to."""

    tables: Tables
    by_angle: Array  # (angles, 2·rolls, faces)
    halves: Array  # (2·rolls, faces), at the best angle
    kerf_cells: int
    half_depth: int
    half_across: int


def search(tables: Tables) -> Search:
    """Run the programmes for bolts and halves."""
    grid = tables.grid
    half_depth, half_across = len(grid.depths) // 2, len(grid.across) // 2
    kerf_cells = int(np.ceil(tables.mill_kerf / grid.depth_step - 1e-6))
    halves = half_table(
        tables.values,
        grid.rolls,
        tables.angles,
        tables.steps,
        tables.bolts,
        tables.faces,
        tables.cells,
        kerf_cells,
        grid.depth_step,
        grid.across_step,
        half_depth,
        half_across,
        tables.charge + tables.extra,
    )
    return Search(tables, halves, halves.max(axis=0), kerf_cells, half_depth, half_across)


def fan_values(
    values: Array,
    grid: Grid,
    angles: NDArray[np.int64],
    steps: NDArray[np.int64],
    cells: Array,
    menu: Array,
    faces: Array,
    kerf: float,
    spread: int,
    charge: float,
    settings: int,
    flush_free: bool = True,
) -> Array:
    """What no fan of the class is worth more than: (angles as openings, 2·rolls, faces, faces).

    Zero at bases that no half leads to, which are looked at every so many `steps` of rolls for each angle.
    """
    out = np.zeros((len(angles), 2 * grid.rolls, len(faces), len(faces)))
    if settings < 0:  # bolts are left
        return out
    depth_half, across_half = len(grid.depths) // 2, len(grid.across) // 2
    shape = (menu, cells, grid.depth_step, grid.across_step, depth_half, across_half, kerf, spread, charge, settings)
    for a, (angle, step) in enumerate(zip(angles, steps, strict=True)):
        bases = np.arange(0, 2 * grid.rolls, step)
        out[a, bases] = fan_bounds(values, grid.rolls, bases, int(angle), faces, *shape, flush_free)
    return out


@dataclass(frozen=True, slots=True)
class FirstColumn:
    """A first setting: roll, slabs as (lower cell, menu index) from the bottom, faces of the halves, value net of its charge."""

    roll: int
    slabs: tuple[tuple[int, int], ...]
    lower_face: int  # index into faces, of the half below
    upper_face: int
    value: float
    promise: float  # with the best halves


def first_columns(state: Search, rolls: list[int], keep: int, only: float | None = None) -> list[FirstColumn]:
    """The best first settings of the rolls given, best promise first; one for each pair of half faces.

    `only` leaves those with one slab of this thickness. [mm]
    """
    tables, grid = state.tables, state.tables.grid
    out: list[FirstColumn] = []
    for roll in rolls:
        slab = restricted(
            tables.values, grid.rolls, roll, tables.cells, 0, -state.half_across, state.half_depth, state.half_across
        )
        stack = stack_table(slab, tables.cells, state.kerf_cells) if only is None else _single(slab, tables, only)
        found: dict[tuple[int, int], tuple[float, int, int]] = {}
        depths = (np.arange(len(slab)) - state.half_depth) * grid.depth_step
        gap = state.kerf_cells * grid.depth_step
        for l in range(len(slab)):
            j = face_index(tables.faces, -(depths[l] - gap))
            for h in range(l + 1, len(slab)):
                if stack[l, h] <= 0:
                    continue
                i = face_index(tables.faces, depths[h] + gap)
                low = state.halves[(roll + grid.rolls) % (2 * grid.rolls), j] if j >= 0 else 0.0
                high = state.halves[roll, i] if i >= 0 else 0.0
                promise = stack[l, h] - tables.charge + low + high
                if promise > found.get((j, i), (0.0, 0, 0))[0]:
                    found[(j, i)] = (promise, l, h)
        for (j, i), (promise, l, h) in sorted(found.items(), key=lambda item: -item[1][0])[:keep]:
            slabs = ((l, _menu_index(tables, only or 0.0)),)
            if only is None:
                slabs = tuple(unstack(slab, stack, tables.cells, state.kerf_cells, l, h))
            out.append(FirstColumn(roll, slabs, j, i, float(stack[l, h] - tables.charge), float(promise)))
    return sorted(out, key=lambda c: (-c.promise, c.roll, c.slabs))


def _menu_index(tables: Tables, thickness: float) -> int:
    return int(np.abs(tables.menu - thickness).argmin())


def _single(slab: Array, tables: Tables, thickness: float) -> Array:
    """Like `stack_table`, of one slab of the given thickness."""
    t = _menu_index(tables, thickness)
    out = np.zeros((len(slab), len(slab)))
    for l in range(len(slab) - int(tables.cells[t])):
        out[l, l + int(tables.cells[t])] = slab[l, t]
    return out


def bolt_setting(
    state: Search,
    base: int,
    opening: int,
    near: int,
    far: int,
    most: int | None = None,
    corner: tuple[float, float] | None = None,
) -> tuple[Setting | None, float]:
    """The fan of one bolt as a chain of settings (None where nothing pays), and its value before charges.

    `opening` is the angle between its faces in roll steps. `most` bounds the charged settings. `corner` are
    the offsets of near and far face where they are known more finely than by their places in the table. [mm]
    """
    tables, grid = state.tables, state.tables.grid
    if near < 0 or far < 0:
        return None, 0.0
    near_face, far_face = (float(tables.faces[near]), float(tables.faces[far])) if corner is None else corner
    chain = np.full((CHAIN, 4), -999, np.int64)
    most = tables.settings_per_bolt if most is None else most
    value = fan(
        tables.values,
        grid.rolls,
        base,
        opening,
        near_face,
        far_face,
        tables.menu,
        tables.cells,
        grid.depth_step,
        grid.across_step,
        state.half_depth,
        state.half_across,
        tables.mill_kerf,
        tables.fan_spread,
        tables.charge,
        most,
        chain,
        True,
        tables.flush_free,
    )
    steps = [tuple(int(v) for v in row) for row in chain if row[0] != -999][::-1]
    value += tables.charge * sum(step[3] for step in steps)
    groups: list[tuple[int, list[SlabCut]]] = []
    for turn, low, t, _ in steps:
        cut = SlabCut(low * grid.depth_step, float(tables.menu[t]))
        if groups and groups[-1][0] == turn:
            groups[-1][1].append(cut)
        else:
            groups.append((turn, [cut]))
    node: Setting | None = None
    for turn, cuts in reversed(groups):
        clock = grid.roll(base + turn + grid.rolls // 2)
        node = Setting(clock, tuple(sorted(cuts, key=lambda c: -c.low)), above=node, role="bolt")
    return node, float(value)


def cuts_of(state: Search, slabs: list[tuple[int, int]] | tuple[tuple[int, int], ...]) -> tuple[SlabCut, ...]:
    """Slabs in mm, from the top down."""
    grid = state.tables.grid
    cuts = [SlabCut((l - state.half_depth) * grid.depth_step, float(state.tables.menu[t])) for l, t in slabs]
    return tuple(sorted(cuts, key=lambda c: -c.low))
