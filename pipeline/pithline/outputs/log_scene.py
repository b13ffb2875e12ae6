"""A fitted log in space, for a page to turn about: points of its scan, bark and wood, ends, pith, and swellings that may be knots."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pithline.logmodel.model import LogModel, clock_direction, clock_of, radius_at
from pithline.outputs.ends import end_face
from pithline.outputs.formatting import Formatter, clock_face

Array = NDArray[np.float64]

MOST_POINTS = 60_000
"""What a phone turns smoothly."""
LOOKED_AT = 400_000
"""Of a larger scan so many points, evenly drawn, are thinned."""
NEAR = 60.0
"""Points farther than this outside the outline are not the log's: ground, and what it lies on. [mm]"""
STATIONS, CLOCKS = 40, 48
"""Of the surfaces."""
STEPS = 65_535
"""A coordinate is told in so many steps over the longest side of the box."""
DEEP, RAISED = np.array([74.0, 54.0, 41.0]), np.array([201.0, 170.0, 133.0])
"""Colours of bark that lies inside the fitted outline and outside it, for scans without colours of their own."""
RELIEF = 12.0
"""So far inside or outside it the colour is full. [mm]"""


@dataclass(frozen=True, slots=True)
class LogScene:
    """`lines` as JSON has them, lengths in mm in the log frame; `points` as bytes: places in 16-bit steps, then colours."""

    lines: dict[str, Any]
    points: bytes


def log_scene(model: LogModel, points: Array, colours: NDArray[np.uint8] | None, seed: int = 1) -> LogScene:
    """The scene of a log.

    Parameters
    ----------
    model : LogModel
    points : (n, 3) array
        Scan points in the log frame. [mm]
    colours : (n, 3) array of uint8 or None
    seed : int
        Of the points that are drawn.
    """
    chosen, outside = _near(model, points, seed)
    kept = _thinned(points[chosen])
    chosen, outside = chosen[kept], outside[kept]
    shade = _relief(outside) if colours is None else colours[chosen]
    at = points[chosen]
    low = at.min(axis=0) if len(at) else np.zeros(3)
    step = float(np.ptp(at, axis=0).max()) / STEPS if len(at) else 1.0
    where = np.rint((at - low) / max(step, 1e-9)).astype("<u2")
    lines = {
        "length": round(model.length, 1),
        "count": len(at),
        "low": _told(low),
        "step": step,
        "coloured": colours is not None,
        "bark": _surface(model, model.radius_over_bark),
        "wood": _surface(model, model.radius_under_bark),
        "clocks": CLOCKS,
        "pith": _told(_pith(model)),
        "ends": [_end(model, name) for name in ("butt", "top")],
        "knots": [_knot(model, number) for number in range(len(model.suspected_knots))],
    }
    return LogScene(lines, where.tobytes() + np.ascontiguousarray(shade, np.uint8).tobytes())


def knots_in_words(model: dict[str, Any], fmt: Formatter) -> list[str]:
    """Every swelling that may be a knot, by the log model's JSON: where, how wide, how far it stands out."""
    return [
        f"{fmt.length(knot['x'])} from the butt at {clock_face(knot['clock_deg'])}, {fmt.length(knot['diameter'])} across, "
        f"standing out {fmt.length(knot['height'])}"
        for knot in sorted(model["suspected_knots"], key=lambda knot: float(knot["x"]))
    ]


def _near(model: LogModel, points: Array, seed: int) -> tuple[NDArray[np.intp], Array]:
    """Points of the log by number, and how far each lies outside the outline. [mm]"""
    some = np.arange(len(points))
    if len(points) > LOOKED_AT:
        some = np.sort(np.random.default_rng(seed).choice(len(points), LOOKED_AT, replace=False))
    x = points[some, 0]
    along = (x > -NEAR) & (x < model.length + NEAR)
    some, x = some[along], np.clip(x[along], model.x[0], model.x[-1])
    stations = np.linspace(model.x[0], model.x[-1], 4 * STATIONS)
    nearest = stations[np.rint((x - stations[0]) / (stations[1] - stations[0])).astype(int)]
    across = points[some, 1:] - model.splines(model.centre)(x)
    outside = np.linalg.norm(across, axis=1) - radius_at(model, model.radius_over_bark, nearest, clock_of(across))
    near = outside < NEAR
    return some[near], outside[near]


def _thinned(points: Array) -> NDArray[np.intp]:
    """Numbers of points, at most `MOST_POINTS`, one a cube, its size as small as that allows."""
    if len(points) <= MOST_POINTS:
        return np.arange(len(points))
    size = 4.0
    while True:
        cell = np.floor((points - points.min(axis=0)) / size).astype(np.int64)
        wide = cell.max(axis=0) + 1
        key = (cell[:, 0] * wide[1] + cell[:, 1]) * wide[2] + cell[:, 2]
        first: NDArray[np.intp] = np.unique(key, return_index=True)[1]
        if len(first) <= MOST_POINTS:
            return np.sort(first)
        size *= max(1.05, np.sqrt(len(first) / MOST_POINTS))


def _relief(outside: Array) -> NDArray[np.uint8]:
    """Colours by how far bark stands out of the outline, or lies inside it."""
    share = np.clip(0.5 + outside / (2.0 * RELIEF), 0.0, 1.0)[:, None]
    shade: NDArray[np.uint8] = np.rint(DEEP + share * (RAISED - DEEP)).astype(np.uint8)
    return shade


def _surface(model: LogModel, radii: Array) -> list[list[float]]:
    """Points of a surface, station after station, each once round."""
    x = np.repeat(np.linspace(0.0, model.length, STATIONS), CLOCKS)
    clock = np.tile(np.arange(CLOCKS) * 2.0 * np.pi / CLOCKS, STATIONS)
    across = model.splines(model.centre)(x) + radius_at(model, radii, x, clock)[:, None] * clock_direction(clock)
    found: list[list[float]] = _told(np.column_stack([x, across]))
    return found


def _pith(model: LogModel) -> Array:
    x = np.linspace(0.0, model.length, STATIONS)
    return np.column_stack([x, model.splines(model.pith)(x)])


def _end(model: LogModel, name: str) -> dict[str, Any]:
    """An end's bark and wood as closed lines on its plane."""
    plane = model.butt if name == "butt" else model.top
    face = end_face(model, name, plane)
    flat = {"bark": face.over_bark[::4], "wood": face.under_bark[::4]}
    return {
        "name": name,
        **{key: _told(face.pith + line @ np.stack([face.right, face.up])) for key, line in flat.items()},
    }


def _knot(model: LogModel, number: int) -> dict[str, Any]:
    """A swelling: its middle on the bark, the way it stands out, how wide it is."""
    knot = model.suspected_knots[number]
    out = clock_direction(np.array(knot.clock))
    reach = float(radius_at(model, model.radius_over_bark, np.array([knot.x]), np.array([knot.clock]))[0])
    at = model.splines(model.centre)(knot.x) + reach * out
    return {
        "at": _told(np.array([knot.x, *at])),
        "out": _told(np.array([0.0, *out]), 4),
        "diameter": round(float(knot.diameter), 1),
        "height": round(float(knot.height), 1),
    }


def _told(values: Any, digits: int = 1) -> Any:
    return np.round(np.asarray(values, float), digits).tolist()
