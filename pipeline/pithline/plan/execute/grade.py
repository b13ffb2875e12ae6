"""The grade of plates as sawn, on their own mid-planes, and whether their whole boxes are usable wood."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from pithline.geometry.boxes import box_grid
from pithline.mill.products import Limits
from pithline.plan.problem.log_frame import PlanLog
from pithline.wood.kernels import FieldTables, box_figures
from pithline.wood.unusable import in_defect

Array = NDArray[np.float64]
GRADE_PITCH = 10.0
PLANES_APART = 12.0
"""Planes from face to face on which a box is held against bark and pith are no further apart than this. [mm]"""
Box = tuple[Array, tuple[Array, Array, Array]]
"""A corner (3,), and the length, width and thickness vectors from there (3,), log frame. [mm]"""


@dataclass(frozen=True, slots=True)
class PlateGrade:
    """Figures of one plate: angles in radians; `sapwood` is how deep sapwood reaches in from a long edge, over both faces. [mm]"""

    ring_min: float
    ring_mean: float
    runout: float
    sound: bool
    passes: bool
    slope: float = 0.0
    sapwood: float = 0.0


class _LimitTable(NamedTuple):
    """Limits of n plates, (n,) each; what a plate is not held to is infinite, or nothing. [rad, mm]"""

    ring_min: Array
    ring_mean: Array
    ring_max: Array
    runout: Array
    slope: Array
    sapwood: Array


@dataclass(frozen=True, slots=True)
class PlatesToGrade:
    """Plates whose boxes are looked at on grids of one pitch, to be graded in any log; see `plates_to_grade`."""

    boxes: Array  # (n, 4, 3): corner, length, width, thickness
    counts: NDArray[np.int64]  # (n, 3): points along and across, planes
    limits: _LimitTable
    pitch: float


@dataclass(frozen=True, slots=True)
class PlateGrades:
    """What `PlateGrade` has of one, of n plates, (n,) each. [rad, mm]"""

    ring_min: Array
    ring_mean: Array
    runout: Array
    sound: NDArray[np.bool_]
    passes: NDArray[np.bool_]
    slope: Array
    sapwood: Array


def plates_to_grade(boxes: Sequence[Box], limits: Sequence[Limits], pitch: float = GRADE_PITCH) -> PlatesToGrade:
    """Plates with what each must keep.

    Parameters
    ----------
    boxes : sequence of (corner, edges)
        As sawn. [mm]
    limits : sequence of Limits
        Of each.
    pitch : float
        Between the points at which their wood is looked at. [mm]
    """
    table = np.array([(corner, *edges) for corner, edges in boxes], float).reshape(-1, 4, 3)
    length, width, thick = np.sqrt(np.square(table[:, 1:]).sum(axis=2)).T
    points = [np.maximum(2, np.ceil(size / pitch - 1e-9) + 1) for size in (length, width)]
    counts = np.column_stack([*points, 2 + np.maximum(1, np.ceil(thick / PLANES_APART))]).astype(np.int64)
    allowed = [{"any": np.inf, "none": -1.0, "edge": one.sapwood_edge}[one.sapwood] for one in limits]
    rows = [
        (
            one.ring_angle_min,
            one.ring_angle_mean,
            np.inf if one.ring_angle_max is None else one.ring_angle_max,
            one.runout_max,
            np.inf if one.slope_max is None else one.slope_max,
            sap,
        )
        for one, sap in zip(limits, allowed, strict=True)
    ]
    return PlatesToGrade(table, counts, _LimitTable(*np.array(rows, float).reshape(-1, 6).T), pitch)


@njit(cache=True, nogil=True)
def _figures_of_boxes(
    boxes: Array, counts: NDArray[np.int64], sap: float, tables: FieldTables, figures: Array
) -> None:  # fmt: skip
    """Fill (n, 10): `box_figures` of each box."""
    for i in range(len(boxes)):
        box, count = boxes[i], counts[i]
        figures[i] = box_figures(box[0], (box[1], box[2], box[3]), (count[0], count[1], count[2]), sap, tables)


def grade_plates(log: PlanLog, plates: PlatesToGrade) -> PlateGrades:
    """Grade plates in the wood of one log.

    Parameters
    ----------
    log : PlanLog
        The wood that they are sawn from.
    plates : PlatesToGrade
        Their boxes, and what they must keep.
    """
    boxes, limits = plates.boxes, plates.limits
    figures = np.empty((len(boxes), 10))
    _figures_of_boxes(boxes, plates.counts, log.sapwood, log.exact, figures)
    ring_min, ring_mean, worst, inside, pith, saps, first, last, slope, greatest = figures.T
    sound = (inside >= 0.0) & (pith >= log.pith_radius - 1e-6)
    # the trims are half-spaces: a box is clear of one if its furthest corner is
    for end, trim in ((log.butt, log.trim_butt), (log.top, log.trim_top)):
        furthest = (boxes[:, 0] - end.point) @ end.normal + np.maximum(boxes[:, 1:] @ end.normal, 0.0).sum(axis=1)
        sound &= furthest <= -trim
    # from whichever long edge it reaches in less
    across = np.sqrt(np.square(boxes[:, 2]).sum(axis=1))
    deep = np.where(saps > 0, np.minimum(last, 1.0 - first) * across, 0.0)
    sound &= (saps == 0) | (deep <= limits.sapwood)
    if log.defects:
        for i in np.flatnonzero(sound):
            sound[i] = not _holds_defect(log, boxes[i], int(plates.counts[i, 2]), plates.pitch)
    good = (ring_min >= limits.ring_min) & (ring_mean >= limits.ring_mean) & (greatest <= limits.ring_max)
    good &= (worst <= limits.runout) & (slope <= limits.slope)
    return PlateGrades(ring_min, ring_mean, worst, sound, sound & good, slope, deep)


def _holds_defect(log: PlanLog, box: Array, planes: int, pitch: float) -> bool:
    """Whether a point of a box (4, 3) lies in a defect."""
    corner, length, width, thickness = box
    points = np.concatenate(
        [box_grid(corner + t * thickness, length, width, pitch).reshape(-1, 3) for t in np.linspace(0.0, 1.0, planes)]
    )
    return any(in_defect(defect, log.model, log.field, points).any() for defect in log.defects)


def grade_plate(
    log: PlanLog, corner: Array, edges: tuple[Array, Array, Array], limits: Limits, pitch: float = GRADE_PITCH
) -> PlateGrade:
    """Grade one plate.

    Parameters
    ----------
    log : PlanLog
        The wood that it is sawn from.
    corner : (3,) array
        Of its box, log frame. [mm]
    edges : tuple of three (3,) arrays
        Its length, width and thickness from there. [mm]
    limits : Limits
        What it must keep.
    pitch : float
        Between the points at which its wood is looked at. [mm]
    """
    found = grade_plates(log, plates_to_grade([(corner, edges)], [limits], pitch))
    return PlateGrade(
        float(found.ring_min[0]),
        float(found.ring_mean[0]),
        float(found.runout[0]),
        bool(found.sound[0]),
        bool(found.passes[0]),
        float(found.slope[0]),
        float(found.sapwood[0]),
    )
