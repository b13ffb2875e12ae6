"""Figures of the trade that follow from geometry or algebra alone, and what the functions refuse."""

import math
from types import SimpleNamespace

import numpy as np
import pytest

from pithline.mill.products import Part, Products
from pithline.trade.emc import equilibrium_moisture_c, equilibrium_moisture_f
from pithline.trade.grain import angle_of_one_in, strength_kept
from pithline.trade.log_rules import doyle, international_quarter, scale_log, scribner
from pithline.trade.ring_names import ring_names
from pithline.trade.shrinkage import corner_turn, face_shrinkage, sawn_size, shrinkage_at
from pithline.trade.weights import KG_M3_PER_LB_FT3, weight, wet_density
from pithline.wood.field import at_points, wood_field
from truth.logs import TrueLog
from truth.models import to_model

WALNUT = SimpleNamespace(shrink_radial=0.055, shrink_tangential=0.078)
RADIAL, TANGENTIAL = 4.033, 5.720  # percent, black walnut green to 8 %


@pytest.mark.parametrize(
    ("degrees", "width", "thickness", "corner"),
    [(90, 4.033, 5.720, 0.000), (75, 4.146, 5.607, 0.483), (60, 4.455, 5.298, 0.837), (45, 4.877, 4.877, 0.966),
     (30, 5.298, 4.455, 0.837), (0, 5.720, 4.033, 0.000)],
)  # fmt: skip
def test_shrinkage_by_ring_angle(degrees, width, thickness, corner):
    angle = math.radians(degrees)
    assert face_shrinkage(angle, RADIAL, TANGENTIAL) == pytest.approx((width, thickness), abs=6e-4)
    assert math.degrees(corner_turn(angle, RADIAL / 100, TANGENTIAL / 100)) == pytest.approx(corner, abs=6e-4)


@pytest.mark.parametrize(("degrees", "green"), [(90, 208.41), (0, 212.13)])
def test_green_width_for_200_mm_of_dry_walnut(degrees, green):
    part = Part("plate", 2, 500.0, 200.0, 4.0, True)
    products = Products("finished", (), (), dry_to_percent=8.0, surfacing=0.0)
    assert sawn_size(part, math.radians(degrees), WALNUT, products)[1] == pytest.approx(green, abs=0.006)


def test_surfacing_is_taken_from_both_faces_of_width_and_thickness():
    part = Part("plate", 2, 500.0, 200.0, 4.0, True)
    products = Products("finished", (), (), dry_to_percent=30.0, surfacing=0.5)
    assert sawn_size(part, math.pi / 2, WALNUT, products) == (500.0, 201.0, 5.0)


def test_shrinkage_refuses_what_has_no_meaning():
    with pytest.raises(ValueError, match="negative"):
        shrinkage_at(0.05, -1.0)
    part = Part("plate", 2, 500.0, 200.0, 4.0, True)
    with pytest.raises(ValueError, match='"rough"'):
        sawn_size(part, 1.0, WALNUT, Products("rough", (), ()))


@pytest.mark.parametrize(("lateral", "degrees"), [(25.0, 45), (43.3, 60), (93.3, 75), (141.8, 80), (285.8, 85)])
def test_ring_angle_on_a_face_25_mm_from_the_pith(lateral, degrees):
    """Of a straight round log: atan(lateral / 25 mm)."""
    field = wood_field(to_model(TrueLog("straight", 1000.0, 330.0, taper=0.0)))
    found = at_points(field, np.array([[500.0, lateral, 25.0]]), np.array([0.0, 0.0, 1.0]))[0]
    assert np.degrees(found[0]) == pytest.approx(degrees, abs=0.02)


@pytest.mark.parametrize(
    ("n", "degrees"), [(7, 8.130), (10, 5.711), (12, 4.764), (15, 3.814), (20, 2.862), (28, 2.045)]
)
def test_slope_and_angle(n, degrees):
    assert math.degrees(angle_of_one_in(n)) == pytest.approx(degrees, abs=6e-4)


def test_strength_between_rows_and_beyond_the_table():
    assert 81.0 < strength_kept(1 / 12, "bending") < 89.0
    with pytest.raises(ValueError, match="1 in 5"):
        strength_kept(1 / 4, "bending")
    with pytest.raises(ValueError, match="bending, impact, compression"):
        strength_kept(1 / 10, "tension")


def test_a_room_of_45_percent_at_20_degrees_keeps_wood_at_eight_and_a_half():
    assert equilibrium_moisture_c(20.0, 0.45) == pytest.approx(8.49, abs=0.03)
    assert equilibrium_moisture_f(70.0, 0.0) == 0.0
    with pytest.raises(ValueError, match="fraction"):
        equilibrium_moisture_f(70.0, 45.0)


@pytest.mark.parametrize(
    ("gravity", "moisture", "density"),
    [(0.51, 90, 969), (0.51, 73, 882), (0.55, 46, 803), (0.47, 58, 743), (0.55, 12, 616)],
)
def test_density_with_water(gravity, moisture, density):
    assert wet_density(gravity, moisture) == pytest.approx(density, abs=0.6)


def test_weight_and_density_units():
    assert weight(1e9, 929.0) == pytest.approx(929.0)
    assert pytest.approx(929, abs=0.5) == 58 * KG_M3_PER_LB_FT3


def test_a_log_in_millimetres_scales_as_in_inches():
    assert scale_log(20 * 25.4, 16 * 304.8) == pytest.approx(
        {"doyle": doyle(20, 16), "international_quarter": international_quarter(20, 16), "scribner": scribner(20, 16)}
    )
    assert scribner(24, 16) == pytest.approx(403.0, abs=0.05)
    assert scribner(28, 16) == pytest.approx(559.4, abs=0.05)
    assert scale_log(25.4, 304.8) == {"doyle": 0.0, "international_quarter": 0.0, "scribner": 0.0}


def test_ring_names_refuse_other_angles_and_definitions():
    with pytest.raises(ValueError, match="between 0 and 90"):
        ring_names(2.0, "flooring")
    with pytest.raises(ValueError, match="forest service, architectural, flooring, distributor"):
        ring_names(1.0, "furniture")
