"""A log in space: points that belong to it, few enough for a phone, and the lines round them."""

from dataclasses import replace

import numpy as np
import pytest

from pithline.logmodel.document import model_to_json
from pithline.logmodel.model import SuspectedKnot
from pithline.outputs.formatting import Formatter
from pithline.outputs.log_scene import CLOCKS, MOST_POINTS, NEAR, STATIONS, knots_in_words, log_scene
from truth.logs import TrueLog
from truth.models import to_model

LENGTH, WOOD, BARK = 1400.0, 250.0, 20.0
RADIUS = WOOD + BARK
KNOT = SuspectedKnot(600.0, np.radians(120.0), 60.0, 25.0)
MODEL = replace(
    to_model(TrueLog("round", LENGTH, WOOD, taper=0.0, bark=BARK)), suspected_knots=(replace(KNOT, x=900.0), KNOT)
)


def bark(count, away=0.0):
    rng = np.random.default_rng(4)
    x, clock = rng.uniform(5.0, LENGTH - 5.0, count), rng.uniform(0.0, 2 * np.pi, count)
    return np.column_stack([x, -(RADIUS + away) * np.sin(clock), (RADIUS + away) * np.cos(clock)])


def told(scene):
    """Places and colours as the page reads them."""
    count = scene.lines["count"]
    steps = np.frombuffer(scene.points, "<u2", 3 * count).reshape(-1, 3)
    shades = np.frombuffer(scene.points, np.uint8, 3 * count, 6 * count).reshape(-1, 3)
    assert len(scene.points) == 9 * count
    return scene.lines["low"] + scene.lines["step"] * steps, shades


def test_points_come_back_where_they_were_with_their_colours():
    points = bark(500)
    colours = np.random.default_rng(1).integers(0, 256, (500, 3)).astype(np.uint8)
    places, shades = told(log_scene(MODEL, points, colours))
    np.testing.assert_allclose(places, points, atol=0.1)
    np.testing.assert_array_equal(shades, colours)


def test_ground_and_what_the_log_lies_on_are_left_out():
    around = bark(200, away=NEAR + 60.0)
    beyond = bark(200) + np.array([LENGTH + 200.0, 0.0, 0.0])
    scene = log_scene(MODEL, np.concatenate([bark(300), around, beyond]), None)
    assert scene.lines["count"] == 300


def test_a_large_scan_is_thinned_evenly():
    places, _ = told(log_scene(MODEL, bark(900_000), None))
    assert 0.5 * MOST_POINTS < len(places) <= MOST_POINTS
    quarters = np.histogram(places[:, 0], np.linspace(0.0, LENGTH, 5))[0]
    assert quarters.min() > 0.9 * quarters.max()


def test_a_scan_without_colours_shows_its_relief():
    points = np.concatenate([bark(100, away=-10.0), bark(100, away=10.0)])
    scene = log_scene(MODEL, points, None)
    _, shades = told(scene)
    assert not scene.lines["coloured"] and shades[100:].min() > shades[:100].max(axis=0).min()
    assert np.all(shades[:100].mean(axis=0) < shades[100:].mean(axis=0))


def test_lines_are_the_logs_own():
    lines = log_scene(MODEL, bark(50), None).lines
    for name, radius in (("bark", RADIUS), ("wood", WOOD)):
        surface = np.array(lines[name])
        assert surface.shape == (STATIONS * CLOCKS, 3)
        np.testing.assert_allclose(np.hypot(surface[:, 1], surface[:, 2]), radius, atol=1.0)
    butt, top = lines["ends"]
    assert np.array(butt["bark"])[:, 0].max() < 2.0 and np.array(top["bark"])[:, 0].min() > LENGTH - 2.0
    knot = lines["knots"][1]
    assert knot["at"] == pytest.approx([600.0, -RADIUS * np.sin(KNOT.clock), RADIUS * np.cos(KNOT.clock)], abs=1.0)
    assert np.dot(knot["out"][1:], knot["at"][1:]) > 0.0


def test_swellings_are_told_in_words_from_the_butt_on():
    words = knots_in_words(model_to_json(MODEL), Formatter())
    assert words[0] == "600 mm from the butt at 4 o'clock, 60 mm across, standing out 25 mm"
    assert words[1].startswith("900 mm")
    assert "23 5/8 in from the butt" in knots_in_words(model_to_json(MODEL), Formatter("in"))[0]
