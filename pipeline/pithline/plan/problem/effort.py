"""How finely a search looks, by how large and how bent a log is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from pithline.mill.machine import Machines
from pithline.plan.problem.log_frame import PlanLog, pith_bow
from pithline.plan.problem.objective import LITRE

Array = NDArray[np.float64]
MOST_PER_BOLT = 4
"""Charged settings a bolt is given where the mill names no most."""


@dataclass(frozen=True, slots=True)
class Effort:
    """How finely a search looks. Deterministic: no clock."""

    name: str
    rolls: int  # over half a turn
    along_step: float
    fan_spread: int  # rolls between the directions of a fan
    firsts: int
    halves: int
    answers: int
    master: float  # deterministic seconds of CP-SAT
    depth_step: float = 2.5
    face_step: float = 10.0  # corners of bolts, rounded away from the pith, on this grid; see `corner_step` [mm]
    trade_off: tuple[int, ...] = ()  # most charged settings for which the best layout is told too
    sets_within: float = 0.0  # share of the value that may go for complete sets, which are wanted among all but equals
    sawings: int = 1  # ways to crosscut a bent log that are searched
    trials: int = 0  # times that the best layout, moved a little below the grid, is carried out anew
    leans: tuple[int, ...] = ()  # besides 90°, halves of a bent log are turned so much less or more [°]
    lean_step: int = 1  # rolls between those of such halves


COARSE = Effort("coarse", 18, 25.0, 1, 3, 1, 1, 10.0)
FULL = Effort(
    "full",
    36,
    20.0,
    2,
    5,
    2,
    2,
    30.0,
    trade_off=(3, 5, 8, 12),
    sets_within=0.005,
    sawings=2,
    trials=48,
    leans=(10, 30),
    lean_step=2,
)
EFFORTS: Mapping[str, Effort] = MappingProxyType({one.name: one for one in (COARSE, FULL)})
"""By the names that commands take."""


SMALL = 200.0 * LITRE
"""Columns of logs smaller than this are laid out finely, and more answers are carried out: few plates hang on each."""


def is_small(log: PlanLog) -> bool:
    """Whether few plates hang on each choice."""
    return log.reach * np.pi * float(np.mean(log.field.radius**2)) < SMALL


def corner_step(effort: Effort, log: PlanLog) -> float:
    """The grid on which the corners of this log's bolts are valued: half of the effort's where it is small. [mm]"""
    return effort.face_step / 2.0 if is_small(log) else effort.face_step


LEANS_FROM = 0.015
"""Halves are turned by other angles than 90° where the pith bows this share of its length or more off its chord; on straight
logs that is three times the work for next to nothing (docs/method.md)."""


def half_angles(effort: Effort, log: PlanLog) -> NDArray[np.int64]:
    """How far a half of this log may be turned on, in roll steps: rising, symmetric about the quarter turn."""
    step, bent = 180.0 / effort.rolls, pith_bow(log) >= LEANS_FROM * log.reach
    leans = sorted({round(lean / step) for lean in effort.leans if bent} - {0})
    quarter = effort.rolls // 2
    return np.array([*(quarter - k for k in reversed(leans)), quarter, *(quarter + k for k in leans)], np.int64)


def thickness_max(machines: Machines) -> float:
    """Thickest slab every saw takes."""
    depths = [machines.rip.depth_max, machines.crosscut.depth_max or np.inf, machines.mill.throat]
    return float(min(depths))


def settings_per_bolt(machines: Machines) -> int:
    """Charged settings that one bolt may have."""
    most = machines.mill.settings_per_bolt_max
    return MOST_PER_BOLT if most is None else most


USUAL_DENSITY = 950.0
"""Green hardwood with its bark, kg/m³: common practice; for telling which saw takes a bolt, before it is weighed."""
BOLT_SHARE = 0.2
"""A first bolt's share of its log, centre slab and half slabs off."""


def bolts_on_mill(log: PlanLog, machines: Machines) -> bool:
    """Whether the bolts of a log are too long or too heavy for the resaw, so that they are parted on the mill."""
    resaw = machines.resaw
    if resaw.piece_length_max is not None and log.reach > resaw.piece_length_max:
        return True
    volume = log.reach * np.pi * float(np.mean(log.field.radius**2))
    weight = BOLT_SHARE * volume * 1e-9 * USUAL_DENSITY
    return resaw.piece_weight_max is not None and weight > resaw.piece_weight_max
