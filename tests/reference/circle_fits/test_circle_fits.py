"""Sections fitted all at once against scikit-image's circles, slice by slice, on the same points."""

import numpy as np
import pytest
from skimage.measure import CircleModel, ransac

from pithline.logmodel.surface import first_surface, fit_surface

LENGTH, SLICES = 2000.0, 40


def bent_taper(seed, count=60_000):
    """Points (n, 3) of a bent taper, 220° of it, noise 3 mm, 5 % strays; true centre and radius as functions of x."""
    rng = np.random.default_rng(seed)
    x = rng.uniform(0.0, LENGTH, count)
    clock = rng.uniform(-np.radians(110.0), np.radians(110.0), count)
    out = radius(x) + rng.normal(0.0, 3.0, count)
    points = np.column_stack([x, centre(x) + out[:, None] * np.stack([-np.sin(clock), np.cos(clock)], axis=1)])
    stray = rng.uniform(0, 1, count) < 0.05
    points[stray, 1:] = rng.uniform(-300.0, 300.0, (int(stray.sum()), 2))
    return points


def centre(x):
    bow = 30.0 * 4.0 * (x / LENGTH) * (1.0 - x / LENGTH)
    return np.column_stack([bow, -0.5 * bow])


def radius(x):
    return 200.0 - 50.0 * x / LENGTH


def by_slices(points, middles):
    """Radius and centre errors (rms) of scikit-image's robust circles."""
    misses = []
    for x in middles:
        near = points[np.abs(points[:, 0] - x) < LENGTH / SLICES / 2, 1:]
        found, _ = ransac(near, CircleModel, 3, residual_threshold=6.0, max_trials=200, rng=5)
        misses.append([*(np.array(found.center) - centre(np.array([x]))[0]), found.radius - radius(x)])
    misses = np.array(misses)
    return np.sqrt((misses[:, 2] ** 2).mean()), np.sqrt((misses[:, :2] ** 2).sum(axis=1).mean())


@pytest.mark.parametrize("seed", [1, 2])
def test_all_stations_at_once_beat_circles_slice_by_slice(seed):
    points = bent_taper(seed)
    middles = (np.arange(SLICES) + 0.5) * LENGTH / SLICES
    start = first_surface((0.0, LENGTH), middles, np.zeros((SLICES, 2)), np.full(SLICES, 180.0), 1)
    surface = fit_surface(points, start, 6, 60.0)
    rows = surface.rows_at(middles)
    mine = np.sqrt(np.mean((rows[:, 0] - radius(middles)) ** 2))
    apart = np.sqrt(np.mean(np.sum((surface.centre(middles) - centre(middles)) ** 2, axis=1)))
    theirs = by_slices(points, middles)
    assert mine < 0.5 * theirs[0]
    assert apart < 0.5 * theirs[1]
    assert mine < 0.095 and apart < 0.16
