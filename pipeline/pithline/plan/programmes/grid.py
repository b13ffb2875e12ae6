"""The stated grid of a search, and parts rounded up to it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pithline.plan.problem.context import SearchContext
from pithline.plan.problem.effort import thickness_max
from pithline.plan.problem.log_frame import PlanLog
from pithline.plan.problem.parts import SawnPart

Array = NDArray[np.float64]

LAYERS = (2, 3, 4, 6, 8, 10, 12, 14, 16)
"""Plates, one above the other, that slabs of the menu hold: of the part that fills most of a log."""
PLATE_MOST, BLOCK = 12.0, 20.0
"""Parts thinner than the one are resawn from slabs of several; thicker than the other, they have a slab of their own. [mm]"""
ACROSS_STEP = 5.0
"""Places across. [mm]"""
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


def make_grid(log: PlanLog, parts: tuple[SawnPart, ...], context: SearchContext) -> Grid:
    """A grid as wide as any passing plate of these parts can lie in the log; it holds what is locked."""
    effort, locks, kerf_resaw = context.effort, context.locks, context.machines.resaw.kerf
    radius = float(log.field.radius.max())
    off_chord = log.field.pith - np.linspace(log.field.pith[0], log.field.pith[-1], len(log.field.pith))
    bow = float(np.abs(off_chord).max())
    narrow = min(part.width for part in parts)
    steep = min(part.limits.ring_angle_min for part in parts)
    # a face at distance h from the pith reaches ring angle a at lateral distance h·tan(a) (concentric rings)
    reach = min(radius, max(LEAST_REACH, (radius - narrow) / max(np.tan(steep), 1e-6)) + bow + REACH_ROOM)
    lead = max(parts, key=lambda part: part.volume * part.part.count if part.thickness < PLATE_MOST else 0.0)
    step = lead.thickness + kerf_resaw
    stacks = {round(k * step - kerf_resaw, 1) for k in LAYERS}
    blocks = {round(part.thickness, 1) for part in parts if part.thickness > BLOCK}
    thickest = min(thickness_max(context.machines), 2 * reach)
    menu = tuple(t for t in sorted(stacks | blocks) if t <= thickest) or (lead.thickness,)
    if locks.first_slab is not None:
        menu = tuple(sorted({*menu, locks.first_slab}))
    across_max = radius + bow + ACROSS_STEP
    return Grid(
        effort.rolls, effort.depth_step, effort.along_step, ACROSS_STEP, reach, across_max, menu, locks.roll or 0.0
    )


class PartRows(NamedTuple):
    """The parts' numbers as arrays, one row a part, for the compiled kernels.

    Attributes
    ----------
    cells_along, cells_across : (p,) arrays
        Sizes in cells, the length with one crosscut.
    thickness : (p,) array
        [mm]
    half_planes : (p,) array
        Depth cells that half a plate takes.
    mean : (p,) array
        Least mean ring angle on the grid. [rad]
    worth : (p,) array
        Of one plate.
    width_class : (p,) array
        Place of its width among all widths, rising.
    """

    cells_along: NDArray[np.int64]
    cells_across: NDArray[np.int64]
    thickness: Array
    half_planes: NDArray[np.int64]
    mean: Array
    worth: Array
    width_class: NDArray[np.int64]


def part_rows(parts: tuple[SawnPart, ...], grid: Grid, worth: Array, crosscut: float = 0.0) -> PartRows:
    """Round the parts up to the grid, each with the kerf of one crosscut. [mm]"""
    cells_across = np.array([int(np.ceil(p.width / grid.across_step - 1e-6)) for p in parts])
    order = {w: k for k, w in enumerate(sorted(set(cells_across.tolist())))}
    return PartRows(
        np.array([int(np.ceil((p.length + crosscut) / grid.along_step - 1e-6)) for p in parts]),
        cells_across,
        np.array([p.thickness for p in parts]),
        np.array([int(np.ceil(p.thickness / 2 / grid.depth_step - 0.25)) for p in parts]),
        np.array([p.limits.ring_angle_mean + GRID_ANGLE_RESERVE for p in parts]),
        np.asarray(worth, float),
        np.array([order[w] for w in cells_across.tolist()]),
    )
