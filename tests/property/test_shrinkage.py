"""Laws of shrinkage by ring angle and moisture."""

from dataclasses import replace
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pithline.mill.products import Part, Products
from pithline.trade.shrinkage import corner_turn, face_shrinkage, sawn_size, shrinkage_at

angles = st.floats(0.0, 1.5707963)
moistures = st.floats(0.0, 40.0)
shrinkages = st.tuples(st.floats(0.0, 0.1), st.floats(0.0, 0.1)).map(sorted)
PART = Part("back", 2, 550.0, 215.0, 4.5, True)
FINISHED = Products("finished", (), (), dry_to_percent=8.0, surfacing=0.5)


def species(pair):
    return SimpleNamespace(shrink_radial=pair[0], shrink_tangential=pair[1])


@given(angles, shrinkages)
def test_width_and_thickness_share_what_the_rings_give(angle, pair):
    radial, tangential = pair
    wide, thick = face_shrinkage(angle, radial, tangential)
    assert wide + thick == pytest.approx(radial + tangential, abs=1e-15)
    assert radial - 1e-15 <= wide <= tangential + 1e-15
    assert radial - 1e-15 <= thick <= tangential + 1e-15


@given(angles, angles, shrinkages)
def test_nearer_to_quartersawn_shrinks_less_in_width(one, other, pair):
    lower, upper = sorted((one, other))
    assert face_shrinkage(upper, *pair)[0] <= face_shrinkage(lower, *pair)[0] + 1e-15


@given(angles, shrinkages)
def test_corners_turn_alike_either_side_of_45_degrees(angle, pair):
    assert corner_turn(angle, *pair) == pytest.approx(corner_turn(1.5707963267948966 - angle, *pair), abs=1e-15)


@given(moistures, moistures, st.floats(0.0, 0.1))
def test_drier_wood_is_smaller(one, other, ovendry):
    drier, wetter = sorted((one, other))
    assert shrinkage_at(ovendry, drier) >= shrinkage_at(ovendry, wetter) >= 0.0
    assert shrinkage_at(ovendry, 0.0) == pytest.approx(ovendry, rel=1e-14)


@given(angles, moistures, shrinkages, st.floats(0.0, 3.0))
def test_drying_and_surfacing_a_sawn_part_give_the_finished_size(angle, moisture, pair, surfacing):
    products = replace(FINISHED, dry_to_percent=moisture, surfacing=surfacing)
    length, width, thickness = sawn_size(PART, angle, species(pair), products)
    wide, thick = face_shrinkage(angle, *(shrinkage_at(one, moisture) for one in pair))
    assert width * (1 - wide) - 2 * surfacing == pytest.approx(PART.width)
    assert thickness * (1 - thick) - 2 * surfacing == pytest.approx(PART.thickness)
    assert length >= PART.length


@given(angles, shrinkages)
def test_green_sizes_are_sawn_as_stated(angle, pair):
    size = sawn_size(PART, angle, species(pair), Products("green", (), (), dry_to_percent=8.0, surfacing=0.5))
    assert size == (PART.length, PART.width, PART.thickness)


def test_finished_sizes_need_a_moisture_content():
    with pytest.raises(ValueError, match="dry_to_percent"):
        sawn_size(PART, 1.0, species((0.055, 0.078)), replace(FINISHED, dry_to_percent=None))
