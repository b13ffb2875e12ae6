"""Rims of end faces: a thin scan ends further within the bark, a gap is no rim, and a face is no second layer of bark."""

import numpy as np
import pytest

from pithline.logmodel import outline_fit
from pithline.logmodel.face_rims import face_rim, hidden_rims
from pithline.logmodel.fit import fit_log
from pithline.logmodel.laid_log import find_scene, lay_into_log_frame
from pithline.logmodel.layers import two_layers
from pithline.logmodel.surface import CELL, first_surface, fit_surface
from pithline.scan.end_faces import ScannedFace
from truth.grown import ORDERS, SPREAD, grown_log
from truth.samples import sample_truth
from truth.scans import simulate_scan
from unit.test_fit import card_of

RADIUS, LENGTH = 200.0, 1200.0
FACE = ScannedFace(np.array([0.0, 0.0, 0.0]), np.array([-1.0, 0.0, 0.0]), True, 0.1, 2.0)
OTHER = ScannedFace(np.array([LENGTH, 0.0, 0.0]), np.array([1.0, 0.0, 0.0]), False, 10.0, 0.0)


@pytest.fixture(scope="module")
def bark():
    """Bark of a round log, its lower third hidden, up to a millimetre over the butt's edge."""
    rng = np.random.default_rng(1)
    clock = rng.uniform(-2.0, 2.0, 20_000)
    radius = RADIUS + rng.normal(0.0, 1.0, len(clock))
    x = rng.uniform(-1.0, LENGTH, len(clock))
    return np.column_stack([x, -radius * np.sin(clock), radius * np.cos(clock)])


@pytest.fixture(scope="module")
def surface(bark):
    ends = np.array([0.0, LENGTH])
    start = first_surface((-100.0, LENGTH + 100.0), ends, np.zeros((2, 2)), np.full(2, RADIUS), 10)
    assert CELL * RADIUS < 20.0
    return fit_surface(bark, start, 4, 20.0)


def face_points(count, gap=None):
    """Points spread evenly over the butt's face; none in the outer part of the sector about `gap`. [rad]"""
    rng = np.random.default_rng(2)
    clock, away = rng.uniform(-np.pi, np.pi, count), RADIUS * np.sqrt(rng.random(count))
    if gap is not None:
        kept = (np.abs(np.angle(np.exp(1j * (clock - gap)))) > np.radians(7.6)) | (away < 0.5 * RADIUS)
        clock, away = clock[kept], away[kept]
    return np.column_stack([np.full(len(clock), -1.0), -away * np.sin(clock), away * np.cos(clock)])


@pytest.mark.parametrize("count", [1_000, 4_000])
def test_a_thin_face_is_expected_to_end_further_within(surface, count):
    rim = face_rim(face_points(count), surface, FACE)
    # the second of n points spread evenly lies two mean distances within the edge
    even = 2.0 * min(count // 50, 24) * np.pi * RADIUS**2 / (count * 2.0 * np.pi * RADIUS)
    assert np.median(rim.within) == pytest.approx(even, rel=0.15)
    assert np.mean(rim.over + rim.within) == pytest.approx(0.0, abs=0.5 * even)


def rim_radii(surface, points):
    rims = hidden_rims(points, surface, (FACE, OTHER))
    assert rims is not None
    return np.hypot(*rims.points[:, 1:].T)


def test_hidden_rims_lie_at_the_edge_although_seen_bark_hides_where_its_face_ends(surface, bark):
    radii = rim_radii(surface, np.concatenate([bark, face_points(1_000)]))
    assert len(radii) >= 6 and np.mean(radii) == pytest.approx(RADIUS, abs=4.0)


def test_a_gap_at_the_rim_is_left_out(surface, bark):
    whole = rim_radii(surface, np.concatenate([bark, face_points(1_500)]))
    gapped = rim_radii(surface, np.concatenate([bark, face_points(1_500, gap=np.pi)]))
    assert len(gapped) == len(whole) - 1 and gapped.min() > RADIUS - 20.0


def test_points_next_to_a_face_are_not_asked_for_layers(monkeypatch):
    asked = []
    monkeypatch.setattr(outline_fit, "two_layers", lambda points, surface: asked.append((points, surface.radius)))
    log = sample_truth("af-07")
    scan = simulate_scan(log, 9, points=8_000, bearers=False, clutter=False, ground=False)
    card = card_of(log, scan)
    laid = lay_into_log_frame(find_scene(scan.points, card, "+z", None), card)
    outline_fit.fit_outline(laid)
    ((points, radius),) = asked
    depth = np.min([(face.point - points) @ face.normal for face in laid.faces], axis=0)
    assert all(face.seen for face in laid.faces) and len(points) > 1_000
    assert depth.min() >= outline_fit.CLEAR_OF_FACES * radius > 10.0


def test_layers_are_placed_within_the_log(surface, bark):
    rng = np.random.default_rng(4)
    moved = bark[::3].copy()
    moved[rng.random(len(moved)) < 0.5, 1] += 15.0
    found = two_layers(moved, surface)
    assert found is not None and found.apart == pytest.approx(13.5, abs=2.5)
    assert 0.0 < surface.x[found.place[0]] < LENGTH


def test_grown_logs_are_as_uneven_as_real_stems():
    clock = np.arange(144) * (2.0 * np.pi / 144)
    parts = []
    for seed in range(40):
        log = grown_log(seed)
        x = np.linspace(0.0, log.length, 9)
        waves = np.fft.rfft(log.under_bark_radius(x[:, None], clock), axis=1) / (72.0 * log.radius)
        parts.append(np.abs(waves[:, list(ORDERS)]) ** 2 / 2.0)
    assert np.sqrt(np.mean(parts, axis=(0, 1))) == pytest.approx(SPREAD, rel=0.25)
    assert grown_log(3) == grown_log(3)


def test_hidden_girth_of_a_grown_log_within_its_errors():
    log = grown_log(2)
    scan = simulate_scan(log, 500, points=40_000, hidden_deg=110.0)
    model = fit_log(scan.points, card_of(log, scan))
    inside = (model.x > 50.0) & (model.x < model.length - 50.0)
    to_truth = np.linalg.inv(model.scan_to_log @ scan.truth_to_scan)
    x = model.x[inside]
    lowest = model.radius_under_bark[inside, 36]
    at = np.column_stack([x, model.centre[inside, 0], model.centre[inside, 1] - lowest])
    miss = log.depth_under_bark(at @ to_truth[:3, :3].T + to_truth[:3, 3])
    assert np.sqrt(np.mean((miss / model.stderr_radius[inside, 36]) ** 2)) < 3.0
