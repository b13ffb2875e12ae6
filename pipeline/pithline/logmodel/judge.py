"""The fit judged by what it leaves: what noise and bark cannot be is told, and a fit that failed outright is refused."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pithline.errors import FitError
from pithline.logmodel.cells import cell_of, dilated_round, seen_cells
from pithline.logmodel.layers import Layers
from pithline.logmodel.model import CLOCK_SAMPLES, FitFinding
from pithline.logmodel.surface import MOST_SCALE, TUKEY, Surface

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

WINDOW_ALONG, WINDOW_ROUND = 0.75, 6
"""Windows in which residuals are averaged: so long [radii], and so many cells of 5° round."""
SURE, LEAST_OFF = 4.5, 0.02
"""A window off by more of its own errors, and by more [radii], is none that noise and bark leave."""
ENDS = 0.25
"""So near to the ends nothing is judged. [radii]"""
BEYOND = 0.5
"""Points up to here off the outline are asked whether it leaves them out. [radii]"""
LEFT_OUT, LEAST_LEFT_OUT = 0.45, 20
"""A window in which it leaves out more than this part of the points, and so many, follows something else."""
LITTLE_GIRTH, TOO_LITTLE_GIRTH = 0.5, 0.3
"""With less of the girth seen there is a caution; with still less, a scan is asked for anew."""
MUCH_DOUBT = 0.15
"""So too where what is hidden is known no better than this, two standard errors. [radii]"""
LARGE = 0.1
"""Findings of this size ask for a scan anew. [radii]"""
FAILED_KEPT, FAILED_SCALE = 0.35, 0.15
"""A fit that keeps less than this part of the points near it, or whose points spread more [radii], has failed."""


@dataclass(frozen=True, slots=True)
class Windows:
    """The grid of cells in windows that overlap by half: for each, slices of stations and indices of clock angles."""

    rows: tuple[slice, ...]
    columns: tuple[NDArray[np.int64], ...]


def judge(surface: Surface, points: Array, stubs: Mask, layers: Layers | None) -> tuple[FitFinding, ...]:
    """What a fitted surface leaves that neither noise nor bark can be.

    Parameters
    ----------
    surface : Surface
        Over the stations of the model.
    points : (n, 3) array
        The log's own points between its faces. [mm]
    stubs : (stations, 72) mask
        Where stubs stand: they are told otherwise.
    layers : Layers or None
        Two layers that the scan shows.

    Raises
    ------
    FitError
        If the surface does not follow the points at all.
    """
    out, clock = surface.residuals(points)
    _refuse_failure(surface, out)
    radius = surface.radius
    seen = seen_cells(surface.cells) & ~dilated_round(stubs)
    rows = np.flatnonzero(surface.cells.any(axis=1))
    ends = ENDS * radius
    # next to the ends the faces' own points lie among those of the bark
    seen &= ((surface.x > surface.x[rows[0]] + ends) & (surface.x < surface.x[rows[-1]] - ends))[:, None]
    findings = [
        *_off(surface, seen),
        *_left_out(surface, seen, points[:, 0], out, clock),
        *_little_girth(surface),
    ]
    if layers is not None:
        row, column = layers.place
        place = float(surface.x[row]), float(column * (2.0 * np.pi / CLOCK_SAMPLES))
        findings.append(FitFinding("layers", *place, layers.apart, layers.caution))
    elif surface.scale > 0.98 * MOST_SCALE * radius:
        words = (
            f"The points lie {surface.scale:.0f} mm off the outline on average, more than bark and noise leave: look at fit.png, "
            "and scan again."
        )
        findings.append(FitFinding("scatter", float(surface.x.mean()), 0.0, surface.scale, words))
    return tuple(findings)


def verdict(findings: tuple[FitFinding, ...], radius: float) -> str:
    """What to do of three: "sound", "look here" or "scan again"."""
    findings = tuple(one for one in findings if one.kind != "butt")  # the outline is sound whichever end is the butt
    if not findings:
        return "sound"
    worst = any(
        (one.kind == "girth" and one.size < TOO_LITTLE_GIRTH)
        or one.kind == "scatter"
        or (one.kind != "girth" and one.size > LARGE * radius)
        for one in findings
    )
    return "scan again" if worst else "look here"


def _refuse_failure(surface: Surface, out: Array) -> None:
    radius = surface.radius
    near = np.abs(out) < BEYOND * max(radius, 1.0)
    finite = bool(np.isfinite(surface.coefficients).all()) and radius > 0.0
    kept = float((np.abs(out[near]) < TUKEY * surface.scale).mean()) if near.any() else 0.0
    spread = float(np.median(np.abs(out[near]))) if near.any() else np.inf
    if not finite or kept < FAILED_KEPT or spread > FAILED_SCALE * radius:
        raise FitError(
            "the outline does not settle on the points of the log: too little of its girth was seen, or what was seen does not "
            "hang together. Cut out the log alone, and scan both sides and both ends."
        )


def _windows(surface: Surface) -> Windows:
    step = surface.x[1] - surface.x[0]
    long = max(int(np.ceil(WINDOW_ALONG * surface.radius / step)), 2)
    rows = tuple(slice(k, k + long) for k in range(0, max(len(surface.x) - long, 1), max(long // 2, 1)))
    columns = tuple(np.arange(k, k + WINDOW_ROUND) % CLOCK_SAMPLES for k in range(0, CLOCK_SAMPLES, WINDOW_ROUND // 2))
    return Windows(rows, columns)


def _hour(clock: float) -> int:
    return round(clock / (np.pi / 6.0)) % 12 or 12


def _off(surface: Surface, seen: Mask) -> list[FitFinding]:
    """Windows whose mean residual is larger than noise and bark leave: the worst of them."""
    windows, radius = _windows(surface), surface.radius
    certainty = np.where(seen, 1.0 / surface.noise.of_cells(surface.cells), 0.0)
    own = surface.stderr()[0]
    found = []
    for rows in windows.rows:
        for columns in windows.columns:
            sure = certainty[rows][:, columns]
            if (sure > 0).mean() < 0.5:
                continue
            total = float(sure.sum())
            off = float((sure * surface.miss[rows][:, columns]).sum() / total)
            error = float(np.hypot(total**-0.5, np.mean(own[rows][:, columns])))
            if abs(off) > max(SURE * error, LEAST_OFF * radius):
                found.append((abs(off), float(surface.x[rows].mean()), columns[WINDOW_ROUND // 2]))
    if not found:
        return []
    off, x, column = max(found)
    clock = float(column) * (2.0 * np.pi / CLOCK_SAMPLES)
    words = f"Outline off by {off:.0f} mm at {x / 1000.0:.1f} m, {_hour(clock)} o'clock: look at fit.png there."
    return [FitFinding("outline", x, clock, off, words)]


def _left_out(surface: Surface, seen: Mask, x: Array, out: Array, clock: Array) -> list[FitFinding]:
    """Windows of which the outline leaves out a good part of the points: the worst of them."""
    windows, radius, limit = _windows(surface), surface.radius, TUKEY * surface.scale
    near = np.abs(out) < BEYOND * radius
    cell = cell_of(x[near], clock[near], surface.x)
    far = np.abs(out[near]) > limit
    total, without, size = np.zeros((3, len(surface.x), CLOCK_SAMPLES))
    np.add.at(total, cell, 1.0)
    np.add.at(without, (cell[0][far], cell[1][far]), 1.0)
    np.add.at(size, (cell[0][far], cell[1][far]), np.abs(out[near][far]))
    found = []
    for rows in windows.rows:
        for columns in windows.columns:
            here = seen[rows][:, columns]
            if here.mean() < 0.5:
                continue
            count = float((without[rows][:, columns] * here).sum())
            if count > max(LEAST_LEFT_OUT, LEFT_OUT * float((total[rows][:, columns] * here).sum())):
                off = float((size[rows][:, columns] * here).sum() / count)
                found.append((off, float(surface.x[rows].mean()), columns[WINDOW_ROUND // 2]))
    if not found:
        return []
    off, at, column = max(found)
    turned = float(column) * (2.0 * np.pi / CLOCK_SAMPLES)
    words = (
        f"Much of what was scanned at {at / 1000.0:.1f} m, {_hour(turned)} o'clock lies {off:.0f} mm off the outline: look at "
        "fit.png there."
    )
    return [FitFinding("left out", at, turned, off, words)]


def _little_girth(surface: Surface) -> list[FitFinding]:
    """The girth seen, where it is little."""
    seen = seen_cells(surface.cells)
    rows = seen.any(axis=1)
    share = float(seen[rows].mean()) if rows.any() else 0.0
    error = surface.stderr()[0][rows][~seen[rows]]
    doubt = 2.0 * float(np.sqrt((error**2).mean())) if error.size else 0.0
    if share >= LITTLE_GIRTH and doubt < MUCH_DOUBT * surface.radius:
        return []
    words = (
        f"Only {100.0 * share:.0f} % of the girth was seen: what is hidden is bridged as other stems are, give or take "
        f"{doubt:.0f} mm. Scan the other side too, and both ends."
    )
    return [FitFinding("girth", float(surface.x[rows].mean()), 0.0, share, words)]
