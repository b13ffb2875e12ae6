"""Walk the shed page from a scan to the saw and draw the pictures of shed-path.md: `python docs/draw_shed_path.py FOLDER`.

The folder is made; the log is a generated one, and the walk takes some minutes. Needs the test extras (pypdfium2, playwright), Chromium,
and a network to share on.
"""

from __future__ import annotations

import json
import re
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pypdfium2
from PIL import Image
from playwright.sync_api import Page, sync_playwright

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests"))

from shed_yard import free_port, start, stop
from truth.logs import true_log
from truth.scans import Scan, simulate_scan, write_binary_ply

PICTURES = Path(__file__).resolve().parent / "pictures" / "path"
CHROMIUM = "/usr/bin/chromium"
FLAGS = ["--no-sandbox", "--use-gl=angle", "--use-angle=swiftshader", "--enable-unsafe-swiftshader"]
DESK, PHONE = {"width": 1100, "height": 760}, {"width": 390, "height": 760}
LOG, KIND, SEED = "walnut-31", "eccentric", 9301
LONG = 900_000
"""Of a search, on a machine that others use too. [ms]"""
COLOURS, DOTS, GAP = 48, 80, 16


def keep(pictures: list[bytes] | list[Image.Image], name: str) -> None:
    """One picture, or several side by side, in few colours."""
    import io

    shown = [one if isinstance(one, Image.Image) else Image.open(io.BytesIO(one)) for one in pictures]
    whole = Image.new("RGB", (sum(one.width + GAP for one in shown) - GAP, max(one.height for one in shown)), "white")
    at = 0
    for one in shown:
        whole.paste(one.convert("RGB"), (at, 0))
        at += one.width + GAP
    PICTURES.mkdir(exist_ok=True)
    whole.quantize(COLOURS, dither=Image.Dither.NONE).save(PICTURES / f"{name}.png", optimize=True)


def shot(page: Page, high: int = 0) -> bytes:
    """What is in sight, from the top so many pixels high."""
    page.wait_for_timeout(900)
    size = page.viewport_size or DESK
    if high:
        page.set_viewport_size({"width": size["width"], "height": high})
        page.wait_for_timeout(300)
    taken = page.screenshot()
    page.set_viewport_size(size)
    return taken


def touch_pith(page: Page, yard: Path, scan: Scan, end: str) -> None:
    """Touch the face where the pith of the true log is."""
    face = json.loads((yard / ".shed" / "faces" / LOG / "faces.json").read_text())["faces"][end]
    away = np.array(scan.pith_butt if end == "butt" else scan.pith_top) - np.array(face["corner"])
    right, under = np.array(face["right"]), np.array(face["under"])
    across, down = away @ right / (right @ right), away @ under / (under @ under)
    page.locator(f"#face-{end}").scroll_into_view_if_needed()
    box = page.locator(f"#face-{end} svg").bounding_box()
    assert box is not None
    scale = box["width"] / (face["wide"] + 2 * face["room"])
    page.mouse.click(box["x"] + (across + face["room"]) * scale, box["y"] + (down + face["room"]) * scale)
    page.wait_for_function(
        "text => !document.querySelector('.effect').innerText.includes('being fitted') "
        "&& document.querySelector(text).innerText.includes('as marked')",
        arg=f"#end-{end} figcaption",
        timeout=LONG,
    )


def fill(page: Page, name: str, text: str) -> None:
    """A field of the card."""
    page.fill(f"#{name}", text)
    page.keyboard.press("Tab")
    page.wait_for_function("!document.querySelector('.effect').innerText.includes('being fitted')", timeout=LONG)
    page.wait_for_selector("#told >> text=on the card", timeout=LONG)


def on_the_card(desk: Page, yard: Path, scan: Scan) -> None:
    """From the dropped scan to a card that says what matters."""
    desk.goto(desk.base + "/")  # type: ignore[attr-defined]
    keep([shot(desk, 660)], "1-yard")
    desk.set_input_files("#scans", str(yard.parent / f"{LOG}.ply"))
    desk.wait_for_selector("text=Fitted, not yet planned", timeout=LONG)
    keep([shot(desk, 680)], "2-fitted")
    desk.click("text=Mark the pith")
    desk.wait_for_selector("#face-butt svg")
    for end in ("butt", "top"):
        touch_pith(desk, yard, scan, end)
    desk.evaluate("scrollTo(0, 0)")
    keep([shot(desk, 980)], "3-pith")
    fill(desk, "bark-thickness", "10 mm")
    fill(desk, "sapwood-thickness", "20 mm")
    desk.evaluate(
        "[...document.querySelectorAll('h2')].find((one) => one.innerText.startsWith('What you know')).scrollIntoView()"
    )
    keep([shot(desk, 700)], "4-card")


def own_copies(desk: Page) -> None:
    """A product list and a mill as copies to edit, and back to the plan with that mill."""
    desk.goto(desk.base + f"/own?of=classical-guitar&log={LOG}")  # type: ignore[attr-defined]
    desk.fill("#products-called", "what my shop makes")
    desk.click("#products-make")
    desk.click("#product-0-head")
    desk.wait_for_selector("#product-0-price")
    keep([shot(desk, 900)], "6-list")
    desk.goto(desk.base + f"/own?log={LOG}")  # type: ignore[attr-defined]
    desk.fill("#mills-called", "the mill by the river")
    desk.click("#mills-make")
    desk.wait_for_selector("#mill-kerf")
    desk.wait_for_timeout(900)
    desk.fill("#mill-kerf", "2.4")
    desk.wait_for_selector(".error >> text=without a unit")
    keep([shot(desk, 760)], "6-mill")
    desk.fill("#mill-kerf", "2.4 mm")
    desk.keyboard.press("Tab")
    desk.wait_for_selector("#told >> text=Kerf: kept")
    desk.click(".next .act.main")
    desk.wait_for_selector(".lists input:checked")


def planned(desk: Page) -> str:
    """What it is good for, the search, the ladder. Returns the plan's name."""
    desk.click(".next >> text=What is it good for")
    desk.wait_for_selector("button >> text=Look what it is good for")
    desk.click("button >> text=Look what it is good for")
    desk.wait_for_selector(".worths tbody tr", timeout=LONG)
    desk.evaluate("scrollTo(0, 0)")
    keep([shot(desk, 900)], "5-good-for")
    desk.click(".next .act.main")
    desk.wait_for_selector(".lists input:checked")
    keep([shot(desk, 640)], "6-ask")
    own_copies(desk)
    desk.click("button.main >> text=Plan it")
    desk.wait_for_selector(".live img", timeout=LONG)
    keep([shot(desk, 640)], "7-search")
    desk.wait_for_selector(".rungs li.chosen img", timeout=LONG)
    desk.evaluate("scrollTo(0, 0)")
    keep([shot(desk, 1120)], "8-plan")
    address = desk.get_attribute("a >> text=Saw by this plan", "href")
    assert address is not None
    return address


def papers(plan: Path) -> None:
    """Two pages of the set-up sheet."""
    pdf = pypdfium2.PdfDocument(plan / "set-up-sheet.pdf")
    wanted = ("Measure before you saw", "At the mill")
    pages = [next(page for page in pdf if words in page.get_textpage().get_text_range()) for words in wanted]
    keep([page.render(scale=DOTS / 72).to_pil() for page in pages], "9-sheet")


def sawn(phone: Page, desk: Page, address: str) -> None:
    """At the saw, out of room, a find, and the rest planned anew."""
    phone.goto(phone.base + address)  # type: ignore[attr-defined]
    phone.wait_for_selector("body[data-ready]")
    phone.click("#done")
    marks = shot(phone)
    expected = phone.evaluate("data.steps[at].heights.expected")
    _heights(phone, expected + 40)
    halt = shot(phone)
    _heights(phone, expected + 2)
    phone.keyboard.press("Tab")
    phone.wait_for_timeout(500)
    phone.click("#done")
    keep([marks, halt, shot(phone)], "10-saw")
    while not phone.evaluate("data.steps[at].cuts.length && data.steps[at - 1].cuts.length"):
        phone.click("#done")
    phone.click("#done")
    phone.click("#odd")
    phone.select_option("#kind", "knot")
    for key, text in (("x", "900 mm"), ("clock_deg", "200"), ("diameter", "60 mm")):
        phone.fill(f"#find-{key}", text)
    asked = shot(phone)
    phone.click("#add")
    phone.wait_for_selector("#found li")
    phone.click("#replan")
    phone.wait_for_selector("#anew >> text=being planned", timeout=LONG)
    phone.locator("#finds").scroll_into_view_if_needed()
    under_way = shot(phone)
    phone.wait_for_selector("#anew >> text=Saw by the new plan", timeout=LONG)
    phone.click("#anew >> text=Saw by the new plan")
    phone.wait_for_selector("body[data-ready]")
    keep([asked, under_way, shot(phone)], "11-find")
    desk.goto(desk.base + f"/plans/{LOG}")  # type: ignore[attr-defined]
    desk.wait_for_selector(".rungs li.chosen img", timeout=LONG)
    keep([shot(desk, 620)], "12-anew")


def _heights(phone: Page, value: float) -> None:
    for end in ("butt", "top"):
        phone.locator(f"#mark-{end}").fill("")
        phone.locator(f"#mark-{end}").press_sequentially(f"{value:.0f}")
    phone.wait_for_timeout(300)


def shared(browser: Any, yard: Path) -> None:
    """The code that lets a phone in."""
    port = free_port()
    server = start(yard, port, "--share")
    try:
        found = re.findall(rf"localhost:{port}(/enter\?key=\S+)", (yard / "server.log").read_text())
        page = browser.new_page(viewport=DESK)
        page.goto(f"http://localhost:{port}{found[-1]}")
        page.wait_for_selector("h1 >> text=The yard")
        page.goto(f"http://localhost:{port}/settings")
        page.wait_for_selector(".code svg")
        keep([shot(page, 700)], "13-share")
    finally:
        stop(server)


def main(folder: Path) -> None:
    """The whole walk."""
    yard = folder / "yard"
    yard.mkdir(parents=True)
    log = true_log(KIND, SEED)
    scan = simulate_scan(log, SEED)
    write_binary_ply(folder / f"{LOG}.ply", scan.points)
    port = free_port()
    server = start(yard, port)
    try:
        with sync_playwright() as driver:
            browser = driver.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
            desk, phone = browser.new_page(viewport=DESK), browser.new_page(viewport=PHONE)
            for page in (desk, phone):
                page.base = f"http://127.0.0.1:{port}"  # type: ignore[attr-defined]
            on_the_card(desk, yard, scan)
            address = planned(desk)
            papers(yard / LOG / "plan-1")
            sawn(phone, desk, address)
            shared(browser, yard)
            browser.close()
    finally:
        stop(server)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
