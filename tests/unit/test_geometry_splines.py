"""Periodic splines over kept places: scipy's figures, to the last bit."""

import numpy as np
import pytest
from scipy.interpolate import CubicSpline

from pithline.geometry.splines import closed_places, natural_slopes


@pytest.mark.parametrize("count", [5, 73, 361])
@pytest.mark.parametrize("columns", [1, 2, 150])
def test_pieces_and_slopes_are_those_of_scipy(count, columns):
    rng = np.random.default_rng(count + columns)
    places = np.arange(count) * (2.0 * np.pi / (count - 1))
    values = 200.0 + rng.normal(0.0, 30.0, (count, columns))
    values[-1] = values[0]
    own, made = closed_places(places), CubicSpline(places, values, axis=0, bc_type="periodic")
    assert np.array_equal(own.pieces(values), made.c)
    assert np.array_equal(own.slopes(values)[:-1], made.c[2])
    assert np.array_equal(own.slopes(values)[-1], made.c[2, 0])


def test_places_need_not_stand_at_equal_steps():
    rng = np.random.default_rng(3)
    places = np.cumsum(rng.uniform(0.2, 2.0, 40))
    values = rng.normal(0.0, 1.0, (40, 3))
    values[-1] = values[0]
    made = CubicSpline(places, values, axis=0, bc_type="periodic")
    assert np.array_equal(closed_places(places).pieces(values), made.c)


@pytest.mark.parametrize("count", [3, 4, 90])
def test_natural_slopes_are_those_of_scipy(count):
    rng = np.random.default_rng(count)
    for places in (np.arange(count) * 12.34, np.cumsum(rng.uniform(1.0, 9.0, count))):
        values = 200.0 + np.cumsum(rng.normal(0.0, 1.0, (count, 7)), axis=0)
        made = CubicSpline(places, values, axis=0, bc_type="natural")(places, 1)
        assert np.array_equal(natural_slopes(places, values), made)
