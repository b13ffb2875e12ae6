"""End faces and the lines on them: mirrored ends, tape distances, lines true to the script's planes."""

import numpy as np
import pytest

from pithline.outputs.ends import TapePoint, point_by_tape, tape_point
from pithline.outputs.reading import Script
from pithline.outputs.templates import mill_lines
from unit.outputs_fixture import RADIUS, bucked_script, model, small_script


@pytest.fixture(scope="module")
def reading():
    return Script(small_script())


@pytest.mark.parametrize("end", [0, 1])
def test_outline_lies_on_the_cylinder_and_on_the_end_plane(reading, end):
    face = reading.ends("log")[end]
    points = face.pith + face.over_bark @ np.array([face.right, face.up])
    centre = np.array(model()["stations"][0]["centre"])
    np.testing.assert_allclose(np.hypot(*(points[:, 1:] - centre).T), RADIUS, atol=1e-6)
    np.testing.assert_allclose((points - face.pith) @ face.normal, 0.0, atol=1e-6)


def test_three_o_clock_is_right_at_the_butt_and_left_at_the_top(reading):
    butt, top = reading.ends("log")
    three = np.array([0.0, -1.0, 0.0])
    assert butt.right @ three > 0.99
    assert top.right @ three < -0.99
    assert butt.up[2] > 0.99
    assert top.up[2] > 0.99


@pytest.mark.parametrize("end", [0, 1])
def test_mill_lines_lie_on_their_cut_planes(reading, end):
    face = reading.ends("log")[end]
    lines = dict(mill_lines(reading, "log", face))
    assert sorted(lines) == [1, 2, 3, 4, 5]
    for cut, number in reading.numbers.items():
        if number in lines:
            points = face.pith + lines[number] @ np.array([face.right, face.up])
            away = points @ np.array(reading.cuts[cut]["normal"]) - reading.cuts[cut]["offset"]
            np.testing.assert_allclose(away, 0.0, atol=1e-6)


@pytest.mark.parametrize("end", [0, 1])
@pytest.mark.parametrize("step", [0.5, 25.4 / 32.0])
def test_a_line_by_tape_alone_lands_within_a_millimetre(reading, end, step):
    face = reading.ends("log")[end]
    for _, line in mill_lines(reading, "log", face):
        for point in line:
            tape = tape_point(face, point)
            read = [round(one / step) * step for one in (tape.from_twelve, tape.from_six, tape.from_pith)]
            found = point_by_tape(face, TapePoint(tape.side, *read))
            assert np.hypot(*(found - point)) < 1.0


def test_a_bucked_log_has_the_buck_cut_for_its_end():
    reading = Script(bucked_script())
    assert reading.ends("lower")[1].pith[0] == pytest.approx(1495.5)
    assert reading.ends("upper")[0].pith[0] == pytest.approx(1504.5)
    assert reading.ends("upper")[0].normal[0] == -1.0
    assert reading.ends("upper")[1].pith[0] == pytest.approx(2000.0)
