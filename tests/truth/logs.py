"""Generated logs with known truth, in their own log frame (mm, radians; design sections 2 to 4).

The wood field here is written from the design's definitions by central differences and shares no code with `pithline`.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
KINDS = ("round", "eccentric", "oval", "fluted", "flared", "tapered", "swept", "crooked", "slim", "big", "stubs")
MARGIN = 90.0
"""How far beyond its ends a log is defined, so that end planes off square lie within it. [mm]"""


def direction(clock: Array | float) -> Array:
    """e(θ) = (−sin θ, cos θ) in (y, z), shape (..., 2)."""
    clock = np.asarray(clock, float)
    return np.stack([-np.sin(clock), np.cos(clock)], axis=-1)


def clock_of(yz: Array) -> Array:
    """Clock angle of vectors (..., 2), [0, 2π)."""
    return np.mod(np.arctan2(-yz[..., 0], yz[..., 1]), 2 * np.pi)


@dataclass(frozen=True)
class Wave:
    """A swelling of the girth: amplitude · cos(order · (θ − phase − twist · x)), fading over `fade` along x."""

    order: int
    amplitude: float
    phase: float
    twist: float = 0.0  # rad/mm
    fade: float | None = None


@dataclass(frozen=True)
class Stub:
    """The stump of a branch, a cone cut off: `base` radius on the bark, `height` above it."""

    x: float
    clock: float  # about the centre
    base: float
    height: float


@dataclass(frozen=True)
class TrueDefect:
    """A defect as the card would state it, clock angle about the pith."""

    kind: str
    x: float | None = None
    end: str | None = None
    clock: float | None = None
    diameter: float | None = None
    length: float | None = None
    depth: float | None = None
    margin: float = 0.0


@dataclass(frozen=True)
class TrueLog:
    """A log by formulas. `radius` is under bark at mid-length; all lengths mm, angles radians."""

    name: str
    length: float
    radius: float
    taper: float = 8.0  # loss of diameter, mm per m
    flare: float = 0.0  # gain of radius at the butt
    flare_reach: float = 250.0
    waves: tuple[Wave, ...] = ()
    sweep: float = 0.0
    sweep_clock: float = 0.0
    crook: float = 0.0
    crook_at: float = 0.5
    crook_clock: float = 0.0
    bark: float = 10.0
    bark_waves: tuple[Wave, ...] = ()
    pith_butt: tuple[float, float] = (0.0, 0.0)  # offset from the centre, (y, z)
    pith_top: tuple[float, float] = (0.0, 0.0)
    pith_wander: float = 0.0
    butt_tilt: tuple[float, float] = (0.0, 0.0)  # slopes of the end plane, dx/dy and dx/dz
    top_tilt: tuple[float, float] = (0.0, 0.0)
    stubs: tuple[Stub, ...] = ()
    spiral: float = 0.0
    defects: tuple[TrueDefect, ...] = ()
    pith_radius: float = 15.0
    trim_butt: float = 25.0
    trim_top: float = 25.0
    sapwood: float = 0.0

    def centre(self, x: Array) -> Array:
        """C(x): (..., 2); its chord is the x axis."""
        t = np.asarray(x, float) / self.length
        bow = self.sweep * 4 * t * (1 - t)
        straight = (1 - t) * _knee(0.0, self.crook_at) + t * _knee(1.0, self.crook_at)
        knee = self.crook * (_knee(t, self.crook_at) - straight)
        return bow[..., None] * direction(self.sweep_clock) + knee[..., None] * direction(self.crook_clock)

    def under_bark_radius(self, x: Array, clock: Array) -> Array:
        """r under bark about the centre, broadcast over x and clock. [mm]"""
        x, clock = np.asarray(x, float), np.asarray(clock, float)
        base = self.radius - self.taper / 2000.0 * (x - self.length / 2)
        base = base + self.flare * np.exp(-np.maximum(x, -MARGIN) / self.flare_reach)
        return base + _waves(self.waves, x, clock)

    def bark_thickness(self, x: Array, clock: Array) -> Array:
        """Thickness of the bark, along the radius. [mm]"""
        return self.bark + _waves(self.bark_waves, np.asarray(x, float), np.asarray(clock, float))

    def over_bark_radius(self, x: Array, clock: Array) -> Array:
        """r over bark about the centre, stubs left out. [mm]"""
        return self.under_bark_radius(x, clock) + self.bark_thickness(x, clock)

    def envelope_radius(self, x: Array, clock: Array) -> Array:
        """The farthest the log reaches, stubs included. [mm]"""
        radius = self.over_bark_radius(x, clock)
        height = np.zeros_like(radius)
        for stub in self.stubs:
            turn = np.angle(np.exp(1j * (np.asarray(clock, float) - stub.clock)))
            away = np.hypot(np.asarray(x, float) - stub.x, radius * turn)
            height = np.maximum(height, stub.height * np.clip((stub.base - away) / (0.3 * stub.base), 0, 1))
        return radius + height

    def pith(self, x: Array) -> Array:
        """P(x): (..., 2)."""
        x = np.asarray(x, float)
        t = (x / self.length)[..., None]
        line = (1 - t) * np.asarray(self.pith_butt) + t * np.asarray(self.pith_top)
        wander = self.pith_wander * np.sin(2 * np.pi * t) * direction(self.sweep_clock + 1.0)
        return self.centre(x) + line + wander

    def end_planes(self) -> tuple[tuple[Array, Array], tuple[Array, Array]]:
        """((point, outward unit normal) of the butt, of the top)."""
        planes = []
        for x, tilt, sign in ((0.0, self.butt_tilt, -1.0), (self.length, self.top_tilt, 1.0)):
            normal = sign * np.array([1.0, -tilt[0], -tilt[1]])
            planes.append((np.array([x, *self.pith(np.array(x))]), normal / np.linalg.norm(normal)))
        return planes[0], planes[1]

    def within_ends(self, points: Array, trims: bool = False) -> Array:
        """Depth inside the nearer end plane (negative outside), trims taken off if asked. [mm]"""
        depth = np.full(points.shape[:-1], np.inf)
        for (point, normal), trim in zip(self.end_planes(), (self.trim_butt, self.trim_top), strict=True):
            depth = np.minimum(depth, -(points - point) @ normal - (trim if trims else 0.0))
        return depth

    def depth_under_bark(self, points: Array) -> Array:
        """Radial depth below the under-bark surface of points (..., 3), negative outside. [mm]"""
        offset = points[..., 1:] - self.centre(points[..., 0])
        return self.under_bark_radius(points[..., 0], clock_of(offset)) - np.hypot(offset[..., 0], offset[..., 1])

    def rim(self, x: Array, clock: Array) -> Array:
        """R(x, θ): from the pith to the under-bark surface in clock direction θ. [mm]"""
        x, clock = np.broadcast_arrays(np.asarray(x, float), np.asarray(clock, float))
        away = self.pith(x) - self.centre(x)
        e = direction(clock)
        s = self.under_bark_radius(x, clock) - (away * e).sum(-1)

        def excess(s: Array) -> Array:
            offset = away + s[..., None] * e
            return np.hypot(offset[..., 0], offset[..., 1]) - self.under_bark_radius(x, clock_of(offset))

        for _ in range(7):
            value = excess(s)
            slope = (excess(s + 0.01) - value) / 0.01
            s = s - value / np.where(np.abs(slope) < 0.2, 1.0, slope)
        return s

    def ring_coordinate(self, points: Array) -> Array:
        """ρ: 0 at the pith, 1 under the bark."""
        offset = points[..., 1:] - self.pith(points[..., 0])
        return np.hypot(offset[..., 0], offset[..., 1]) / self.rim(points[..., 0], clock_of(offset))

    def ring_normal(self, points: Array) -> Array:
        """m = ∇ρ/|∇ρ| by central differences of 0.2 mm, (..., 3)."""
        h = 0.2
        steps = np.concatenate([np.eye(3) * h, -np.eye(3) * h])
        rho = self.ring_coordinate(points[..., None, :] + steps)
        gradient = rho[..., :3] - rho[..., 3:]
        return gradient / np.linalg.norm(gradient, axis=-1, keepdims=True)

    def fibre(self, points: Array) -> Array:
        """f: tangent of the curve of constant ρ and θ, turned in its layer by the spiral angle, (..., 3)."""
        x = points[..., 0]
        offset = points[..., 1:] - self.pith(x)
        clock = clock_of(offset)
        rho = np.hypot(offset[..., 0], offset[..., 1]) / self.rim(x, clock)
        h = 0.5
        ahead, behind = (
            self.pith(x + d) + (rho * self.rim(x + d, clock))[..., None] * direction(clock) for d in (h, -h)
        )
        f = np.concatenate([np.ones((*x.shape, 1)), (ahead - behind) / (2 * h)], axis=-1)
        f /= np.linalg.norm(f, axis=-1, keepdims=True)
        if self.spiral:
            e = np.concatenate([np.zeros((*x.shape, 1)), direction(clock + np.pi / 2)], axis=-1)
            f = np.cos(self.spiral) * f + np.sin(self.spiral) * e
            f /= np.linalg.norm(f, axis=-1, keepdims=True)
        return f

    def ring_angle(self, points: Array, normal: Array) -> Array:
        """α on a face with unit `normal`. [rad]"""
        return np.arccos(np.clip(np.abs(self.ring_normal(points) @ normal), 0, 1))

    def runout(self, points: Array, normal: Array) -> Array:
        """β on a face with unit `normal`. [rad]"""
        return np.arcsin(np.clip(np.abs(self.fibre(points) @ normal), 0, 1))

    def volume_under_bark(self) -> float:
        """Wood between the end planes, by integration over x and clock. [mm³]"""
        x = np.linspace(0, self.length, 401)
        clock = np.linspace(0, 2 * np.pi, 360, endpoint=False)
        area = 0.5 * (self.under_bark_radius(x[:, None], clock) ** 2).mean(1) * 2 * np.pi
        body = float(np.trapezoid(area, x))
        planes = self.end_planes()
        for (point, normal), at in zip(planes, (x[0], x[-1]), strict=True):  # wedge between plane and square end
            away = self.centre(np.array(at)) - point[1:]
            shift = -(normal[1:] / normal[0]) @ away
            body += float((shift if normal[0] > 0 else -shift) * area[0 if at == 0 else -1])
        return body


def _knee(t: Array | float, at: float) -> Array:
    return np.sqrt((np.asarray(t, float) - at) ** 2 + 0.05**2)


def _waves(waves: tuple[Wave, ...], x: Array, clock: Array) -> Array:
    total = np.zeros(np.broadcast(x, clock).shape)
    for w in waves:
        size = w.amplitude if w.fade is None else w.amplitude * np.exp(-np.maximum(x, -MARGIN) / w.fade)
        total = total + size * np.cos(w.order * (clock - w.phase - w.twist * x))
    return total


def true_log(kind: str, seed: int) -> TrueLog:
    """A log of one of `KINDS`; same kind and seed, same log."""
    if kind not in KINDS:
        raise ValueError(f"no such kind of log: {kind}; the kinds are {', '.join(KINDS)}")
    rng = np.random.default_rng([zlib.crc32(kind.encode()), seed])

    def around() -> float:
        return float(rng.uniform(0, 2 * np.pi))

    def tilt(most_deg: float = 4.0) -> tuple[float, float]:
        e = direction(around()) * np.tan(np.radians(rng.uniform(0, most_deg)))
        return float(e[0]), float(e[1])

    radius, length = float(rng.uniform(220, 330)), float(rng.uniform(1100, 2400))
    if kind == "slim":
        radius, length = float(rng.uniform(140, 190)), float(rng.uniform(900, 1600))
    if kind == "big":
        radius, length = float(rng.uniform(360, 430)), float(rng.uniform(2000, 3000))
    drift = direction(around()) * radius * rng.uniform(0.01, 0.05)
    if kind == "eccentric":
        drift = direction(around()) * radius * rng.uniform(0.12, 0.22)
    other = drift + direction(around()) * radius * rng.uniform(0, 0.03)
    slow = float(rng.uniform(-1, 1)) * 1e-4
    waves = [Wave(k, float(radius * rng.uniform(0, 0.006)), around(), slow) for k in (2, 3, 4)]
    values: dict = {"taper": float(rng.uniform(4, 12)), "sweep": float(length * rng.uniform(0.001, 0.006))}
    if kind == "oval":
        waves[0] = Wave(2, float(radius * rng.uniform(0.05, 0.09)), around(), slow)
    if kind == "fluted":
        order = int(rng.integers(4, 8))
        waves += [Wave(order, float(radius * rng.uniform(0.03, 0.05)), around(), slow, float(0.6 * length))]
    if kind == "flared":
        values |= {"flare": float(radius * rng.uniform(0.15, 0.3)), "flare_reach": float(rng.uniform(180, 350))}
        waves += [Wave(5, float(radius * 0.03), around(), 0.0, 300.0)]
    if kind == "tapered":
        values["taper"] = float(rng.uniform(22, 40))
    if kind == "swept":
        values["sweep"] = float(length * rng.uniform(0.02, 0.035))
    if kind == "crooked":
        values |= {"crook": float(length * rng.uniform(0.06, 0.12)), "crook_at": float(rng.uniform(0.35, 0.65))}
        values["crook_clock"] = around()
    if kind == "stubs":
        values["stubs"] = tuple(
            Stub(float(length * rng.uniform(0.1, 0.9)), around(), *map(float, rng.uniform([25, 25], [45, 70])))
            for _ in range(int(rng.integers(2, 5)))
        )
    bark = float(rng.uniform(7, 14))
    return TrueLog(
        f"{kind}-{seed}",
        length,
        radius,
        waves=tuple(waves),
        sweep_clock=around(),
        bark=bark,
        bark_waves=(Wave(2, 0.08 * bark, around(), 1e-3), Wave(3, 0.05 * bark, around(), -2e-3)),
        pith_butt=(float(drift[0]), float(drift[1])),
        pith_top=(float(other[0]), float(other[1])),
        butt_tilt=tilt(),
        top_tilt=tilt(),
        **values,
    )
