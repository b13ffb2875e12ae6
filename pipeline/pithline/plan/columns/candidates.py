"""The exact programmes' best first settings, halves and fans, read back as layouts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pithline.plan.problem.layout import LayoutSetting, LayoutSlab
from pithline.plan.programmes.fans import CHAIN, fan
from pithline.plan.programmes.stacks import face_index, restricted, stack_table, unstack
from pithline.plan.programmes.tables import SlabTables, SolvedTables

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class FirstSetting:
    """A first setting: roll, slabs as (lower cell, menu index) from the bottom, faces of the halves, value net of its charge."""

    roll: int
    slabs: tuple[tuple[int, int], ...]
    lower_face: int  # index into faces, of the half below
    upper_face: int
    value: float
    promise: float  # with the best halves


def best_first_settings(
    state: SolvedTables, rolls: list[int], keep: int, only: float | None = None
) -> list[FirstSetting]:
    """The best first settings of the rolls given, best promise first; one for each pair of half faces.

    `only` leaves those with one slab of this thickness. [mm]
    """
    tables, grid = state.tables, state.tables.grid
    out: list[FirstSetting] = []
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
            out.append(FirstSetting(roll, slabs, j, i, float(stack[l, h] - tables.charge), float(promise)))
    return sorted(out, key=lambda c: (-c.promise, c.roll, c.slabs))


def _menu_index(tables: SlabTables, thickness: float) -> int:
    return int(np.abs(tables.menu - thickness).argmin())


def _single(slab: Array, tables: SlabTables, thickness: float) -> Array:
    """Like `stack_table`, of one slab of the given thickness."""
    t = _menu_index(tables, thickness)
    out = np.zeros((len(slab), len(slab)))
    for l in range(len(slab) - int(tables.cells[t])):
        out[l, l + int(tables.cells[t])] = slab[l, t]
    return out


def bolt_fan(
    state: SolvedTables,
    base: int,
    opening: int,
    near: int,
    far: int,
    most: int | None = None,
    corner: tuple[float, float] | None = None,
) -> tuple[LayoutSetting | None, float]:
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
    groups: list[tuple[int, list[LayoutSlab]]] = []
    for turn, low, t, _ in steps:
        cut = LayoutSlab(low * grid.depth_step, float(tables.menu[t]))
        if groups and groups[-1][0] == turn:
            groups[-1][1].append(cut)
        else:
            groups.append((turn, [cut]))
    node: LayoutSetting | None = None
    for turn, cuts in reversed(groups):
        clock = grid.roll(base + turn + grid.rolls // 2)
        node = LayoutSetting(clock, tuple(sorted(cuts, key=lambda c: -c.low)), above=node, role="bolt")
    return node, float(value)


def slabs_in_mm(
    state: SolvedTables, slabs: list[tuple[int, int]] | tuple[tuple[int, int], ...]
) -> tuple[LayoutSlab, ...]:
    """Slabs in mm, from the top down."""
    grid = state.tables.grid
    cuts = [LayoutSlab((l - state.half_depth) * grid.depth_step, float(state.tables.menu[t])) for l, t in slabs]
    return tuple(sorted(cuts, key=lambda c: -c.low))
