"""One log on the grid of a search: where plates pass, and the numbers that the programmes need; nothing here hangs on prices."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pithline.plan.problem.context import SearchContext
from pithline.plan.problem.kinds import PlateKinds
from pithline.plan.problem.layout import LayoutSlab
from pithline.plan.problem.log_frame import PlanLog
from pithline.plan.programmes.grid import Grid, cells_of, depth_cells, make_grid
from pithline.plan.programmes.passing import PassingPlaces, find_passing_places, places_of_kinds
from pithline.plan.programmes.slab_strips import stacked_plates
from pithline.plan.programmes.slab_values import FillRules

Array = NDArray[np.float64]
INNERMOST_CORNER = -20.0
"""Bolts' corners are valued from this far beyond the pith's chord. [mm]"""


@dataclass(frozen=True, slots=True)
class GridSlab:
    """A slab of the grid: its plane and how far across it may be filled, in cells of the tables (roll below `rolls`)."""

    roll: int
    depth: int
    thickness: int
    low: int
    high: int


@dataclass(frozen=True, slots=True)
class LogGrid:
    """What a search knows of one log before it asks for prices; places and rules are of `kinds` of plates."""

    log: PlanLog
    kinds: PlateKinds
    places: PassingPlaces
    rules: FillRules
    cells: NDArray[np.int64]  # of the menu's thicknesses, in depth steps
    corners: Array  # offsets at which bolts' corners are valued [mm]

    @property
    def grid(self) -> Grid:
        """The stated grid."""
        return self.places.grid

    @property
    def half_depth(self) -> int:
        """Index of the chord among the depths."""
        return len(self.grid.depths) // 2

    @property
    def half_across(self) -> int:
        """Index of the chord among the places across."""
        return len(self.grid.across) // 2

    def passing(self, roll: int) -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
        """Where plates of each kind pass on the planes of one roll; see `slab_values`."""
        return self.places.of(roll)

    def slab(self, roll: int, low: int, t: int, side: int, place: int) -> GridSlab:
        """The slab that `slab_worth` values with these arguments, as cells of the tables, which hold half a turn.

        Parameters
        ----------
        roll : int
            Clock index of its normal, in roll steps; any turn.
        low : int
            Cell of its lower face, from the chord.
        t : int
            Index of its thickness in the menu.
        side : int
            0 where it begins at its place across, 1 where it ends there.
        place : int
            Where across it begins or ends, cells from the chord.
        """
        rolls = self.grid.rolls
        roll %= 2 * rolls
        if roll >= rolls:
            roll, low, place, side = roll - rolls, -low - int(self.cells[t]), -place, 1 - side
        u, last = place + self.half_across, len(self.grid.across)
        span = (max(u, 0), last) if side == 0 else (0, min(max(u, 0), last))
        return GridSlab(roll, low + self.half_depth, t, *span)

    def plates_of(self, slab: GridSlab) -> NDArray[np.int16]:
        """Plates of each kind in the billet begun at each place of a slab; see `stacked_plates`."""
        first = max(slab.depth, 0)
        layers = self.places.layers(slab.roll, first, slab.depth + int(self.cells[slab.thickness]) + 2)
        plates: NDArray[np.int16] = stacked_plates(layers, slab.depth - first, slab.thickness, self.rules)
        return plates

    def drawn(self, low: int, t: int) -> LayoutSlab:
        """A slab in mm, its lower cell counted from the chord."""
        return LayoutSlab(low * self.grid.depth_step, float(self.rules.menu[t]))


def log_grid(log: PlanLog, context: SearchContext, rolls: int, report: Callable[[float], None]) -> LogGrid:
    """Look at the wood of one log on all planes of so many rolls; `report` hears the share done."""
    return grid_of_places(log, context, find_passing_places(log, context, make_grid(log, context, rolls), report))


def narrowed(whole: LogGrid, context: SearchContext, kinds: Sequence[int]) -> LogGrid:
    """What a search for some parts alone knows of a log that was looked at for these and others.

    Parameters
    ----------
    whole : LogGrid
        Looked at with the same effort, for parts of every size and limits that `context` asks for.
    context : SearchContext
        What is asked for now: its parts p.
    kinds : sequence of int, (p,)
        Of each, the part of `whole` that has its size and limits.
    """
    old, own = whole.grid, make_grid(whole.log, context, whole.grid.rolls)
    deep = min(len(own.depths), len(old.depths)) // 2
    grid = replace(own, depth_max=min(own.depth_max, old.depth_max))
    index, depths = np.asarray(kinds), slice(len(old.depths) // 2 - deep, len(old.depths) // 2 + deep + 1)
    places = PassingPlaces(
        grid,
        whole.places.along,
        tuple(np.ascontiguousarray(bits[index, depths]) for bits in whole.places.packed),
        tuple(np.ascontiguousarray(some[index, depths]) for some in whole.places.some),
    )
    return grid_of_places(whole.log, context, places)


def grid_of_places(log: PlanLog, context: SearchContext, places: PassingPlaces) -> LogGrid:
    """What a search knows of a log where it has seen where plates of each part pass."""
    kinds, machines, grid = context.economics.kinds, context.machines, places.grid
    parts = kinds.sawn
    menu = np.array(grid.thicknesses)
    along, across = cells_of(parts, grid, machines.crosscut.kerf)
    classes = np.array(sorted(set(across.tolist())), np.int64)
    rules = FillRules(
        thickness=np.array([part.thickness for part in parts]),
        cells_along=along,
        cells_across=across,
        width_class=np.searchsorted(classes, across),
        class_width=classes,
        menu=menu,
        depth_step=grid.depth_step,
        resaw_kerf=machines.resaw.kerf,
        rip_cells=int(np.ceil(machines.rip.kerf / grid.across_step - 1e-6)),
        spring=max(machines.mill.spring, machines.resaw.spring),
    )
    corner = context.effort.corner_step
    return LogGrid(
        log,
        kinds,
        places_of_kinds(places, kinds, log),
        rules,
        np.array([depth_cells(t, grid.depth_step) for t in grid.thicknesses], np.int64),
        np.arange(INNERMOST_CORNER, grid.depth_max + corner, corner),
    )
