"""The replay's own wood against generated logs whose growth layers are known by formula."""

from dataclasses import replace

import numpy as np
import pytest

from pithline.script.grades import clock_angle, rectangle, wood_of
from truth.logs import direction, true_log
from unit.scripts_by_hand import model_document

ALONG = np.array([1.0, 0.0, 0.0])


def slope_of(log, points, normal):
    """Slope of the fibre within a face, by its true direction. [rad]"""
    within = log.fibre(points)
    within = within - (within @ normal)[:, None] * normal
    return np.arccos(np.clip(np.abs(within @ ALONG) / np.linalg.norm(within, axis=1), 0.0, 1.0))


def wood_and_points(log, card=None):
    """The replay's wood of an exactly known log, and points through it clear of pith and bark."""
    document = {"model": model_document(log), "inputs": {"card": card or {}}}
    rng = np.random.default_rng(5)
    x = rng.uniform(30.0, log.length - 30.0, 400)
    clock = rng.uniform(0.0, 2.0 * np.pi, 400)
    share = rng.uniform(0.25, 0.95, 400)
    yz = log.pith(x) + (share * log.rim(x, clock))[:, None] * direction(clock)
    return wood_of(document), np.column_stack([x, yz])


@pytest.mark.parametrize("kind", ["eccentric", "oval", "fluted", "flared", "tapered", "swept"])
def test_rings_fibres_and_depth_are_the_true_ones(kind):
    log = true_log(kind, 4)
    wood, points = wood_and_points(log)
    s, _, rim = wood.polar(points)
    away = points[:, 1:] - log.pith(points[:, 0])
    assert np.allclose(s, np.hypot(*away.T), atol=0.02)
    assert np.allclose(rim, log.rim(points[:, 0], clock_angle(away)), atol=0.25)
    for normal in np.eye(3)[1:]:
        ring, runout, slope = wood.angles(points, normal, ALONG)
        off_ring = np.degrees(np.abs(ring - log.ring_angle(points, normal)))
        off_runout = np.degrees(np.abs(runout - log.runout(points, normal)))
        assert off_ring.max() < 0.3 and off_ring.mean() < 0.03
        off_slope = np.degrees(np.abs(slope - slope_of(log, points, normal)))
        assert off_runout.max() < 0.15 and off_runout.mean() < 0.02
        assert off_slope.max() < 0.15 and off_slope.mean() < 0.02


@pytest.mark.parametrize("degrees", [-4.0, 4.0])
def test_spiral_grain_turns_the_fibre_and_not_the_rings(degrees):
    log = replace(true_log("round", 2), spiral=float(np.radians(degrees)))
    wood, points = wood_and_points(log, {"grain": {"spiral_deg": degrees}})
    normal = np.array([0.0, 0.0, 1.0])
    ring, runout, slope = wood.angles(points, normal, ALONG)
    assert np.degrees(np.abs(runout - log.runout(points, normal))).max() < 0.15
    assert np.degrees(np.abs(slope - slope_of(log, points, normal))).max() < 0.15
    assert np.degrees(slope.max()) > 3.0  # where the face lies along the rings it is the spiral
    assert np.allclose(ring, wood_and_points(log)[0].angles(points, normal, ALONG)[0])


def test_a_rectangle_has_its_edges_and_no_gap_over_ten_millimetres():
    grid = rectangle(np.zeros(3), np.array([95.0, 0.0, 0.0]), np.array([0.0, 4.0, 0.0]))
    assert grid.shape == (11, 2, 3)
    assert np.allclose(grid[-1, -1], [95.0, 4.0, 0.0]) and np.diff(grid[:, 0, 0]).max() <= 10.0


def test_what_the_card_leaves_open():
    wood, _ = wood_and_points(true_log("round", 1), {"pith": {"radius": None}})
    assert wood.pith_radius == 25.0 and wood.sapwood is None and wood.defects == ()
    told = wood_of({"model": model_document(true_log("round", 1), sapwood_thickness=31.0), "inputs": {"card": {}}})
    assert told.sapwood == 31.0
