"""Percentiles that hold for the next draw."""

import numpy as np
import pytest

from pithline.yard.deciles import deciles


def test_nine_values_are_their_own_deciles():
    assert deciles([3, 1, 2, 9, 8, 7, 6, 5, 4]) == (1.0, 5.0, 9.0)


def test_what_is_certain_has_no_span():
    assert deciles(np.full(16, 4.5)) == (4.5, 4.5, 4.5)


@pytest.mark.parametrize(("draws", "shape"), [(16, "uniform"), (64, "uniform"), (19, "lognormal"), (59, "lognormal")])
def test_one_more_draw_lies_inside_four_times_in_five(draws, shape):
    """Hyndman and Fan (1996), type 6: exact for any distribution where (n + 1)/10 is whole. Three standard errors."""
    rng = np.random.default_rng(7)
    inside = []
    for sample in getattr(rng, shape)(size=(20_000, draws + 1)):
        low, _, high = deciles(sample[1:])
        inside.append(low <= sample[0] <= high)
    assert abs(np.mean(inside) - 0.8) < 3 * np.sqrt(0.16 / 20_000)
