"""Names of sawing by ring angle, against what each source calls them."""

import math

import pytest

from pithline.trade.ring_names import DEFINITIONS, QUARTERSAWN, ring_names
from reference.reading import rows

ROWS = rows(__file__, "definitions.csv")


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['definition']}-{row['name']}")
def test_a_name_holds_within_its_limits_and_not_beyond(row):
    low, high = float(row["low"]), float(row["high"])
    for degrees in (low, (low + high) / 2, high):
        assert row["name"] in ring_names(math.radians(degrees), row["definition"])
    for degrees in (low - 0.1, high + 0.1):
        if 0 <= degrees <= 90:
            assert row["name"] not in ring_names(math.radians(degrees), row["definition"])


def test_every_definition_is_in_the_table():
    assert {row["definition"] for row in ROWS} == set(DEFINITIONS)


def test_quartersawn_begins_at_45_60_or_75_degrees():
    limits = {name: ranges[QUARTERSAWN][0] for name, ranges in DEFINITIONS.items()}
    assert limits == {"forest service": 45, "architectural": 60, "flooring": 45, "distributor": 75}


def test_the_same_board_bears_other_names_elsewhere():
    board = math.radians(50)
    assert ring_names(board, "forest service") == ("quartersawn", "rift")
    assert ring_names(board, "architectural") == ("rift",)
