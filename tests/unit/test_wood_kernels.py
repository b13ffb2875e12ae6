"""The kernels' own arccosine and clock angle against numpy's (peers), and box figures against points."""

import numpy as np

from pithline.wood.field import at_points, tables, wood_field
from pithline.wood.kernels import arccos, box_figures, clock_angle, quarter_angle
from truth.logs import true_log
from truth.models import to_model


def test_arccosine():
    x = np.linspace(0.0, 1.0, 4001)
    assert max(abs(arccos(v) - np.arccos(v)) for v in x) < 3e-8


def test_quarter_angle():
    a, b = (values.ravel() for values in np.meshgrid(*[np.concatenate([[0.0, 1e-12], np.linspace(0.01, 3.0, 80)])] * 2))
    found = np.array([quarter_angle(*each) for each in zip(a, b, strict=True)])
    np.testing.assert_allclose(found, np.arctan2(a, b), atol=3e-8)


def test_clock_angle():
    angle = np.linspace(0.0, 2 * np.pi, 3601)[:-1]
    found = np.array([clock_angle(-np.sin(a), np.cos(a)) for a in angle])
    apart = np.mod(found - angle + np.pi, 2 * np.pi) - np.pi
    assert np.abs(apart).max() < 3e-8


def test_box_figures_are_those_of_its_points():
    model = to_model(true_log("swept", 5))
    field = wood_field(model)
    corner, length, width, thick = (np.array(v, float) for v in ([400, 90, 8], [500, 3, 2], [-1, 130, 0], [0, 0, 4]))
    a, b = np.linspace(0, 1, 51)[:, None, None], np.linspace(0, 1, 14)[None, :, None]
    normal = thick / np.linalg.norm(thick)
    angle, runout, _, _ = at_points(field, corner + thick / 2 + a * length + b * width, normal)
    depth, pith = zip(
        *(at_points(field, corner + t * thick + a * length + b * width, normal)[2:] for t in (0, 1)), strict=True
    )
    sap = float(np.median(depth))
    found = box_figures(corner, (length, width, thick), (51, 14, 2), sap, tables(field, 0.0, 0.0))
    expected = [angle.min(), angle.mean(), runout.max(), np.min(depth), np.min(pith), (np.array(depth) < sap).sum()]
    assert np.allclose(found[:6], expected, rtol=1e-9)
    assert 0 < found[5] < 2 * 51 * 14
    places = np.broadcast_to(b[..., 0], depth[0].shape)[(depth[0] < sap) | (depth[1] < sap)]
    assert np.allclose(found[6:8], [places.min(), places.max()])
    assert found[9] == angle.max()
