"""Wood no plate may hold: trims, the pith circle, defects. Points in the log frame, mm."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pithline.logmodel.card import Defect
from pithline.logmodel.model import LogModel, clock_direction
from pithline.wood.field import WoodField, at_points

Array = NDArray[np.float64]


def station_of(field: WoodField, x: Array, values: Array) -> Array:
    """Linear reading of a per-station table (k, ...) at stations `x` (n,)."""
    t = np.clip((x - field.x0) / field.dx, 0.0, len(values) - 1.000001)
    i = t.astype(int)
    a = (t - i).reshape(-1, *([1] * (values.ndim - 1)))
    return values[i] * (1 - a) + values[i + 1] * a


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
    margin = defect.margin
    if defect.kind == "metal":
        x = defect.x if defect.x is not None else (model.length if defect.end == "top" else 0.0)
        centre = surface_point(field, x, defect.clock or 0.0)
        return np.linalg.norm(points - centre, axis=1) <= (defect.diameter or 0.0) / 2 + margin
    if defect.kind == "knot":
        x = defect.x if defect.x is not None else (model.length if defect.end == "top" else 0.0)
        mark = surface_point(field, x, defect.clock or 0.0)
        root = np.array([x, *station_of(field, np.array([x]), field.pith)[0]])
        axis = mark - root
        reach = float(np.linalg.norm(axis))
        axis /= reach
        along = (points - root) @ axis
        off = np.linalg.norm(points - root - along[:, None] * axis, axis=1)
        allowed = np.clip(along / reach, 0.0, 1.2) * (defect.diameter or 0.0) / 2 + margin
        return (along >= -margin) & (off <= allowed)
    point, inward = end_of(defect, model)
    from_end = (points - point) @ inward
    if defect.kind == "rot":
        from_pith = at_points(field, points, np.array([1.0, 0, 0]))[3]
        return (from_end <= (defect.length or 0.0) + margin) & (from_pith <= (defect.diameter or 0.0) / 2 + margin)
    pith = station_of(field, points[:, 0], field.pith)
    away = points[:, 1:] - pith
    direction = clock_direction(defect.clock or 0.0)
    along = away @ direction
    off = np.abs(away @ np.array([-direction[1], direction[0]]))
    depth = at_points(field, points, np.array([1.0, 0, 0]))[2]
    deep = defect.depth if defect.depth is not None else np.inf
    return (
        (from_end <= (defect.length or 0.0) + margin)
        & (along > -margin)
        & (off <= margin + 0.5)
        & (depth <= deep + margin)
    )
