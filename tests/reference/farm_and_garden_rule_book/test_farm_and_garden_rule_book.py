"""Scribner's formula against two entries of a printed Decimal C table."""

import pytest

from pithline.trade.log_rules import scribner
from reference.reading import rows


def test_scribner_formula_stays_within_thirteen_of_the_printed_entries():
    for row in rows(__file__, "scribner_decimal_c.csv"):
        assert scribner(int(row["inches"]), int(row["feet"])) == pytest.approx(int(row["board_feet"]), abs=13.01)
