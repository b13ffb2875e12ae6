"""Dimensions of a fitted log: diameters, sweep, taper, ovality, girth, volumes. All in mm, mm³."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pithline.logmodel.model import LogModel, clock_angles, clock_direction, radius_at

Array = NDArray[np.float64]

_CLOCK = np.linspace(0.0, 2.0 * np.pi, 144, endpoint=False)
GIRTH_INSET = 100.0
"""Girths are taped this far in from the ends. [mm]"""


def areas(model: LogModel, x: Array, under_bark: bool = False) -> Array:
    """Section areas square to x at stations x (k,). [mm²]"""
    radii = model.splines(model.radius_under_bark if under_bark else model.radius_over_bark)(np.asarray(x, float))
    area: Array = np.pi * (radii**2).mean(axis=-1)
    return area


def diameters(model: LogModel, x: Array, under_bark: bool = False) -> Array:
    """d(x): diameter of the circle of the same section area. [mm]"""
    return 2.0 * np.sqrt(areas(model, x, under_bark) / np.pi)


def diameter_butt(model: LogModel) -> float:
    """Over-bark diameter at x = 0. [mm]"""
    return float(diameters(model, np.array([0.0]))[0])


def diameter_top(model: LogModel) -> float:
    """Over-bark diameter at the top end. [mm]"""
    return float(diameters(model, np.array([model.length]))[0])


def sweep(model: LogModel) -> float:
    """Greatest distance of the centreline from its chord. [mm]"""
    x = np.linspace(0.0, model.length, 201)
    centre = model.splines(model.centre)(x)
    chord = centre[0] + (centre[-1] - centre[0]) * (x / model.length)[:, None]
    return float(np.linalg.norm(centre - chord, axis=1).max())


def taper_mm_per_m(model: LogModel) -> float:
    """Loss of over-bark diameter per metre, by least squares over the log. [mm/m]"""
    x = np.linspace(0.0, model.length, 101)
    return float(-1000.0 * np.polyfit(x, diameters(model, x), 1)[0])


def girth(model: LogModel, x: float) -> float:
    """Girth over bark as a tape finds it: round the convex hull of the section at x. [mm]"""
    clock = np.linspace(0.0, 2.0 * np.pi, 1440, endpoint=False)
    outline = radius_at(model, model.radius_over_bark, np.full(len(clock), x), clock)[:, None] * clock_direction(clock)
    turn = np.linspace(0.0, 2.0 * np.pi, 360, endpoint=False)
    # Cauchy: the perimeter of a convex figure is 2π times the mean of its support function
    return float(2.0 * np.pi * (outline @ clock_direction(turn).T).max(axis=0).mean())


def ovality(model: LogModel, x: float) -> float:
    """(greatest − least diameter over bark) / d at x, diameters between parallel tangents."""
    outline = radius_at(model, model.radius_over_bark, np.full(len(_CLOCK), x), _CLOCK)[:, None] * clock_direction(
        _CLOCK
    )
    support = (outline @ clock_direction(_CLOCK).T).max(axis=0)
    width = support + np.roll(support, len(_CLOCK) // 2)
    return float((width.max() - width.min()) / diameters(model, np.array([x]))[0])


def volume(model: LogModel, under_bark: bool = True) -> float:
    """Volume between the end planes as they were sawn. [mm³]

    Midpoint rule over x, clock angle and equal-area rings; a cell counts by how much of it lies between the planes.
    """
    radii = model.radius_under_bark if under_bark else model.radius_over_bark
    step = 4.0
    reach = [_reach(model, plane.normal, radii) for plane in (model.butt, model.top)]
    low, high = -reach[0], model.length + reach[1]
    x = np.linspace(low, high, max(int((high - low) / step), 2) + 1)
    step = float(x[1] - x[0])
    x = 0.5 * (x[1:] + x[:-1])
    radius, centre = model.splines(radii)(x), model.splines(model.centre)(x)
    angles = np.arange(radius.shape[1]) * (2.0 * np.pi / radius.shape[1])
    section = np.pi * (radius**2).mean(axis=1)
    oblique = (x < reach[0]) | (x > model.length - reach[1])
    total = float(section[~oblique].sum() * step)
    rings = np.sqrt((np.arange(16) + 0.5) / 16)
    for i in np.flatnonzero(oblique):
        yz = centre[i] + (radius[i][:, None] * rings)[..., None] * clock_direction(angles)[:, None]
        point = np.concatenate([np.full((*yz.shape[:2], 1), x[i]), yz], axis=2)
        inside = np.ones(yz.shape[:2])
        for plane in (model.butt, model.top):
            depth = -((point - plane.point) @ plane.normal) / abs(plane.normal[0])
            inside *= np.clip(depth / step + 0.5, 0.0, 1.0)
        total += float((inside.mean(axis=1) * radius[i] ** 2).mean() * np.pi * step)
    return total


def _reach(model: LogModel, normal: Array, radii: Array) -> float:
    """How far along x an end plane reaches over the section. [mm]"""
    tilt = float(np.hypot(normal[1], normal[2]) / abs(normal[0]))
    widest = 1.3 * float(radii.max()) + float(np.abs(model.centre).max()) + float(np.abs(model.pith).max())
    return tilt * widest + 2.0


def coverage(model: LogModel) -> float:
    """Fraction of the girth seen, over the whole log."""
    inside = (model.x >= 0.0) & (model.x <= model.length)
    return float(model.coverage[inside].mean())


def unseen_girth(model: LogModel) -> tuple[float, float]:
    """The part of the girth that the scan did not see: clock angle of its middle, and its width, both of the log as a whole. [rad]

    The model holds how much of each station was seen, and how far its radius is in doubt: what was not seen is in doubt the most.
    """
    inside = (model.x >= 0.0) & (model.x <= model.length)
    doubt, share = model.stderr_radius[inside], model.coverage[inside]
    order = np.argsort(np.argsort(doubt, axis=1, kind="stable"), axis=1)
    unseen = order >= np.rint(share * doubt.shape[1])[:, None]
    middle = np.angle(np.sum(unseen * np.exp(1j * clock_angles())))
    return float(middle % (2.0 * np.pi)), float((1.0 - share.mean()) * 2.0 * np.pi)
