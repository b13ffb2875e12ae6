"""How many pages a sheet takes, and that a long one holds everything."""

import re

import pytest
from reportlab.platypus import PageBreak

from pithline.outputs.pdf.flow import gap, paragraph
from pithline.outputs.pdf.page import document, height_of
from pithline.outputs.pdf.paging import paged
from unit.cradle_fixture import cradle_script
from unit.outputs_fixture import bucked_script, large_script, small_script
from unit.pdf_reading import faults, pages_of
from unit.test_outputs_sheet import sheet_of


def test_many_settings_fit_and_each_is_there():
    pages = sheet_of(large_script(settings=24), "in", "Letter")
    assert not faults(pages)
    text = " ".join(page[3] for page in pages)
    assert [int(one) for one in re.findall(r"(\d+) of 24 at the mill", text)] == list(range(1, 25))


@pytest.mark.parametrize(("units", "paper"), [("mm", "A4"), ("mm", "Letter"), ("in", "A4"), ("in", "Letter")])
@pytest.mark.parametrize("script", [small_script, bucked_script, cradle_script])
def test_the_plan_of_a_few_settings_takes_four_pages(script, units, paper):
    assert len(sheet_of(script(), units, paper)) <= 4


@pytest.mark.parametrize(("units", "paper"), [("mm", "A4"), ("in", "Letter")])
def test_no_page_holds_one_setting_that_others_could_take(units, paper):
    pages = sheet_of(large_script(settings=7, plates=2), units, paper)
    held = [len(re.findall(r"\d+ of 7 at the mill", page[3])) for page in pages]
    assert sum(held) == 7 and sorted(one for one in held if one)[0] >= 2


def heights_by_page(story):
    """The heights of the spacers on each page."""
    pages = [[]]
    for one in story:
        if isinstance(one, PageBreak):
            pages.append([])
        else:
            pages[-1].append(one.height)
    return pages


def test_blocks_take_the_fewest_pages_and_fill_them_alike():
    third = height_of("A4") / 3.0 - 2.0
    assert heights_by_page(paged([[[gap(third)]]] * 7, "A4")) in ([[third] * 3, [third] * 2, [third] * 2],
                                                                  [[third] * 2, [third] * 3, [third] * 2],
                                                                  [[third] * 2, [third] * 2, [third] * 3])  # fmt: skip
    assert heights_by_page(paged([[[gap(third)]]] * 4, "A4")) == [[third] * 2, [third] * 2]


def test_a_block_is_drawn_smaller_only_where_that_saves_a_page():
    room = height_of("A4")
    large, small, other = 0.6 * room, 0.45 * room, 0.5 * room
    assert heights_by_page(paged([[[gap(large)], [gap(small)]], [[gap(other)]]], "A4")) == [[small, other]]
    assert heights_by_page(paged([[[gap(large)], [gap(small)]], [[gap(large)]]], "A4")) == [[large], [large]]


def test_room_that_a_block_asks_for_after_it_counts_between_blocks_alone():
    half = height_of("A4") / 2.0 - 3.0
    blocks = [[[paragraph("told", 10.0), gap(half - 13.0), paragraph("", 0.0, spaceAfter=9.0)]]] * 2
    pages = pages_of(document(paged(blocks, "A4"), "A4", "", ""))
    assert [page[3].count("told") for page in pages] == [1, 1]


@pytest.mark.parametrize("script", [small_script, bucked_script, cradle_script])
@pytest.mark.parametrize(("units", "paper"), [("mm", "A4"), ("mm", "Letter"), ("in", "A4"), ("in", "Letter")])
def test_no_page_is_blank(script, units, paper):
    foot = 4  # title, page and the line under them
    assert all(len(page[2]) > foot for page in sheet_of(script(), units, paper))


def test_a_block_taller_than_a_page_has_its_pages_to_itself():
    room = height_of("A4")
    assert heights_by_page(paged([[[gap(90.0)]], [[gap(1.2 * room)]], [[gap(90.0)]]], "A4")) == [
        [90.0],
        [1.2 * room],
        [90.0],
    ]


def test_where_page_1_is_full_what_was_assumed_stands_together_on_the_next():
    script = bucked_script()
    script["cautions"] = [f"caution {number} " + "of many words that take a line of the page and some more of the next one " * 2
                          for number in range(17)]  # fmt: skip
    pages = sheet_of(script, "in", "Letter")
    assert "caution 0" not in pages[0][3] and pages[1][3].startswith("What the plan takes for granted")
    assert (
        all(f"Caution {number} " in pages[1][3] for number in range(17))
        and "Crosscut first" in pages[1][3] + pages[2][3]
    )
