"""A log sawn as is the custom: three slabs, four bolts, and runout by the height of one end."""

from dataclasses import replace

import numpy as np
import pytest

from pithline.files.mills import read_mill
from pithline.mill.practice_sizes import Practice
from pithline.mill.products import Limits, Part, Product, Products
from pithline.plan.evaluate.practice import practice_layout
from pithline.plan.execute.drawn_poser import DrawnPoser
from pithline.plan.execute.simulate import PieceToSaw, sawn_to_slabs, uncut_log
from pithline.plan.execute.slab_fill import FillRequest
from pithline.plan.problem.economics import Objective, economics_of
from pithline.plan.problem.log_frame import plan_log
from pithline.plan.problem.operations import Setting
from pithline.plan.problem.parts import sawn_parts
from pithline.plan.problem.task import SawingTask
from pithline.wood.field import at_points, wood_field
from truth.logs import TrueLog
from truth.models import to_model

INCH = 25.4
RADIUS, LENGTH = 13 * INCH, 44 * INCH
CENTRE_SLAB, HALF_SLAB, KERF = 4 * INCH, 3 * INCH, 2.0


@pytest.fixture(scope="module")
def model():
    return to_model(TrueLog("straight", LENGTH, RADIUS, taper=0.0, bark=10.0))


@pytest.fixture(scope="module")
def ledger(model):
    log = plan_log(model, 15.0, 25.0, 25.0, ())
    machines = read_mill()
    machines = replace(machines, mill=replace(machines.mill, kerf=KERF))
    never = Limits(
        "never", np.radians(90.0), np.radians(90.0), 0.0
    )  # slabs alone are looked at: nothing is sawn of them
    products = Products("green", (never,), (Product("p", 1.0, "never", (Part("p", 1, 400.0, 100.0, 5.0, False),)),))
    parts = sawn_parts(products, "black walnut")
    shop = SawingTask(machines, parts, economics_of(Objective.VOLUME, parts, products, machines), np.zeros(1))
    layout = practice_layout(Practice(CENTRE_SLAB, HALF_SLAB, 2 * INCH, (2, 3)), (0, 0, 0, 0))
    start = PieceToSaw(log, log.piece, layout, DrawnPoser(log, machines))
    return sawn_to_slabs(uncut_log(), [start], shop).filled(
        shop, FillRequest(shop.economics, np.zeros(1), reserve=False)
    )


def left_over(ledger, kind):
    return [piece for name, piece in ledger.pieces.items() if piece.kind == kind and name not in ledger.used]


def section_points():
    """Points across the log at mid-length, none within a hair of a saw face."""
    y, z = np.meshgrid(np.linspace(-RADIUS, RADIUS, 201), np.linspace(-RADIUS, RADIUS, 203))
    keep = np.hypot(y, z) < RADIUS
    return np.column_stack([np.full(keep.sum(), LENGTH / 2), y[keep], z[keep]])


def test_three_slabs_leave_four_bolts(ledger):
    assert len(left_over(ledger, "slab")) == 3
    assert len(left_over(ledger, "bolt")) == 4
    assert not left_over(ledger, "half")
    assert len([operation for operation in ledger.operations if isinstance(operation, Setting)]) == 3


def test_the_bolts_are_the_four_corners_beyond_the_slabs(ledger):
    points = section_points()
    y, z = points[:, 1], points[:, 2]
    beyond = (np.abs(y) > HALF_SLAB / 2 + KERF) & (np.abs(z) > CENTRE_SLAB / 2 + KERF)
    found = set()
    for bolt in left_over(ledger, "bolt"):
        held = bolt.holds(points)
        assert held.any()
        quarter = {(a, b) for a, b in zip(np.sign(y[held]), np.sign(z[held]), strict=True)}
        assert len(quarter) == 1
        (corner,) = quarter
        np.testing.assert_array_equal(held, beyond & (np.sign(y) == corner[0]) & (np.sign(z) == corner[1]))
        found.add(corner)
    assert len(found) == 4


def centre_slab_points(tilt):
    """Points of a plane through the middle of the pith, raised by `tilt` along the log, and the plane's normal."""
    up = np.array([-np.sin(tilt), 0.0, np.cos(tilt)])
    along = np.array([np.cos(tilt), 0.0, np.sin(tilt)])
    s, y = np.meshgrid(np.linspace(-400, 400, 41), np.linspace(60, 250, 20))
    middle = np.array([LENGTH / 2, 0.0, 0.0])
    return middle + s.reshape(-1, 1) * along + y.reshape(-1, 1) * [0.0, 1.0, 0.0], up


def test_a_level_pith_gives_no_runout(model):
    points, up = centre_slab_points(0.0)
    ring_angle, runout, _, _ = at_points(wood_field(model), points, up)
    assert np.abs(runout).max() < 1e-9
    np.testing.assert_allclose(ring_angle, np.pi / 2, atol=1e-6)


@pytest.mark.parametrize("raised", [0.25 * INCH, 1 * INCH, 2 * INCH])
def test_raising_one_end_gives_runout_arctan_h_over_l(model, raised):
    tilt = np.arctan2(raised, LENGTH)
    points, up = centre_slab_points(tilt)
    _, runout, _, _ = at_points(wood_field(model), points, up)
    np.testing.assert_allclose(np.abs(runout), tilt, atol=1e-9)
