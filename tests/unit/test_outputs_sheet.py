"""The set-up sheet read back: numbers equal the script's, nothing overlaps or runs off a page."""

import io
import re

import numpy as np
import pdfplumber
import pytest

from pithline.outputs.cut_script.document import Tool
from pithline.outputs.cut_script.end_lines import end_lines, lined_settings
from pithline.outputs.cut_script.shop_measures import MeasuredFrom
from pithline.outputs.ends import tape_point
from pithline.outputs.print_job import print_job
from pithline.outputs.sheet.mill_views import stands
from pithline.outputs.sheet.set_up_sheet import set_up_sheet
from unit.outputs_fixture import bucked_script, large_script, small_script


def pages_of(data):
    with pdfplumber.open(io.BytesIO(data)) as pdf:
        return [
            (page.width, page.height, page.extract_words(keep_blank_chars=True), page.extract_text().replace("\xa0", " "))
            for page in pdf.pages
        ]


def sheet_of(script, units="mm", paper="A4"):
    return pages_of(set_up_sheet(print_job(script, units, paper)))


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
    return print_job(script), sheet_of(script)


def test_same_script_same_bytes():
    assert set_up_sheet(print_job(small_script())) == set_up_sheet(print_job(small_script()))


@pytest.mark.parametrize(("units", "paper"), [("mm", "A4"), ("in", "Letter")])
def test_nothing_overlaps_or_leaves_the_page(units, paper):
    assert not faults(sheet_of(small_script(), units, paper))


def test_forty_settings_and_three_hundred_plates_fit():
    pages = sheet_of(large_script(), "in", "Letter")
    assert not faults(pages)
    assert sum("Mill setting" in text for *_, text in pages) == 40
    assert "300 plates" in "".join(text for *_, text in pages)


def test_heights_and_lifts_are_the_scripts(small):
    job, pages = small
    log, words = job.log, job.fmt
    on_mill = [one for one in log.settings if one.tool is Tool.MILL]
    panels = [" ".join(text.split()) for *_, text in pages if "Mill setting" in text]
    assert len(panels) == len(on_mill)
    for setting, text in zip(on_mill, panels, strict=True):
        for lift in setting.lifts:
            if lift.lift:
                assert re.search(rf"{words.length(lift.lift)}\s+at bunk {words.length(lift.bunk)}", text)
        for mark in setting.marks.both:
            assert words.both(mark.height) in text
        room = setting.mark_room
        assert re.search(rf"{words.length(room.down)} lower or {words.length(room.up)} higher", text)
        for cut in log.cuts_of(setting):
            sign = "over" if cut.from_mark >= 0 else "under"
            height, scale = words.length(abs(cut.from_mark)), words.length(cut.blade_height)
            assert f"{log.cut_numbers[cut.id]} {height} {sign} {scale}" in text
    assert "Clearance run first" in panels[1]
    assert "Clearance run first" not in panels[0]


def test_a_scale_that_reads_the_lower_edge_takes_off_half_a_kerf():
    script = small_script()
    script["inputs"]["mill"]["mill"]["scale_reads"] = "lower"
    pages = sheet_of(script)
    panel = next(text for *_, text in pages if "Mill setting 1" in text)
    assert "1 50 mm over 254 mm" in panel
    assert "1: 254 mm" in panel
    assert re.search(r"kerf's\s+lower\s+edge", pages[0][3])


@pytest.mark.parametrize("end", [0, 1])
def test_tape_distances_are_those_of_the_lines(small, end):
    job, pages = small
    words, face = job.fmt, job.log.ends("log")[end]
    text = next(t for *_, t in pages if f"{face.name.upper()} end" in t)
    groups = end_lines(job.log, job.shop, lined_settings(job.log, job.shop), face)
    assert [[line.name for line in group.lines] for group in groups] == [["level"], ["1", "2", "T1"], ["3", "4"], ["5"]]
    for _, lines in groups:
        for line in lines:
            taped = [tape_point(face, point) for point in line.points]
            cells = [line.name]
            for tape in taped:
                near_top = tape.from_twelve <= tape.from_six
                twelve, six = words.bare(tape.from_twelve), words.bare(tape.from_six)
                cells += [tape.side, twelve if near_top else f"({twelve})", words.bare(tape.from_pith),
                          f"({six})" if near_top else six]  # fmt: skip
            assert " ".join(cells) in text


def test_the_first_box_holds_the_arms_of_each_end(small):
    job, pages = small
    first = pages[0][3]
    for face in job.log.ends("log"):
        for arm, value in face.arms().items():
            assert re.search(rf"{face.name}: .*{arm}", first)
            assert job.fmt.both(value) in first
    assert "do not saw this plan" in first


def test_fence_distances_run_from_the_named_face_to_the_kerf(small):
    log, shop = small[0].log, small[0].shop
    resaw = next(one for one in log.settings if one.piece == "billet-1")
    # the face lies at -51 + 1 (half the mill's kerf), the kerf's near side at -43 - 0.6
    assert shop.from_fence(resaw, log.cuts_of(resaw)[0]) == pytest.approx(50.0 - 43.6)
    fan = next(one for one in log.settings if one.piece == "bolt-1")
    assert shop.from_fence(fan, log.cuts_of(fan)[0]) is None


def test_a_slab_with_bark_on_both_edges_is_ripped_by_its_ticks(small):
    log, shop = small[0].log, small[0].shop
    rip = next(one for one in log.settings if one.tool is Tool.RIP)
    reference = shop.rip_references[rip.id]
    assert reference.edge is MeasuredFrom.TICKS
    # 30 mm from the pith on the side of the cut's own normal, which is the left one here
    assert shop.rip_distances(rip, reference, log.cuts_of(rip)[0]) == pytest.approx((-30.0, -30.0))


def test_a_crosscut_is_measured_along_the_piece_from_its_own_slanted_end(small):
    log, shop = small[0].log, small[0].shop
    crosscut = next(one for one in log.settings if one.tool is Tool.CROSSCUT)
    butt = log.ends("log").butt
    away = log.part_of_end("strip-1", butt).centroid  # the strip's middle on the butt end, out of square by 0.02 and 0.01
    start = (butt.pith + away.x * butt.right + away.y * butt.up)[0]
    assert abs(start) > 1.0
    assert shop.from_butt(crosscut, log.cuts_of(crosscut)[0]) == pytest.approx(700.0 - start, abs=0.3)


def test_what_a_doubt_costs_stands_in_litres_where_the_script_has_it(small):
    assert "If it is off" not in small[1][0][3]
    script = small_script()
    script["uncertainty"]["cost_of"] = {"roll_5_deg": 1.26e6, "height_5_mm": 0.5e6, "pith_5_mm": 2.0e6}
    text = " ".join(sheet_of(script)[0][3].split())
    assert "lost by 5° of roll, 1.3 L; by 5 mm (3/16 in) of height, 0.5 L; by 5 mm (3/16 in) of pith, 2.0 L" in text


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_a_panel_holds_at_most_three_cautions_and_fits_its_page(small, paper):
    pages = [text for *_, text in sheet_of(small_script(), "in", paper)]
    panels = [number for number, text in enumerate(pages) if "Mill setting" in text]
    assert all(1 <= pages[number].count("CAUTION") <= 3 for number in panels)
    assert all("On the bed stays" in pages[number] for number in panels)


def test_a_half_on_its_bark_does_not_stand_by_itself(small):
    log = small[0].log
    first, half = (one for one in log.settings if one.piece in ("log", "half-a"))
    assert stands(log, first)
    assert not stands(log, half)
    assert "does not stand by itself" in " ".join(next(t for *_, t in small[1] if "Mill setting 2" in t).split())


def test_every_page_of_a_dried_run_comes_after_the_same_day():
    script = small_script()
    next(one for one in script["operations"] if one["op"] == "setting" and one["piece"] == "billet-1")["stage"] = (
        "dried"
    )
    texts = [text for *_, text in sheet_of(script)]
    order = [
        next(i for i, text in enumerate(texts) if title in text) for title in ("The same day", "Later, when dried")
    ]
    assert order == sorted(order)


def test_a_bucked_log_is_measured_from_its_butt_end_and_its_lines_name_it():
    script = bucked_script()
    job, pages = print_job(script), sheet_of(script)
    log, shop = job.log, job.shop
    assert not faults(pages)
    texts = [text for *_, text in pages]
    buck = next(text for text in texts if "Bucking" in text)
    # the butt end passes through the pith at 0 and the cut is square to x: 1500 mm, but for the centre's slanted end
    cut = next(one for one in log.cuts.values() if one.tool is Tool.BUCK)
    assert shop.from_butt(log.settings[0], cut) == pytest.approx(1500.0, abs=1.0)
    assert f"cut 1: {job.fmt.length(shop.from_butt(log.settings[0], cut))}" in buck
    assert buck.count("CAUTION") == 3
    assert texts.index(buck) < next(k for k, text in enumerate(texts) if "Drawing the lines" in text)
    lower = log.mark("lower")
    assert [f"BUTT end of {lower}" in text for text in texts].count(True) == 1
    assert [f"TOP end of {lower}" in text for text in texts].count(True) == 1


def test_what_fewer_settings_give_is_drawn_where_the_script_has_it(small):
    assert "fewer charged settings" not in small[1][0][3]
    script = small_script()
    row = {"settings": 3, "instrument_volume": 2.0e6, "sets": {"ukulele": 2}, "minutes": 41.0}
    script["proof"]["trade_off"] = [
        {"max_settings": 3, **row},
        {"max_settings": None, **row, "settings": 9, "instrument_volume": 3.5e6, "sets": {}},
    ]
    text = " ".join(" ".join(page[3] for page in sheet_of(script)).split())
    assert "at most 3" in text and "2.0 L, 3 settings, 41 min: 2 ukulele" in text
    assert "this plan" in text and "3.5 L, 9 settings, 41 min: no complete set" in text
