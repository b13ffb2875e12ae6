"""The chord frame of a plan: origin where the pith leaves the butt end, one axis along the pith's chord.

Every cut of a plan is parallel to this axis (up to what one lift step tilts), so a layout is drawn in two coordinates:
the clock angle of a cut's normal and its offset from the chord.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pithline.geometry.pieces import Piece
from pithline.logmodel.card import PITH_RADIUS, Defect
from pithline.logmodel.model import EndPlane, LogModel
from pithline.wood.field import Planes, WoodField, cropped, tables, wood_field
from pithline.wood.kernels import FieldTables
from pithline.wood.unusable import in_defect, station_of

Array = NDArray[np.float64]

LOG = Piece("log", "log")
LEAST_PITH_RADIUS = 1.0
"""Rings have no normal at the pith itself. [mm]"""

SURFACE_RESERVE = 1.5
"""Kept clear under the bark on top of the fit's own doubt. [mm]"""


class Reserve(NamedTuple):
    """Standard errors of surface and pith that a whole reserve keeps.

    Under the bark a millimetre and a half is kept clear besides (`SURFACE_RESERVE`), so less of the surface's will do; see
    docs/benchmarks.md.
    """

    surface: float = 0.5
    pith: float = 1.0

    def share(self, share: float) -> Reserve:
        """So much of it."""
        return Reserve(self.surface * share, self.pith * share)


WHOLE_RESERVE = Reserve()


@dataclass(frozen=True, slots=True)
class PlanLog:
    """What the planner knows of one log, or of a shorter log crosscut from it: then ends, chord and field are its own."""

    model: LogModel
    field: WoodField
    exact: FieldTables  # kernel arrays without doubts: what is judged
    conservative: FieldTables  # kernel arrays with the doubts that a full reserve keeps: what is planned on
    origin: Array  # (3,)
    axis: Array  # (3,) unit, along the pith's chord
    reach: float  # chord length between the end planes on the pith
    pith_radius: float
    trim_butt: float
    trim_top: float
    defects: tuple[Defect, ...]
    sapwood: float
    butt: EndPlane
    top: EndPlane
    reserve: Reserve  # standard errors in a whole one
    crook_doubt: float  # how far off the fitted pith's slope may be where the log is crooked [rad]
    slope_doubt: float  # and with the tilt of its marks: what a whole reserve keeps of runout [rad]
    piece: Piece = LOG

    @property
    def sure(self) -> bool:
        """Whether there is nothing to keep in reserve."""
        return (
            self.slope_doubt == 0.0
            and not self.conservative.skin[..., 3].any()
            and not self.conservative.core[:, 4].any()
        )

    @property
    def clear(self) -> float:
        """Length between the trims along the pith. [mm]"""
        return self.reach - self.trim_butt - self.trim_top


def plan_log(
    model: LogModel,
    pith_radius: float | None,
    trim_butt: float,
    trim_top: float,
    defects: tuple[Defect, ...],
    reserve: Reserve = WHOLE_RESERVE,
) -> PlanLog:
    """Prepare a fitted log for planning.

    Parameters
    ----------
    model : LogModel
        The fitted log.
    pith_radius : float or None
        Radius kept clear round the pith; None: `PITH_RADIUS`. [mm]
    trim_butt, trim_top : float
        Kept clear of its ends. [mm]
    defects : tuple of Defect
        The card's.
    reserve : Reserve
        Standard errors that a whole reserve keeps.
    """
    field = wood_field(model)
    ends = station_of(field, np.array([0.0, model.length]), field.pith)
    crook = crook_doubt(field, model.length)
    butt = np.array([0.0, *ends[0]])
    top = np.array([model.length, *ends[1]])
    chord = top - butt
    reach = float(np.linalg.norm(chord))
    return PlanLog(
        model=model,
        field=field,
        exact=tables(field, 0.0, 0.0),
        conservative=tables(field, *reserve),
        origin=butt,
        axis=chord / reach,
        reach=reach,
        pith_radius=PITH_RADIUS if pith_radius is None else max(pith_radius, LEAST_PITH_RADIUS),
        trim_butt=trim_butt,
        trim_top=trim_top,
        defects=defects,
        sapwood=model.sapwood_thickness,
        butt=model.butt,
        top=model.top,
        reserve=reserve,
        crook_doubt=crook,
        slope_doubt=slope_doubt(field, model.length, crook, reserve.pith),
    )


def with_reserve(log: PlanLog, field: WoodField, reserve: Reserve) -> PlanLog:
    """The same log by another field of its wood, so many standard errors in a whole reserve."""
    return replace(
        log,
        field=field,
        exact=tables(field, 0.0, 0.0),
        conservative=tables(field, *reserve),
        reserve=reserve,
        slope_doubt=slope_doubt(field, log.model.length, log.crook_doubt, reserve.pith),
    )


CROOK_STEP = 100.0
"""The fitted centreline follows what is longer than this, and rounds what is shorter. [mm]"""
CROOK_MOST = float(np.radians(0.25))
CROOK_SHARE = 0.25
"""Of the sharpest crook. Both found on generated logs: slopes were off by 0.03 to 0.14° on swept, stubbed and round ones, where
half the second difference is 0.1 to 0.3°, by up to 0.31° on crooked ones, where it is 1° and more."""


def slope_doubt(field: WoodField, length: float, crook: float, pith_doubts: float) -> float:
    """So many standard errors of the pith's slope, by those of the pith on both ends and by a crook. [rad]"""
    tilt = np.hypot(field.pith_doubt[0], field.pith_doubt[-1]) / length
    return float(pith_doubts * np.hypot(crook, tilt))


def crook_doubt(field: WoodField, length: float) -> float:
    """How far off the pith's slope may be: a share of half its second difference over `CROOK_STEP`, which a bow has not. [rad]"""
    x = np.arange(CROOK_STEP / 2, length - CROOK_STEP / 2, CROOK_STEP / 4)
    low, here, high = (station_of(field, x + by, field.pith_slope) for by in (-CROOK_STEP, 0.0, CROOK_STEP))
    if not len(x):
        return 0.0
    sharpest = float(np.linalg.norm(high - 2.0 * here + low, axis=1).max()) / 2.0
    return min(CROOK_MOST, CROOK_SHARE * sharpest)


BUCK_CLEAR = 8.0
"""Kept clear of a bucked face: a chain saw leaves it rough, and parts are crosscut anew. [mm]"""
FIELD_MARGIN = 60.0
"""How far a shorter log's field reaches beyond its ends. [mm]"""


def pith_on(field: WoodField, normal: Array, offset: float) -> Array:
    """Where the pith crosses the plane normal·X = offset, (3,)."""
    x = field.x0 + np.arange(len(field.pith)) * field.dx
    line = np.column_stack([x, field.pith])
    side = line @ normal - offset
    order = np.argsort(side)
    return np.array([np.interp(0.0, side[order], line[order, i]) for i in range(3)])


def pith_bow(log: PlanLog) -> float:
    """The greatest distance of the pith from its chord between the ends. [mm]"""
    field = log.field
    x = field.x0 + np.arange(len(field.pith)) * field.dx
    inside = (x >= log.butt.point[0]) & (x <= log.top.point[0])
    if not inside.any():
        return 0.0
    off = np.column_stack([x, field.pith])[inside] - log.origin
    off -= (off @ log.axis)[:, None] * log.axis
    return float(np.linalg.norm(off, axis=1).max())


def shorter_log(log: PlanLog, piece: Piece) -> PlanLog:
    """A log that was crosscut from another: `piece` has the bucked faces, its own pith's chord is the axis."""
    ends = {False: (log.butt, log.trim_butt), True: (log.top, log.trim_top)}
    for face in piece.faces:
        normal = np.asarray(face.normal)
        plane = EndPlane(pith_on(log.field, normal, face.offset), normal)
        ends[bool(normal @ log.axis > 0)] = plane, BUCK_CLEAR
    (butt, trim_butt), (top, trim_top) = ends[False], ends[True]
    chord = top.point - butt.point
    reach = float(np.linalg.norm(chord))
    field = cropped(log.field, butt.point[0] - FIELD_MARGIN, top.point[0] + FIELD_MARGIN)
    return replace(
        log,
        field=field,
        exact=tables(field, 0.0, 0.0),
        conservative=tables(field, *log.reserve),
        origin=butt.point,
        axis=chord / reach,
        reach=reach,
        trim_butt=trim_butt,
        trim_top=trim_top,
        butt=butt,
        top=top,
        piece=piece,
    )


def normal_at(axis: Array, clock: float) -> Array:
    """The direction square to the axis whose clock angle is `clock`, unit, (3,)."""
    e = np.array([0.0, -np.sin(clock), np.cos(clock)])
    e[0] = -(e @ axis) / axis[0]
    unit: Array = e / np.linalg.norm(e)
    return unit


def clock_of_normal(normal: Array) -> float:
    """Clock angle of a direction across the log. [rad]"""
    return float(np.mod(np.arctan2(-normal[1], normal[2]), 2 * np.pi))


def in_trims(log: PlanLog, points: Array) -> NDArray[np.bool_]:
    """Which of (n, 3) points lie in an end trim or outside the log's ends, trims measured square to the ends."""
    butt, top = log.butt, log.top
    return ((points - butt.point) @ butt.normal > -log.trim_butt) | ((points - top.point) @ top.normal > -log.trim_top)


def unusable_on_planes(log: PlanLog, planes: Planes) -> NDArray[np.bool_]:
    """`in_trims` and defects on parallel planes, (k, i, j)."""
    out = np.zeros((len(planes.heights), *planes.counts), bool)
    for end, trim in ((log.butt, log.trim_butt), (log.top, log.trim_top)):
        out |= planes.beyond(end.normal, float(end.point @ end.normal) - trim)
    if log.defects:
        points = planes.points.reshape(-1, 3)
        for defect in log.defects:
            out |= in_defect(defect, log.model, log.field, points).reshape(out.shape)
    return out
