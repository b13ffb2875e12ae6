"""Ideal sections: all stations fitted at once against general-purpose circle fits, slice by slice, on the same points.

From the clone's root: `python tests/benchmarks/fit_peers.py`
200,000 points of a bent taper, 3 mm noise, 5 % strays, 220° of girth seen. Errors are rms over stations and seeds.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np
from scipy.optimize import least_squares
from skimage.measure import CircleModel, ransac

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from pithline.logmodel.surface import first_surface, fit_surface
from reference.circle_fits.test_circle_fits import LENGTH, bent_taper, centre, radius

SLICES = 80
POINTS = 200_000
NOISE = 3.0
SEEN = np.radians(220.0)


def all_at_once(points: np.ndarray, middles: np.ndarray) -> np.ndarray:
    """Pithline's surface, of round sections only. (slices, 3): y, z, radius."""
    start = first_surface((0.0, LENGTH), middles, np.zeros((len(middles), 2)), np.full(len(middles), 180.0), 1)
    surface = fit_surface(points, start, 6, 60.0)
    return np.column_stack([surface.centre(middles), surface.rows_at(middles)[:, 0]])


def slices_of(points: np.ndarray, middles: np.ndarray) -> list[np.ndarray]:
    """Points (k, 2) of each slice."""
    at = np.minimum((points[:, 0] * len(middles) / LENGTH).astype(int), len(middles) - 1)
    order = np.argsort(at, kind="stable")
    return np.split(points[order, 1:], np.searchsorted(at[order], np.arange(1, len(middles))))


def by_ransac(points: np.ndarray, middles: np.ndarray) -> np.ndarray:
    """scikit-image: RANSAC of circles."""
    rows = []
    for near in slices_of(points, middles):
        found, _ = ransac(near, CircleModel, 3, residual_threshold=2.0 * NOISE, max_trials=60, rng=5)
        rows.append([*found.center, found.radius])
    return np.array(rows)


def by_soft_l1(points: np.ndarray, middles: np.ndarray) -> np.ndarray:
    """SciPy: an algebraic circle (Kasa), trimmed, then least squares with the soft-L1 loss, trimmed about it and fitted again."""
    rows = []
    for near in slices_of(points, middles):
        kept = near
        for _ in range(4):
            design = np.column_stack([2 * kept, np.ones(len(kept))])
            y, z, c = np.linalg.lstsq(design, (kept**2).sum(1), rcond=None)[0]
            found = np.array([y, z, np.sqrt(max(c + y * y + z * z, 1.0))])
            kept = _trimmed(near, found)
        for _ in range(2):
            found = least_squares(
                lambda p, kept=kept: np.hypot(kept[:, 0] - p[0], kept[:, 1] - p[1]) - p[2],
                found, loss="soft_l1", f_scale=NOISE,
            ).x  # fmt: skip
            kept = _trimmed(near, found)
        rows.append(found)
    return np.array(rows)


def _trimmed(near: np.ndarray, circle: np.ndarray) -> np.ndarray:
    miss = np.hypot(*(near - circle[:2]).T) - circle[2]
    return near[np.abs(miss) < max(3.0 * 1.4826 * np.median(np.abs(miss)), 3.0 * NOISE)]


def least_possible(middles: np.ndarray) -> tuple[float, float]:
    """Cramér–Rao bound of radius and centre, slice by slice: no unbiased fit of single slices does better. [mm]"""
    count = 0.95 * POINTS / len(middles)
    clock = np.linspace(-SEEN / 2, SEEN / 2, 2001)
    design = np.column_stack([-np.sin(clock), np.cos(clock), np.ones(len(clock))])
    covariance = NOISE**2 / count * np.linalg.inv(design.T @ design / len(clock))
    return float(np.sqrt(covariance[2, 2])), float(np.sqrt(covariance[0, 0] + covariance[1, 1]))


def main() -> None:
    """Fit, time, print a table in Markdown."""
    middles = (np.arange(SLICES) + 0.5) * LENGTH / SLICES
    ways = {
        "pithline, all stations at once": all_at_once,
        "scikit-image RANSAC, slice by slice": by_ransac,
        "SciPy soft-L1 after trimming, slice by slice": by_soft_l1,
    }
    print("| fit | radius, mm rms | centre, mm rms | CPU s | radius to pithline's |\n|---|---|---|---|---|")
    base = None
    for name, way in ways.items():
        misses, seconds = [], []
        for seed in (1, 2, 3):
            points = bent_taper(seed, POINTS)
            start = time.process_time()
            found = way(points, middles)
            seconds.append(time.process_time() - start)
            misses.append(np.column_stack([found[:, :2] - centre(middles), found[:, 2] - radius(middles)]))
        miss = np.concatenate(misses)
        size = float(np.sqrt((miss[:, 2] ** 2).mean()))
        place = float(np.sqrt((miss[:, :2] ** 2).sum(1).mean()))
        base = size if base is None else base
        print(f"| {name} | {size:.3f} | {place:.3f} | {min(seconds):.2f} | {size / base:.1f} |", flush=True)
    size, place = least_possible(middles)
    print(f"| Cramér–Rao bound of single slices | {size:.3f} | {place:.3f} | | {size / base:.1f} |")


if __name__ == "__main__":
    main()
