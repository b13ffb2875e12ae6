"""Doyle rule against a printed sheet."""

import pytest

from pithline.trade.log_rules import doyle
from reference.reading import rows


def test_doyle_sheet():
    for row in rows(__file__, "doyle.csv"):
        assert doyle(int(row["inches"]), int(row["feet"])) == pytest.approx(int(row["board_feet"]), abs=0.5)


def test_doyle_finds_nothing_in_a_pole():
    assert doyle(3.0, 16.0) == 0.0
