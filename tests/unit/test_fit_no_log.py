"""What is no log is said to be something, and why; whole trees are told before time is spent on them."""

import numpy as np
import pytest

from pithline.errors import FitError
from pithline.logmodel.card import Card
from pithline.logmodel.fit import fit_log
from pithline.scan.end_faces import find_faces
from pithline.scan.log_search import find_log
from pithline.scan.no_log import refuse_whole_tree


def tube(low, high, radii, count, rng):
    """Points on a cone between two points. [mm]"""
    low, high = np.array(low, float), np.array(high, float)
    along = (high - low) / np.linalg.norm(high - low)
    side = np.cross(along, np.eye(3)[int(np.argmin(np.abs(along)))])
    side /= np.linalg.norm(side)
    other, t, turn = np.cross(along, side), rng.random((count, 1)), rng.uniform(0, 2 * np.pi, (count, 1))
    radius = radii[0] + (radii[1] - radii[0]) * t
    return low + (high - low) * t + radius * (np.cos(turn) * side + np.sin(turn) * other)


def tree(height, rng):
    """A trunk with a crown of branches and twigs."""
    parts = [tube((0, 0, 0), (300, 200, height), (260, 30), 40_000, rng)]
    for _ in range(60):
        at, long, turn = rng.uniform(0.4, 0.95) * height, rng.uniform(1500, 4000), rng.uniform(0, 2 * np.pi)
        foot = np.array([300.0, 200.0, 0.0]) * at / height + [0, 0, at]
        tip = foot + long * np.array([np.cos(turn), np.sin(turn), 0.6])
        parts += [tube(foot, tip, (50, 10), 500, rng), rng.normal(0.5 * (foot + tip), 250.0, (500, 3))]
    return np.concatenate(parts)


def test_a_whole_tree_is_refused_at_once(monkeypatch):
    points = tree(18_000.0, np.random.default_rng(2))
    # nothing slow may be begun
    monkeypatch.setattr("pithline.scan.log_search._without_strays", None)
    with pytest.raises(FitError, match=r"one thing 1[78] m long, which is a whole tree.*Cut the log out"):
        fit_log(points, Card("t", "black walnut", None, scan_units="mm", up="+x"))


def test_a_row_of_logs_longer_than_any_log_is_no_tree():
    rng = np.random.default_rng(2)
    row = [tube((0, 500.0 * k, 200), (3000, 500.0 * k, 200), (245, 235), 2000, rng) for k in range(30)]
    refuse_whole_tree(np.concatenate(row), None)


@pytest.mark.parametrize(
    ("points", "why"),
    [
        (lambda rng: rng.uniform(-1, 1, (40_000, 3)) * [1500, 400, 400], "round sections"),
        (lambda rng: tube((0, 0, 0), (250, 0, 0), (400, 400), 20_000, rng) * [1, 1, 1], "too short|round sections"),
    ],
)
def test_what_was_found_and_why_it_was_not_taken(points, why):
    with pytest.raises(FitError, match=why) as told:
        find_log(points(np.random.default_rng(4)))
    assert "no log was found" in str(told.value)


@pytest.mark.parametrize("flutes", [5, 6])
def test_a_fluted_stem_is_a_log(flutes):
    rng = np.random.default_rng(6)
    points = tube((0, 0, 0), (2500, 0, 0), (180, 160), 30_000, rng)
    turn = np.arctan2(points[:, 2], points[:, 1])
    points[:, 1:] *= (1.0 + 0.13 * np.cos(flutes * turn))[:, None]
    found = find_log(points + rng.normal(0, 2, points.shape))
    assert found.rough.length == pytest.approx(2500.0, abs=130.0)


def test_a_flared_end_without_a_face_is_followed_to_its_end():
    rng = np.random.default_rng(6)
    points = tube((0, 0, 0), (2500, 0, 0), (180, 160), 60_000, rng)
    turn, fade = np.arctan2(points[:, 2], points[:, 1]), np.exp(-points[:, 0] / 350.0)
    points[:, 1:] *= (1.0 + 0.25 * fade * (1.0 + np.cos(5 * turn)))[:, None]
    found = find_log(points)
    faces = find_faces(found.points, found.patches, found.rough)
    # the rough axis may run either way
    reach = sorted(float(face.point[0]) for face in faces)
    assert reach == pytest.approx([0.0, 2500.0], abs=15.0)
    assert all(not face.seen and 10.0 <= face.stderr < 25.0 for face in faces)


def test_an_oblique_end_without_a_face_is_less_sure():
    rng = np.random.default_rng(6)
    points = tube((0, 0, 0), (2500, 0, 0), (170, 160), 60_000, rng)
    oblique = points[points[:, 0] > 200.0 + 0.6 * points[:, 1]]
    found = find_log(oblique)
    low = min(find_faces(found.points, found.patches, found.rough), key=lambda face: face.point[0])
    assert low.point[0] == pytest.approx(200.0, abs=40.0) and low.stderr > 25.0
