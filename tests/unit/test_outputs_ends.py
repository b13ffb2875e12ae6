"""End faces and the lines on them: mirrored ends, tape distances, lines true to the script's planes."""

import numpy as np
import pytest

from pithline.outputs.cut_script.end_lines import end_lines, lined_settings
from pithline.outputs.ends import TapePoint, point_by_tape, tape_point
from pithline.outputs.print_job import print_job
from unit.outputs_fixture import RADIUS, bucked_script, model, small_script


@pytest.fixture(scope="module")
def job():
    return print_job(small_script())


def mill_lines(job, end):
    """Bark points of every cut on the mill by its number."""
    groups = end_lines(job.log, job.shop, lined_settings(job.log, job.shop), end)
    return {int(line.name): line.points for group in groups for line in group.lines if line.name.isdigit()}


@pytest.mark.parametrize("end", [0, 1])
def test_outline_lies_on_the_cylinder_and_on_the_end_plane(job, end):
    face = job.log.ends("log")[end]
    points = face.pith + face.over_bark @ np.array([face.right, face.up])
    centre = np.array(model()["stations"][0]["centre"])
    np.testing.assert_allclose(np.hypot(*(points[:, 1:] - centre).T), RADIUS, atol=1e-6)
    np.testing.assert_allclose((points - face.pith) @ face.normal, 0.0, atol=1e-6)


def test_three_o_clock_is_right_at_the_butt_and_left_at_the_top(job):
    butt, top = job.log.ends("log")
    three = np.array([0.0, -1.0, 0.0])
    assert butt.right @ three > 0.99
    assert top.right @ three < -0.99
    assert butt.up[2] > 0.99
    assert top.up[2] > 0.99


@pytest.mark.parametrize("end", [0, 1])
def test_mill_lines_lie_on_their_cut_planes(job, end):
    face = job.log.ends("log")[end]
    lines = mill_lines(job, face)
    assert sorted(lines) == [1, 2, 3, 4, 5]
    for cut, number in job.log.cut_numbers.items():
        if number in lines:
            points = face.pith + lines[number] @ np.array([face.right, face.up])
            away = points @ job.log.cuts[cut].normal - job.log.cuts[cut].offset
            np.testing.assert_allclose(away, 0.0, atol=1e-6)


@pytest.mark.parametrize("end", [0, 1])
@pytest.mark.parametrize("step", [0.5, 25.4 / 32.0])
def test_a_line_by_tape_alone_lands_within_a_millimetre(job, end, step):
    face = job.log.ends("log")[end]
    for line in mill_lines(job, face).values():
        for point in line:
            tape = tape_point(face, point)
            read = [round(one / step) * step for one in (tape.from_twelve, tape.from_six, tape.from_pith)]
            found = point_by_tape(face, TapePoint(tape.side, *read))
            assert np.hypot(*(found - point)) < 1.0


def test_a_bucked_log_has_the_buck_cut_for_its_end():
    log = print_job(bucked_script()).log
    assert log.ends("lower")[1].pith[0] == pytest.approx(1495.5)
    assert log.ends("upper")[0].pith[0] == pytest.approx(1504.5)
    assert log.ends("upper")[0].normal[0] == -1.0
    assert log.ends("upper")[1].pith[0] == pytest.approx(2000.0)
