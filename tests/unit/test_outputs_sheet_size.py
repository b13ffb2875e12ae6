"""How many pages a sheet takes, and that a long one holds everything."""

import re

from unit.cradle_fixture import cradle_script
from unit.outputs_fixture import large_script
from unit.pdf_reading import faults
from unit.test_outputs_sheet import sheet_of


def test_forty_settings_fit_and_each_is_there():
    pages = sheet_of(large_script(), "in", "Letter")
    assert not faults(pages)
    text = " ".join(page[3] for page in pages)
    assert [int(one) for one in re.findall(r"(\d+) of 40 at the mill", text)] == list(range(1, 41))


def test_the_plan_of_a_few_settings_takes_six_pages_at_most():
    for paper in ("A4", "Letter"):
        assert len(sheet_of(cradle_script(), paper=paper)) <= 6
