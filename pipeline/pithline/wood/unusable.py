"""Wood no plate may hold: trims, the pith circle, defects. Points in the log frame, mm."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
from numpy.typing import NDArray

from pithline.logmodel.card import Defect, DefectKind
from pithline.logmodel.model import LogModel, clock_direction
from pithline.wood.field import WoodField, at_points

Array = NDArray[np.float64]

KNOT_BEYOND = 1.2
"""A knot's cone goes on widening to this part of the way to its mark: on logs out of round wood lies beyond it."""
CHECK_HALF = 0.5
"""A check has no thickness of its own; this near to its plane a point lies in it. [mm]"""


def station_of(field: WoodField, x: Array, values: Array) -> Array:
    """Linear reading of a per-station table (k, ...) at stations `x` (n,)."""
    t = np.clip((x - field.x0) / field.dx, 0.0, len(values) - 1.000001)
    i = t.astype(int)
    a = (t - i).reshape(-1, *([1] * (values.ndim - 1)))
    read: Array = values[i] * (1 - a) + values[i + 1] * a
    return read


def surface_point(field: WoodField, x: float, clock: float) -> Array:
    """The under-bark surface point at a station and clock angle about the pith, (3,)."""
    pith = station_of(field, np.array([x]), field.pith)[0]
    row = station_of(field, np.array([x]), field.radius)[0]
    radius = np.interp(np.mod(clock, 2 * np.pi), np.arange(361) * (2 * np.pi / 360), row)
    return np.array([x, *(pith + radius * clock_direction(clock))])


def end_of(defect: Defect, model: LogModel) -> tuple[Array, Array]:
    """The end plane a defect starts from: point and inward normal."""
    plane = model.top if defect.end == "top" else model.butt
    return plane.point, -plane.normal


def in_defect(defect: Defect, model: LogModel, field: WoodField, points: Array) -> NDArray[np.bool_]:
    """Which of (n, 3) points lie in a defect or its margin."""
    return _IN_DEFECT[defect.kind](defect, model, field, points)


def _in_metal(defect: Defect, model: LogModel, field: WoodField, points: Array) -> NDArray[np.bool_]:
    """A sphere of its diameter about a place on the surface."""
    centre = surface_point(field, _station(defect, model), defect.clock or 0.0)
    inside: NDArray[np.bool_] = np.linalg.norm(points - centre, axis=1) <= (defect.diameter or 0.0) / 2 + defect.margin
    return inside


def _in_knot(defect: Defect, model: LogModel, field: WoodField, points: Array) -> NDArray[np.bool_]:
    """A cone from the pith to a mark on the surface, where it has its diameter."""
    x = _station(defect, model)
    mark = surface_point(field, x, defect.clock or 0.0)
    root = np.array([x, *station_of(field, np.array([x]), field.pith)[0]])
    axis = mark - root
    reach = float(np.linalg.norm(axis))
    axis /= reach
    along = (points - root) @ axis
    off = np.linalg.norm(points - root - along[:, None] * axis, axis=1)
    allowed = np.clip(along / reach, 0.0, KNOT_BEYOND) * (defect.diameter or 0.0) / 2 + defect.margin
    inside: NDArray[np.bool_] = (along >= -defect.margin) & (off <= allowed)
    return inside


def _in_rot(defect: Defect, model: LogModel, field: WoodField, points: Array) -> NDArray[np.bool_]:
    """A cylinder about the pith from an end inwards."""
    from_end = _from_end(defect, model, points)
    from_pith = at_points(field, points, np.array([1.0, 0, 0]))[3]
    margin = defect.margin
    inside: NDArray[np.bool_] = (from_end <= (defect.length or 0.0) + margin) & (
        from_pith <= (defect.diameter or 0.0) / 2 + margin
    )
    return inside


def _in_check(defect: Defect, model: LogModel, field: WoodField, points: Array) -> NDArray[np.bool_]:
    """A radial plane at its clock angle, from its end inwards and from the surface for its depth."""
    from_end = _from_end(defect, model, points)
    pith = station_of(field, points[:, 0], field.pith)
    away = points[:, 1:] - pith
    direction = clock_direction(defect.clock or 0.0)
    along = away @ direction
    off = np.abs(away @ np.array([-direction[1], direction[0]]))
    depth = at_points(field, points, np.array([1.0, 0, 0]))[2]
    deep = defect.depth if defect.depth is not None else np.inf
    margin = defect.margin
    inside: NDArray[np.bool_] = (
        (from_end <= (defect.length or 0.0) + margin)
        & (along > -margin)
        & (off <= margin + CHECK_HALF)
        & (depth <= deep + margin)
    )
    return inside


_IN_DEFECT: Mapping[DefectKind, Callable[[Defect, LogModel, WoodField, Array], NDArray[np.bool_]]] = {
    DefectKind.KNOT: _in_knot,
    DefectKind.CHECK: _in_check,
    DefectKind.METAL: _in_metal,
    DefectKind.ROT: _in_rot,
}


def _station(defect: Defect, model: LogModel) -> float:
    """The station a defect stands at: its own, else its end's. [mm]"""
    return defect.x if defect.x is not None else (model.length if defect.end == "top" else 0.0)


def _from_end(defect: Defect, model: LogModel, points: Array) -> Array:
    """How far points (n, 3) lie inwards of the end that a defect starts from. [mm]"""
    point, inward = end_of(defect, model)
    depth: Array = (points - point) @ inward
    return depth
