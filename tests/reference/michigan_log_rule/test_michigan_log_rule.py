"""International 1/4-inch rule against the law and the closed forms of its parent rule."""

import pytest

from pithline.trade.log_rules import international_quarter
from reference.reading import rows


def test_one_section_is_the_laws_formula():
    for inches in (6, 12, 20.5, 30):
        assert international_quarter(inches, 4) == pytest.approx(0.904762 * (0.22 * inches**2 - 0.71 * inches))


def test_sections_add_up_to_the_closed_forms():
    for row in rows(__file__, "closed_forms.csv"):
        for inches in (8, 14, 25):
            parent = float(row["a"]) * inches**2 + float(row["b"]) * inches + float(row["c"])
            # the closed forms are printed to two decimals
            assert international_quarter(inches, float(row["feet"])) == pytest.approx(0.904762 * parent, abs=0.006)
