"""What no layout at all can be worth more than: every column of wood along the log filled at its best, by itself.

Wherever slabs lie and however bolts are fanned, plates lie along the pith's chord. So a thin column of the log along the
chord holds plates end to end, within the runs of its wood where some plane along it keeps the limits; each plate takes its
length and one crosscut of it, and its share of the column's section with half a kerf at either face. What a column holds
at most is a knapsack along its runs; the sum over all columns bounds every layout. Widths, whole strips and settings are
not asked for, so it is loose: it says how much is lost to squares in the round, not how much a better plan would give.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numba import njit
from numpy.typing import NDArray

from pithline.mill.machine import Machines
from pithline.plan.problem.log_frame import PlanLog, normal_at
from pithline.plan.problem.parts import SawnPart
from pithline.wood.field import Planes, at_points
from pithline.wood.unusable import in_defect

Array = NDArray[np.float64]
BEAM_SIDE = 15.0
"""Side of a column. [mm]"""
BEAM_STEP = 25.0
"""Between points along a column. [mm]"""
ROLLS = 18
"""Planes tried over half a turn; limits are loosened by what lies between two of them."""
FIBRE_SLACK = np.radians(0.5)
"""What turning a plane by half a step may change of its runout, for fibre up to 4° off the chord."""


def upper_bound_of_logs(logs: Sequence[PlanLog], parts: Sequence[SawnPart], worth: Array, machines: Machines) -> float:
    """No layout of logs crosscut from one is worth more, any number of each part counted at its worth (p,)."""
    counted = [part for part, each in zip(parts, worth, strict=True) if each > 0.0]
    if not counted:
        return 0.0
    return float(sum(upper_bound_of_log(log, counted, worth[worth > 0.0], machines) for log in logs))


def upper_bound_of_log(log: PlanLog, parts: Sequence[SawnPart], worth: Array, machines: Machines) -> float:
    """No layout of one log along its chord is worth more, before charges; in the unit of `worth` (p,)."""
    usable = _usable(log, parts)
    kerf = min(machines.mill.kerf, machines.resaw.kerf)
    share = np.array([w / (p.width * (p.thickness + kerf)) for w, p in zip(worth, parts, strict=True)])
    cross = machines.crosscut.kerf
    steps = np.array([max(int(np.floor((p.length + cross) / 5.0)), 1) for p in parts])
    longest = int(np.ceil((log.reach + 2 * BEAM_STEP + cross) / 5.0)) + 1
    return (
        float(_filled(usable, _fillings(longest, steps, share), BEAM_STEP / 5.0, cross / 5.0)) * BEAM_SIDE * BEAM_SIDE
    )


def _fillings(longest: int, steps: NDArray[np.int64], share: Array) -> Array:
    """What a run of each length, in 5 mm, holds at most for every mm² of its section."""
    best = np.zeros(longest + 1)
    for n in range(1, longest + 1):
        best[n] = best[n - 1]
        for long, gain in zip(steps, share, strict=True):
            if long <= n and best[n - long] + gain > best[n]:
                best[n] = best[n - long] + gain
    return best


@njit(cache=True)
def _filled(usable: NDArray[np.bool_], fillings: Array, step: float, cross: float) -> float:
    """Sum of the fillings of all runs of `usable` (columns, along)."""
    total = 0.0
    for i in range(usable.shape[0]):
        run = 0
        for j in range(usable.shape[1] + 1):
            if j < usable.shape[1] and usable[i, j]:
                run += 1
            elif run:
                # a run may reach nearly one step beyond its points at either end, and its last plate needs no crosscut
                total += fillings[min(int(np.ceil((run + 1) * step + cross)), len(fillings) - 1)]
                run = 0
    return total


def _usable(log: PlanLog, parts: Sequence[SawnPart]) -> NDArray[np.bool_]:
    """(columns, along): where wood may lie in a plate of any part; a cell that is so in part counts whole."""
    far = float(log.field.radius.max()) + float(np.abs(log.field.pith - log.field.pith[0]).max()) + BEAM_SIDE
    n = int(np.ceil(far / BEAM_SIDE))
    places = np.arange(-n, n + 1, dtype=np.float64) * BEAM_SIDE
    up = normal_at(log.axis, 0.0)
    side = np.cross(log.axis, up)
    count = int(np.ceil(log.reach / BEAM_STEP)) + 1
    planes = Planes(
        log.origin + places[0] * side, side, log.axis, up, places, (len(places), count), (BEAM_SIDE, BEAM_STEP)
    )
    points = planes.points.reshape(-1, 3)
    half = BEAM_SIDE / np.sqrt(2.0)
    good = np.zeros(len(points), bool)
    limits = list(dict.fromkeys(part.limits for part in parts))
    _, _, depth, pith = at_points(log.field, points, up)
    asked = np.flatnonzero((depth > -half) & (pith > log.pith_radius - half))
    slack = np.pi / ROLLS / 2 + half / np.maximum(pith, half)
    for k in range(ROLLS):
        angle, runout, _, _ = at_points(log.field, points[asked], normal_at(log.axis, k * np.pi / ROLLS))
        kept = np.zeros(len(asked), bool)
        for one in limits:
            kept |= (angle > one.ring_angle_min - slack[asked]) & (runout < one.runout_max + FIBRE_SLACK)
        good[asked[kept]] = True
        asked = asked[~kept]
    for end, trim in ((log.butt, log.trim_butt), (log.top, log.trim_top)):
        good &= points @ end.normal <= float(end.point @ end.normal) - trim + half
    for defect in log.defects:
        good &= ~in_defect(defect, log.model, log.field, points)
    shaped = good.reshape(len(places), len(places), count)
    return np.ascontiguousarray(shaped.reshape(-1, count))
