"""Moving, turning or rescaling a scan moves the model and nothing else; the order of its points does not matter."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from pithline.logmodel import dimensions
from pithline.logmodel.card import Card, ScanPoint
from pithline.logmodel.fit import fit_log
from truth.samples import sample_truth
from truth.scans import UNITS, simulate_scan

LOG = replace(sample_truth("af-15"), length=800.0)
"""Sawn short: a fit takes as long as the log is long."""
SCAN = simulate_scan(LOG, 2, points=8_000)
ENDS = (SCAN.pith_butt, SCAN.pith_top)


def fitted(points, pith, unit="m", up="+z", bark=8.5):
    marks = {"pith_butt": ScanPoint(tuple(pith[0])), "pith_top": ScanPoint(tuple(pith[1]))}
    return fit_log(points, Card("w", "black walnut", None, scan_units=unit, up=up, bark_thickness=bark, **marks))


PLAIN = fitted(SCAN.points, ENDS)


def alike(model, within):
    """Length, volumes, girths, pith and cover as in the plain fit."""
    assert model.length == pytest.approx(PLAIN.length, abs=within)
    assert dimensions.volume(model) == pytest.approx(dimensions.volume(PLAIN), rel=within / 150.0)
    x = np.linspace(0.0, LOG.length, 13)
    np.testing.assert_allclose(dimensions.diameters(model, x), dimensions.diameters(PLAIN, x), atol=within)
    np.testing.assert_allclose(model.splines(model.pith)(x), PLAIN.splines(PLAIN.pith)(x), atol=within)
    np.testing.assert_allclose(model.butt.normal, PLAIN.butt.normal, atol=2e-3)
    assert dimensions.coverage(model) == pytest.approx(dimensions.coverage(PLAIN), abs=0.02)


@settings(max_examples=5, deadline=None, derandomize=True)
@given(st.floats(0, 360), st.tuples(*[st.floats(-30, 30)] * 3))
def test_moved_and_turned_about_the_vertical(heading, shift):
    turn = Rotation.from_euler("z", heading, degrees=True).as_matrix()
    moved = [points @ turn.T + np.array(shift) for points in (SCAN.points, *ENDS)]
    model = fitted(moved[0], moved[1:])
    alike(model, 1.5)
    into = np.eye(4)
    into[:3, :3], into[:3, 3] = turn, shift
    np.testing.assert_allclose((model.scan_to_log @ into)[:3, 3], PLAIN.scan_to_log[:3, 3], atol=15.0)


@settings(max_examples=3, deadline=None, derandomize=True)
@given(st.sampled_from(sorted(UNITS)), st.sampled_from(["+y", "+x", "-z"]))
def test_other_units_and_axes(unit, up):
    scale = 1000.0 / UNITS[unit]
    axes = {
        "+y": [[0, 1, 0], [0, 0, 1], [1, 0, 0]],
        "+x": [[0, 0, 1], [1, 0, 0], [0, 1, 0]],
        "-z": np.diag([1, -1, -1]),
    }
    turn = np.array(axes[up], float)
    moved = [scale * (points @ turn.T) for points in (SCAN.points, *ENDS)]
    alike(fitted(moved[0], moved[1:], unit, up), 1.5)


@pytest.fixture(scope="module")
def whole():
    """A scan of the log at its full length, and its fit: how well a short log's form is known hangs on how many cells are seen."""
    scan = simulate_scan(sample_truth("af-15"), 2, points=12_000)
    return scan, fitted(scan.points, (scan.pith_butt, scan.pith_top))


@pytest.mark.parametrize("factor", [0.5, 0.73, 1.6, 2.0])
def test_a_copy_of_another_size_is_fitted_alike(factor, whole):
    """Noise, ground and bearers grow with it: what is left is what the fit holds in mm where it should hold it in radii."""
    scan, plain = whole
    marks = [factor * mark for mark in (scan.pith_butt, scan.pith_top)]
    model = fitted(factor * scan.points, marks, bark=factor * 8.5)
    x = np.linspace(0.0, plain.length, 60)
    for name in ("centre", "pith", "radius_under_bark", "stderr_radius"):
        copy, own = model.splines(getattr(model, name))(factor * x) / factor, plain.splines(getattr(plain, name))(x)
        assert np.sqrt(np.mean((copy - own) ** 2)) < 0.2, name


@settings(max_examples=3, deadline=None, derandomize=True)
@given(st.integers(0, 2**32 - 1))
def test_order_of_points(seed):
    model = fitted(np.random.default_rng(seed).permutation(SCAN.points), ENDS)
    for name in ("x", "centre", "pith", "radius_under_bark", "envelope", "stderr_radius", "scan_to_log"):
        np.testing.assert_array_equal(getattr(model, name), getattr(PLAIN, name))


@settings(max_examples=5, deadline=None, derandomize=True)
@given(
    st.floats(40, 110),
    st.floats(0, 0.05),
    st.floats(0, 6),
    st.floats(0, 1.5),
    st.floats(0, 6),
    st.sampled_from(sorted(UNITS)),
)
def test_whatever_the_yard(hidden, strays, slope, uneven, drift, unit):
    """Hidden girth, strays, slope, density, drift and unit as they come: the log stays the log."""
    yard = {"hidden_deg": hidden, "strays": strays, "ground_slope_deg": slope, "uneven": uneven, "drift": drift}
    scan = simulate_scan(LOG, 5, points=9_000, unit=unit, **yard)
    model = fitted(scan.points, (scan.pith_butt, scan.pith_top), unit)
    assert model.length == pytest.approx(LOG.length, abs=3.0)
    assert dimensions.volume(model) == pytest.approx(LOG.volume_under_bark(), rel=0.01 + 0.004 * drift)
