"""The preview opened from a file in headless Chromium with software WebGL: steps, picking, figures, sizes."""

import io
import json
import re
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from playwright.sync_api import sync_playwright

from picture_scripts import many_plates, small_script
from pithline.outputs.preview.page import preview_html
from pithline.outputs.preview.scene import Scene
from pithline.outputs.print_job import print_job

CHROMIUM = Path("/usr/bin/chromium")
FLAGS = [
    "--no-sandbox",
    "--use-gl=angle",
    "--use-angle=swiftshader",
    "--enable-unsafe-swiftshader",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
SIZES = {"desktop": (1280, 800), "phone": (390, 844)}


def page_of(script):
    job = print_job(script)
    return preview_html(job, Scene(job.log))


@pytest.fixture(scope="module")
def driver():
    with sync_playwright() as found:
        yield found


@pytest.fixture(scope="module")
def browser(driver):
    found = driver.chromium.launch(executable_path=str(CHROMIUM), args=FLAGS)
    yield found
    found.close()


@pytest.fixture(scope="module")
def script():
    return small_script()


@pytest.fixture(scope="module")
def file(script, tmp_path_factory):
    path = tmp_path_factory.mktemp("preview") / "preview.html"
    path.write_bytes(page_of(script))
    return path


@pytest.fixture(scope="module", params=SIZES)
def opened(request, browser, file):
    """The preview as it opens on a size of screen, with all that it said meanwhile and the state that it began in."""
    width, height = SIZES[request.param]
    context = browser.new_context(viewport={"width": width, "height": height}, has_touch=request.param == "phone")
    opened = context.new_page()
    said = []
    opened.on("console", lambda message: said.append(f"{message.type}: {message.text}"))
    opened.on("pageerror", lambda error: said.append(str(error)))
    opened.on("request", lambda one: said.append(one.url) if not one.url.startswith("file:") else None)
    opened.goto(file.as_uri())
    opened.wait_for_selector("body[data-drawn]")
    yield opened, said, opened.evaluate(STATE)
    context.close()


STATE = "JSON.stringify(pithline.state)"
PUT_BACK = """() => {
  const said = (one, name) => one.dispatchEvent(new Event(name, {bubbles: true}));
  for (const one of document.querySelectorAll("input[type=checkbox], input[type=radio]"))
    if (one.checked !== one.defaultChecked) { one.checked = one.defaultChecked; said(one, "change"); }
  said(document.querySelector("input[name=where]:checked"), "change");
  for (const one of document.querySelectorAll("#spread, #section")) { one.value = one.defaultValue; said(one, "input"); }
  document.querySelector("#colour").selectedIndex = 0;
  said(document.querySelector("#colour"), "change");
  document.querySelector("#first").click();
  pithline.pick(null);
  document.querySelector("[data-look=corner]").click();
  document.activeElement.blur();
  document.body.scrollTo(0, 0);
}"""


@pytest.fixture
def page(opened):
    """The page as it was when it opened: loading it anew takes a second, putting it back by its own controls none."""
    page, said, begun = opened
    page.evaluate(PUT_BACK)
    assert page.evaluate(STATE) == begun
    yield page
    assert said == []


def settle(page):
    page.wait_for_selector("body[data-still=true]")


def test_steps_through_all_operations_and_back(page, script):
    for number, one in enumerate(script["operations"], 1):
        page.click("#next")
        assert page.get_attribute("body", "data-step") == str(number)
        current = page.locator("#steps [aria-current=step]")
        assert current.count() == 1
        assert page.locator("#caption strong").inner_text() == current.inner_text()
        assert one["op"] != "cut" or current.inner_text().startswith("Cut ")
    page.click("#back")
    assert page.get_attribute("body", "data-step") == str(len(script["operations"]) - 1)
    page.click("#first")
    assert page.locator("#steps [aria-current=step]").count() == 0
    assert page.locator("#pick option").count() == 2


def test_what_is_there_follows_the_cuts(page, script):
    page.click("input[value=log]")
    page.click("#last")
    used = {one["piece"] for one in script["operations"] if one["op"] == "cut"}
    left = {piece["id"] for piece in script["pieces"]} - used
    listed = {one.get_attribute("value") for one in page.locator("#pick option").all()} - {""}
    assert listed == left


def test_a_plate_touched_tells_the_scripts_figures(page, script):
    page.click("input[value=log]")
    page.click("#last")
    page.uncheck("#waste")
    page.evaluate("document.body.scrollTo(0, 0)")
    page.click("[data-look=side]")
    settle(page)
    plate = script["plates"][0]
    x, y = page.evaluate("id => pithline.screenOf(id)", plate["id"])
    seen = page.evaluate("([x, y]) => pithline.pieceAt(x, y)", [x, y])
    page.mouse.click(x, y)
    page.wait_for_selector(f"body[data-picked='{seen}']")
    shown = next(one for one in script["plates"] if one["id"] == seen)
    facts = dict(
        zip(page.locator("#facts dt").all_inner_texts(), page.locator("#facts dd").all_inner_texts(), strict=True)
    )
    number = float(re.match(r"[\d.]+", facts["Ring angle, mean"])[0])
    assert number == pytest.approx(shown["ring_angle"]["mean"], abs=0.05)
    assert float(re.match(r"[\d.]+", facts["Runout, greatest"])[0]) == pytest.approx(shown["runout"], abs=0.06)
    assert facts["Size as sawn"] == "800 × 200 × 5 mm"


def test_colours_have_a_legend_in_degrees_and_sections_open(page):
    assert page.locator("#legend li").all_inner_texts() == ["75–80° (1)", "85–90° (1)"]
    page.select_option("#colour", "runout")
    assert page.locator("#legend li").all_inner_texts() == ["1–1.5° (1)", "2–3° (1)"]
    page.locator("#section").fill("600")
    assert page.locator("#sectionat").inner_text() == "600 mm"
    page.click("[data-look=pith]")
    settle(page)
    assert page.evaluate("pithline.state.section") == 600


def test_lift_marks_and_blade_show_over_the_picture_on_a_phone_too(page):
    page.click("#next")
    shown = page.locator("#caption .figures dd")
    assert shown.count() >= 3
    for number in range(3):
        assert shown.nth(number).is_visible()
    names = page.locator("#caption .figures dt").all_inner_texts()
    assert names[:3] == ["lift", "marks", "blade"]
    box, stage = page.locator("#caption").bounding_box(), page.locator("#stage").bounding_box()
    assert box["height"] < 0.4 * stage["height"]


def test_plates_are_coloured_by_set_where_asked(page):
    page.select_option("#colour", "set")
    assert page.locator("#legend li").all_inner_texts() == ["in no set (2)"]


def test_keyboard_moves_steps_and_pieces(page, script):
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    assert page.get_attribute("body", "data-step") == "2"
    page.keyboard.press("ArrowLeft")
    assert page.get_attribute("body", "data-step") == "1"
    page.keyboard.press("]")
    assert page.get_attribute("body", "data-picked") == "log"
    page.keyboard.press("End")
    assert page.get_attribute("body", "data-step") == str(len(script["operations"]))
    page.keyboard.press("Shift+ArrowLeft")
    step = int(page.get_attribute("body", "data-step"))
    assert script["operations"][step - 1]["op"] == "setting"


def test_three_hundred_plates_load_within_three_seconds(browser, tmp_path):
    path = tmp_path / "preview.html"
    path.write_bytes(page_of(many_plates(300)))
    assert path.stat().st_size < 4_000_000
    seconds = []
    while not seconds or (min(seconds) >= 3.0 and len(seconds) < 3):  # the machine is shared with other tests
        opened = browser.new_page(viewport={"width": 1280, "height": 800})
        opened.goto(path.as_uri())
        opened.wait_for_selector("body[data-drawn]")
        seconds.append(opened.evaluate("performance.now()") / 1000.0)
        opened.click("#last")
        assert opened.locator("#pick option").count() > 2
        opened.close()
    assert min(seconds) < 3.0


def test_the_picture_shows_bark_wood_and_the_blade(page):
    def colours():
        settle(page)
        page.evaluate("new Promise((go) => requestAnimationFrame(() => requestAnimationFrame(go)))")
        shot = page.locator("#view").screenshot()
        return np.asarray(Image.open(io.BytesIO(shot)).convert("RGB")).astype(int).reshape(-1, 3)

    bark = np.array([87, 70, 55])
    assert (np.abs(colours() - bark).max(axis=1) < 32).mean() > 0.05
    page.click("#next")
    page.click("#next")
    page.click("#next")
    seen = colours()
    assert ((seen[:, 0] - seen[:, 2] > 50) & (seen[:, 0] > 120)).mean() > 0.005  # sawn faces and the blade


def test_steps_and_figures_remain_where_the_browser_draws_no_3d(driver, file):
    flags = ["--no-sandbox", "--disable-3d-apis", "--disable-background-networking"]
    plain = driver.chromium.launch(executable_path=str(CHROMIUM), args=flags)
    opened = plain.new_page()
    broken = []
    opened.on("pageerror", lambda error: broken.append(str(error)))
    opened.goto(file.as_uri())
    assert opened.is_visible("#nogl")
    opened.click("#last")
    opened.click("input[value=log]")
    opened.select_option("#pick", "p1")
    assert "86.5°" in opened.locator("#facts").inner_text()
    assert broken == []
    plain.close()


def test_nothing_runs_off_the_page(page):
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    low = json.loads(page.evaluate("JSON.stringify([...document.querySelectorAll('button')].map(b => b.offsetHeight))"))
    assert min(low) >= 30
