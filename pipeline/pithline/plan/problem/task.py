"""What a log is sawn with and into: machines, parts, what is sold of them, and how many are still wanted."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pithline.mill.machine import Machines
from pithline.plan.problem.economics import Economics
from pithline.plan.problem.parts import SawnPart

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class ShopSaws:
    """The shop's kerfs and limits that shape strips. `height_max`: widest billet the resaw takes; `spring`: a slab's slack. [mm]"""

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
    economics : Economics
        What is sold, and what work costs.
    left : (p,) array
        Plates of each still wanted, infinite without a demand.
    """

    machines: Machines
    parts: tuple[SawnPart, ...]
    economics: Economics
    left: Array

    @property
    def saws(self) -> ShopSaws:
        """Kerfs and limits that shape strips."""
        m = self.machines
        return ShopSaws(m.resaw.kerf, m.rip.kerf, m.crosscut.kerf, m.resaw.height_max)

    def selling(self, economics: Economics) -> SawingTask:
        """The same machines and parts, sold otherwise."""
        return replace(self, economics=economics)


def plates_wanted(parts: tuple[SawnPart, ...]) -> Array:
    """Plates of each part that are wanted, infinite without a demand, (p,)."""
    return np.array([np.inf if part.demand is None else float(part.demand) for part in parts])
