"""A first, rough log: circles through slices square to the axis, whatever else is in the slice."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.ndimage import median_filter

from pithline.geometry.robust import cauchy, reweighted, spread
from pithline.scan.normals import Patches, axis_direction

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

SLICE = 60.0
"""Thickness of a slice. [mm]"""
TRIALS = 240
SEED = 7
LEAST_PATCHES, SLICE_PATCHES, CIRCLE_PATCHES = 60, 8, 6
"""Patches that a log, a slice and a circle need to be told."""
LEAST_SLICES = 0.4
"""Part of the slices that must hold a circle."""
THINNEST, THICKEST = 25.0, 3000.0
"""Radii of circles that are tried. [mm]"""
SEEN_SECTOR_DEG = 15.0
ODD_RADIUS = 0.6
"""A slice whose radius differs from the others' median by this (of the logarithm: a factor of 1.8) is left out."""
CIRCLE_WIDTH = 8.0
"""A patch lies on a circle that it misses by less than this [mm], or by less than a part of the radius."""


class Roundness(NamedTuple):
    """How round sections must be: a patch may miss its circle by a `share` of the radius, and its normal must follow the circle's
    radius within a cosine, `facing`.
    """

    share: float
    facing: float


ROUND = Roundness(0.05, 0.85)
"""As logs are. (32°)"""
FLUTED = Roundness(0.12, 0.7)
"""As fluted, buttressed and branchy stems are, tried where nothing round is found. (46°)"""


@dataclass(frozen=True, slots=True)
class Circle:
    """A circle in a section: `centre` (2,) and `radius`. [mm]"""

    centre: Array
    radius: float


@dataclass(frozen=True, slots=True)
class RoughLog:
    """A log roughly found, in its own frame: `turn` (3, 3) rows are axis and two directions across it.

    `u` (k,) are slices along the axis, `centre` (k, 2) and `radius` (k,) their circles, all in mm; `fit` the fraction
    of bark-like voxels on them, `girth` the median fraction of girth seen.
    """

    turn: Array
    u: Array
    centre: Array
    radius: Array
    fit: float
    girth: float

    @property
    def length(self) -> float:
        """From the first to the last slice. [mm]"""
        return float(self.u[-1] - self.u[0] + SLICE)

    @property
    def volume(self) -> float:
        """Of its circles. [mm³]"""
        return self.length * float(np.pi * np.mean(self.radius**2))

    @property
    def size(self) -> float:
        """Median radius. [mm]"""
        return float(np.median(self.radius))

    def polar(self, points: Array) -> tuple[Array, Array, Array]:
        """Station u, distance from the rough centreline and rough radius there, of points (n, 3)."""
        local = points @ self.turn.T
        u = local[:, 0]
        away = local[:, 1:] - np.column_stack([np.interp(u, self.u, self.centre[:, i]) for i in (0, 1)])
        return u, np.hypot(away[:, 0], away[:, 1]), np.interp(u, self.u, self.radius)


def rough_log(patches: Patches, roundness: Roundness = ROUND) -> RoughLog | None:
    """A log through patches of surface, or None where no run of slices holds circles."""
    means, normals = patches.means, patches.normals
    if len(means) < LEAST_PATCHES:
        return None
    axis = axis_direction(normals)
    rough = None
    for _ in range(3):
        rough = _slices(means, normals, axis_frame(axis), roundness)
        if rough is None:
            return None
        chord = _chord(rough)
        if chord @ axis > np.cos(np.radians(0.1)):
            break
        axis = chord
    return rough


def axis_frame(axis: Array) -> Array:
    """Rows: axis, and two unit vectors that complete a right-handed frame."""
    side = np.eye(3)[int(np.argmin(np.abs(axis)))]
    second = np.cross(axis, side)
    second /= np.linalg.norm(second)
    return np.stack([axis, second, np.cross(axis, second)])


def _chord(rough: RoughLog) -> Array:
    """Direction of the robust straight line through the circles' centres. (3,)"""
    axis: Array = rough.turn.T @ np.array([1.0, *(_slope(rough.u, values) for values in rough.centre.T)])
    return axis / np.linalg.norm(axis)


def _slope(x: Array, values: Array) -> float:
    """Slope of the robust straight line through values at x, both (k,)."""

    def solve(line: Array, miss: Array, weight: Array) -> Array:
        return np.polyfit(x, values, 1, w=np.sqrt(weight))

    fitted = reweighted(
        solve(np.zeros(2), values, np.ones(len(values))),
        lambda line: values - np.polyval(line, x),
        lambda miss, _: cauchy(miss, 2.0 * (spread(miss) + 1e-3)),
        solve,
        rounds=5,
    )
    assert fitted is not None
    return float(fitted.found[0])


def _slices(means: Array, normals: Array, turn: Array, roundness: Roundness) -> RoughLog | None:
    """Circles in slices of patches, means and normals (m, 3) each, square to the first row of `turn`."""
    bark = np.abs(normals @ turn[0]) < 0.5
    if bark.sum() < SLICE_PATCHES:
        return None
    local = means @ turn.T
    across = (normals @ turn.T)[:, 1:]
    low, high = np.quantile(local[bark, 0], [0.002, 0.998])
    count = max(int((high - low) / SLICE), 1)
    if high - low < 2 * SLICE:
        return None
    edges = np.linspace(low, high, count + 1)
    rng = np.random.default_rng(SEED)
    rows = []
    for k in range(count):
        inside = bark & (local[:, 0] >= edges[k]) & (local[:, 0] <= edges[k + 1])
        if inside.sum() < SLICE_PATCHES:
            continue
        found = _circle_of_slice(local[inside, 1:], across[inside], rng, roundness)
        if found is not None:
            circle, upon, seen = found
            rows.append((0.5 * (edges[k] + edges[k + 1]), *circle.centre, circle.radius, upon, seen))
    if len(rows) < max(2, LEAST_SLICES * count):
        return None
    table = np.array(rows)
    # where a short arc alone is seen a circle through it may be of any size: the others tell
    table = table[np.abs(np.log(table[:, 3] / np.median(table[:, 3]))) < ODD_RADIUS]
    if len(table) < 2:
        return None
    smooth = median_filter(table[:, 1:4], (min(5, len(table)), 1), mode="nearest")
    fit, girth = float(np.median(table[:, 4])), float(np.median(table[:, 5]))
    return RoughLog(turn, table[:, 0], smooth[:, :2], smooth[:, 2], fit, girth)


def _circle_of_slice(
    points: Array, normals: Array, rng: np.random.Generator, roundness: Roundness
) -> tuple[Circle, float, float] | None:
    """Circle that most points (n, 2) lie on with normals to suit, the fraction on it, the fraction of girth seen."""
    picks = points[rng.integers(0, len(points), (TRIALS, 3))]
    a, b = picks[:, 1] - picks[:, 0], picks[:, 2] - picks[:, 0]
    twice = 2.0 * (a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])
    good = np.abs(twice) > 200.0  # mm²: three points nearly in line tell no circle
    a, b, twice, origin = a[good], b[good], twice[good], picks[good, 0]
    aa, bb = (a**2).sum(1), (b**2).sum(1)
    away = np.column_stack([b[:, 1] * aa - a[:, 1] * bb, a[:, 0] * bb - b[:, 0] * aa]) / twice[:, None]
    radius = np.hypot(away[:, 0], away[:, 1])
    real = (radius > THINNEST) & (radius < THICKEST)
    centre, radius = (origin + away)[real], radius[real]
    if not len(radius):
        return None
    at, on = most_upon(np.ascontiguousarray(points), np.ascontiguousarray(normals), centre, radius, roundness)
    if on.sum() < CIRCLE_PATCHES:
        return None
    circle = Circle(centre[at], float(radius[at]))
    refined = refined_circle(points[on], circle)
    if THINNEST < refined.radius < THICKEST:  # a short arc may send it anywhere
        circle = refined
    turned = np.arctan2(*(points[on] - circle.centre).T)
    seen = len(np.unique(np.floor(turned / np.radians(SEEN_SECTOR_DEG)))) / (360.0 / SEEN_SECTOR_DEG)
    return circle, float(on.mean()), seen


@njit(cache=True)
def most_upon(points: Array, normals: Array, centre: Array, radius: Array, roundness: Roundness) -> tuple[int, Mask]:
    """Of circles (k,) the first that most points (n, 2) with normals (n, 2) to suit lie on, and which do. (n,)"""
    best, most = 0, -1
    chosen, on = np.zeros(len(points), np.bool_), np.zeros(len(points), np.bool_)
    length = np.sqrt(normals[:, 0] ** 2 + normals[:, 1] ** 2)
    for c in range(len(radius)):
        width = max(CIRCLE_WIDTH, roundness.share * radius[c])
        count = 0
        for i in range(len(points)):
            y, z = points[i, 0] - centre[c, 0], points[i, 1] - centre[c, 1]
            distance = np.sqrt(y * y + z * z)
            near = abs(distance - radius[c]) < width
            on[i] = near and abs(y * normals[i, 0] + z * normals[i, 1]) > roundness.facing * distance * length[i]
            count += on[i]
        if count > most:
            best, most = c, count
            for i in range(len(points)):  # a slice set to another takes seconds more to compile
                chosen[i] = on[i]
    return best, chosen


def refined_circle(points: Array, start: Circle) -> Circle:
    """Geometric circle fit to points (n, 2) by Gauss-Newton with Cauchy weights."""

    def solve(circle: Circle, miss: Array, weight: Array) -> Circle:
        away = points - circle.centre
        design = np.column_stack([away / np.hypot(away[:, 0], away[:, 1])[:, None], np.ones(len(points))])
        step = np.linalg.lstsq(design * np.sqrt(weight)[:, None], miss * np.sqrt(weight), rcond=None)[0]
        return Circle(circle.centre + step[:2], circle.radius + float(step[2]))

    def residuals(circle: Circle) -> Array:
        away = points - circle.centre
        miss: Array = np.hypot(away[:, 0], away[:, 1]) - circle.radius
        return miss

    fitted = reweighted(start, residuals, lambda miss, _: cauchy(miss, 2.0 * max(spread(miss), 0.5)), solve, rounds=8)
    assert fitted is not None
    return fitted.found
