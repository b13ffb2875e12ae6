"""Sections of a piece: its outline at stations along the log, clipped by its sawn faces and the end planes. mm, log frame."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from pithline.geometry.pieces import Piece
from pithline.logmodel.model import LogModel, clock_angles, clock_direction

Array = NDArray[np.float64]
Ints = NDArray[np.int64]
POINTS = 216
STEP = 8.0
FINE = 5.0
END_BAND = 70.0
"""Stations are this much finer within this distance of an end, so that ends off square are cut truly."""


@dataclass(frozen=True, slots=True)
class LogSections:
    """Outlines of one log at k stations: (k, 216, 2) points of (y, z), under bark and of the envelope."""

    x: Array
    under_bark: Array
    envelope: Array
    ends: tuple[tuple[Array, Array], ...]  # (point, outward normal) of both ends


@dataclass(frozen=True, eq=False)
class PieceShape:
    """A piece's outline: stations (k,), padded vertices (k, v, 2), vertex counts, areas and centroids (k, 2)."""

    x: Array
    vertices: Array
    counts: NDArray[np.int64]
    areas: Array
    centroids: Array

    @cached_property
    def points(self) -> Array:
        """All vertices as (m, 3) points."""
        k, v, _ = self.vertices.shape
        keep = np.arange(v)[None, :] < self.counts[:, None]
        x = np.broadcast_to(self.x[:, None], (k, v))[keep]
        return np.column_stack([x, self.vertices[keep]])

    @property
    def volume(self) -> float:
        """Volume by the trapezium rule over the stations. [mm³]"""
        return float(np.trapezoid(self.areas, self.x))

    @property
    def centroid(self) -> Array:
        """Centre of gravity of even wood, (3,)."""
        whole = max(self.volume, 1e-9)
        x = np.trapezoid(self.areas * self.x, self.x) / whole
        yz = np.trapezoid(self.areas[:, None] * self.centroids, self.x, axis=0) / whole
        return np.concatenate([[x], np.asarray(yz)])


def log_sections(model: LogModel) -> LogSections:
    """Build the outlines once for a log."""
    low = min(0.0, float(model.x[0]))
    x = np.arange(max(low, -150.0), min(float(model.x[-1]), model.length + 150.0) + 1e-6, STEP)
    fine = np.arange(-END_BAND, END_BAND + 1e-6, FINE)
    x = np.unique(np.round(np.concatenate([x, fine, model.length + fine]), 6))
    x = x[(x >= model.x[0]) & (x <= model.x[-1])]
    clocks = np.arange(POINTS, dtype=np.float64) * (2 * np.pi / POINTS)
    angles = np.append(clock_angles(), 2 * np.pi)
    centre = CubicSpline(model.x, model.centre, axis=0, bc_type="natural")(x)

    def outline(radii: Array) -> Array:
        rows = CubicSpline(model.x, radii, axis=0, bc_type="natural")(x)
        closed = np.concatenate([rows, rows[:, :1]], axis=1)
        r = CubicSpline(angles, closed, axis=1, bc_type="periodic")(clocks)
        return np.ascontiguousarray(centre[:, None, :] + r[:, :, None] * clock_direction(clocks)[None])

    ends = ((model.butt.point, model.butt.normal), (model.top.point, model.top.normal))
    return LogSections(x, outline(model.radius_under_bark), outline(model.envelope), ends)


@njit(cache=True)
def _copy(points: Array, count: int, to: Array) -> None:
    """The first `count` of some points (n, 2), written to `to`: a slice set to another takes seconds more to compile."""
    for j in range(count):
        to[j, 0], to[j, 1] = points[j, 0], points[j, 1]


@njit(cache=True)
def _clip(x: Array, outlines: Array, normals: Array, offsets: Array) -> tuple[Array, Ints, Array, Array]:
    k, n = outlines.shape[0], outlines.shape[1]
    most = n + 2 * len(offsets) + 4
    out = np.zeros((k, most, 2))
    counts = np.zeros(k, np.int64)
    areas = np.zeros(k)
    centroids = np.zeros((k, 2))
    a, b = np.empty((4 * most, 2)), np.empty((4 * most, 2))
    for i in range(k):
        m = n
        _copy(outlines[i], n, a)
        for f in range(len(offsets)):
            limit = offsets[f] - normals[f, 0] * x[i]
            c = 0
            for j in range(m):
                p0, p1 = a[j, 0], a[j, 1]
                q = (j + 1) % m
                q0, q1 = a[q, 0], a[q, 1]
                dp = normals[f, 1] * p0 + normals[f, 2] * p1 - limit
                dq = normals[f, 1] * q0 + normals[f, 2] * q1 - limit
                if dp <= 0.0:
                    b[c, 0], b[c, 1] = p0, p1
                    c += 1
                if (dp < 0.0 and dq > 0.0) or (dp > 0.0 and dq < 0.0):
                    t = dp / (dp - dq)
                    b[c, 0], b[c, 1] = p0 + t * (q0 - p0), p1 + t * (q1 - p1)
                    c += 1
            _copy(b, c, a)
            m = c
            if m == 0:
                break
        if m < 3:
            continue
        m = min(m, most)
        counts[i] = m
        _copy(a, m, out[i])
        area, cy, cz = 0.0, 0.0, 0.0
        for j in range(m):
            q = (j + 1) % m
            w = a[j, 0] * a[q, 1] - a[q, 0] * a[j, 1]
            area += w
            cy += (a[j, 0] + a[q, 0]) * w
            cz += (a[j, 1] + a[q, 1]) * w
        if abs(area) > 1e-9:
            centroids[i, 0], centroids[i, 1] = cy / (3 * area), cz / (3 * area)
        areas[i] = abs(area) / 2
    return out, counts, areas, centroids


def piece_shape(sections: LogSections, piece: Piece, bark: bool) -> PieceShape:
    """The shape of a piece, on the envelope (`bark`) or under bark."""
    planes = [(n, float(n @ p)) for p, n in sections.ends] + [(np.asarray(f.normal), f.offset) for f in piece.faces]
    normals = np.array([n for n, _ in planes], float)
    offsets = np.array([o for _, o in planes], float)
    outlines = sections.envelope if bark else sections.under_bark
    vertices, counts, areas, centroids = _clip(sections.x, outlines, normals, offsets)
    keep = counts > 0
    if not keep.any():
        return PieceShape(sections.x[:0], vertices[:0], counts[:0], areas[:0], centroids[:0])
    first, last = np.flatnonzero(keep)[[0, -1]]
    s = slice(max(first - 1, 0), last + 2)
    return PieceShape(sections.x[s], vertices[s], counts[s], areas[s], centroids[s])


def length_along(shape: PieceShape, axis: Array) -> float:
    """A piece's length along `axis`, as far as it can reach between its stations and those that it just misses. [mm]"""
    if not len(shape.x):
        return 0.0
    first, last = np.flatnonzero(shape.counts > 0)[[0, -1]]
    beyond = shape.x[first] - shape.x[max(first - 1, 0)] + shape.x[min(last + 1, len(shape.x) - 1)] - shape.x[last]
    return float(np.ptp(shape.points @ axis) + beyond)


@njit(cache=True)
def _lowest(x: Array, vertices: Array, counts: Ints, up: Array, along: Array) -> tuple[Array, Array]:
    place, height = np.empty(len(x)), np.empty(len(x))
    n = 0
    for i in range(len(x)):
        if counts[i] == 0:
            continue
        low, at = np.inf, 0
        for j in range(counts[i]):
            h = vertices[i, j, 0] * up[1] + vertices[i, j, 1] * up[2]
            if h < low:
                low, at = h, j
        height[n] = low + x[i] * up[0]
        place[n] = vertices[i, at, 0] * along[1] + vertices[i, at, 1] * along[2] + x[i] * along[0]
        n += 1
    return place[:n], height[:n]


def lowest_along(shape: PieceShape, up: Array, along: Array) -> tuple[Array, Array]:
    """For each station with wood: place along `along` and height along `up` of its lowest vertex."""
    return _lowest(shape.x, shape.vertices, shape.counts, np.asarray(up, float), np.asarray(along, float))


@njit(cache=True)
def _widest(x: Array, vertices: Array, counts: Ints, normal: Array, offset: float, lateral: Array) -> float:
    widest = 0.0
    for i in range(len(x)):
        m = counts[i]
        if m < 3:
            continue
        low, high = np.inf, -np.inf
        for j in range(m):
            q = (j + 1) % m
            y, z, y1, z1 = vertices[i, j, 0], vertices[i, j, 1], vertices[i, q, 0], vertices[i, q, 1]
            base = x[i] * normal[0] - offset
            d, e = y * normal[1] + z * normal[2] + base, y1 * normal[1] + z1 * normal[2] + base
            if (d <= 0) == (e <= 0):
                continue
            t = d / (d - e)
            place = (y + t * (y1 - y)) * lateral[1] + (z + t * (z1 - z)) * lateral[2]
            low, high = min(low, place), max(high, place)
        if high - low > widest:
            widest = high - low
    return widest


def widest_cut(shape: PieceShape, normal: Array, offset: float, lateral: Array) -> float:
    """Greatest width over the stations of the crossing of a piece with a cut plane. [mm]"""
    vectors = np.asarray(normal, float), float(offset), np.asarray(lateral, float)
    return float(_widest(shape.x, shape.vertices, shape.counts, *vectors))
