"""The stated grid of a search: rolls, slab faces, thicknesses, places along and across."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pithline.plan.problem.context import SearchContext
from pithline.plan.problem.effort import thickness_max
from pithline.plan.problem.log_frame import PlanLog
from pithline.plan.problem.parts import SawnPart

Array = NDArray[np.float64]

LAYERS = (2, 3, 4, 6, 8, 10, 12, 14, 16)
"""Plates, one above the other, that slabs of the menu hold: of the parts that hold most of a set."""
LEADS = 2
"""Different thicknesses of plates whose multiples stand in the menu."""
PLATE_MOST, BLOCK = 12.0, 20.0
"""Parts thinner than the one are resawn from slabs of several; thicker than the other, they have a slab of their own. [mm]"""
SAME_THICKNESS = 0.6
"""Of two thicknesses nearer than this only the greater is offered. [mm]"""
LEAST_REACH, REACH_ROOM = 20.0, 12.0
"""Depths from the chord that a grid has at least, and beyond where rings allow plates: for rings that are not round. [mm]"""
GRID_ANGLE_RESERVE = np.radians(0.4)
"""Kept back from ring-angle limits on the grid, so that exact judging seldom takes a plate away."""


@dataclass(frozen=True, slots=True)
class Grid:
    """The stated grid of a search. Lengths mm."""

    rolls: int  # over 180°
    depth_step: float
    along_step: float
    across_step: float
    depth_max: float
    across_max: float
    thicknesses: tuple[float, ...]
    start: float = 0.0  # clock angle of roll 0 [rad]

    @property
    def depths(self) -> Array:
        """Offsets of slab faces from the pith's chord."""
        n = int(np.floor(self.depth_max / self.depth_step))
        return np.arange(-n, n + 1, dtype=np.float64) * self.depth_step

    @property
    def across(self) -> Array:
        """Places across the slab."""
        n = int(np.ceil(self.across_max / self.across_step))
        return np.arange(-n, n + 1, dtype=np.float64) * self.across_step

    def roll(self, index: int) -> float:
        """Clock angle of a roll, of any whole number. [rad]"""
        return float(np.mod(self.start + np.pi * index / self.rolls, 2 * np.pi))


def make_grid(log: PlanLog, context: SearchContext, rolls: int) -> Grid:
    """A grid as wide as any passing plate can lie in the log, with so many rolls over half a turn; it holds what is locked."""
    effort, locks, parts = context.effort, context.locks, context.parts
    radius = float(log.field.radius.max())
    off_chord = log.field.pith - np.linspace(log.field.pith[0], log.field.pith[-1], len(log.field.pith))
    bow = float(np.abs(off_chord).max())
    narrow = min(part.width for part in parts)
    steep = min(part.limits.ring_angle_min for part in parts)
    # a face at distance h from the pith reaches ring angle a at lateral distance h·tan(a) (concentric rings)
    reach = min(radius, max(LEAST_REACH, (radius - narrow) / max(np.tan(steep), 1e-6)) + bow + REACH_ROOM)
    thickest = min(thickness_max(context.machines), 2 * reach)
    menu = tuple(t for t in thicknesses(context) if t <= thickest) or (min(part.thickness for part in parts),)
    # of slabs that take the same cells of the grid the thickest holds what the others do
    menu = tuple({depth_cells(t, effort.depth_step): t for t in menu}.values())
    if locks.first_slab is not None:
        menu = tuple(sorted({*menu, locks.first_slab}))
    across_max = radius + bow + effort.across_step
    return Grid(
        rolls, effort.depth_step, effort.along_step, effort.across_step, reach, across_max, menu, locks.roll or 0.0
    )


def depth_cells(thickness: float, depth_step: float) -> int:
    """Cells of the grid that a slab takes. [mm]"""
    return int(np.ceil(thickness / depth_step - 1e-6))


def thicknesses(context: SearchContext) -> tuple[float, ...]:
    """Slab thicknesses that suit the parts, rising: multiples of those that hold most of a set, blocks as they are. [mm]"""
    kerf = context.machines.resaw.kerf
    spring = max(context.machines.mill.spring, context.machines.resaw.spring)
    held: dict[float, float] = {}
    for part in context.parts:
        if part.thickness < PLATE_MOST:
            held[part.thickness] = max(held.get(part.thickness, 0.0), part.volume * part.part.count)
    leads = sorted(held, key=lambda thickness: -held[thickness])[:LEADS]
    found = {k * (lead + kerf) - kerf + spring for lead in leads for k in LAYERS}
    found |= {part.thickness + spring for part in context.parts if part.thickness > BLOCK}
    out: list[float] = []
    for one in sorted(found):
        if out and one - out[-1] < SAME_THICKNESS:
            out.pop()
        out.append(round(one, 1))
    return tuple(out)


def cells_of(
    parts: tuple[SawnPart, ...], grid: Grid, crosscut_kerf: float
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Sizes of parts in cells along, each with the kerf of one crosscut, and across: (P,) each."""
    along = [int(np.ceil((part.length + crosscut_kerf) / grid.along_step - 1e-6)) for part in parts]
    across = [int(np.ceil(part.width / grid.across_step - 1e-6)) for part in parts]
    return np.array(along, np.int64), np.array(across, np.int64)
