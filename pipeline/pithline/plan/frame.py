"""The chord frame of a plan: origin where the pith leaves the butt end, one axis along the pith's chord.

Every cut of a plan is parallel to this axis (up to what one lift step tilts), so a layout is drawn in two coordinates:
the clock angle of a cut's normal and its offset from the chord.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pithline.logmodel.card import Defect
from pithline.logmodel.model import LogModel
from pithline.wood.field import Planes, WoodField, tables, wood_field
from pithline.wood.unusable import in_defect, station_of

Array = NDArray[np.float64]

PITH_RADIUS = 25.0
"""Radius kept clear round the pith where the card states none [mm]: common practice, 25 to 50 mm, no source."""

SURFACE_DOUBTS = 1.3
PITH_DOUBTS = 0.5
"""How many standard errors of surface and pith a plan keeps in reserve; see docs/benchmarks.md."""


@dataclass(frozen=True, slots=True)
class PlanLog:
    """What the planner knows of one log."""

    model: LogModel
    field: WoodField
    exact: tuple  # kernel arrays without doubts: what is judged
    wary: tuple  # kernel arrays with doubts in reserve: what is planned on
    origin: Array  # (3,)
    axis: Array  # (3,) unit, along the pith's chord
    reach: float  # chord length between the end planes on the pith
    pith_radius: float
    trim_butt: float
    trim_top: float
    defects: tuple[Defect, ...]
    sapwood: float


def plan_log(
    model: LogModel,
    pith_radius: float | None,
    trim_butt: float,
    trim_top: float,
    defects: tuple[Defect, ...],
    surface_doubts: float = SURFACE_DOUBTS,
    pith_doubts: float = PITH_DOUBTS,
) -> PlanLog:
    """Prepare a fitted log for planning."""
    field = wood_field(model)
    ends = station_of(field, np.array([0.0, model.length]), field.pith)
    butt = np.array([0.0, *ends[0]])
    top = np.array([model.length, *ends[1]])
    chord = top - butt
    reach = float(np.linalg.norm(chord))
    return PlanLog(
        model=model,
        field=field,
        exact=tables(field, 0.0, 0.0),
        wary=tables(field, surface_doubts, pith_doubts),
        origin=butt,
        axis=chord / reach,
        reach=reach,
        pith_radius=PITH_RADIUS if pith_radius is None else max(pith_radius, 1.0),
        trim_butt=trim_butt,
        trim_top=trim_top,
        defects=defects,
        sapwood=model.sapwood_thickness,
    )


def normal_at(axis: Array, clock: float) -> Array:
    """The clock direction e(θ) made square to the axis, unit, (3,)."""
    e = np.array([0.0, -np.sin(clock), np.cos(clock)])
    e -= (e @ axis) * axis
    return e / np.linalg.norm(e)


def clock_of_normal(axis: Array, normal: Array) -> float:
    """Inverse of `normal_at` for any direction with a part square to the axis. [rad]"""
    along = axis / axis[0]
    flat = normal - normal[0] * along  # slide along the axis until x is 0
    return float(np.mod(np.arctan2(-flat[1], flat[2]), 2 * np.pi))


def in_trims(log: PlanLog, points: Array) -> NDArray[np.bool_]:
    """Which of (n, 3) points lie in an end trim or outside the log's ends, trims measured square to the ends."""
    butt, top = log.model.butt, log.model.top
    return ((points - butt.point) @ butt.normal > -log.trim_butt) | ((points - top.point) @ top.normal > -log.trim_top)


def trimmed(log: PlanLog, planes: Planes) -> NDArray[np.bool_]:
    """`in_trims` and defects on parallel planes, (k, i, j)."""
    out = np.zeros((len(planes.heights), *planes.counts), bool)
    for end, trim in ((log.model.butt, log.trim_butt), (log.model.top, log.trim_top)):
        out |= planes.beyond(end.normal, float(end.point @ end.normal) - trim)
    if log.defects:
        points = planes.points.reshape(-1, 3)
        for defect in log.defects:
            out |= in_defect(defect, log.model, log.field, points).reshape(out.shape)
    return out
