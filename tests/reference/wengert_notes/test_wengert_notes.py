"""Moisture and log rules against a specialist's published notes."""

import math

import pytest

from pithline.trade.emc import equilibrium_moisture_f
from pithline.trade.log_rules import international_quarter, scribner
from reference.reading import rows

PRINTED_OTHERWISE = {(15, 16), (17, 14), (21, 8)}


def test_moisture_ladder():
    for row in rows(__file__, "moisture_ladder.csv"):
        computed = equilibrium_moisture_f(70.0, float(row["humidity_percent"]) / 100)
        assert computed == pytest.approx(float(row["moisture"]), abs=0.5)  # a ladder in whole percent


def test_international_rule_to_the_nearest_five():
    misses = set()
    for row in rows(__file__, "international.csv"):
        inches, feet, printed = int(row["inches"]), int(row["feet"]), int(row["board_feet"])
        computed = international_quarter(inches, feet)
        assert computed == pytest.approx(printed, abs=2.73)
        if 5 * math.floor(computed / 5 + 0.5) != printed:
            misses.add((inches, feet))
    assert misses == PRINTED_OTHERWISE


def test_scribner_formula_stays_within_thirteen_of_the_table_and_is_not_it():
    apart = 0
    for row in rows(__file__, "scribner_decimal_c.csv"):
        computed = scribner(int(row["inches"]), int(row["feet"]))
        assert computed == pytest.approx(int(row["board_feet"]), abs=13.0)
        apart += 10 * math.floor(computed / 10 + 0.5) != int(row["board_feet"])
    assert apart > 0
