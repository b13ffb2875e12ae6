"""The preview page as text: one file, nothing fetched, texts as data, figures those of the script."""

import json
import re

import numpy as np
import pytest

from picture_scripts import small_script
from pithline.outputs.html_page import as_data
from pithline.outputs.preview.page import preview_html, three_source
from pithline.outputs.preview.scene import Scene
from pithline.outputs.print_job import print_job
from unit.cradle_fixture import cradle_script
from unit.outputs_fixture import bucked_script


def page_of(script, units="mm"):
    job = print_job(script, units)
    return preview_html(job, Scene(job.log)).decode()


@pytest.fixture(scope="module")
def page():
    return page_of(small_script())


def data_of(page):
    return json.loads(re.search(r'<script type="application/json" id="data">(.*?)</script>', page, re.DOTALL)[1])


def test_one_file_that_fetches_nothing(page):
    assert len(page.encode()) < 4_000_000
    own = page.replace(three_source(), "")
    assert not re.search(r'(src|href)="(?!#)', own)
    assert "default-src 'none'" in page
    assert "http://" not in own and "https://" not in own


def test_the_3d_library_keeps_its_licence_notice(page):
    source = three_source()
    assert "SPDX-License-Identifier: MIT" in source[:300] and "Three.js Authors" in source[:300]
    assert source in page


def test_every_piece_and_step_is_there_with_the_scripts_figures(page):
    script, data = small_script(), data_of(page)
    assert [one["id"] for one in data["pieces"]] == [piece["id"] for piece in script["pieces"]]
    assert [one["id"] for one in data["operations"]] == [one["id"] for one in script["operations"]]
    facts = {one["id"]: dict(one["facts"]) for one in data["pieces"]}
    assert facts["p1"]["Ring angle, mean"] == "86.5°"
    assert facts["p1"]["Ring angle, least"].startswith("81.2")
    assert facts["p2"]["Ring angle, mean"] == "79.5°"
    assert facts["p1"]["Size as sawn"] == "800 × 200 × 5 mm"
    assert facts["p1"]["Runout, greatest"] == "1.2°, 1 in 46"
    assert facts["p1"]["Along the log"] == "200 mm to 1000 mm from the butt"
    first = data["operations"][1]
    assert first["figures"][:2] == [["blade", "51 mm over the marks"], ["scale", "361 mm"]]


def test_inches_where_asked_for():
    data = data_of(page_of(small_script(), "in"))
    assert "7 7/8" in dict(next(one for one in data["pieces"] if one["id"] == "p1")["facts"])["Size as sawn"]


def test_texts_from_the_card_are_never_markup():
    script = small_script()
    script["log"]["id"] = "<b>x</b></script><script>alert(1)</script>"
    page = page_of(script)
    assert "<b>x" not in page and "alert(1)</script>" not in page
    assert data_of(page)["log"]["id"] == script["log"]["id"]
    assert as_data({"a": "</script>&"}) == '{"a":"\\u003c/script\\u003e\\u0026"}'


def test_same_script_same_bytes(page):
    assert page_of(small_script()) == page


@pytest.fixture(scope="module")
def cradle():
    return print_job(cradle_script()), data_of(page_of(cradle_script()))


def test_steps_are_numbered_and_marked_as_on_sheet_and_cards(cradle):
    job, data = cradle
    log, titles = job.log, [one["title"] for one in data["operations"] if one["op"] == "setting"]
    assert titles[:4] == [
        f"Mill {n}: {log.kind(p)} {log.mark(p)}" for n, p in enumerate(("log", "half-a", "bolt-1", "bolt-3"), 1)
    ]
    assert titles[4] == f"Card {log.mark('bolt-2')}, step 1: resaw {log.mark('bolt-2')}"
    assert titles[-1] == f"Card {log.mark('slab-3')}, step 3: resaw {log.mark('billet-2')}"
    slices = [one for one in data["operations"] if one["op"] == "cut" and one["piece"].startswith("billet-1")]
    assert all(one["lines"][0].startswith("Fence 4.5 mm") for one in slices)


def test_lift_marks_and_blade_stand_apart_for_a_phone(cradle):
    first, bolt = (next(one for one in cradle[1]["operations"] if one["piece"] == piece) for piece in ("log", "bolt-3"))
    assert dict(first["figures"]) | {"weight": ""} == {
        "lift": "4 at 650, 6 at 1750", "marks": "the pith at 212", "blade": "first 220 mm", "weight": "",
    }  # fmt: skip
    assert [name for name, _ in bolt["figures"]] == ["lift", "blade", "weight"]  # it has no marks


def test_a_cradle_stands_at_the_bunks_and_meets_the_face_it_holds(cradle):
    """Turned and shifted as the page does it, the corners of the held face lie on the cradle's slope."""
    job, data = cradle
    one = next(entry for entry in data["operations"] if entry["piece"] == "bolt-3" and entry["op"] == "setting")
    (prop,) = one["props"]
    assert prop["kind"] == "cradle"
    assert [sum(span) / 2.0 for span in prop["spans"]] == [100.0, 1750.0]
    rows, shift = np.array(one["pose"]["rows"]), np.array(one["pose"]["shift"])
    face = job.log.face("bolt-3", "c5")
    normal = rows @ face.normal
    for corner in prop["outline"][2:]:
        away = normal[1:] @ (np.array(corner) - shift[1:]) - face.offset
        assert away == pytest.approx(0.0, abs=0.05)


def test_lines_of_logs_and_halves_are_drawn_on_their_ends_and_none_on_bolts(cradle):
    job, data = cradle
    settings = {one["piece"]: one for one in data["operations"] if one["op"] == "setting" and one["tool"] == "mill"}
    assert {line["name"] for line in settings["log"]["drawn"]} == {"level", "1", "2"}
    assert {line["name"] for line in settings["half-a"]["drawn"]} == {"3", "4"}
    assert settings["bolt-1"]["drawn"] == settings["bolt-3"]["drawn"] == []
    cut = job.log.cuts["c1"]
    for line in settings["log"]["drawn"]:
        for part in line["parts"] if line["name"] == "1" else ():
            np.testing.assert_allclose(np.array(part) @ cut.normal, cut.offset, atol=0.05)


def test_the_twelve_o_clock_line_runs_over_the_pith_and_along_the_bark():
    job, data = print_job(bucked_script()), data_of(page_of(bucked_script()))
    assert set(data["twelve"]) == {"log", "lower"}
    for own, points in data["twelve"].items():
        line, (butt, top) = np.array(points), job.log.ends(own)
        assert np.abs(line[:, 1]).max() < 10.0  # the pith of the fixture runs along the axis
        assert line[1, 2] == pytest.approx(butt.twelve[1], abs=3.0) and line[-1, 2] == pytest.approx(
            top.six[1], abs=3.0
        )
        assert line[-1, 0] == pytest.approx(top.pith[0], abs=10.0)


def test_plates_are_told_apart_by_set_too(cradle):
    _, data = cradle
    sets = {one["plate"]["set"] for one in data["pieces"] if one.get("plate")}
    assert sets == {"small guitar 1", "in no set"} == set(data["looks"]["set"])


def test_sets_litres_hours_and_earnings_lead(cradle):
    assert cradle[1]["summary"][:3] == [
        "1 small guitar set, 2 bridges.", "0.8 L in sets, 1.5 L loose.", "1.5 hours in 5 set-ups: earns 82 EUR, 55 EUR an hour.",
    ]  # fmt: skip
    assert any(line.startswith("This plan, bolts by cradle: 1 small guitar set") for line in cradle[1]["summary"])


def test_in_inches_nothing_is_in_millimetres():
    data = data_of(page_of(cradle_script(), "in"))
    said = json.dumps([data["summary"], [(one["title"], one["figures"], one["lines"]) for one in data["operations"]],
                       [one["facts"] for one in data["pieces"]]])  # fmt: skip
    assert not re.search(r"\d (mm|kg|L)\b|\bmm\b", said)
    assert data["units"] == {"name": "in", "mm": 25.4, "places": 1}
