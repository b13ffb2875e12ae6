"""Shop cards: repeats said once, slivers not sawn, every plate with its mate and set, codes read off the page."""

import json
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pypdfium2
import pytest
import zxingcpp
from shapely.geometry import Polygon

from pithline.outputs.cards.card import edge_on, line_on
from pithline.outputs.cards.pictures import part_name, slab_plan
from pithline.outputs.cards.shop_cards import fullest, shop_cards
from pithline.outputs.cards.slices import FenceSetting, Run, Slice, fence_settings, run_of
from pithline.outputs.cards.work import SawStep, SliceStep, card_of, works_of
from pithline.outputs.cut_script.document import Saw
from pithline.outputs.formatting import Formatter
from pithline.outputs.palette import looks
from pithline.outputs.print_job import print_job
from unit.cradle_fixture import cradle_script
from unit.outputs_fixture import bucked_script, large_script, small_script
from unit.pdf_reading import columns_of, faults, pages_of

WRITTEN = Path(__file__).resolve().parents[1] / "written" / "small-log.cut-script.json"


@pytest.fixture(scope="module")
def job():
    return print_job(cradle_script())


def cards_of(script, units="mm", paper="A4"):
    return columns_of(shop_cards(print_job(script, units, paper)), 0.5)


def test_same_script_same_bytes():
    assert shop_cards(print_job(cradle_script())) == shop_cards(print_job(cradle_script()))


@pytest.mark.parametrize(("units", "paper"), [("mm", "A4"), ("in", "Letter")])
@pytest.mark.parametrize("script", [small_script, bucked_script, cradle_script])
def test_nothing_overlaps_or_leaves_the_page(script, units, paper):
    assert not faults(pages_of(shop_cards(print_job(script(), units, paper))))


def test_a_card_taller_than_a_column_goes_on():
    pages = pages_of(shop_cards(print_job(large_script(settings=3, plates=300))))
    assert not faults(pages)
    text, log = " ".join(page[3] for page in pages), print_job(large_script(3, 300)).log
    assert all(re.search(rf"\b{log.mark(f'plate-{n}')}\b", text) for n in range(0, 300, 50))


def test_a_column_is_filled_by_the_next_card_and_those_that_fit_it_best():
    assert fullest([300.0, 200.0, 180.0, 250.0], 750.0) == (0, 1, 3)
    assert fullest([300.0, 200.0, 200.0, 460.0], 505.0) == (0, 1)
    assert fullest([900.0, 100.0], 750.0) == (0,)


def test_how_a_piece_lies_is_said_again_only_where_it_changes(job):
    face = job.log.cut_numbers["c1"]
    text = cards_of(cradle_script())
    assert text.count(f"face {face} down;") == 1 and text.count(f"face {face} flat to the fence") == 1
    assert re.search(r"Crosscut \w+ from its butt end:", text)
    assert text.count("After each slice the fresh face goes to the fence.") == 1


def test_one_card_a_slab_or_bolt_and_each_plate_on_one(job):
    works = works_of(job)
    assert [work.piece for work in works] == ["bolt-2", "slab-3"]
    assert sorted(plate.id for work in works for plate in work.plates) == sorted(job.log.plates)
    assert card_of(job.log, "billet-1-1") == "slab-3" and card_of(job.log, "bolt-6") == "bolt-2"


def test_slices_of_one_thickness_are_one_setting_of_the_fence(job):
    step = next(one for one in works_of(job)[1].steps if isinstance(one, SliceStep))
    (fence,) = step.fences
    assert fence.thickness == pytest.approx(4.5)
    assert list(fence.slices) == ["billet-1", "billet-2"]
    assert fence.slices["billet-1"] == ("billet-1-p0", "billet-1-1", "billet-1-2")
    assert step.rests == (("billet-1", "billet-1-3"), ("billet-2", "billet-2-3"))
    marks = {name: job.log.mark(f"billet-1-{name}") for name in ("p0", "1", "2", "3")}
    text = cards_of(cradle_script())
    assert f"Fence 4.5 mm: {job.log.mark('billet-1')} (3 slices: {marks['p0']} {marks['1']}+{marks['2']})" in text
    assert f"Left: {marks['3']} of" in text


def test_slices_are_measured_between_their_kerfs(job):
    setting = next(one for one in job.log.settings if one.piece == "billet-1")
    run = run_of(job.log, job.shop, setting)
    assert [round(one.thickness, 6) for one in run.slices] == [4.5, 4.5, 4.5]
    assert run.spare == 0.0  # what is left is a plate


def test_the_fence_is_never_set_against_the_order_within_a_billet():
    thin, thick = Slice(4.0, "a"), Slice(9.0, "b")
    setting = next(one for one in print_job(cradle_script()).log.settings if one.piece == "billet-1")
    one = Run(setting, (thin, thick), 0.0, None)
    other = Run(replace(setting, piece="billet-2"), (thick, thin), 0.0, None)
    found = fence_settings([one, other])
    assert [round(fence.thickness) for fence in found] == [4, 9, 4]
    assert [list(fence.slices) for fence in found] == [["billet-1"], ["billet-1", "billet-2"], ["billet-2"]]
    assert isinstance(found[0], FenceSetting)


@pytest.mark.parametrize(
    ("units", "value", "spare", "text"),
    [("mm", 4.5, 0.0, "4.5 mm"), ("mm", 4.98, 0.0, "5 mm"), ("mm", 5.3, 1.0, "5.5 mm"), ("mm", 5.3, 0.0, "5.3 mm"),
     ("in", 4.5, 1.0, "0.180 in"), ("in", 4.5, 0.0, "0.177 in")],
)  # fmt: skip
def test_a_fence_is_set_to_half_a_millimetre_where_there_is_wood_to_spare(units, value, spare, text):
    assert Formatter(units).fence(value, spare) == text


def test_a_sliver_between_crosscuts_is_one_cut(job):
    step = next(one for one in works_of(job)[1].steps if isinstance(one, SawStep) and one.tool is Saw.CROSSCUT)
    assert [place.number for place in step.places] == ["13", "12/11", "10"]
    setting = step.setting
    low, high = (job.shop.from_butt(setting, cut) for cut in job.log.cuts_of(setting)[2:0:-1])
    assert high - low == pytest.approx(7.0) and step.places[1].where == job.fmt.length((low + high) / 2.0)


def test_a_strip_too_thin_to_saw_is_left_on():
    script = cradle_script()
    cut = next(one for one in script["operations"] if one["op"] == "cut" and one["id"] == "c8")
    cut["offset"] = -10.0 + 3.2 / 2.0 + 1.0  # 1 mm beyond the face at y = -10
    step = next(
        one
        for work in works_of(print_job(script))
        for one in work.steps
        if isinstance(one, SawStep) and one.tool is Saw.RIP
    )
    assert [place.number for place in step.places] == ["9"]


def test_a_slanted_rip_is_drawn_slanted_and_clear_of_its_billet():
    script = cradle_script()
    for one in script["operations"]:
        if one["op"] == "cut" and one["id"] in ("c8", "c9"):
            one["normal"] = [0.03, -np.sqrt(1 - 0.03**2), 0.0]
    job = print_job(script)
    work = next(one for one in works_of(job) if one.piece == "slab-3")
    plan = slab_plan(job, work, looks(part_name(job.log, plate) for plate in job.log.plates), 250.0)
    outline = job.log.section("strip-3", 1000.0, plan.pose.right, plan.pose.up).bounds
    cut = job.log.cuts["c9"]
    at = [plan._across(cut, x) for x in (100.0, 1900.0)]
    assert abs(at[1] - at[0]) == pytest.approx(1800.0 * 0.03, rel=0.01)
    assert plan._across(cut, 1000.0) == pytest.approx(outline[2] + 1.6, abs=0.2)


def test_plates_are_told_with_part_mate_and_set():
    text, log = cards_of(cradle_script()), print_job(cradle_script()).log
    pair = f"{log.mark('billet-1-1')}+{log.mark('billet-1-2')}"
    assert f"side, small guitar ×6: small guitar 1: {pair}; 4 in no set" in text


def test_cards_carry_the_code_of_their_piece(job):
    page = pypdfium2.PdfDocument(shop_cards(job))[0]
    read = {one.text for one in zxingcpp.read_barcodes(page.render(scale=150 / 72).to_pil())}
    assert read == {f"pithline:{job.plan}:{piece}" for piece in ("bolt-2", "slab-3")}


def test_a_bolt_in_a_cradle_of_the_shop_needs_no_lines_and_one_of_an_older_script_has_both_ends():
    assert "Lines by tape" not in cards_of(cradle_script())
    text = cards_of(small_script())
    job = print_job(small_script())
    for cut in (
        one for one in job.log.cuts.values() if one.tool is Saw.RESAW and one.piece.startswith(("bolt", "wedge"))
    ):
        number = job.log.cut_numbers[cut.id]
        assert re.search(rf"\b{number} butt ", text) and re.search(rf"\b{number} top ", text)


def test_a_line_over_a_gap_keeps_its_two_outermost_points(job, monkeypatch):
    """An end is never dropped where its crossing is not one clean line."""
    end, cut = job.log.ends("bolt-2").butt, job.log.cuts["c7"]
    whole = line_on(job.log, "bolt-2", cut, end)
    middle = whole.mean(axis=0)
    hole = Polygon(middle + 10.0 * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]))
    part = job.log.part_of_end("bolt-2", end).difference(hole)
    monkeypatch.setattr(type(job.log), "part_of_end", lambda *_: part)
    np.testing.assert_allclose(line_on(job.log, "bolt-2", cut, end), whole)
    assert edge_on(job.log, "bolt-2", "c1", end) is not None


def test_a_script_written_before_prints_well():
    script = json.loads(WRITTEN.read_text(encoding="utf-8"))
    for units, paper in (("mm", "A4"), ("in", "Letter")):
        assert not faults(pages_of(shop_cards(print_job(script, units, paper))))


def test_cradles_of_the_band_saw_are_named_once_with_their_bolts():
    text, log = cards_of(cradle_script()), print_job(cradle_script()).log
    assert f"Cradles at the band saw, each set up once: 30°: {log.mark('bolt-2')}." in text
    assert f"Resaw {log.mark('bolt-2')} face 1 in the 30° cradle" in text
