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

from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from pithline.plan.programmes.stacks import TableGrid, slab_worth

Array = NDArray[np.float64]
Ints = NDArray[np.int64]
States = NDArray[np.int32]

LOWEST = -1e9
CHAIN = 24
"""Slabs that one bolt's fan may have."""
FACE_CELLS = 2
"""A fan's slabs are tried every so many depth cells, and no further than `FAN_REACH` off the pith's chord."""
FAN_REACH = 12.0


class FanRule(NamedTuple):
    """How bolts are fanned: kerf [mm], roll steps between directions, charge and most of its settings, whether flush slabs are free."""

    kerf: float
    spread: int
    charge: float
    settings_max: int
    flush_free: bool


class Bolt(NamedTuple):
    """A wedge: direction of its near face and its opening, in roll steps; offsets of its faces from the chord. [mm]"""

    base: int
    opening: int
    near_face: float
    far_face: float


class Direction(NamedTuple):
    """One direction of a bolt's fan.

    `lean` is the angle from the direction on to the far face's normal, −90° … 30° [rad]; `near_cell` and `far_low` are where slabs
    flush with the near and the far face begin, in depth cells; `table` (2, depths, menu, across + 1) is its roll's, looked at
    from behind where `mirrored`.
    """

    roll: int
    table: NDArray[np.float32]
    mirrored: bool
    lean: float
    near: bool
    far: bool
    far_face: float
    near_cell: int
    far_low: int


class SlabRows(NamedTuple):
    """Slabs of a direction, by rising lower face.

    `slabs` ((m, 6): lower face in cells, menu index, top as a state, state under it or −1, whether it may come first, row of the
    table) and `reach` (m,): how far in the far face lets each begin. [mm]
    """

    slabs: States
    reach: Array


class CutsAhead(NamedTuple):
    """Cuts that bound a direction's slabs: cotangents of the angles back to them, and their offsets over the sines. [mm]"""

    turns: Array
    lines: Array


class Stacked(NamedTuple):
    """Slabs stacked in one direction: best value by topmost face, the slab that gave it, and the state under that (−1: the first)."""

    held: Array
    of: States
    before: States


@njit(cache=True, inline="always")
def direction_at(grid: TableGrid, rule: FanRule, bolt: Bolt, k: int, lean: float) -> Direction:
    """The k-th direction of a bolt's fan, `lean` before the far face's normal. [rad]"""
    rolls = grid.rolls
    last = bolt.opening // rule.spread
    roll = (bolt.base + k * rule.spread + rolls // 2) % (2 * rolls)
    return Direction(
        roll,
        grid.values[roll % rolls],
        roll >= rolls,
        lean,
        k == 0,
        k == last,
        bolt.far_face,
        int(np.ceil(bolt.near_face / grid.depth_step - 1e-6)),
        -int(np.ceil(bolt.far_face / grid.depth_step - 1e-6)),
    )


@njit(cache=True, inline="always")
def direction_of(grid: TableGrid, rule: FanRule, bolt: Bolt, k: int) -> Direction:
    """The k-th direction of a bolt's fan."""
    lean = (bolt.opening - grid.rolls // 2 - k * rule.spread) * np.pi / grid.rolls
    return direction_at(grid, rule, bolt, k, lean)


@njit(cache=True)
def slabs_of_direction(grid: TableGrid, rule: FanRule, way: Direction, rows: SlabRows) -> int:
    """Write the slabs of one direction that are worth anything with nothing but the far face in their way; returns how many."""
    n, count = grid.half_depth, 0
    sin_l, cos_l = np.sin(way.lean), np.cos(way.lean)
    first_reach = int(FAN_REACH / grid.depth_step)
    slabs, reach = rows
    for low in range(-n, n):
        under = low - grid.kerf_cells + n
        for t in range(len(grid.menu)):
            top = low + grid.cells[t]
            if top > n:
                break
            if way.near:
                first = low == way.near_cell
            elif way.far:
                first = low == way.far_low - grid.cells[t]
            else:
                from_deepest = low + int((grid.menu[t] + FAN_REACH) / grid.depth_step)
                first = from_deepest >= 0 and low <= first_reach and from_deepest % FACE_CELLS == 0
            if not first and (under < 0 or way.far):
                continue
            tightest = low if sin_l > 0.0 else top
            u1 = -1000000.0 if way.far else (way.far_face - tightest * grid.depth_step * sin_l) / cos_l
            place = -4 * grid.half_across if way.far else int(np.ceil(u1 / grid.across_step))
            if slab_worth(grid, way.roll, low, t, 1, -place) <= 0.0:
                continue
            slabs[count, 0], slabs[count, 1], slabs[count, 2] = low, t, top + n
            slabs[count, 3] = under if under >= 0 and not way.far else -1
            slabs[count, 4] = 1 if first else 0
            slabs[count, 5] = (-top if way.mirrored else low) + n
            reach[count] = u1
            count += 1
    return count


@njit(cache=True)
def direction_stack(
    grid: TableGrid, way: Direction, found: tuple[SlabRows, int], ahead: tuple[CutsAhead, int], start: float, out: Stacked
) -> None:
    """Slabs stacked in one direction after earlier cuts; `out.held[top]` is the best value with the topmost face at that state.

    `found` are the direction's slabs (`SlabRows`) and how many; `ahead` the cuts that bound them (`CutsAhead`) and how many: at
    height h they leave what lies beyond lines − h·turns, least at a slab's lower face, or at its upper one where the cut is more
    than 90° back. `start` is the value before the first slab, its charge taken off.
    """
    rows, count = found
    slabs, reach = rows
    cuts, bounding = ahead
    held, of, before = out
    table = way.table
    held[:] = LOWEST
    middle = len(held) // 2
    last = table.shape[3] - 1
    for i in range(count):
        low, t, top, under = slabs[i, 0], slabs[i, 1], slabs[i, 2], slabs[i, 3]
        stacked = under >= 0 and held[under] > LOWEST / 2
        if slabs[i, 4] == 0 and not stacked:
            continue
        u1 = reach[i]
        lower, upper = low * grid.depth_step, (top - middle) * grid.depth_step
        for j in range(bounding):
            u1 = max(u1, cuts.lines[j] - (lower if cuts.turns[j] > 0.0 else upper) * cuts.turns[j])
        place = int(np.ceil(u1 / grid.across_step)) if u1 > -100000.0 else -4 * grid.half_across
        # `slab_worth` of side 1 up to −place, its table found already
        if way.mirrored:
            u = place + grid.half_across
            if u > last:
                continue
            worth = table[0, slabs[i, 5], t, max(u, 0)]
        else:
            u = grid.half_across - place
            if u < 0:
                continue
            worth = table[1, slabs[i, 5], t, min(u, last)]
        if worth <= 0.0:
            continue
        if slabs[i, 4] == 1 and start + worth > held[top]:
            held[top], of[top], before[top] = start + worth, i, -1
        if stacked and held[under] + worth > held[top]:
            held[top], of[top], before[top] = held[under] + worth, i, under


class Chains(NamedTuple):
    """Best values by charged settings, direction and state, and the cut before each: setting, direction, state.

    `strict` tells whether all cuts of a chain bound the next slab, or the last alone.
    """

    best: Array
    back: States
    strict: bool


@njit(cache=True)
def cuts_ahead(
    grid: TableGrid, rule: FanRule, bolt: Bolt, chains: Chains, at: tuple[int, int, int, int], cuts: CutsAhead
) -> int:
    """Write the cuts that bound slabs; returns how many. `at` is (settings, direction, cell) of the last cut, and their direction."""
    stage, q, c, k = at
    count = 0
    if k > 0:
        turn = k * rule.spread * np.pi / grid.rolls
        cuts.turns[0], cuts.lines[0] = 1.0 / np.tan(turn), bolt.near_face / np.sin(turn)
        count = 1
    while q >= 0:
        turn = (k - q) * rule.spread * np.pi / grid.rolls
        cuts.turns[count] = 1.0 / np.tan(turn)
        cuts.lines[count] = ((c - grid.half_depth) * grid.depth_step + rule.kerf) / np.sin(turn)
        count += 1
        if not chains.strict:
            break
        back = chains.back
        stage, q, c = back[stage, q, c, 0], back[stage, q, c, 1], back[stage, q, c, 2]
    return count


@njit(cache=True)
def fan(grid: TableGrid, rule: FanRule, bolt: Bolt, chain: Ints, strict: bool) -> float:  # noqa: C901
    """Best fan of one bolt; `strict` holds every cut of a chain against the next slab, else the last alone.

    `grid` is a `TableGrid`, its slabs rising in thickness; `bolt.opening` a multiple of the spread between directions.
    Writes the slabs chosen into `chain` ((m, 4): direction in roll steps from `bolt.base`, lower face in depth cells, menu index,
    charged), last sawn first, and returns the value net of charges.
    """
    count = bolt.opening // rule.spread + 1
    nt, n = len(grid.menu), grid.half_depth
    states, stages = 2 * n + 1, rule.settings_max + 1
    chains = Chains(np.full((stages, count, states), LOWEST), np.full((stages, count, states, 3), -1, np.int32), strict)
    # of the states of one direction only those matter that no lower last cut betters: the rest leave less room for less
    front = np.empty((stages, count, states), np.int32)
    fronts = np.zeros((stages, count), np.int32)
    out = Stacked(np.empty(states), np.zeros(states, np.int32), np.zeros(states, np.int32))
    rows = SlabRows(np.empty((2 * n * nt, 6), np.int32), np.empty(2 * n * nt))
    cuts = CutsAhead(np.empty(count + 1), np.empty(count + 1))
    best, back = chains.best, chains.back
    top_value, top_s, top_k, top_c = 0.0, -1, -1, -1
    for k in range(count):
        way = direction_of(grid, rule, bolt, k)
        free = rule.flush_free and (way.near or way.far)
        cost = 0.0 if free else rule.charge
        some = slabs_of_direction(grid, rule, way, rows)
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
                    ahead = cuts_ahead(grid, rule, bolt, chains, (stage, q, c, k), cuts)
                    direction_stack(grid, way, (rows, some), (cuts, ahead), start, out)
                    for top in range(states):
                        if out.held[top] > best[s, k, top]:
                            best[s, k, top] = out.held[top]
                            back[s, k, top, 0], back[s, k, top, 1], back[s, k, top, 2] = stage, q, c
        for s in range(stages):
            highest = 0.0
            for c in range(states):
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
        way = direction_of(grid, rule, bolt, k)
        free = rule.flush_free and (way.near or way.far)
        start = (0.0 if q < 0 else best[stage, q, cell]) - (0.0 if free else rule.charge)
        some = slabs_of_direction(grid, rule, way, rows)
        ahead = cuts_ahead(grid, rule, bolt, chains, (stage, q, cell, k), cuts)
        direction_stack(grid, way, (rows, some), (cuts, ahead), start, out)
        while c >= 0 and length < chain.shape[0]:
            i = out.of[c]
            chain[length, 0], chain[length, 1], chain[length, 2] = k * rule.spread, rows.slabs[i, 0], rows.slabs[i, 1]
            chain[length, 3] = 0 if free or out.before[c] >= 0 else 1
            c = out.before[c]
            length += 1
        s, k, c = stage, q, cell
    return top_value
