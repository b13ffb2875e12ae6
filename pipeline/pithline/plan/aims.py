"""How finely a search looks, what it makes most of, and why there may be nothing to find."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pithline.errors import PlanError
from pithline.mill.machine import Machines
from pithline.plan.frame import PlanLog, bow
from pithline.plan.master import Aim
from pithline.plan.parts import SawnPart

Array = NDArray[np.float64]
LITRE = 1e6
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
EFFORTS = {one.name: one for one in (COARSE, FULL)}


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
    step, bent = 180.0 / effort.rolls, bow(log) >= LEANS_FROM * log.reach
    leans = sorted({round(lean / step) for lean in effort.leans if bent} - {0})
    quarter = effort.rolls // 2
    return np.array([*(quarter - k for k in reversed(leans)), quarter, *(quarter + k for k in leans)], np.int64)


def setting_cost(machines: Machines, reach: float, hour_rate: float) -> float:
    """What a charged setting of a log `reach` mm long costs by the hour: setting it up, and some three cuts."""
    mill = machines.mill
    return (mill.minutes_per_setting + 3.0 * reach / mill.feed) * hour_rate / 60.0


def aim_of(
    objective: str, parts: tuple[SawnPart, ...], machines: Machines, reach: float, settings_max: int | None = None
) -> Aim:
    """What an objective makes of plates and settings; litres, or money."""
    mill = machines.mill
    if objective == "value":
        charge = setting_cost(machines, reach, mill.hour_rate)
        leaning = mill.minutes_off_square * mill.hour_rate / 60.0
        return Aim(np.array([p.price for p in parts]), charge, False, settings_max, off_square=leaning)
    worth = np.array([p.volume for p in parts]) / LITRE
    if objective == "sets":
        return Aim(worth, 1e-3, True, settings_max)
    return Aim(worth, mill.least_gain_per_setting / LITRE, False, settings_max)


def thickness_max(machines: Machines) -> float:
    """Thickest slab every saw takes."""
    depths = [machines.rip.depth_max, machines.crosscut.depth_max or np.inf, machines.mill.throat]
    return float(min(depths))


def no_part(log: PlanLog, parts: tuple[SawnPart, ...]) -> PlanError:
    """Why nothing passes: the widest radial run and longest clear length against the parts."""
    field = log.field
    x = field.x0 + np.arange(len(field.pith)) * field.dx
    inside = (x > log.butt.point[0] + log.trim_butt) & (x < log.top.point[0] - log.trim_top)
    run = float(np.median(field.radius[inside], axis=0).max()) - log.pith_radius if inside.any() else 0.0
    clear = log.clear
    shortest = min(parts, key=lambda p: p.length)
    if clear < shortest.length:
        return PlanError(
            f"no part fits: the longest clear length is {clear:.0f} mm, the shortest part ({shortest.product} "
            f"{shortest.part.name}) needs {shortest.length:.0f} mm; choose a shorter part or lessen the trims."
        )
    short = [part for part in parts if part.length <= clear]
    slimmest = min(short, key=lambda p: p.width)
    if run < slimmest.width:
        which = (
            "the narrowest part" if len(short) == len(parts) else f"the narrowest part no longer than {clear:.0f} mm"
        )
        return PlanError(
            f"no part fits: the widest radial run is {run:.0f} mm, {which} ({slimmest.product} {slimmest.part.name}) needs "
            f"{slimmest.width:.0f} mm; choose a narrower part or another log."
        )
    limits = slimmest.limits
    return PlanError(
        f"no part fits: a run {run:.0f} mm wide and {clear:.0f} mm long is there, but no plate of it keeps the limits "
        f'"{limits.name}" (ring angle {np.degrees(limits.ring_angle_min):.0f}°, runout '
        f"{np.degrees(limits.runout_max):.1f}°); choose looser limits, shorter parts or another log."
    )


def no_gain(aim: Aim, best: float, objective: str) -> PlanError:
    """Why nothing pays: a setting is charged more than it yields."""
    unit, key = (" in money", "hour_rate") if objective == "value" else (" L", "least_gain_per_setting")
    return PlanError(
        f"no setting pays: each is charged {aim.charge:.3g}{unit}, and the best single slab yields {best:.3g}{unit}; "
        f"lower the mill's {key}."
    )


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
