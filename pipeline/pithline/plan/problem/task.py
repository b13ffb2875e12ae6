"""What a log is sawn with and into: machines, parts, what a plate of each counts, and how many are still wanted."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pithline.mill.machine import Machines
from pithline.plan.problem.parts import SawnPart

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class ShopSaws:
    """The shop's kerfs and limits that shape strips. `height_max`: widest billet the resaw takes. [mm]"""

    resaw_kerf: float
    rip_kerf: float
    crosscut_kerf: float
    height_max: float

    @property
    def across(self) -> float:
        """Step of places across: a whole part of the rip kerf, so that neighbouring strips share one kerf. [mm]"""
        return self.rip_kerf / max(1, round(self.rip_kerf / 3.0))

    def strip_width(self, width: float) -> float:
        """A strip is ripped to whole steps, so all that a plate holds was looked at. [mm]"""
        return float(np.ceil(width / self.across - 1e-6) * self.across)


@dataclass(frozen=True, slots=True)
class SawingTask:
    """What carrying out needs besides the log.

    Attributes
    ----------
    parts : tuple of SawnPart
        The p parts that may be sawn.
    worth : (p,) array
        What one plate of each counts, litres or money.
    left : (p,) array
        Plates of each still wanted, infinite without a demand.
    """

    machines: Machines
    parts: tuple[SawnPart, ...]
    worth: Array
    left: Array

    @property
    def saws(self) -> ShopSaws:
        """Kerfs and limits that shape strips."""
        m = self.machines
        return ShopSaws(m.resaw.kerf, m.rip.kerf, m.crosscut.kerf, m.resaw.height_max)

    def for_parts(self, view: tuple[SawnPart, ...]) -> SawingTask:
        """The same task with some of its parts."""
        rows = [self.parts.index(part) for part in view]
        return SawingTask(self.machines, view, self.worth[rows], self.left[rows])


def plates_wanted(parts: tuple[SawnPart, ...]) -> Array:
    """Plates of each part that are wanted, infinite without a demand, (p,)."""
    return np.array([np.inf if part.demand is None else float(part.demand) for part in parts])
