"""Real scanned stems made into hard cases: hidden, halved, thinned, bent, scaled, stretched, in two layers; and a judge of its own.

The truth is a reference outline: sections every 100 mm, each by robust least squares of harmonics about the published circles.
It shares no code with `pithline`. Every case moves points and reference outline by one and the same map.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Map = Callable[[Array], Array]

NAMES = ("a", "b", "c", "d")
SLICE = 100.0
ORDERS = 8
"""Harmonics of a reference section: what a slice of some two hundred points holds."""
CLOCKS = 72
EXPECTED = 0.012
"""Spread of a harmonic that girth not seen is bridged with in the reference, as a part of the radius."""
NEAR = 60.0
"""Points farther off the published circle are branches or strays. [mm]"""


def folder() -> Path | None:
    """Where the shared stems are, if anywhere."""
    named = os.environ.get("PITHLINE_STEMS")
    return Path(named) if named else None


@dataclass(frozen=True)
class Stem:
    """Points (n, 3) in mm, x along the stem; reference outline points (k, 72, 3) with the standard error (k, 72) of each radius."""

    name: str
    points: Array
    outline: Array
    error: Array
    expected: dict = field(default_factory=dict)  # what a case says of itself, such as "hidden_deg"

    def moved(self, by: Map, scale: float = 1.0, **more) -> Stem:
        """The stem under a map of points (..., 3) that stretches radii by about `scale`."""
        return replace(
            self,
            points=by(self.points),
            outline=by(self.outline),
            error=scale * self.error,
            expected=self.expected | more,
        )

    def kept(self, mask: NDArray[np.bool_], **more) -> Stem:
        """The stem with some of its points."""
        return replace(self, points=self.points[mask], expected=self.expected | more)

    @property
    def radius(self) -> float:
        """Mean radius of the reference. [mm]"""
        away = self.outline - self.outline.mean(axis=1, keepdims=True)
        return float(np.linalg.norm(away, axis=2).mean())

    def clock(self) -> Array:
        """Angle of every point about the reference's centreline, (n,) in [0, 2π)."""
        middle = self.outline.mean(axis=1)
        centre = np.column_stack([np.interp(self.points[:, 0], middle[:, 0], middle[:, i]) for i in (1, 2)])
        away = self.points[:, 1:] - centre
        return np.mod(np.arctan2(away[:, 1], away[:, 0]), 2 * np.pi)


def load(name: str) -> Stem:
    """A shared stem. Its own z, along the stem, becomes x."""
    place = folder()
    assert place is not None, "PITHLINE_STEMS names no folder"
    return from_files(f"stem-{name}", place / f"stem-{name}.ply", place / f"stem-{name}.reference.csv")


def from_files(name: str, scan: Path, reference: Path) -> Stem:
    """A stem from its scan and its table of circles, both in metres, z along the stem."""
    import trimesh

    points = np.asarray(trimesh.load(str(scan), process=False).vertices, float)[:, [2, 0, 1]] * 1000.0
    table = np.genfromtxt(reference, delimiter=",", names=True)
    at = 1000.0 * table["station_m"]
    circles = 1000.0 * np.column_stack([table["cx_m"], table["cy_m"], table["radius_m"]])
    outline, error = reference_outline(points, at, circles)
    return Stem(name, points, outline, error)


def reference_outline(points: Array, at: Array, circles: Array) -> tuple[Array, Array]:
    """Sections (k, 72, 3) about published circles (m, 3) at stations `at` (m,), and the standard error of each radius (k, 72)."""
    x = points[:, 0]
    circle = np.column_stack([np.interp(x, at, circles[:, i]) for i in range(3)])
    away = points[:, 1:] - circle[:, :2]
    out, clock = np.hypot(*away.T) - circle[:, 2], np.arctan2(away[:, 1], away[:, 0])
    near = np.abs(out) < NEAR
    grid = np.arange(CLOCKS) * (2 * np.pi / CLOCKS)
    even = _harmonics(grid)
    outline, errors = [], []
    for low in np.arange(max(x.min(), at[0] - 50.0), min(x.max(), at[-1] + 50.0) - 0.7 * SLICE, SLICE):
        middle = low + SLICE / 2
        here = near & (x >= low) & (x < low + SLICE)
        if here.sum() < 60:
            continue
        coefficients, covariance = _section(out[here], clock[here], float(np.interp(middle, at, circles[:, 2])))
        centre = np.array([np.interp(middle, at, circles[:, i]) for i in range(3)])
        radius = centre[2] + even @ coefficients
        section = centre[:2] + radius[:, None] * np.column_stack([np.cos(grid), np.sin(grid)])
        outline.append(np.column_stack([np.full(CLOCKS, middle), section]))
        errors.append(np.sqrt(np.einsum("tj,jk,tk->t", even, covariance, even)))
    return np.array(outline), np.array(errors)


def _harmonics(clock: Array) -> Array:
    return np.column_stack(
        [np.ones(len(clock))] + [wave(k * clock) for k in range(1, ORDERS + 1) for wave in (np.cos, np.sin)]
    )


def _section(out: Array, clock: Array, radius: float) -> tuple[Array, Array]:
    design, weight = _harmonics(clock), np.ones(len(out))
    hold = np.diag([0.0, 0.0, 0.0] + [1.0] * (2 * ORDERS - 2)) / (EXPECTED * radius) ** 2
    scale = 6.0
    for _ in range(8):
        matrix = (design * weight[:, None]).T @ design / scale**2 + hold
        found = np.linalg.solve(matrix, (design * weight[:, None]).T @ out / scale**2)
        miss = out - design @ found
        scale = max(1.4826 * float(np.median(np.abs(miss))), 0.5)
        weight = np.clip(1.0 - (miss / (4.685 * scale)) ** 2, 0.0, None) ** 2
    return found, np.linalg.inv(matrix)


# --- cases -------------------------------------------------------------------------------------------------------------------


def halves(stem: Stem, seed: int) -> tuple[Stem, Stem]:
    """Two halves of the points, drawn at random."""
    first = np.random.default_rng(seed).random(len(stem.points)) < 0.5
    return stem.kept(first, half=1), stem.kept(~first, half=2)


def thinned(stem: Stem, share: float, seed: int) -> Stem:
    """A part of the points, drawn at random."""
    return stem.kept(np.random.default_rng(seed).random(len(stem.points)) < share, thinned=share)


def hidden(stem: Stem, hidden_deg: float, about: float) -> Stem:
    """Without the bark within `hidden_deg`, about an angle [rad]."""
    away = np.abs(np.angle(np.exp(1j * (stem.clock() - about))))
    return stem.kept(away > np.radians(hidden_deg) / 2, hidden_deg=hidden_deg, hidden_about=about)


def scaled(stem: Stem, factor: float) -> Stem:
    """Larger or smaller, noise and all."""
    return stem.moved(lambda p: factor * p, factor, scaled=factor)


def stretched(stem: Stem, along: float, across: float) -> Stem:
    """Longer along and thicker across: 1.4 and 0.54 make a slim log, 4.2 m long and 140 mm thick, of one of 3 m and 260 mm."""
    return stem.moved(lambda p: p * np.array([along, across, across]), across, stretched=(along, across))


def bent(stem: Stem, by: float, way: float, waves: float = 0.5) -> Stem:
    """Bent by so much over its length in a direction [rad]: half a wave is a sweep, a whole one an S. [mm]"""
    low, high = stem.outline[0, 0, 0], stem.outline[-1, 0, 0]

    def move(p: Array) -> Array:
        t = (p[..., 0] - low) / (high - low)
        off = by * np.sin(2 * np.pi * waves * t)
        return p + off[..., None] * np.array([0.0, np.cos(way), np.sin(way)])

    return stem.moved(move, bent=by)


def in_two_layers(stem: Stem, apart: float, way: float, overlap_deg: float = 120.0) -> Stem:
    """As two passes see it: each two thirds of the girth, the second moved by so much; their overlaps show two surfaces. [mm]"""
    clock = stem.clock()
    half = np.pi / 2 + np.radians(overlap_deg) / 4
    first = np.abs(np.angle(np.exp(1j * clock))) < half
    second = np.abs(np.angle(np.exp(1j * (clock - np.pi)))) < half
    move = apart * np.array([0.0, np.cos(way), np.sin(way)])
    return replace(
        stem,
        points=np.concatenate([stem.points[first], stem.points[second] + move]),
        expected=stem.expected | {"layers": apart},
    )


def buttressed(stem: Stem, flutes: int, share: float, reach: float, phase: float = 0.0) -> Stem:
    """With flutes at the lower end, of a part of the radius and fading over `reach` along it. [mm]"""
    middle = stem.outline.mean(axis=1)

    def move(p: Array) -> Array:
        centre = np.stack([np.interp(p[..., 0], middle[:, 0], middle[:, i]) for i in (1, 2)], axis=-1)
        away = p[..., 1:] - centre
        clock = np.arctan2(away[..., 1], away[..., 0])
        fade = np.exp(-np.maximum(p[..., 0] - middle[0, 0] + 50.0, 0.0) / reach)
        grow = 1.0 + share * fade * (1.0 + np.cos(flutes * (clock - phase)))
        return np.concatenate([p[..., :1], centre + away * grow[..., None]], axis=-1)

    return stem.moved(move, buttressed=share)


def felled(stem: Stem, seed: int, tilt_deg: float = 0.0, noise: float = 3.0, density: float = 0.02) -> Stem:
    """With both end faces scanned, at the first and the last section of the reference; what lies beyond is cut off."""
    rng = np.random.default_rng(seed)
    points = stem.points
    parts = []
    for index, sign in ((0, -1.0), (-1, 1.0)):
        section = stem.outline[index]
        middle, at = section[:, 1:].mean(axis=0), section[0, 0]
        away = section[:, 1:] - middle
        clock, radius = np.arctan2(away[:, 1], away[:, 0]), np.hypot(*away.T)
        order = np.argsort(clock)
        way = rng.uniform(0, 2 * np.pi)
        slope = np.tan(np.radians(tilt_deg)) * np.array([np.cos(way), np.sin(way)])
        count = int(density * np.pi * radius.mean() ** 2)
        turn, far = rng.uniform(-np.pi, np.pi, count), np.sqrt(rng.uniform(0, 1, count))
        reach = np.interp(turn, clock[order], radius[order], period=2 * np.pi) * far
        yz = middle + reach[:, None] * np.column_stack([np.cos(turn), np.sin(turn)])
        face = np.column_stack([at + (yz - middle) @ slope + rng.normal(0, noise, count), yz])
        parts.append(face)
        points = points[sign * (points[:, 0] - at - (points[:, 1:] - middle) @ slope) < 0]
    return replace(stem, points=np.concatenate([points, *parts]), expected=stem.expected | {"felled": True})


def laid(stem: Stem, heading_deg: float, roll_deg: float = 0.0) -> Stem:
    """Turned about the stem's own axis and then about the vertical z."""
    h, r = np.radians([heading_deg, roll_deg])
    roll = np.array([[1, 0, 0], [0, np.cos(r), -np.sin(r)], [0, np.sin(r), np.cos(r)]])
    head = np.array([[np.cos(h), -np.sin(h), 0], [np.sin(h), np.cos(h), 0], [0, 0, 1.0]])
    turn = head @ roll
    return stem.moved(lambda p: p @ turn.T)


# --- judge -------------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Verdict:
    """What a fit misses by over the reference's sections within its ends. [mm]

    `centre` and `radius` (k,) of sections, the latter of equal area; `surface` (k, 72) outwards; `seen` (k, 72). Their z are
    misses over stated errors, the reference's own counted in.
    """

    x: Array
    centre: Array
    radius: Array
    surface: Array
    hidden: NDArray[np.bool_]
    z_centre: Array
    z_radius: Array
    z_surface: Array

    def off_by(self) -> float:
        """The larger of centre's and radius' rms over what was stated of it."""
        return float(max(_rms(self.z_centre), _rms(self.z_radius)))


def _rms(values: Array) -> float:
    return float(np.sqrt(np.mean(np.square(values)))) if np.size(values) else 0.0


def judged(stem: Stem, model, to_log: Array) -> Verdict:
    """Hold a log model against a stem's reference; `to_log` (4, 4) takes the stem's mm to the log frame."""
    flat = stem.outline.reshape(-1, 3) @ to_log[:3, :3].T + to_log[:3, 3]
    outline = flat.reshape(stem.outline.shape)
    x = outline[..., 0].mean(axis=1)
    inside = (x > 30.0) & (x < model.length - 30.0)
    outline, x, error = outline[inside], x[inside], stem.error[inside]
    centre = _at(model.x, model.centre, x)
    radii = _at(model.x, model.radius_over_bark, x)
    bark = _at(model.x, model.radius_over_bark - model.radius_under_bark, x)
    stated = np.sqrt(np.maximum(_at(model.x, model.stderr_radius, x) ** 2 - (0.02 / 0.08 * bark) ** 2, 0.0))
    stated_centre = _at(model.x, model.stderr_centre[:, None], x)[:, 0]
    fine = np.arange(72) * (2 * np.pi / 72)
    own_centre, own_radius, surface, own_error = [], [], [], []
    for k in range(len(x)):
        yz = outline[k, :, 1:]
        middle = _centre_of(yz)
        own_centre.append(middle)
        away = yz - centre[k]
        clock = np.mod(np.arctan2(-away[:, 0], away[:, 1]), 2 * np.pi)
        order = np.argsort(clock)
        distance = np.interp(fine, clock[order], np.hypot(*away.T)[order], period=2 * np.pi)
        own_error.append(np.interp(fine, clock[order], error[k][order], period=2 * np.pi))
        surface.append(radii[k] - distance)
        own = yz - middle
        turned = np.mod(np.arctan2(-own[:, 0], own[:, 1]), 2 * np.pi)
        order = np.argsort(turned)
        own_radius.append(
            np.sqrt(np.mean(np.interp(fine, turned[order], np.hypot(*own.T)[order], period=2 * np.pi) ** 2))
        )
    surface, own_error = np.array(surface), np.array(own_error)
    radius = np.sqrt((radii**2).mean(axis=1)) - np.array(own_radius)
    off = centre - np.array(own_centre)
    doubt = np.sqrt((own_error**2).mean(axis=1) / 8.0)  # of a section's mean: some eight of its points are independent
    hide = np.zeros(surface.shape, bool)
    if "hidden_about" in stem.expected:
        about = stem.expected["hidden_about"]
        way = to_log[:3, :3] @ np.array([0.0, np.cos(about), np.sin(about)])
        middle = np.arctan2(-way[1], way[2])
        hide |= np.abs(np.angle(np.exp(1j * (fine - middle)))) < np.radians(stem.expected["hidden_deg"]) / 2
    return Verdict(
        x, np.hypot(*off.T), radius, surface, hide,
        (off / np.hypot(stated_centre, doubt)[:, None]).ravel(),
        radius / np.hypot(np.sqrt((stated**2).mean(axis=1)) / 2.0, doubt),
        surface / np.hypot(stated, own_error),
    )  # fmt: skip


def _at(x: Array, values: Array, want: Array) -> Array:
    return np.column_stack([np.interp(want, x, column) for column in values.T])


def _centre_of(yz: Array) -> Array:
    """The point about which a section's radius has no first harmonic. (2,)"""
    middle = yz.mean(axis=0)
    fine = np.arange(180) * (2 * np.pi / 180)
    for _ in range(12):
        away = yz - middle
        clock = np.mod(np.arctan2(away[:, 1], away[:, 0]), 2 * np.pi)
        order = np.argsort(clock)
        radius = np.interp(fine, clock[order], np.hypot(*away.T)[order], period=2 * np.pi)
        middle = middle + 2.0 * np.array([np.mean(radius * np.cos(fine)), np.mean(radius * np.sin(fine))])
    return middle
