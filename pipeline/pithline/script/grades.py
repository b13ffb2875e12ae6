"""The wood of a script's log, read anew from its model: growth layers, fibres, defects (design section 4).

Written from the definitions alone; the planner's wood field is not asked. Log frame, mm, radians.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline, RectBivariateSpline

Array = NDArray[np.float64]

PITH_RADIUS = 25.0
"""Radius of the pith circle where the card states none [mm]: common practice, no source."""
PITCH = 10.0
STEP_X = 12.5
_CLOCKS = 360
_PAD = 8
MET = 1e-5
"""A ray that a step moves by no more than this has met the outline: the next one would move it by a tenth of that at most. [mm]"""


def clock_vector(clock: Array) -> Array:
    """e(θ) = (−sin θ, cos θ) in (y, z), (..., 2)."""
    return np.stack([-np.sin(clock), np.cos(clock)], axis=-1)


def clock_angle(yz: Array) -> Array:
    """Clock angle of (..., 2) vectors in (y, z), [0, 2π)."""
    return np.mod(np.arctan2(-yz[..., 0], yz[..., 1]), 2.0 * np.pi)


def round_splines(x: Array, rows: Array, at: Array) -> CubicSpline:
    """Radii (n, k) held at stations `x` and k equal clock steps, as a spline in clock angle for each of the stations `at`.

    Natural cubic spline in x, periodic cubic spline in clock angle (design section 6).
    """
    sampled = CubicSpline(x, rows, axis=0, bc_type="natural")(at)
    knots = np.linspace(0.0, 2.0 * np.pi, rows.shape[1] + 1)
    return CubicSpline(knots, np.column_stack([sampled, sampled[:, :1]]), axis=1, bc_type="periodic")


def _each_at(around: CubicSpline, clock: Array) -> Array:
    """Radii (n, m) at clock angles (n, m) in [0, 2π), each row by the spline of its own station."""
    piece = np.minimum((clock / around.x[1]).astype(np.intp), len(around.x) - 2)
    c, step = around.c[:, piece, np.arange(len(clock))[:, None]], clock - around.x[piece]
    radius: Array = ((c[0] * step + c[1]) * step + c[2]) * step + c[3]
    return radius


@dataclass(frozen=True, slots=True)
class Wood:
    """R(x, θ) about the pith under bark, the pith line, and what the card says of the wood."""

    rim: RectBivariateSpline
    rim_slopes: tuple[Any, Any]  # of the rim in x and in clock angle
    pith: CubicSpline
    ends: tuple[tuple[Array, Array, float], ...]  # point, outward normal, trim: butt, top
    spiral: float
    pith_radius: float
    sapwood: float | None
    defects: tuple[dict[str, Any], ...]

    def polar(self, points: Array) -> tuple[Array, Array, Array]:
        """Distance from the pith, clock angle about it, and R there, of (n, 3) points."""
        away = points[:, 1:] - self.pith(points[:, 0])
        clock = clock_angle(away)
        return np.hypot(away[:, 0], away[:, 1]), clock, self.rim.ev(points[:, 0], clock)

    def angles(self, points: Array, normal: Array, along: Array) -> tuple[Array, Array, Array]:
        """Ring angle, runout and slope of a face with unit `normal` at (n, 3) points, its length `along` (3,) a unit. [rad]

        m = ∇ρ with ρ = s/R and f the tangent of constant ρ and θ, both differentiated by hand.
        """
        x = points[:, 0]
        s, clock, r = self.polar(points)
        s = np.maximum(s, 1e-6)
        r_x, r_clock = (one(x, clock, grid=False) for one in self.rim_slopes)
        e, t, slope = clock_vector(clock), clock_vector(clock + np.pi / 2.0), self.pith(x, 1)
        across = e / r[:, None] - (r_clock / r**2)[:, None] * t
        m = np.column_stack([-(slope * across).sum(1) - s * r_x / r**2, across])
        m /= np.linalg.norm(m, axis=1, keepdims=True)
        f = np.column_stack([np.ones(len(x)), slope + (s * r_x / r)[:, None] * e])
        f /= np.linalg.norm(f, axis=1, keepdims=True)
        if self.spiral:
            within = np.cross(m, f)  # stays in its layer; points with the clock where the spiral is positive
            within *= np.sign((within[:, 1:] * t).sum(1))[:, None]
            f = np.cos(self.spiral) * f + np.sin(self.spiral) * within
        aside = np.abs(f @ np.cross(normal, along))
        return (
            np.arccos(np.minimum(1.0, np.abs(m @ normal))),
            np.arcsin(np.minimum(1.0, np.abs(f @ normal))),
            np.arctan2(aside, np.abs(f @ along)),
        )

    def surface_point(self, x: float, clock: float) -> Array:
        """The under-bark point at a station and clock angle about the pith, (3,)."""
        r = float(self.rim.ev(x, np.mod(clock, 2.0 * np.pi)))
        return np.array([x, *(self.pith(x) + r * clock_vector(np.array(clock)))])


def wood_of(document: dict[str, Any]) -> Wood:
    """The wood of a script's model and card.

    Sapwood: the card's thickness, else the model's `sapwood_thickness`, else unknown (None).
    """
    model, card = document["model"], document["inputs"]["card"]
    stations = model["stations"]
    x = np.array([one["x"] for one in stations], float)
    at = np.linspace(x[0], x[-1], max(4, int(np.ceil((x[-1] - x[0]) / STEP_X)) + 1))
    around = round_splines(x, np.array([one["radius_under_bark"] for one in stations], float), at)
    centre = CubicSpline(x, np.array([one["centre"] for one in stations], float), bc_type="natural")
    pith = CubicSpline(x, np.array([one["pith"] for one in stations], float), bc_type="natural")
    ends, trims = model["ends"], card.get("ends", {})
    sapwood = card.get("sapwood", {}).get("thickness", model.get("sapwood_thickness"))
    radius = card.get("pith", {}).get("radius")
    rim = _about_pith(around, pith(at) - centre(at), at)
    return Wood(
        rim=rim,
        rim_slopes=(rim.partial_derivative(1, 0), rim.partial_derivative(0, 1)),
        pith=pith,
        ends=tuple(
            (np.asarray(ends[e]["point"], float), np.asarray(ends[e]["normal"], float), trims.get(f"trim_{e}", 0.0))
            for e in ("butt", "top")
        ),
        spiral=float(np.radians(card.get("grain", {}).get("spiral_deg", 0.0))),
        pith_radius=PITH_RADIUS if radius is None else float(radius),
        sapwood=sapwood,
        defects=tuple(card.get("defect", ())),
    )


def _about_pith(around: CubicSpline, offset: Array, at: Array) -> RectBivariateSpline:
    """R(x, θ) about the pith from radii about the centre: rays from the pith, met with the outline by Newton steps.

    Bicubic over stations `at` and 360 clock steps, with the turn continued a little at both ends.
    """
    clock = np.arange(-_PAD, _CLOCKS + _PAD + 1, dtype=np.float64) * (2.0 * np.pi / _CLOCKS)
    ray = clock_vector(clock)
    turned = np.broadcast_to(np.mod(clock, 2.0 * np.pi), (len(at), len(clock)))
    s = _each_at(around, turned) - offset @ ray.T
    for _ in range(7):
        place = offset[:, None, :] + s[..., None] * ray
        length = np.maximum(np.hypot(place[..., 0], place[..., 1]), 1e-9)
        lean = np.clip((place * ray).sum(-1) / length, 0.3, 1.0)
        step = (length - _each_at(around, clock_angle(place))) / lean
        s = s - step
        if np.abs(step).max() < MET:
            break
    return RectBivariateSpline(at, clock, s)


def rectangle(corner: Array, first: Array, second: Array) -> Array:
    """Points (n, m, 3) of a rectangle, edges included, no two neighbours over 10 mm apart."""
    a, b = (
        np.linspace(0.0, 1.0, max(2, int(np.ceil(np.linalg.norm(edge) / PITCH - 1e-9)) + 1)) for edge in (first, second)
    )
    return corner + a[:, None, None] * first + b[None, :, None] * second


@dataclass(frozen=True, slots=True)
class Grade:
    """One plate re-measured: angles in degrees, room in mm, negative where it reaches into what it should not hold."""

    ring_min: float
    ring_mean: float
    runout: float
    room: dict[str, float]
    """Least distance kept from "bark", "pith" (its circle), "ends" (with trims), and defects, "defect 1" and on."""
    sapwood_in: float
    """How far sapwood reaches in from the nearer long edge, over both faces; -1 where there is none."""
    slope: float = 0.0
    ring_max: float = 90.0


def grade(wood: Wood, corner: Array, edges: Array) -> Grade:
    """Re-measure the plate box `corner` (3,), `edges` (3, 3): length, width, thickness vectors."""
    length, width, thickness = edges
    thick = float(np.linalg.norm(thickness))
    normal = thickness / thick
    middle = rectangle(corner + thickness / 2.0, length, width).reshape(-1, 3)
    ring, runout, slope = wood.angles(middle, normal, length / np.linalg.norm(length))
    layers = np.linspace(0.0, 1.0, 2 + int(thick // 15.0))
    points = np.concatenate([rectangle(corner + t * thickness, length, width) for t in layers[:, None]], axis=0)
    flat = points.reshape(-1, 3)
    s, clock, r = wood.polar(flat)
    room = {
        "bark": float((r - s).min()),
        "pith": float(s.min()) - wood.pith_radius,
        "ends": min(float((-(flat - p) @ n).min()) - trim for p, n, trim in wood.ends),
    }
    for number, defect in enumerate(wood.defects, 1):
        room[f"defect {number}"] = defect_room(wood, defect, flat, s, clock, r)
    sap = -1.0
    if wood.sapwood is not None:
        deep = (r - s).reshape(len(layers), -1, points.shape[1])
        sap = _sapwood_in(np.minimum(deep[0], deep[-1]) < wood.sapwood - 0.5, float(np.linalg.norm(width)))
    low, mean, high, worst, drift = (
        float(np.degrees(v)) for v in (ring.min(), ring.mean(), ring.max(), runout.max(), slope.max())
    )
    return Grade(low, mean, worst, room, sap, drift, high)


def _sapwood_in(sap: NDArray[np.bool_], width: float) -> float:
    columns = np.nonzero(sap.any(axis=0))[0]
    if not len(columns):
        return -1.0
    place = np.linspace(0.0, width, sap.shape[1])[columns]
    return float(min(place.max(), width - place.min()))


def defect_room(wood: Wood, defect: dict[str, Any], points: Array, s: Array, clock: Array, r: Array) -> float:
    """Least distance of (n, 3) points, polar about the pith (s, clock, R), to a defect with its margin. [mm]

    Parameters
    ----------
    wood : Wood
        The log's model as the replay reads it.
    defect : dict
        As the script's card has it; lengths in mm.
    points : (n, 3) array
        Log frame. [mm]
    s, clock, r : (n,) arrays
        The points' distance from the pith [mm], their clock angle [rad], and the wood's radius there [mm].
    """
    margin = float(defect.get("margin", 0.0))
    kind, angle = defect["kind"], np.radians(defect.get("clock_deg", 0.0))
    if kind in ("rot", "check"):
        end, normal, _ = wood.ends[0 if defect["end"] == "butt" else 1]
        beyond = -(points - end) @ normal - defect["length"]
        if kind == "rot":
            return float(np.maximum(s - defect["diameter"] / 2.0, beyond).min()) - margin
        return _check_room(defect, beyond, s, clock - angle, r, margin)
    mark = wood.surface_point(defect["x"], float(angle))
    if kind == "metal":
        return float(np.linalg.norm(points - mark, axis=1).min()) - float(defect["diameter"]) / 2.0 - margin
    root = np.array([defect["x"], *wood.pith(defect["x"])])
    reach = float(np.linalg.norm(mark - root))
    axis = (mark - root) / reach
    along = (points - root) @ axis
    aside = np.linalg.norm(points - root - along[:, None] * axis, axis=1)
    cone = defect["diameter"] / 2.0 * np.clip(along / reach, 0.0, None)
    return float(np.where(along < 0.0, np.hypot(aside, along), aside - cone).min()) - margin


def _check_room(defect: dict[str, Any], beyond: Array, s: Array, turn: Array, r: Array, margin: float) -> float:
    """A check has no thickness: a plate with points on both sides of it, where it reaches, holds it."""
    aside, along = s * np.sin(turn), s * np.cos(turn)
    far = np.maximum.reduce([beyond, (r - s) - defect["depth"], -along])
    near = far < margin
    if near.any() and aside[near].min() < 0.0 < aside[near].max():
        return -margin - 1.5
    return float(np.maximum(np.abs(aside), far).min()) - margin
