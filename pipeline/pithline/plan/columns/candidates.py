"""The exact programmes' best first settings, halves and fans, read back as layouts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pithline.plan.problem.layout import LayoutSetting, LayoutSlab
from pithline.plan.programmes.fans import CHAIN, Bolt, fan
from pithline.plan.programmes.stacks import TableGrid, face_index, restricted, stack_table, unstack
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
    tables, slabs = state.tables, state.tables.slabs
    out: list[FirstSetting] = []
    for roll in rolls:
        slab = restricted(slabs, roll, 0, -slabs.half_across)
        stack = stack_table(slab, slabs.cells, slabs.kerf_cells) if only is None else _single(slab, slabs, only)
        for promise, (l, h), (j, i) in _best_pairs(state, roll, stack)[:keep]:
            cut = tuple(unstack(slabs, slab, stack, l, h)) if only is None else ((l, _menu_index(slabs, only)),)
            out.append(FirstSetting(roll, cut, j, i, float(stack[l, h] - tables.charge), float(promise)))
    return sorted(out, key=lambda c: (-c.promise, c.roll, c.slabs))


def _best_pairs(state: SolvedTables, roll: int, stack: Array) -> list[tuple[float, tuple[int, int], tuple[int, int]]]:
    """For each pair of half faces the best stack: what it promises, its cells, the faces of the halves below and above; best first."""
    tables, slabs, rolls = state.tables, state.tables.slabs, state.tables.grid.rolls
    depths = (np.arange(len(stack)) - slabs.half_depth) * slabs.depth_step
    gap = slabs.kerf_cells * slabs.depth_step
    found: dict[tuple[int, int], tuple[float, tuple[int, int]]] = {}
    for l in range(len(stack)):
        j = face_index(tables.faces, -(depths[l] - gap))
        low = state.halves[(roll + rolls) % (2 * rolls), j] if j >= 0 else 0.0
        for h in range(l + 1, len(stack)):
            if stack[l, h] <= 0:
                continue
            i = face_index(tables.faces, depths[h] + gap)
            high = state.halves[roll, i] if i >= 0 else 0.0
            promise = stack[l, h] - tables.charge + low + high
            if promise > found.get((j, i), (0.0, (0, 0)))[0]:
                found[(j, i)] = (promise, (l, h))
    return sorted(((*best, pair) for pair, best in found.items()), key=lambda one: -one[0])


def _menu_index(slabs: TableGrid, thickness: float) -> int:
    return int(np.abs(slabs.menu - thickness).argmin())


def _single(slab: Array, slabs: TableGrid, thickness: float) -> Array:
    """Like `stack_table`, of one slab of the given thickness."""
    t = _menu_index(slabs, thickness)
    out = np.zeros((len(slab), len(slab)))
    for l in range(len(slab) - int(slabs.cells[t])):
        out[l, l + int(slabs.cells[t])] = slab[l, t]
    return out


@dataclass(frozen=True, slots=True)
class BoltPlace:
    """A bolt by its places in the tables: direction of its near face and its opening in roll steps, indices of its corners.

    A corner of −1 is none: the bolt is too small for any slab.
    """

    base: int
    opening: int
    near: int
    far: int

    @property
    def holds_slabs(self) -> bool:
        """Whether both its corners are in the tables."""
        return self.near >= 0 and self.far >= 0


def bolt_fan(
    state: SolvedTables, place: BoltPlace, most: int | None = None, corner: tuple[float, float] | None = None
) -> tuple[LayoutSetting | None, float]:
    """The fan of one bolt as a chain of settings (None where nothing pays), and its value before charges.

    `most` bounds the charged settings. `corner` are the offsets of near and far face where they are known more finely than by
    their places in the table. [mm]
    """
    tables, grid = state.tables, state.tables.grid
    if not place.holds_slabs:
        return None, 0.0
    near, far = (float(tables.faces[place.near]), float(tables.faces[place.far])) if corner is None else corner
    chain = np.full((CHAIN, 4), -999, np.int64)
    rule = tables.rule if most is None else tables.rule._replace(settings_max=most)
    value = fan(tables.slabs, rule, Bolt(place.base, place.opening, near, far), chain, True)
    steps = [tuple(int(v) for v in row) for row in chain if row[0] != -999][::-1]
    value += tables.charge * sum(step[3] for step in steps)
    groups: list[tuple[int, list[LayoutSlab]]] = []
    for turn, low, t, _ in steps:
        cut = LayoutSlab(low * grid.depth_step, float(tables.slabs.menu[t]))
        if groups and groups[-1][0] == turn:
            groups[-1][1].append(cut)
        else:
            groups.append((turn, [cut]))
    node: LayoutSetting | None = None
    for turn, cuts in reversed(groups):
        clock = grid.roll(place.base + turn + grid.rolls // 2)
        node = LayoutSetting(clock, tuple(sorted(cuts, key=lambda c: -c.low)), above=node, role="bolt")
    return node, float(value)


def slabs_in_mm(tables: SlabTables, slabs: Sequence[tuple[int, int]]) -> tuple[LayoutSlab, ...]:
    """Slabs (lower cell, menu index) in mm, from the top down."""
    grid = tables.slabs
    cuts = [LayoutSlab((l - grid.half_depth) * grid.depth_step, float(grid.menu[t])) for l, t in slabs]
    return tuple(sorted(cuts, key=lambda c: -c.low))
