"""Upright sections of a piece with its bark and stubs, as it lies on the bed: the envelope, clipped by its faces.

Written for the replay alone, straight from a script's model. Log frame, mm.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from pithline.script.grades import clock_vector
from pithline.script.pieces import SawnFace

Array = NDArray[np.float64]
OUTLINE = 360
BUCKED = 0.9
"""A face whose normal leans this much along the log is one of its ends."""


@dataclass(frozen=True, slots=True)
class Envelope:
    """The farthest the log reaches, about its centreline, with its end planes and pith."""

    radius: CubicSpline  # at the clock angles of an outline, (OUTLINE,)
    centre: CubicSpline
    pith: CubicSpline
    ends: tuple[SawnFace, SawnFace]  # butt, top
    span: tuple[float, float]  # stations the model covers

    def radius_at(self, x: Array) -> Array:
        """Radius at each clock angle of an outline, at a station (OUTLINE,) of its own. [mm]"""
        spline = self.radius
        at = np.clip(np.searchsorted(spline.x, x, side="right") - 1, 0, len(spline.x) - 2)
        c, step = spline.c[:, at, np.arange(OUTLINE)], x - spline.x[at]
        radius: Array = ((c[0] * step + c[1]) * step + c[2]) * step + c[3]
        return radius


@dataclass(frozen=True, slots=True)
class Bed:
    """The bed's axes in the log frame. A point X stands `place` along the bed, `height` above it."""

    origin: Array
    along: Array
    across: Array
    up: Array
    butt_at: float
    level: float  # height of the log frame's zero: height of X = up·X + level

    def place(self, points: Array) -> Array:
        """Positions along the bed of (..., 3) points."""
        return (points - self.origin) @ self.along + self.butt_at

    def height(self, points: Array) -> Array:
        """Heights above the bed of (..., 3) points."""
        return points @ self.up + self.level


def envelope_of(model: dict[str, Any]) -> Envelope:
    """The envelope of a script's log model."""
    stations = model["stations"]
    x = np.array([one["x"] for one in stations], float)

    def line(key: str) -> CubicSpline:
        return CubicSpline(x, np.array([one[key] for one in stations], float), bc_type="natural")

    def end(name: str) -> SawnFace:
        normal = np.asarray(model["ends"][name]["normal"], float)
        return SawnFace(normal, float(normal @ np.asarray(model["ends"][name]["point"], float)), name)

    rows = np.array([one["envelope"] for one in stations], float)
    knots = np.linspace(0.0, 2.0 * np.pi, rows.shape[1] + 1)
    around = CubicSpline(knots, np.column_stack([rows, rows[:, :1]]), axis=1, bc_type="periodic")
    radius = CubicSpline(x, around(clock_steps()), axis=0, bc_type="natural")
    return Envelope(radius, line("centre"), line("pith"), (end("butt"), end("top")), (float(x[0]), float(x[-1])))


def clock_steps() -> Array:
    """Clock angles of the points of an outline, (OUTLINE,). [rad]"""
    return np.arange(OUTLINE, dtype=np.float64) * (2.0 * np.pi / OUTLINE)


def pith_at(envelope: Envelope, face: SawnFace) -> Array:
    """Where the pith meets a face across the log, (3,), by secant steps."""
    x = 0.5 * (envelope.span[0] + envelope.span[1])
    for _ in range(30):
        point = np.array([x, *envelope.pith(x)])
        slope = float(face.normal[0] + face.normal[1:] @ envelope.pith(x, 1))
        x += float(face.offset - face.normal @ point) / slope
    return np.array([x, *envelope.pith(x)])


def sections(envelope: Envelope, bed: Bed, faces: tuple[SawnFace, ...], places: Array) -> tuple[Array, ...]:
    """Outlines (m, 2) of a piece in the upright planes at `places` (n,) along the bed: across the bed and height above it.

    Empty where there is nothing of the piece.
    """
    ray = clock_vector(clock_steps())
    want = (places - bed.butt_at + bed.origin @ bed.along)[:, None]
    x = np.repeat(want / bed.along[0] if abs(bed.along[0]) > 0.1 else want, OUTLINE, axis=1)
    for _ in range(3):  # the log runs within a few degrees of the bed: each step gains more than a digit
        x = np.clip(x, *envelope.span)
        yz = envelope.centre(x) + envelope.radius_at(x)[:, :, None] * ray
        x = (want - yz @ bed.along[1:]) / bed.along[0]
    covered = np.any((x >= envelope.span[0]) & (x <= envelope.span[1]), axis=1)
    points = np.concatenate([x[:, :, None], yz], axis=2)
    flats = np.stack([(points - bed.origin) @ bed.across, bed.height(points)], axis=2)
    feet = bed.origin + (places - bed.butt_at)[:, None] * bed.along
    feet = feet - (feet @ bed.up + bed.level)[:, None] * bed.up  # height 0, in the plane
    cuts = [
        (np.array([face.normal @ bed.across, face.normal @ bed.up]), face.offset - feet @ face.normal)
        for face in (*envelope.ends, *faces)
    ]
    out = []
    for k, flat in enumerate(flats):
        for normal, offsets in cuts if covered[k] else ():
            flat = _clip(flat, normal, float(offsets[k]))
            if not len(flat):
                break
        out.append(flat if covered[k] else np.zeros((0, 2)))
    return tuple(out)


def _clip(polygon: Array, normal: Array, offset: float) -> Array:
    """What of a polygon lies where normal·p ≤ offset; its vertices stay true ones, whatever its shape."""
    deep: Array = polygon @ normal - offset
    inside = deep <= 0.0
    if inside.all() or not inside.any():
        return polygon if len(inside) and inside[0] else polygon[:0]
    after, later = np.concatenate([polygon[1:], polygon[:1]]), np.concatenate([deep[1:], deep[:1]])
    crosses = inside != (later <= 0.0)
    share = np.where(crosses, deep / np.where(crosses, deep - later, 1.0), 0.0)
    both = np.stack([polygon, polygon + share[:, None] * (after - polygon)], axis=1).reshape(-1, 2)
    kept: Array = both[np.stack([inside, crosses], axis=1).ravel()]
    return kept


def area_of(polygon: Array) -> float:
    """Area of a simple polygon, 0 where empty. [mm²]"""
    if len(polygon) < 3:
        return 0.0
    u, v = polygon[:, 0], polygon[:, 1]
    return abs(float(u @ np.roll(v, -1) - v @ np.roll(u, -1))) / 2.0


def width_at(polygon: Array, height: float) -> float:
    """Distance between the outermost crossings of an outline with a level line. [mm]"""
    if len(polygon) < 3:
        return 0.0
    over = polygon[:, 1] - height
    later = np.roll(over, -1)
    crosses = (over <= 0.0) != (later <= 0.0)
    if not crosses.any():
        return 0.0
    share = over[crosses] / (over[crosses] - later[crosses])
    u = polygon[crosses, 0] + share * (np.roll(polygon[:, 0], -1)[crosses] - polygon[crosses, 0])
    return float(np.ptp(u))


STEP = 25.0
"""Outlines of a piece on the bed stand so far apart. [mm]"""


@dataclass(frozen=True, slots=True)
class Laid:
    """One piece on the bed: outlines (n, 2) at stations along it, in (across, height)."""

    bed: Bed
    faces: tuple[SawnFace, ...]
    places: Array
    outlines: tuple[Array, ...]
    areas: Array

    @property
    def middle(self) -> float:
        """Place of the centre of gravity along the bed."""
        return float(self.places @ self.areas / self.areas.sum())

    @property
    def volume(self) -> float:
        """Volume with bark. [mm³]"""
        return float(self.areas.sum() * (self.places[1] - self.places[0]))

    @property
    def top(self) -> float:
        """Greatest height."""
        return max(float(one[:, 1].max()) for one in self.outlines if len(one))


def lay(envelope: Envelope, bed: Bed, faces: tuple[SawnFace, ...]) -> Laid | None:
    """Outlines of a piece every 25 mm along the bed; None where there is nothing of it."""
    reach = np.array([[x, *envelope.centre(x)] for x in envelope.span])
    low, high = sorted(bed.place(reach))
    places = np.arange(low - 60.0, high + 60.0, STEP)
    outlines = sections(envelope, bed, faces, places)
    areas = np.array([area_of(one) for one in outlines])
    return Laid(bed, faces, places, outlines, areas) if areas.sum() > 0.0 else None
