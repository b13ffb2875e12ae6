"""The wood field against closed forms on logs whose rings can be written down."""

from dataclasses import replace

import numpy as np
import pytest

from pithline.wood.field import Planes, at_points, plane_stack, tables, wood_field
from truth.logs import Stub, TrueLog, direction, true_log
from truth.models import to_model

R, LENGTH = 200.0, 1000.0
CLOSE = 1e-6  # rad or mm: far below what any grade or saw can tell
UP = np.array([0.0, 0.0, 1.0])


def field_of(**changes):
    return wood_field(to_model(TrueLog("f", LENGTH, R, **({"taper": 0.0} | changes))))


def section(x=500.0, least=30.0, most=190.0):
    """Points of one cross-section at some distance from the pith of a centred log."""
    y, z = np.meshgrid(np.linspace(-most, most, 33), np.linspace(-most, most, 31))
    keep = (np.hypot(y, z) > least) & (np.hypot(y, z) < most)
    return np.column_stack([np.full(keep.sum(), x), y[keep], z[keep]])


def test_concentric_rings():
    points = section()
    angle, runout, depth, away = at_points(field_of(), points, UP)
    y, z = points[:, 1], points[:, 2]
    np.testing.assert_allclose(angle, np.arctan2(np.abs(y), np.abs(z)), atol=CLOSE)
    np.testing.assert_allclose(runout, 0.0, atol=CLOSE)
    np.testing.assert_allclose(depth, R - np.hypot(y, z), atol=CLOSE)
    np.testing.assert_allclose(away, np.hypot(y, z), atol=CLOSE)


@pytest.mark.parametrize("offset", [(30.0, 0.0), (-20.0, 25.0), (0.0, -45.0)])
def test_an_eccentric_pith_squeezes_the_rings(offset):
    """ρ = s / R(θ) with R(θ) = −a·e + √(R² − |a|² + (a·e)²), a the pith's offset from the middle of the circle."""
    field = field_of(pith_butt=offset, pith_top=offset)
    a = np.array(offset)
    clocks = np.radians(np.arange(5.0, 360.0, 20.0))
    e, side = direction(clocks), direction(clocks + np.pi / 2)
    root = np.sqrt(R**2 - a @ a + (e @ a) ** 2)
    rim = root - e @ a
    slope = (side @ a) * ((e @ a) / root - 1.0)  # dR/dθ, for de/dθ = e(θ + 90°)
    for clock, ray, across, out, lean in zip(clocks, e, side, rim, slope, strict=True):
        s = np.array([40.0, 80.0, 0.9 * out])
        points = np.column_stack([np.full(3, 480.0), a + s[:, None] * ray])
        angle, _, depth, away = at_points(field, points, np.array([0.0, *across]))
        np.testing.assert_allclose(depth, out - s, atol=0.02)
        np.testing.assert_allclose(away, s, atol=1e-6)
        # a plane through the pith misses 90° by arctan(R_θ / R), the same all along the ray
        np.testing.assert_allclose(angle, np.pi / 2 - np.arctan(abs(lean) / out), atol=3e-4, err_msg=f"{clock}")


def test_a_cone_leans_rings_and_fibres():
    """d falls by 40 mm a metre: R(x) = R − 0.02 (x − L/2); at s the layers lean by arctan(0.02 s / R(x))."""
    field = field_of(taper=40.0)
    x, s = np.array([100.0, 500.0, 900.0]), 120.0
    lean = np.arctan(0.02 * s / (R - 0.02 * (x - LENGTH / 2)))
    points = np.column_stack([x, np.zeros(3), np.full(3, s)])
    angle, runout, _, _ = at_points(field, points, UP)
    np.testing.assert_allclose(runout, lean, atol=1e-6)
    np.testing.assert_allclose(angle, lean, atol=1e-6)  # flat sawn but for the lean
    beside = np.column_stack([x, np.full(3, s), np.zeros(3)])
    angle, runout, _, _ = at_points(field, beside, UP)
    np.testing.assert_allclose(angle, np.pi / 2, atol=CLOSE)
    np.testing.assert_allclose(runout, 0.0, atol=CLOSE)


@pytest.mark.parametrize("degrees", [-4.0, 2.5])
def test_spiral_grain_shows_whole_on_a_radial_face_and_not_on_a_tangential_one(degrees):
    field = field_of(spiral=np.radians(degrees))
    points = np.array([[500.0, 0.0, 100.0], [300.0, 0.0, -150.0]])
    _, runout, _, _ = at_points(field, points, np.array([0.0, 1.0, 0.0]))
    np.testing.assert_allclose(runout, np.radians(abs(degrees)), atol=CLOSE)
    _, runout, _, _ = at_points(field, points, UP)
    np.testing.assert_allclose(runout, 0.0, atol=CLOSE)


def test_fibres_follow_the_sweep():
    """The centreline bows as 4 s t (1 − t); fibres follow its slope 4 s (1 − 2 t) / L."""
    sweep = 30.0
    field = field_of(sweep=sweep)
    x = np.linspace(150.0, 850.0, 8)
    t = x / LENGTH
    points = np.column_stack([x, np.full(8, 90.0), 4 * sweep * t * (1 - t)])
    _, runout, _, _ = at_points(field, points, UP)
    np.testing.assert_allclose(runout, np.arctan(np.abs(4 * sweep * (1 - 2 * t) / LENGTH)), atol=2e-4)


@pytest.mark.parametrize("kind", ["oval", "fluted", "flared", "swept", "eccentric", "tapered"])
def test_rings_and_fibres_of_a_shaped_log(kind):
    """Against central differences on the log's own formulas, a grade's worth of a degree."""
    truth = true_log(kind, 5)
    field = wood_field(to_model(truth))
    rng = np.random.default_rng(3)
    x = rng.uniform(40.0, truth.length - 40.0, 400)
    rho, clock = rng.uniform(0.15, 0.97, 400), rng.uniform(0, 2 * np.pi, 400)
    points = np.column_stack([x, truth.pith(x) + (rho * truth.rim(x, clock))[:, None] * direction(clock)])
    normal = np.array([0.03, 0.6, 0.8])
    normal /= np.linalg.norm(normal)
    angle, runout, _, _ = at_points(field, points, normal)
    np.testing.assert_allclose(np.degrees(angle), np.degrees(truth.ring_angle(points, normal)), atol=0.15)
    np.testing.assert_allclose(np.degrees(runout), np.degrees(truth.runout(points, normal)), atol=0.15)


def test_a_stub_is_bark_alone():
    plain, stubbed = field_of(), field_of(stubs=(Stub(500.0, 1.0, 40.0, 60.0),))
    np.testing.assert_array_equal(plain.radius, stubbed.radius)


def test_the_pith_itself_has_finite_grades():
    angle, runout, depth, away = at_points(field_of(), np.array([[500.0, 0.0, 0.0]]), UP)
    assert np.isfinite([angle[0], runout[0], depth[0]]).all() and away[0] == 0.0


def test_planes_say_what_points_say_and_the_doubts_beside():
    sure_model = to_model(true_log("oval", 2))
    doubts = {"stderr_radius": np.full_like(sure_model.stderr_radius, 2.0)}
    doubts |= {"stderr_pith": np.full_like(sure_model.stderr_pith, 3.0)}
    first, second, normal = np.eye(3)[0], np.eye(3)[1], np.eye(3)[2]
    heights, counts, steps = np.array([-40.0, 35.0, 90.0]), (9, 7), (60.0, 25.0)
    origin = np.array([200.0, -70.0, 0.0])
    i, j = np.arange(9) * 60.0, np.arange(7) * 25.0
    points = np.stack([origin + i[:, None, None] * first + j[None, :, None] * second + h * normal for h in heights])
    told = at_points(wood_field(sure_model), points, normal)
    sure, conservative = (
        plane_stack(tables(wood_field(model)), Planes(origin, first, second, normal, heights, counts, steps))
        for model in (sure_model, replace(sure_model, **doubts))
    )
    for seen in (sure, conservative):
        for name, other in zip(("angle", "runout", "depth", "from_pith"), told, strict=True):
            near = 2e-4 * max(1.0, np.abs(other).max() / 10)
            np.testing.assert_allclose(getattr(seen, name), other, atol=near, err_msg=name)
    kept = conservative.keeping(0.5)
    np.testing.assert_allclose(told[2] - kept.depth, 0.5 * 2.0, atol=2e-3)
    np.testing.assert_allclose(told[0] - kept.angle, 0.5 * 3.0 / np.maximum(told[3], 5.0), atol=2e-4)
