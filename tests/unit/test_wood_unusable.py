"""Wood no plate may hold: each kind of defect against its own shape on a straight round log."""

import numpy as np
import pytest

from pithline.logmodel.card import Defect
from pithline.plan.problem.log_frame import in_trims, plan_log, unusable_on_planes
from pithline.wood.field import Planes, wood_field
from pithline.wood.unusable import in_defect, surface_point
from truth.logs import TrueLog, direction
from truth.models import to_model

R, LENGTH = 200.0, 1000.0
TRUTH = TrueLog("u", LENGTH, R, taper=0.0, butt_tilt=(0.05, -0.03), top_tilt=(0.0, 0.04))
CLOCK = np.radians(70.0)


@pytest.fixture(scope="module")
def model():
    return to_model(TRUTH)


@pytest.fixture(scope="module")
def field(model):
    return wood_field(model)


def cloud(count=4000):
    rng = np.random.default_rng(8)
    x, s, clock = rng.uniform(0, LENGTH, count), R * np.sqrt(rng.uniform(0, 1, count)), rng.uniform(0, 2 * np.pi, count)
    return np.column_stack([x, s[:, None] * direction(clock)])


def compare(found, signed, band):
    """`found` against a signed depth (mm, positive inside), points within `band` of the border left out."""
    assert (signed > band).any()
    np.testing.assert_array_equal(found[signed > band], True)
    np.testing.assert_array_equal(found[signed < -band], False)


def test_surface_point(field):
    np.testing.assert_allclose(surface_point(field, 400.0, CLOCK), [400.0, *(R * direction(CLOCK))], atol=1e-6)


def near(points, clock):
    """Distance along and aside of the ray from the pith at a clock angle."""
    e = direction(clock)
    return points[:, 1:] @ e, points[:, 1:] @ np.array([-e[1], e[0]])


def test_a_knot_is_a_cone_from_the_pith_to_its_mark(model, field):
    points = np.concatenate(
        [cloud(), np.random.default_rng(1).normal([450.0, *(120 * direction(CLOCK))], 40, (3000, 3))]
    )
    knot = Defect("knot", x=450.0, clock=CLOCK, diameter=80.0, margin=6.0)
    along, aside = near(points, CLOCK)
    off = np.hypot(points[:, 0] - 450.0, aside)
    inside = (np.hypot(points[:, 1], points[:, 2]) < R) & (along > 10.0)
    signed = 40.0 * along / R + 6.0 - off
    compare(in_defect(knot, model, field, points[inside]), signed[inside], 0.1)


def test_metal_is_a_sphere_at_the_surface(model, field):
    nail = Defect("metal", x=300.0, clock=CLOCK, diameter=60.0, margin=20.0)
    centre = np.array([300.0, *(R * direction(CLOCK))])
    points = np.concatenate([cloud(), np.random.default_rng(2).normal(centre, 35, (2000, 3))])
    compare(in_defect(nail, model, field, points), 50.0 - np.linalg.norm(points - centre, axis=1), 0.1)


@pytest.mark.parametrize("end", ["butt", "top"])
def test_rot_is_a_cylinder_from_its_end(model, field, end):
    rot = Defect("rot", end=end, diameter=120.0, length=250.0, margin=5.0)
    points = cloud()
    plane = model.butt if end == "butt" else model.top
    from_end = -(points - plane.point) @ plane.normal
    signed = np.minimum(255.0 - from_end, 65.0 - np.hypot(points[:, 1], points[:, 2]))
    compare(in_defect(rot, model, field, points), signed, 0.1)


def test_a_check_is_a_radial_plane_from_end_and_surface(model, field):
    split = Defect("check", end="butt", clock=CLOCK, length=300.0, depth=80.0, margin=8.0)
    rng = np.random.default_rng(4)
    along, aside = rng.uniform(5, R, 3000), rng.uniform(-20, 20, 3000)
    e = direction(CLOCK)
    yz = along[:, None] * e + aside[:, None] * np.array([-e[1], e[0]])
    points = np.column_stack([rng.uniform(20, 600, 3000), yz])
    from_end = -(points - model.butt.point) @ model.butt.normal
    depth = R - np.hypot(along, aside)
    signed = np.minimum.reduce([308.0 - from_end, 8.0 - np.abs(aside), 88.0 - depth])
    compare(in_defect(split, model, field, points), signed, 0.6)
    behind = points * [1, -1, -1]
    assert not in_defect(split, model, field, behind[along > 20]).any()


def test_trims_are_measured_square_to_the_ends_as_sawn(model):
    log = plan_log(model, 20.0, 30.0, 45.0, ())
    points = np.concatenate([cloud(), cloud() * [0.12, 1, 1], [LENGTH, 0, 0] - cloud() * [0.12, 1, 1]])
    depth = [-(points - end.point) @ end.normal for end in (model.butt, model.top)]
    np.testing.assert_array_equal(in_trims(log, points), (depth[0] < 30.0) | (depth[1] < 45.0))


def test_trims_and_defects_on_a_stack_of_planes(model, field):
    knot = Defect("knot", x=450.0, clock=CLOCK, diameter=80.0)
    log = plan_log(model, 20.0, 30.0, 45.0, (knot,))
    first, second, up = np.eye(3)[0], np.eye(3)[1], np.eye(3)[2]
    origin, heights, counts, steps = np.array([5.0, -150.0, 0.0]), np.array([-60.0, 20.0, 65.0]), (34, 13), (30.0, 25.0)
    gone = unusable_on_planes(log, Planes(origin, first, second, up, heights, counts, steps))
    i, j = np.arange(34) * 30.0, np.arange(13) * 25.0
    points = np.stack([origin + i[:, None, None] * first + j[None, :, None] * second + h * up for h in heights])
    flat = points.reshape(-1, 3)
    expected = in_trims(log, flat) | in_defect(knot, model, field, flat)
    assert 0.02 < expected.mean() < 0.5
    np.testing.assert_array_equal(gone.reshape(-1), expected)
