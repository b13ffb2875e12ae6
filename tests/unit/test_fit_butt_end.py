"""Which end is the butt: by form, by card, by marks; doubt and contradiction are said."""

import numpy as np
import pytest

from pithline.logmodel.butt_end import LogEnds, tell_butt
from pithline.logmodel.card import Card, ScanPoint

AXIS = np.array([1.0, 0.0, 0.0])
PLACE = np.linspace(0.0, 1.0, 61)
TAPER = 200.0 - 15.0 * PLACE


def told(radius, **card):
    ends = LogEnds(np.zeros(3), np.array([3000.0, 0.0, 0.0]), np.asarray(radius, float))
    return tell_butt(Card("w", "black walnut", None, **card), ends, AXIS, lambda point: point)


def test_the_thicker_end_without_a_doubt():
    assert told(TAPER).low and told(TAPER).doubt == ""
    assert not told(TAPER[::-1]).low and told(TAPER[::-1]).doubt == ""


def test_a_fork_at_the_top_is_not_taken_for_a_butt():
    swollen = TAPER + 22.0 * np.exp(-(((PLACE - 1.0) / 0.06) ** 2))
    found = told(swollen)
    assert swollen[-1] > swollen[0] and found.low


def test_a_log_without_taper_is_told_by_its_flare():
    flared = 200.0 + 30.0 * np.exp(-PLACE / 0.08)
    assert told(flared).low and told(flared).doubt == ""


def test_a_cylinder_is_in_doubt():
    found = told(np.full(61, 200.0))
    assert found.doubt.startswith("Which end is the butt is in doubt: its diameter is 400 mm")


@pytest.mark.parametrize(
    "said",
    [{"butt": "max"}, {"pith_butt": ScanPoint((2990.0, 0.0, 0.0))}, {"twelve_top": ScanPoint((5.0, 0.0, 150.0))}],
)
def test_what_contradicts_the_form_is_taken_and_told(said):
    found = told(TAPER, **said)
    assert not found.low and "if butt and top were swapped" in found.doubt


def test_what_agrees_with_the_form_is_not_told():
    assert told(TAPER, butt="min").doubt == "" and told(TAPER, pith_butt=ScanPoint((3.0, 0.0, 0.0))).doubt == ""
