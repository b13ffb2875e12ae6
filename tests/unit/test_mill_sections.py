"""Outlines of pieces against closed forms and against shapely, a general-purpose library for plane geometry."""

import numpy as np
import pytest
from shapely.geometry import Polygon, box

from pithline.geometry.pieces import Face, Piece
from pithline.mill.sections import length_along, log_sections, lowest_along, piece_shape, widest_cut
from truth.logs import TrueLog, direction, true_log
from truth.models import to_model

R, LENGTH, BARK = 180.0, 1100.0, 12.0
UP, AXIS = np.array([0.0, 0.0, 1.0]), np.array([1.0, 0.0, 0.0])
WHOLE = Piece("log", "log")


@pytest.fixture(scope="module")
def straight():
    return log_sections(to_model(TrueLog("s", LENGTH, R, taper=0.0, bark=BARK)))


def under(normal, offset, piece=WHOLE):
    """The part of a piece where normal·X ≤ offset."""
    return Piece("p", "half", (*piece.faces, Face(tuple(normal), offset, "c")))


def test_a_whole_cylinder(straight):
    for bark, radius in ((True, R + BARK), (False, R)):
        shape = piece_shape(straight, WHOLE, bark)
        assert shape.volume == pytest.approx(np.pi * radius**2 * LENGTH, rel=2.5e-3)
        np.testing.assert_allclose(shape.centroid, [LENGTH / 2, 0, 0], atol=0.5)


def test_ends_off_square_keep_a_cylinders_volume():
    tilted = TrueLog("t", LENGTH, R, taper=0.0, bark=BARK, butt_tilt=(0.06, 0.0), top_tilt=(-0.02, 0.05))
    shape = piece_shape(log_sections(to_model(tilted)), WHOLE, True)
    assert shape.volume == pytest.approx(np.pi * (R + BARK) ** 2 * LENGTH, rel=2.5e-3)


def test_half_a_cylinder(straight):
    shape = piece_shape(straight, under(UP, 0.0), False)
    assert shape.volume == pytest.approx(np.pi * R**2 * LENGTH / 2, rel=2.5e-3)
    np.testing.assert_allclose(shape.centroid, [LENGTH / 2, 0.0, -4 * R / (3 * np.pi)], atol=0.5)


@pytest.mark.parametrize("depth", [0.0, 60.0, 170.0])
def test_the_widest_cut_of_a_cylinder_is_its_chord(straight, depth):
    shape = piece_shape(straight, WHOLE, True)
    lateral = np.array([0.0, 1.0, 0.0])
    assert widest_cut(shape, UP, depth, lateral) == pytest.approx(2 * np.sqrt((R + BARK) ** 2 - depth**2), abs=0.2)
    assert widest_cut(shape, UP, R + BARK + 1.0, lateral) == 0.0


def test_the_underside_of_a_cone():
    cone = log_sections(to_model(TrueLog("c", LENGTH, R, taper=30.0, bark=BARK)))
    place, low = lowest_along(piece_shape(cone, WHOLE, True), UP, AXIS)
    np.testing.assert_allclose(low, -(R + BARK - 0.015 * (place - LENGTH / 2)), atol=0.05)


def test_nothing_is_left_beyond_the_bark(straight):
    assert len(piece_shape(straight, under(UP, -R - BARK - 1.0), True).x) == 0


@pytest.mark.parametrize("seed", range(4))
def test_clipped_sections_have_the_areas_shapely_finds(seed):
    truth = true_log("fluted", seed)
    sections = log_sections(to_model(truth))
    rng = np.random.default_rng(seed)
    piece = WHOLE
    for clock in rng.uniform(0, 2 * np.pi, 3):
        piece = under([0.0, *direction(clock)], float(rng.uniform(40.0, 150.0)), piece)
    shape = piece_shape(sections, piece, False)
    inside = (shape.x > 60.0) & (shape.x < truth.length - 60.0)
    for x, area, centroid in list(zip(shape.x, shape.areas, shape.centroids, strict=True))[1:-1:25]:
        if not inside[np.searchsorted(shape.x, x)]:
            continue
        clock = np.linspace(0, 2 * np.pi, 720, endpoint=False)
        rim = truth.centre(np.full(720, x)) + truth.under_bark_radius(np.full(720, x), clock)[:, None] * direction(
            clock
        )
        section = Polygon(rim)
        for face in piece.faces:
            section = section.intersection(_half_plane(np.array(face.normal[1:]), face.offset))
        assert area == pytest.approx(section.area, rel=2e-3)
        np.testing.assert_allclose(centroid, section.centroid.coords[0], atol=0.5)


def _half_plane(normal, offset):
    side = np.array([-normal[1], normal[0]])
    corners = [offset * normal + a * side + b * normal for a, b in ((-2e3, 0), (2e3, 0), (2e3, -4e3), (-2e3, -4e3))]
    return Polygon(corners).intersection(box(-3e3, -3e3, 3e3, 3e3))


@pytest.mark.parametrize("offset", [801.0, 803.3, 1100.0, LENGTH + 5.0])
@pytest.mark.parametrize("lean", [0.0, 0.04])
def test_a_length_is_never_read_short(straight, offset, lean):
    """A cylinder crosscut off square, between stations or on one: the wood's own reach, and at most two stations more."""
    normal = np.array([np.cos(lean), 0.0, np.sin(lean)])
    shape = piece_shape(straight, under(normal, offset), True)
    longest = min(LENGTH, (offset + (R + BARK) * np.sin(lean)) / np.cos(lean))
    assert longest - 1e-6 <= length_along(shape, AXIS) <= longest + 16.0
