"""The picture of a plan: size, colours and that it is the same every time."""

import io
from itertools import pairwise

import numpy as np
import pytest
from matplotlib.colors import to_rgb
from PIL import Image

from picture_scripts import small_script
from pithline.outputs.preview import picture as picture_module
from pithline.outputs.preview.picture import preview_png
from pithline.outputs.preview.raster import draw, look
from pithline.outputs.preview.scene import RING_COLOURS, RING_STEPS, Scene, ring_legend, ring_step
from pithline.outputs.preview.solids import Mesh, box_of
from pithline.outputs.print_job import print_job
from unit.outputs_fixture import bucked_script


def drawn():
    job = print_job(small_script())
    return preview_png(Scene(job.log), job.fmt)


@pytest.fixture(scope="module")
def picture():
    return drawn()


def pixels(data):
    return np.asarray(Image.open(io.BytesIO(data)).convert("RGB")).astype(int)


def test_picture_has_its_size_and_the_plates_colours(picture):
    found = pixels(picture)
    assert found.shape == (1350, 1080, 3)
    for mean in (86.5, 79.5):
        colour = np.round(255 * np.array(to_rgb(RING_COLOURS[ring_step(mean)])))
        assert (np.abs(found[:540] - colour).max(axis=2) <= 1).sum() > 100


def test_a_crosscut_log_shows_each_shorter_log_on_its_own_section(monkeypatch):
    """Sections lie half-way along the shorter logs, and hold the plates of their own log alone."""
    drawn_at = []
    real = picture_module._end_view

    def spy(axes, scene, own, named):
        drawn_at.append((own, named))
        real(axes, scene, own, named)

    monkeypatch.setattr(picture_module, "_end_view", spy)
    script = bucked_script()
    upper = {"op": "setting", "id": "s-upper", "tool": "mill", "piece": "upper", "stage": "green", "weight_kg": 30.0, "minutes": 6.0,
             "charged": True, "checks": [], "cautions": [], "up": [0.0, 0.0, 1.0], "roll": 0.0, "butt_at": 0.0, "lifts": []}  # fmt: skip
    script["operations"].append(upper)
    job = print_job(script)
    preview_png(Scene(job.log), job.fmt)
    assert drawn_at == [("lower", True), ("upper", True)]


def test_same_script_same_bytes(picture):
    assert drawn() == picture


def test_colours_follow_the_ring_angle_and_darken():
    assert [ring_step(a) for a in (0.0, 44.9, 45.0, 74.9, 75.0, 85.0, 90.0)] == [0, 0, 1, 3, 4, 6, 6]
    assert len(RING_COLOURS) == len(RING_STEPS) + 1
    light = [np.dot(to_rgb(one), (0.2126, 0.7152, 0.0722)) for one in RING_COLOURS]
    assert all(one > two for one, two in pairwise(light))
    assert ring_legend()[0][1] == "85–90°"


def test_growth_layer_is_nought_at_the_pith_and_one_under_the_bark():
    layer = Scene(print_job(small_script()).log).layer(
        np.array([[600.0, 0.0, 0.0], [600.0, 0.0, 300.0], [100.0, -150.0, 0.0]])
    )
    assert layer == pytest.approx([0.0, 1.0, 0.5], abs=1e-3)


def test_nearer_faces_cover_farther_ones():
    near = box_of(np.zeros(3), 10.0 * np.eye(3))
    far = Mesh(near.points + np.array([0.0, 50.0, 0.0]), near.faces)
    camera = look([far, near], np.array([0.0, 1.0, 0.0]), 60, 60)
    buffers = draw([far, near], camera, 60, 60)
    assert set(np.unique(buffers.index)) == {-1, 1}
    assert buffers.points()[:, 1] == pytest.approx(0.0, abs=1e-6)
