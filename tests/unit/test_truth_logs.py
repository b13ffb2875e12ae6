"""Generated logs, their exact models, and scans of them."""

import numpy as np
import pytest

from pithline.logmodel.model import radius_at
from truth.logs import KINDS, TrueLog, direction, true_log
from truth.models import to_model
from truth.samples import NAMES, sample_scan, sample_truth
from truth.scans import girth, simulate_scan


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_is_one_log_with_its_pith_inside(kind):
    log = true_log(kind, 3)
    assert log == true_log(kind, 3) != true_log(kind, 4)
    ends = log.centre(np.array([0.0, log.length]))
    np.testing.assert_allclose(ends, 0.0, atol=1e-9)
    x = np.linspace(0, log.length, 50)
    assert log.depth_under_bark(np.column_stack([x, log.pith(x)])).min() > 50
    for _, normal in log.end_planes():
        assert np.degrees(np.arccos(abs(normal[0]))) <= 4.0


def test_ring_normal_is_radial_and_fibres_straight_on_a_cylinder():
    log = TrueLog("c", 1000.0, 300.0, taper=0.0)
    points = np.array([[500.0, 10, 100], [400, -80, 0]])
    np.testing.assert_allclose(log.ring_coordinate(points), np.hypot(points[:, 1], points[:, 2]) / 300)
    np.testing.assert_allclose(log.ring_normal(points)[1], [0, -1, 0], atol=1e-6)
    np.testing.assert_allclose(log.fibre(points), [[1, 0, 0]] * 2, atol=1e-9)


def test_a_cones_fibres_lean_with_their_layer():
    """On a cone the layer at half the radius leans by half the slope of the surface."""
    log = TrueLog("c", 1000.0, 200.0, taper=40.0)
    slope = 40 / 2000.0
    x = 500.0
    fibre = log.fibre(np.array([[x, 0.0, 100.0]]))[0]
    assert fibre[2] / fibre[0] == pytest.approx(-slope / 2, rel=1e-6)


@pytest.mark.parametrize("kind", ["eccentric", "fluted", "swept"])
def test_fibres_lie_in_their_layers(kind):
    log = true_log(kind, 5)
    rng = np.random.default_rng(0)
    x = rng.uniform(50, log.length - 50, 200)
    s = rng.uniform(30, 120, 200)
    points = np.column_stack([x, log.pith(x) + s[:, None] * direction(rng.uniform(0, 7, 200))])
    assert np.abs((log.fibre(points) * log.ring_normal(points)).sum(-1)).max() < 1e-5


def test_rim_lies_on_the_surface():
    log = true_log("oval", 2)
    x, clock = np.meshgrid(np.linspace(0, log.length, 9), np.linspace(0, 6, 11))
    yz = log.pith(x) + log.rim(x, clock)[..., None] * direction(clock)
    assert np.abs(log.depth_under_bark(np.concatenate([x[..., None], yz], -1))).max() < 1e-6


def test_exact_model_repeats_the_log():
    log = true_log("stubs", 1)
    model = to_model(log)
    x, clock = np.meshgrid(np.linspace(0, log.length, 23), np.linspace(0, 6, 31))
    found = radius_at(model, model.radius_under_bark, x, clock)
    np.testing.assert_allclose(found, log.under_bark_radius(x, clock), atol=0.05)
    stub = log.stubs[0]
    assert (model.envelope - model.radius_over_bark).max() > 0.9 * stub.height


@pytest.mark.parametrize("up", ["+z", "+y"])
def test_scan_points_lie_on_the_log_where_they_should(up):
    log = true_log("round", 1)
    scan = simulate_scan(
        log, 1, points=20_000, up=up, ground=False, bearers=False, clutter=False, strays=0.0, ends=(False, False)
    )
    back = np.linalg.inv(scan.truth_to_scan)
    points = scan.points @ back[:3, :3].T + back[:3, 3]
    depth = log.depth_under_bark(points) + log.bark_thickness(points[:, 0], 0.0)
    assert abs(depth.mean()) < 2.0
    assert depth.std() < 4.0
    clock = np.degrees(np.arctan2(-points[:, 1], points[:, 2]))
    assert np.abs(clock).max() < 180 - 40
    plumb = {"+z": [0, 0, 1], "+y": [0, 1, 0]}[up]
    assert scan.truth_to_scan[:3, 2] @ plumb * 1000 == pytest.approx(np.cos(np.radians(1.5)), abs=1e-9)
    np.testing.assert_array_equal(scan.points, simulate_scan(
        log, 1, points=20_000, up=up, ground=False, bearers=False, clutter=False, strays=0.0, ends=(False, False)
    ).points)  # fmt: skip


@pytest.mark.parametrize("name", NAMES)
def test_samples_are_right_handed_and_uneven(name):
    scan = sample_scan(name)
    assert np.linalg.det(scan.truth_to_scan[:3, :3]) * 1e9 == pytest.approx(1.0)
    assert 55_000 < len(scan.points) < 72_000
    assert sample_truth(name).length > 1000


def test_girth_of_a_cylinder():
    assert girth(TrueLog("c", 1000.0, 300.0, taper=0.0, bark=10.0), 500.0) == pytest.approx(2 * np.pi * 310, rel=1e-5)
