"""Generated logs as uneven as real stems: harmonics of the section drawn from what four real stems have.

An extra family beside `truth.logs.KINDS`: those logs are rounder and smoother than stems are. The figures below were measured on the
reference sections of four real stems (tests/truth/stems.py), which share no code with `pithline`.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from truth.logs import TrueLog, true_log

Array = NDArray[np.float64]

ORDERS = (2, 3, 4, 5, 6, 7, 8)
SPREAD = (0.025, 0.018, 0.014, 0.0097, 0.0054, 0.0061, 0.003)
"""Standard deviation of a harmonic's coefficient, sine or cosine, by order. [radii] Root mean square over the four stems, what the
sections' own errors add (0.002 to 0.006) taken off."""
KEPT = (0.79, 0.52, 0.34, 0.39, 0.23, 0.39, 0.2)
"""Part of its variance that keeps its course from end to end of 3 m, 22 radii."""
REACH = 3.0
"""The rest goes along the log as a Gaussian process of this reach. [radii] Measured correlation: 0.75 at 1.5 radii, 0.5 at 3."""
FEATURES = 24


@dataclass(frozen=True)
class Grown(TrueLog):
    """A log whose section wavers: `swell` (orders, 2, features + 1, 3) are amplitudes [mm], frequencies [rad/mm] and phases."""

    swell: tuple[tuple[tuple[tuple[float, float, float], ...], ...], ...] = ()

    def under_bark_radius(self, x: Array, clock: Array) -> Array:
        """r under bark about the centre, broadcast over x and clock. [mm]"""
        base = super().under_bark_radius(x, clock)
        x, clock = np.broadcast_arrays(np.asarray(x, float), np.asarray(clock, float))
        for order, (cosine, sine) in zip(ORDERS, self.swell, strict=True):
            base = base + _along(cosine, x) * np.cos(order * clock) + _along(sine, x) * np.sin(order * clock)
        return base


def _along(parts: tuple[tuple[float, float, float], ...], x: Array) -> Array:
    """A sum of waves at stations x, as a smooth table: x of many points is read from it."""
    grid = np.linspace(x.min(), x.max(), 400) if x.size > 400 else x
    amplitude, frequency, phase = np.array(parts).T
    waves: Array = (amplitude * np.cos(frequency * grid[..., None] + phase)).sum(axis=-1)
    return np.interp(x, grid, waves) if x.size > 400 else waves


def grown_log(seed: int) -> Grown:
    """A log grown as real stems are; same seed, same log."""
    rng = np.random.default_rng([0x6A0, seed])
    log = replace(true_log("round", 9000 + seed), waves=())
    swell = []
    for spread, kept in zip(SPREAD, KEPT, strict=True):
        pair = []
        for _ in range(2):
            steady = (float(log.radius * spread * np.sqrt(kept) * rng.normal()), 0.0, 0.0)
            size = log.radius * spread * np.sqrt((1.0 - kept) * 2.0 / FEATURES)
            frequency = rng.normal(0.0, 1.0 / (REACH * log.radius), FEATURES)
            phase = rng.uniform(0.0, 2.0 * np.pi, FEATURES)
            pair.append((steady, *((float(size), float(f), float(p)) for f, p in zip(frequency, phase, strict=True))))
        swell.append(tuple(pair))
    own = {field.name: getattr(log, field.name) for field in fields(log)}
    return Grown(**{**own, "name": f"grown-{seed}"}, swell=tuple(swell))
