"""How finely a search looks, and which saw takes a log's bolts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from pithline.mill.machine import Machines
from pithline.plan.problem.log_frame import PlanLog

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Effort:
    """How finely a search looks. Deterministic: no clock.

    Attributes
    ----------
    rolls : int
        Over half a turn, at least; more where the shop's cradles need them.
    along_step, depth_step, across_step, corner_step : float
        Of the grid: places along, slab faces, places across, corners of bolts. [mm]
    rounds : int
        Looks at prices, at most.
    firsts, halves : int
        First settings, and ways to saw each half, that each look gives the master.
    answers : int
        Layouts of each class that are carried out.
    beside : int
        Of a small log, layouts that looks showed and that are carried out beside these.
    closely : int
        Of a small log, plans that are filled as finely as they are sawn before they are compared.
    master : float
        Deterministic seconds of CP-SAT.
    crosscuts : int
        Ways to crosscut a log that are searched.
    every_class : bool
        Whether bolts by all cradles together, and by any angle, are searched beside one cradle alone.
    fine : float
        Multiplies the steps at which slabs are looked at where layouts are compared.
    nearby : int
        Looks at prices moved a little from the best ones, where a class's best layout is far under its bound; see `looks_nearby`.
    trials : int
        Times that the best layout, moved a little below the grid, is carried out anew.
    """

    name: str
    rolls: int
    along_step: float
    rounds: int
    answers: int
    master: float
    firsts: int = 6
    halves: int = 3
    crosscuts: int = 1
    every_class: bool = False
    nearby: int = 0
    beside: int = 0
    closely: int = 0
    trials: int = 0
    fine: float = 1.5
    depth_step: float = 2.5
    across_step: float = 5.0
    corner_step: float = 10.0


COARSE = Effort("coarse", 12, 25.0, rounds=5, answers=2, master=5.0, nearby=6, beside=12, closely=6, corner_step=15.0)
FULL = Effort(
    "full",
    24,
    20.0,
    rounds=7,
    answers=2,
    master=10.0,
    crosscuts=2,
    every_class=True,
    nearby=6,
    trials=24,
    corner_step=15.0,
)
HURRIED = Effort("hurried", 12, 40.0, rounds=3, answers=1, master=1.0, corner_step=20.0)
"""For a search that is to end before it has begun: a plan within moments, every class looked at."""
EFFORTS: Mapping[str, Effort] = MappingProxyType({one.name: one for one in (COARSE, FULL)})
"""By the names that commands take."""


def thickness_max(machines: Machines) -> float:
    """Thickest slab every saw takes. [mm]"""
    depths = [machines.rip.depth_max, machines.crosscut.depth_max or np.inf, machines.mill.throat]
    return float(min(depths))


USUAL_DENSITY = 950.0
"""Green hardwood with its bark, kg/m³: common practice; for telling which saw takes a bolt, before it is weighed."""
BOLT_SHARE = 0.2
"""A first bolt's share of its log, centre slab and half slabs off."""


def wood_of(log: PlanLog) -> float:
    """About how much wood a log holds. [mm³]"""
    return log.reach * np.pi * float(np.mean(log.field.radius**2))


def bolts_on_mill(log: PlanLog, machines: Machines) -> bool:
    """Whether the bolts of a log are too long or too heavy for the resaw, so that they are parted on the mill."""
    resaw = machines.resaw
    if resaw.piece_length_max is not None and log.reach > resaw.piece_length_max:
        return True
    weight = BOLT_SHARE * wood_of(log) * 1e-9 * USUAL_DENSITY
    return resaw.piece_weight_max is not None and weight > resaw.piece_weight_max


def rolls_for(effort: Effort, machines: Machines, on_mill: bool) -> int:
    """Rolls over half a turn among which the cradles are that hold a log's bolts, as few as the effort has where that will do."""
    cradles = (machines.mill if on_mill else machines.resaw).cradles_deg
    for rolls in (effort.rolls, 2 * effort.rolls, 36):
        step = 180.0 / rolls
        if all(abs(angle / step - round(angle / step)) * step < 1.0 for angle in cradles):
            return rolls
    return 72
