"""The stated grid of a search, and parts rounded up to it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pithline.plan.problem.layout import NO_LOCKS, Locks
from pithline.plan.problem.log_frame import PlanLog
from pithline.plan.problem.parts import SawnPart

Array = NDArray[np.float64]

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
        return np.arange(-n, n + 1) * self.depth_step

    @property
    def across(self) -> Array:
        """Places across the slab."""
        n = int(np.ceil(self.across_max / self.across_step))
        return np.arange(-n, n + 1) * self.across_step

    def roll(self, index: int) -> float:
        """Clock angle of a roll, of any whole number. [rad]"""
        return float(np.mod(self.start + np.pi * index / self.rolls, 2 * np.pi))


def make_grid(
    log: PlanLog,
    parts: tuple[SawnPart, ...],
    thickness_max: float,
    rolls: int,
    depth_step: float,
    along_step: float,
    kerf_resaw: float,
    locks: Locks = NO_LOCKS,
) -> Grid:
    """A grid as wide as any passing plate of this log can lie; it holds what is locked."""
    radius = float(log.field.radius.max())
    off_chord = log.field.pith - np.linspace(log.field.pith[0], log.field.pith[-1], len(log.field.pith))
    bow = float(np.abs(off_chord).max())
    narrow = min(part.width for part in parts)
    steep = min(part.limits.ring_angle_min for part in parts)
    # a face at distance h from the pith reaches ring angle a at lateral distance h·tan(a) (concentric rings)
    reach = min(radius, max(20.0, (radius - narrow) / max(np.tan(steep), 1e-6)) + bow + 12.0)
    lead = max(parts, key=lambda part: part.volume * part.part.count if part.thickness < 12 else 0.0)
    step = lead.thickness + kerf_resaw
    menu = sorted(
        {round(k * step - kerf_resaw, 1) for k in (2, 3, 4, 6, 8, 10, 12, 14, 16)}
        | {round(part.thickness, 1) for part in parts if part.thickness > 20}
    )
    menu = tuple(t for t in menu if t <= min(thickness_max, 2 * reach)) or (lead.thickness,)
    if locks.first_slab is not None:
        menu = tuple(sorted({*menu, locks.first_slab}))
    return Grid(rolls, depth_step, along_step, 5.0, reach, radius + bow + 5.0, menu, locks.roll or 0.0)


@dataclass(frozen=True, slots=True)
class PartTable:
    """The parts' numbers as arrays, one row a part, for the compiled kernels."""

    cells_along: NDArray[np.int64]
    cells_across: NDArray[np.int64]
    thickness: Array
    half_planes: NDArray[np.int64]
    mean: Array
    worth: Array
    width_class: NDArray[np.int64]


def part_table(parts: tuple[SawnPart, ...], grid: Grid, worth: Array, crosscut: float = 0.0) -> PartTable:
    """Round the parts up to the grid, each with the kerf of one crosscut. [mm]"""
    cells_across = np.array([int(np.ceil(p.width / grid.across_step - 1e-6)) for p in parts])
    order = {w: k for k, w in enumerate(sorted(set(cells_across.tolist())))}
    return PartTable(
        np.array([int(np.ceil((p.length + crosscut) / grid.along_step - 1e-6)) for p in parts]),
        cells_across,
        np.array([p.thickness for p in parts]),
        np.array([int(np.ceil(p.thickness / 2 / grid.depth_step - 0.25)) for p in parts]),
        np.array([p.limits.ring_angle_mean + GRID_ANGLE_RESERVE for p in parts]),
        np.asarray(worth, float),
        np.array([order[w] for w in cells_across.tolist()]),
    )
