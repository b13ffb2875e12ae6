"""The fit of generated scans against the truth behind them. Tolerances are the project's own, in mm and degrees."""

from dataclasses import replace

import numpy as np
import pytest

from pithline.errors import FitError, InputError
from pithline.logmodel import dimensions
from pithline.logmodel.card import Card, ScanPoint
from pithline.logmodel.fit import fit_log
from pithline.logmodel.model import clock_angles, clock_direction
from truth.logs import clock_of, true_log
from truth.scans import simulate_scan


def card_of(log, scan, **changes):
    """The card a sawyer would write: unit, up, bark, and the pith marked on both ends."""
    values = {
        "id": log.name,
        "species": "black walnut",
        "scan": None,
        "scan_units": scan.unit,
        "up": scan.up,
        "bark_thickness": log.bark,
        "pith_butt": ScanPoint(tuple(scan.pith_butt)),
        "pith_top": ScanPoint(tuple(scan.pith_top)),
    }
    return Card(**(values | changes))


def to_truth(model, scan):
    """(4, 4) from the model's log frame to the true one."""
    return np.linalg.inv(model.scan_to_log @ scan.truth_to_scan)


def moved(matrix, points):
    return points @ matrix[:3, :3].T + matrix[:3, 3]


def misses(model, log, scan, hidden_deg):
    """Radial misses of the under-bark surface within the ends: on seen and on hidden girth. [mm]"""
    x = model.x[(model.x > 0) & (model.x < model.length)]
    radius = model.splines(model.radius_under_bark)(x)
    yz = model.splines(model.centre)(x)[:, None] + radius[..., None] * clock_direction(clock_angles())
    points = np.concatenate([np.broadcast_to(x[:, None, None], (*yz.shape[:2], 1)), yz], axis=2).reshape(-1, 3)
    points = moved(to_truth(model, scan), points)
    points = points[log.within_ends(points) > 0]
    clock = clock_of(points[:, 1:] - log.centre(points[:, 0]))
    seen = np.abs(np.angle(np.exp(1j * clock))) < np.pi - np.radians(hidden_deg) / 2
    miss = -log.depth_under_bark(points)
    return miss[seen], miss[~seen]


def rms(values):
    return float(np.sqrt(np.mean(np.square(values))))


@pytest.fixture(scope="module")
def swept():
    log = true_log("swept", 5)
    scan = simulate_scan(log, 5, points=40_000, heading_deg=20.0)
    return log, scan, fit_log(scan.points, card_of(log, scan))


def test_surface_and_ends_are_the_true_ones(swept):
    log, scan, model = swept
    seen, hidden = misses(model, log, scan, 90.0)
    assert rms(seen) < 2.0
    assert rms(hidden) < 5.0
    assert abs(model.length - log.length) < 3.0
    turn = to_truth(model, scan)[:3, :3]
    for plane, (_, normal) in zip((model.butt, model.top), log.end_planes(), strict=True):
        assert np.degrees(np.arccos(np.clip(turn @ plane.normal @ normal, -1, 1))) < 0.5
    assert dimensions.volume(model) == pytest.approx(log.volume_under_bark(), rel=0.01)


def test_frame_is_the_designs(swept):
    _, _, model = swept
    centre = model.splines(model.centre)
    np.testing.assert_allclose(centre([0.0, model.length]), 0.0, atol=1e-6)
    np.testing.assert_allclose(model.butt.point, [0.0, *model.splines(model.pith)(0.0)], atol=1e-6)
    assert model.top.point[0] == pytest.approx(model.length)
    scale = 1000.0
    np.testing.assert_allclose(model.scan_to_log[:3, :3] @ model.scan_to_log[:3, :3].T, np.eye(3) * scale**2, atol=1e-3)
    assert np.linalg.det(model.scan_to_log[:3, :3]) > 0
    up = model.scan_to_log[:3, :3] @ np.array([0.0, 0.0, 1.0])
    assert abs(up[1]) < 1e-5 * scale and up[2] > 0
    assert np.diff(model.x).max() <= 25.0 and model.x[0] < -50 and model.x[-1] > model.length + 50


def test_order_of_points_does_not_matter(swept):
    log, scan, model = swept
    other = fit_log(scan.points[::-1].copy(), card_of(log, scan))
    for name in ("x", "centre", "radius_over_bark", "envelope", "scan_to_log"):
        np.testing.assert_array_equal(getattr(other, name), getattr(model, name))


def test_no_log_no_fit():
    rng = np.random.default_rng(1)
    ground = np.column_stack([rng.uniform(-2, 2, (20_000, 2)), rng.normal(0, 0.004, 20_000)])
    with pytest.raises(FitError, match="no log"):
        fit_log(ground, Card("a", "black walnut", None))


def test_the_likely_unit_is_named(swept):
    log, scan, _ = swept
    with pytest.raises(FitError, match='scan_units = "m"'):
        fit_log(scan.points, card_of(log, scan, scan_units="mm"))


def test_pith_outside_the_wood(swept):
    log, scan, _ = swept
    outside = scan.pith_butt + np.array([0.0, 0.0, 0.4])
    with pytest.raises(InputError, match=r"pith\.butt lies \d+ mm outside"):
        fit_log(scan.points, card_of(log, scan, pith_butt=ScanPoint(tuple(outside))))


def test_a_standing_log_needs_twelve_marks(swept):
    log, scan, _ = swept
    with pytest.raises(InputError, match="twelve_butt"):
        fit_log(scan.points, replace(card_of(log, scan), up="+x"))
