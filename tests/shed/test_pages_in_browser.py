"""The pages of a real server in headless Chromium: from a scan to the saw, on a phone and on a desktop."""

import json
import os
import shutil
import subprocess
import sys
import time
import urllib.error
import urllib.request
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from pithline.files.cards import read_card
from pithline.shed.folder import YardFolder
from pithline.shed.jobs import Jobs, JobState, end_of_best, write_state
from shed_yard import DESK, LONG, PHONE, SAMPLES, TABLET, free_port, ready, settled, sized, start, stop
from truth.end_grain import EndGrain, photograph

AXE = Path(__file__).parent / "node_modules" / "axe-core" / "axe.min.js"


SAW = "/saw/small?plan=small/plan-1"
PAGES = (
    "/", "/log/small", "/plans/small", "/settings", SAW,
    "/good-for/af-12", "/appraisal", "/season", "/what-if/small?plan=small/plan-1",
    "/own", "/own/mills/my-mill", "/own/products/my-guitars", "/own/mills/my-mill?view=text",
)  # fmt: skip


each_page = pytest.mark.parametrize("shown", PAGES, indirect=True, scope="module")


@each_page
def test_nothing_runs_off_the_page_and_everything_can_be_hit(shown):
    """On a phone, as it opens there, and as the page is widened to a tablet's and a desktop's size."""
    fields = (
        "[...document.querySelectorAll('button, .act, select, input:not([type=file], [type=radio], [type=checkbox])')]"
    )
    heights = (
        ".filter((e) => e.offsetParent).map((e) => [e.offsetHeight, e.id, e.textContent]).filter((e) => e[0] < 40)"
    )
    for name, size in (("phone", PHONE), ("tablet", TABLET), ("desk", DESK)):
        sized(shown, size)
        assert shown.evaluate("[innerWidth, document.documentElement.scrollWidth <= innerWidth]") == [
            size["width"],
            True,
        ], name
        assert shown.evaluate(fields + heights) == [], name


@each_page
def test_every_field_has_a_label_and_the_page_a_language(shown):
    assert shown.evaluate("document.documentElement.lang").startswith("en")
    assert shown.evaluate("document.querySelectorAll('h1').length") == 1
    fields = "[...document.querySelectorAll('input, select, textarea')]"
    nameless = shown.evaluate(
        f"{fields}.filter((e) => !e.labels.length && !e.getAttribute('aria-label')).map((e) => e.outerHTML)"
    )
    assert nameless == []
    assert (
        shown.evaluate(
            "[...document.querySelectorAll('button')].filter((e) => !e.textContent.trim() && !e.getAttribute('aria-label')).length"
        )
        == 0
    )


@pytest.mark.skipif(not AXE.is_file(), reason="axe-core is not installed: run `npm install` in tests/shed")
@each_page
def test_axe_finds_no_serious_fault(shown):
    sized(shown, DESK)
    shown.evaluate("for (const one of document.querySelectorAll('details')) one.open = true")  # what is folded too
    settled(shown)
    shown.evaluate(AXE.read_text(encoding="utf-8"))
    found = shown.evaluate("axe.run(document, {runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa']})")
    serious = [
        (one["id"], [node["html"][:160] for node in one["nodes"]][:3])
        for one in found["violations"]
        if one["impact"] in ("serious", "critical")
    ]
    assert serious == []


def test_from_a_scan_to_a_card_by_touch(page, yard):
    shutil.copy(SAMPLES / "af-07.ply", yard.parent / "<b>my log.ply")
    ready(page, "/")
    page.set_input_files("#scans", str(yard.parent / "<b>my log.ply"))
    page.wait_for_selector("#log-b-my-log >> text=Fitted, not yet planned", timeout=LONG)
    page.click("#log-b-my-log >> text=Mark the pith")
    page.wait_for_selector(".next >> text=mark the pith on the butt end and on the top end")
    page.wait_for_selector("#face-butt svg")
    box = page.locator("#face-butt").bounding_box()
    page.mouse.click(box["x"] + 0.45 * box["width"], box["y"] + 0.5 * box["height"])
    page.wait_for_selector(".effect >> text=distance from the centre", timeout=LONG)
    page.wait_for_selector(".next >> text=mark the pith on the top end")
    page.fill("#bark-thickness", "7/16 in")
    page.keyboard.press("Tab")
    page.wait_for_selector("#told >> text=on the card", timeout=LONG)
    page.fill("#sapwood-thickness", "24")
    page.keyboard.press("Tab")
    page.wait_for_selector(".error >> text=without a unit")
    assert page.input_value("#bark-thickness") == "7/16 in"
    card = read_card(yard / "b-my-log.toml")
    assert (
        card.pith_butt is not None
        and card.bark_thickness == pytest.approx(25.4 * 7 / 16)
        and card.sapwood_thickness is None
    )
    assert "# thickness = " in (yard / "b-my-log.toml").read_text()


def test_the_pith_moves_at_once_and_the_keyboard_keeps_its_place(page):
    ready(page, "/log/b-my-log")
    caption = page.inner_text("#end-butt figcaption")
    page.focus("#butt-right")
    page.keyboard.press("Enter")
    page.wait_for_function("before => document.querySelector('#end-butt figcaption').innerText !== before", arg=caption)
    assert "being fitted" in page.inner_text(".effect"), "the mark stands in its new place before the fit is done"
    page.keyboard.press("Enter")  # a second step need not wait for the first
    page.wait_for_selector(".effect >> text=being fitted", state="detached", timeout=LONG)
    assert page.evaluate("document.activeElement.id") == "butt-right"


def test_the_log_is_turned_in_space_by_keyboard_and_told_in_words(page):
    ready(page, "/log/b-my-log")
    page.wait_for_selector(".space canvas")
    page.locator(".space").scroll_into_view_if_needed()
    page.wait_for_selector(".space[data-drawn]", timeout=LONG)
    page.wait_for_selector(".space >> text=points of the scan")
    drawn = int(page.get_attribute(".space", "data-drawn"))
    before = page.screenshot(clip=page.locator(".space canvas").bounding_box())
    page.focus(".space canvas")
    page.keyboard.press("ArrowLeft")
    page.wait_for_function(f"Number(document.querySelector('.space').dataset.drawn) > {drawn}")
    assert page.screenshot(clip=page.locator(".space canvas").bounding_box()) != before
    assert "may be a knot" in page.inner_text("#space-words")
    assert page.get_attribute(".space canvas", "aria-describedby") == "space-words"


def test_the_pith_is_taken_from_a_photograph_of_the_end(page, yard):
    photo = photograph(EndGrain(pixels=(900, 1000), noise=0.02, cracks=2), 3)
    picture = yard.parent / "end.png"
    Image.fromarray(np.rint(255 * photo.picture).astype(np.uint8)).save(picture)
    ready(page, "/log/b-my-log")
    page.click("summary >> text=By a photograph of the top end")
    page.set_input_files("#photo-top", str(picture))
    page.wait_for_selector("#told >> text=not written yet")
    page.fill("#across-top", f"{photo.across:.0f} mm")
    page.set_input_files("#photo-top", str(picture))
    page.wait_for_selector("text=Take it as the top end's mark", timeout=LONG)
    page.click("text=Take it as the top end's mark")
    page.wait_for_selector(".effect >> text=pith", timeout=LONG)
    mark = read_card(yard / "b-my-log.toml").pith_top
    assert abs(mark.from_left - photo.from_left) < 15 and abs(mark.from_top - photo.from_top) < 15


def test_what_is_no_photograph_is_refused(page, yard):
    picture = yard.parent / "no.png"
    picture.write_bytes(b"GIF89a")
    ready(page, "/log/b-my-log")
    page.click("summary >> text=By a photograph of the butt end")
    page.fill("#across-butt", "500 mm")
    page.set_input_files("#photo-butt", str(picture))
    page.wait_for_selector("#told >> text=no photograph")


def test_a_file_that_is_no_scan_is_refused_in_a_sentence(page, yard):
    bad = yard.parent / "bad.ply"
    bad.write_bytes(b"<html><script>alert(1)</script>")
    ready(page, "/")
    page.set_input_files("#scans", str(bad))
    page.wait_for_selector("#sending >> text=its content is no scan")
    assert not (yard / "bad.ply").exists()


def test_a_scan_that_shows_no_log_says_so_and_offers_ways_on(page, yard):
    flat = yard.parent / "floor.xyz"
    flat.write_text("\n".join(f"{0.01 * (at % 70)} {0.01 * (at // 70)} 0.0" for at in range(4900)))
    ready(page, "/")
    page.set_input_files("#scans", str(flat))
    page.wait_for_selector("#log-floor >> text=It stopped", timeout=LONG)
    assert page.locator("#log-floor select").count() == 1 and page.locator("#log-floor >> text=Try again").count() == 1


END = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9" width="9" height="9"><circle r="4"/></svg>'


def test_a_search_is_shown_to_whoever_opens_the_page_and_stops_on_request(page, yard):
    stand_in = subprocess.Popen([sys.executable, "-c", "import time; time.sleep(120)", "pithline.shed.worker"])
    jobs = Jobs(YardFolder(yard))
    state = JobState(
        "plan",
        "small",
        what="searching, any angle",
        part=0.5,
        unit="L",
        pid=stand_in.pid,
        started=time.time() - 60,
        curve=[[10.0, 11.2, None], [30.0, 16.5, 19.8]],
    )
    try:
        write_state(jobs.path("plan", "small"), state)
        end_of_best(jobs.path("plan", "small")).write_text(END)
        ready(page, "/plans/small")
        page.wait_for_selector(".climb .best")
        page.wait_for_function("document.querySelector('.live img')?.naturalWidth > 0")
        assert "Best so far: 16.5 L" in page.inner_text("main") and "more than 19.8 L" in page.inner_text("main")
        page.evaluate("window.touched = document.getElementById('stop-search')")
        write_state(jobs.path("plan", "small"), replace(state, part=0.6, curve=[*state.curve, [50.0, 17.1, 19.8]]))
        page.wait_for_selector("[role=progressbar][aria-valuenow='60']")
        page.wait_for_selector("text=Best so far: 17.1 L")
        assert page.evaluate("touched.isConnected")  # a button that is drawn anew under a finger hears no touch
        page.click("text=Stop, and keep the best so far")
        page.wait_for_selector("#told >> text=The best plan so far is kept")
        page.wait_for_selector(".note >> text=may take about a minute")  # and it goes on saying so
        assert page.locator("#stop-search").count() == 0
        assert jobs.path("plan", "small").with_suffix(".stop").exists()
        ready(page, "/")
        page.wait_for_selector("text=Being planned: searching, any angle")
    finally:
        stand_in.kill()
        stand_in.wait()
    ready(page, "/plans/small")
    page.wait_for_selector("text=broken off before its end")
    jobs.forget("plan", "small")


def test_plans_stand_side_by_side_with_their_papers(page):
    ready(page, "/plans/small")
    page.wait_for_selector(".rungs li.chosen img")
    assert page.locator(".rungs dt", has_text="complete sets").count() == page.locator(".rungs > li").count()
    assert page.locator("a", has_text="Saw by this plan").get_attribute("href").startswith("/saw/small?plan=")
    brings = page.inner_text(".brings")
    assert brings.startswith("This plan: ") and "h at the saws" in brings
    assert not page.locator("button", has_text="Plan it").is_visible()  # a log that is planned shows its plan first
    page.click("summary >> text=Plan it again, or for something else")
    assert page.locator("button", has_text="Plan it").is_visible()


def test_the_saw_goes_on_without_a_connection_and_without_a_server(page, server, yard, port):
    page.set_viewport_size(PHONE)
    ready(page, SAW)
    page.wait_for_selector("body[data-ready]")
    page.click("#done")
    expected = page.evaluate("data.steps[1].heights.expected")
    for end in ("butt", "top"):
        page.fill(f"#mark-{end}", f"{expected + 60:.0f}")
    assert "STOP" in page.inner_text("#heights") and page.is_disabled("#done")
    bar, verdict = page.locator(".hand").bounding_box(), page.locator(".halt").bounding_box()
    assert verdict["y"] + verdict["height"] <= bar["y"]  # nothing of it lies under the bar of steps
    for end in ("butt", "top"):
        page.fill(f"#mark-{end}", f"{expected + 2:.0f}")
    page.keyboard.press("Tab")
    assert "within the room" in page.inner_text("#heights") and not page.is_disabled("#done")
    page.click("#done")
    assert "blade, by the marks found" in page.inner_text("#figures")
    stop(server[0])
    page.click("#done")
    page.wait_for_selector(".line.off >> text=kept here and sent later")
    server[0] = start(yard, port)
    page.wait_for_selector("#line >> text=kept on the machine", timeout=60_000)
    state = json.loads((yard / "small" / "plan-1" / "sawing.json").read_text())
    assert state["done"][:2] == ["before", page.evaluate("data.steps[1].id")] and len(state["done"]) == 3
    title = page.inner_text("#title")
    page.reload()
    page.wait_for_selector("body[data-ready]")
    assert page.inner_text("#title") == title


def test_two_pages_at_one_saw_tell_each_other(page, yard):
    ready(page, SAW)
    page.wait_for_selector("body[data-ready]")
    other = page.context.new_page()
    other.goto(page.base + SAW)
    other.wait_for_selector("body[data-ready]")
    before = page.evaluate("told.done.length")
    other.click("#done")
    page.wait_for_function(f"told.done.length === {before + 1}", timeout=20_000)


def test_what_was_found_is_put_on_a_list_that_replan_reads(page, yard):
    ready(page, SAW)
    page.wait_for_selector("body[data-ready]")
    page.click("#odd")
    page.select_option("#kind", "bark")
    page.fill("#find-thickness", "18")
    page.click("#add")
    page.wait_for_selector("#wrong >> text=without a unit")
    page.fill("#find-thickness", "18 mm")
    page.click("#add")
    page.wait_for_selector("#found li")
    page.click("#found li button")
    page.wait_for_selector("#found li", state="detached")


def test_the_saw_is_worked_by_keyboard(page):
    ready(page, SAW)
    page.wait_for_selector("body[data-ready]")
    place = page.evaluate("at")
    page.keyboard.press("ArrowRight")
    assert page.evaluate("at") == place + 1
    page.keyboard.press("ArrowLeft")
    page.focus("#done")
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "title"


def test_inches_reach_every_page(page):
    ready(page, "/settings")
    page.select_option("#units", "in")
    page.wait_for_selector("#told >> text=Kept")
    ready(page, "/plans/small")
    page.wait_for_selector(".rungs >> text=bd ft", timeout=LONG)  # once they are drawn in the other measures
    ready(page, SAW)
    assert "lb" in json.dumps(page.evaluate("data.steps[1].figures"))
    ready(page, "/settings")
    page.select_option("#units", "mm")
    page.wait_for_selector("#told >> text=Kept")


@pytest.mark.parametrize(
    "path",
    [
        "/log/..%2f..%2fetc",
        "/log/%3Cscript%3E",
        "/plans/nobody",
        "/saw/small?plan=../../etc",
        "/saw/small?plan=%3Cb%3E",
        "/plan-file/small/passwd?plan=small/plan-1",
        "/plan-file/small/cut-script.json?plan=../..",
        "/plan-file/..%2f/cut-script.json?plan=x",
        "/face/small/..%2fbutt",
        "/face/..%2f..%2fx/butt",
        "/fit/..%2fx/fit.png",
        "/scene/b-my-log/faces.json",
        "/scene/b-my-log/..%2fscene.json",
        "/scene/..%2fb-my-log/scene.json",
        "/good-for/..%2f..%2fetc",
        "/appraisal?of=../..",
        "/what-if/small?plan=../..",
        "/what-if/nobody?plan=small/plan-1",
        "/own/mills/..%2f..%2fsmall",
        "/own/mills/%3Cscript%3Ealert",
        "/own/..%2f/small",
        "/own/logs/small",
        "/report-file/appraisal/..%2f/appraisal.json",
        "/report-file/appraisal/appraisal-1/..%2f..%2fsmall.toml",
        "/report-file/season/season/work",
        "/report-file/small/plan-1/cut-script.json",
        "/lot-picture/..%2f../0/side",
        "/lot-picture/appraisal-1/-1/side",
        "/lot-picture/appraisal-1/0/..%2fside",
        "/shed-files/..%2f..%2fserver.py",
        "/shed-files/%2e%2e/server.py",
    ],
)
def test_names_in_addresses_are_never_paths(server, port, path):
    try:
        with urllib.request.urlopen(f"http://127.0.0.1:{port}{path}", timeout=20) as answer:
            text = answer.read().decode()
            assert "Not found" in text and "<script>alert" not in text
    except urllib.error.HTTPError as error:
        assert error.code in (404, 405)


def test_shared_by_key_alone(browser, yard):
    if os.environ.get("PITHLINE_NO_NETWORK") or not _has_network():
        pytest.skip("this machine is on no network, so there is nothing to share on")
    port = free_port()
    process = start(yard, port, "--share")
    try:
        lines = (yard / "server.log").read_text().splitlines()
        key = [line.rpartition("key=")[2] for line in lines if f"localhost:{port}/enter?key=" in line][-1]
        page = browser.new_page()
        page.goto(f"http://localhost:{port}/")
        assert "shared by key" in page.inner_text("body")
        page.goto(f"http://localhost:{port}/enter?key={key}")
        page.wait_for_selector("h1 >> text=The yard")
        page.goto(f"http://localhost:{port}/settings")
        page.wait_for_selector(".code svg")
        page.wait_for_timeout(500)
        assert browser.new_context().new_page().goto(f"http://localhost:{port}/enter?key={key}").status == 403
    finally:
        stop(process)


def _has_network():
    from pithline.shed.server import own_addresses

    return bool(own_addresses())
