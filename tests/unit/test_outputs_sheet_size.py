"""How many pages a sheet takes, and that a long one holds everything."""

import re

from unit.cradle_fixture import cradle_script
from unit.outputs_fixture import bucked_script, large_script
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


def test_where_page_1_is_full_what_was_assumed_stands_together_on_the_next():
    script = bucked_script()
    script["cautions"] = [f"caution {number} " + "of many words that take a line of the page and some more of the next one " * 2
                          for number in range(12)]  # fmt: skip
    pages = sheet_of(script, "in", "Letter")
    assert "caution 0" not in pages[0][3] and pages[1][3].startswith("What the plan takes for granted")
    assert (
        all(f"Caution {number} " in pages[1][3] for number in range(12))
        and "Crosscut first" in pages[1][3] + pages[2][3]
    )
