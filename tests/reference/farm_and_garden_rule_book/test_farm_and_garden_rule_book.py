"""Scribner Decimal C against a second printed table."""

from pithline.trade.log_rules import scribner_decimal_c
from reference.reading import rows


def test_scribner_decimal_c_entries():
    for row in rows(__file__, "scribner_decimal_c.csv"):
        assert scribner_decimal_c(int(row["inches"]), int(row["feet"])) == int(row["board_feet"])
