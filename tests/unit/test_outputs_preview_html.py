"""The preview page as text: one file, nothing fetched, texts as data, figures those of the script."""

import json
import re

import pytest

from picture_scripts import small_script
from pithline.outputs.html_page import as_data
from pithline.outputs.preview.page import preview_html, three_source
from pithline.outputs.preview.scene import Scene
from pithline.outputs.print_job import print_job


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
    assert first["lines"][0] == "Blade 51 mm over the marks; 361 mm expected on the scale."


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
