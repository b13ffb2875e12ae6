"""Dimensions read off a log model: diameters, taper, sweep, ovality, volumes. mm, log frame."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from pithline.logmodel.model import LogModel, clock_angles, clock_direction, radius_at

Array = NDArray[np.float64]
FINE = 360


def _fine_radii(radii: Array) -> Array:
    angles = np.append(clock_angles(), 2 * np.pi)
    closed = np.concatenate([radii, radii[:, :1]], axis=1)
    return CubicSpline(angles, closed, axis=1, bc_type="periodic")(np.arange(FINE) * (2 * np.pi / FINE))


def section_areas(radii: Array) -> Array:
    """Areas of sections given by radii (n, 72) about their centres, (n,). [mm²]"""
    return 0.5 * np.sum(_fine_radii(radii) ** 2, axis=1) * (2 * np.pi / FINE)


def diameter_profile(model: LogModel, x: Array) -> Array:
    """Over-bark diameter of the circle of the section's area at stations `x`. [mm]"""
    areas = section_areas(model.radius_over_bark)
    return 2.0 * np.sqrt(CubicSpline(model.x, areas, bc_type="natural")(np.asarray(x, float)) / np.pi)


def end_diameters(model: LogModel) -> tuple[float, float]:
    """Over-bark diameters at butt and top, on the end planes' own stations. [mm]"""
    butt, top = diameter_profile(model, np.array([0.0, model.length]))
    return float(butt), float(top)


def taper(model: LogModel) -> float:
    """Loss of over-bark diameter a metre, by least squares over the log's length. [mm/m]"""
    inside = (model.x >= 0) & (model.x <= model.length)
    x = model.x[inside]
    return float(-np.polyfit(x, diameter_profile(model, x), 1)[0] * 1000.0)


def sweep(model: LogModel) -> float:
    """Greatest distance of the centreline from its chord between the ends. [mm]"""
    x = np.linspace(0.0, model.length, 200)
    centre = CubicSpline(model.x, model.centre, axis=0, bc_type="natural")(x)
    points = np.column_stack([x, centre])
    chord = points[-1] - points[0]
    chord /= np.linalg.norm(chord)
    away = points - points[0]
    return float(np.linalg.norm(away - np.outer(away @ chord, chord), axis=1).max())


def ovality(model: LogModel) -> float:
    """(greatest − least diameter) / diameter, the mean over the log."""
    inside = (model.x >= 0) & (model.x <= model.length)
    r = _fine_radii(model.radius_over_bark[inside])
    points = r[..., None] * clock_direction(np.arange(FINE) * (2 * np.pi / FINE))[None]
    turns = np.linspace(0, np.pi, 36, endpoint=False)
    spans = np.ptp(points @ np.stack([np.cos(turns), np.sin(turns)]), axis=1)
    return float(
        np.mean(
            (spans.max(axis=1) - spans.min(axis=1))
            / (2 * np.sqrt(section_areas(model.radius_over_bark[inside]) / np.pi))
        )
    )


def volume(model: LogModel, radii: Array) -> float:
    """Volume within a radius table between the end planes as they were sawn. [mm³]

    Each end plane is z = const over the section's plane only where it is square; off square, the length of wood over an
    element of section is that between the planes, so the integral runs over section elements at mid-length and corrects
    both ends to first order: exact for a cylinder.
    """
    x = np.linspace(0.0, model.length, max(int(model.length / 5.0), 50))
    areas = CubicSpline(model.x, section_areas(radii), bc_type="natural")(x)
    whole = float(np.trapezoid(areas, x))
    for plane, station, sign in ((model.butt, 0.0, -1.0), (model.top, model.length, 1.0)):
        clocks = np.arange(FINE) * (2 * np.pi / FINE)
        r = radius_at(model, radii, np.full(FINE, station), clocks)
        centre = CubicSpline(model.x, model.centre, axis=0, bc_type="natural")(station)
        away = centre - plane.point[1:]
        e = clock_direction(clocks)
        # plane: n·(X − p) = 0, so the end stands off by t = −(ny·y + nz·z)/nx over (y, z) from its point
        ny, nz = plane.normal[1] / plane.normal[0], plane.normal[2] / plane.normal[0]
        step = 2 * np.pi / FINE
        first = np.sum(r**3 / 3.0 * (ny * e[:, 0] + nz * e[:, 1])) * step
        level = (ny * away[0] + nz * away[1]) * 0.5 * np.sum(r**2) * step
        whole += sign * -(first + level)
    return whole


def mean_coverage(model: LogModel) -> float:
    """Fraction of the girth seen, the mean between the ends."""
    inside = (model.x >= 0) & (model.x <= model.length)
    return float(model.coverage[inside].mean())
