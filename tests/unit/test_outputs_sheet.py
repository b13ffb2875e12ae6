"""The set-up sheet read back: numbers equal the script's, nothing overlaps or runs off a page."""

import io
import re

import numpy as np
import pdfplumber
import pytest

from pithline.outputs.ends import tape_point
from pithline.outputs.reading import Script
from pithline.outputs.sheet import set_up_sheet
from pithline.outputs.sheet.lines import face_lines
from pithline.outputs.sheet.shop import from_face, from_pith
from pithline.outputs.templates import mill_lines
from pithline.outputs.words import Words
from unit.outputs_fixture import large_script, small_script


def pages_of(data):
    with pdfplumber.open(io.BytesIO(data)) as pdf:
        return [
            (page.width, page.height, page.extract_words(keep_blank_chars=True), page.extract_text())
            for page in pdf.pages
        ]


def faults(pages):
    """Words that leave their page or lie on one another."""
    found = []
    for number, (width, height, words, _) in enumerate(pages, 1):
        boxes = np.array([[w["x0"], w["top"] + 1.5, w["x1"], w["bottom"] - 1.5] for w in words])
        if not len(boxes):
            continue
        off = (boxes[:, 0] < 5) | (boxes[:, 1] < 5) | (boxes[:, 2] > width - 5) | (boxes[:, 3] > height - 5)
        found += [(number, "off the page", words[i]["text"]) for i in np.nonzero(off)[0]]
        a, b = boxes[:, None], boxes[None]
        over = (np.minimum(a[..., 2:], b[..., 2:]) - np.maximum(a[..., :2], b[..., :2]) > 0.5).all(axis=-1)
        found += [(number, words[i]["text"], words[j]["text"]) for i, j in np.argwhere(np.triu(over, 1))]
    return found


@pytest.fixture(scope="module")
def small():
    script = small_script()
    return script, pages_of(set_up_sheet(script))


def test_same_script_same_bytes():
    assert set_up_sheet(small_script()) == set_up_sheet(small_script())


@pytest.mark.parametrize(("units", "paper"), [("mm", "A4"), ("in", "Letter")])
def test_nothing_overlaps_or_leaves_the_page(units, paper):
    assert not faults(pages_of(set_up_sheet(small_script(), units, paper)))


def test_forty_settings_and_three_hundred_plates_fit():
    pages = pages_of(set_up_sheet(large_script(), "in", "Letter"))
    assert not faults(pages)
    assert sum("Mill setting" in text for *_, text in pages) == 40
    assert "300 plates" in "".join(text for *_, text in pages)


def test_heights_and_lifts_are_the_scripts(small):
    script, pages = small
    reading, words = Script(script), Words()
    on_mill = [one for one in reading.settings if one["tool"] == "mill"]
    panels = [text for *_, text in pages if "Mill setting" in text]
    assert len(panels) == len(on_mill)
    for setting, text in zip(on_mill, panels, strict=True):
        for lift in setting["lifts"]:
            if lift["lift"]:
                assert re.search(rf"{words.length(lift['lift'])}\s+at bunk {words.length(lift['bunk'])}", text)
        for end in ("butt", "top"):
            assert words.both(setting["marks"][end]["height"]) in text
        for cut in reading.cuts_of(setting):
            sign = "over" if cut["from_mark"] >= 0 else "under"
            height, scale = words.length(abs(cut["from_mark"])), words.length(cut["blade_height"])
            assert f"{reading.numbers[cut['id']]} {height} {sign} {scale}" in text
    assert "Clearance run first" in panels[1]
    assert "Clearance run first" not in panels[0]


def test_a_scale_that_reads_the_lower_edge_takes_off_half_a_kerf():
    script = small_script()
    script["inputs"]["mill"]["mill"]["scale_reads"] = "lower"
    pages = pages_of(set_up_sheet(script))
    assert "1 50 mm over 254 mm" in next(text for *_, text in pages if "Mill setting 1" in text)
    assert re.search(r"kerf's\s+lower\s+edge", pages[0][3])


@pytest.mark.parametrize("end", [0, 1])
def test_tape_distances_are_those_of_the_lines(small, end):
    script, pages = small
    reading, words = Script(script), Words()
    face = reading.ends("log")[end]
    text = next(t for *_, t in pages if f"{face.name.upper()} end" in t)
    mill = [one for one in reading.settings if one["tool"] == "mill"]
    assert [name for name, _, _ in face_lines(reading, mill, face)] == ["level", "1", "2", "3", "4", "5"]
    for _, line in mill_lines(reading, "log", face):
        for point in line:
            tape = tape_point(face, point)
            distances = " ".join(words.length(one) for one in (tape.from_twelve, tape.from_pith, tape.from_six))
            assert f"{tape.side} {distances}" in text


def test_the_first_box_holds_the_arms_of_each_end(small):
    script, pages = small
    first = pages[0][3]
    for face in Script(script).ends("log"):
        for arm, value in face.arms().items():
            assert f"{face.name} end, pith to bark {arm}" in first
            assert Words().both(value) in first
    assert "do not saw this plan" in first


def test_fence_distances_run_from_the_named_face_to_the_kerf(small):
    reading = Script(small[0])
    resaw = next(one for one in reading.settings if one["piece"] == "billet-1")
    first = reading.cuts_of(resaw)[0]
    # the face lies at -51 + 1 (half the mill's kerf), the kerf's near side at -43 - 0.6
    assert from_face(reading, resaw, first) == pytest.approx(50.0 - 43.6)
    rip = next(one for one in reading.settings if one["tool"] == "rip")
    assert from_face(reading, rip, reading.cuts_of(rip)[0]) is None
    assert np.abs(from_pith(reading, rip, reading.cuts_of(rip)[0])) == pytest.approx([30.0, 30.0])


def test_every_page_of_a_dried_run_comes_after_the_same_day():
    script = small_script()
    next(one for one in script["operations"] if one["op"] == "setting" and one["piece"] == "billet-1")["stage"] = (
        "dried"
    )
    texts = [text for *_, text in pages_of(set_up_sheet(script))]
    order = [
        next(i for i, text in enumerate(texts) if title in text) for title in ("The same day", "Later, when dried")
    ]
    assert order == sorted(order)
