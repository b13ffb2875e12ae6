"""Draw the pictures of at-the-mill.md and preview.md anew from a plan's folder: `python docs/draw_pictures.py plan`.

Needs the test extras (pypdfium2, playwright) and Chromium.
"""

from __future__ import annotations

import sys
from pathlib import Path

import pypdfium2
from PIL import Image
from playwright.sync_api import Page, sync_playwright

PICTURES = Path(__file__).resolve().parent / "pictures"
CHROMIUM = "/usr/bin/chromium"
FLAGS = ["--no-sandbox", "--use-gl=angle", "--use-angle=swiftshader", "--enable-unsafe-swiftshader", "--no-first-run"]
DOTS = 100
"""Of a page's picture, to the inch."""
PAGES = {
    "sheet-first.png": ("set-up-sheet.pdf", "Measure before you saw", (0.0, 0.0, 1.0, 0.94)),
    "sheet-lines.png": ("set-up-sheet.pdf", "Draw the lines", (0.0, 0.0, 1.0, 1.0)),
    "sheet-setting.png": ("set-up-sheet.pdf", "At the mill", (0.0, 0.0, 1.0, 0.84)),
    "shop-cards.png": ("shop-cards.pdf", "", (0.0, 0.0, 1.0, 0.93)),
    "overview.png": ("overview.pdf", "", (0.0, 0.0, 1.0, 1.0)),
    "end-template.png": ("end-templates.pdf", "", (0.0, 0.0, 1.0, 1.0)),
    "labels.png": ("labels.pdf", "rings", (0.0, 0.0, 1.0, 0.45)),
}
"""By the picture's name: the file, words on the pages that will do (of cards and labels the second is shown, else the first), and
what of the page, as shares from the upper left."""


def draw_pages(plan: Path) -> None:
    """Pages of the PDFs as pictures."""
    for name, (file, words, part) in PAGES.items():
        pdf = pypdfium2.PdfDocument(plan / file)
        found = [page for page in pdf if words in page.get_textpage().get_text_range()]
        page = found[min(1, len(found) - 1)] if file in ("shop-cards.pdf", "labels.pdf") else found[0]
        image = page.render(scale=DOTS / 72).to_pil().convert("RGB")
        left, top, right, bottom = part
        box = (int(left * image.width), int(top * image.height), int(right * image.width), int(bottom * image.height))
        image.crop(box).quantize(64).save(PICTURES / name, optimize=True)


def shot(page: Page, step: int, name: str) -> None:
    """One picture of the 3D page at a step."""
    page.evaluate(f"pithline.goTo({step})")
    page.wait_for_selector("body[data-still=true]")
    page.wait_for_timeout(600)
    page.evaluate("scrollTo(0, 0)")
    page.screenshot(path=PICTURES / name)


def draw_preview(plan: Path) -> None:
    """The 3D page: a cut on the mill, a section with plates, a phone."""
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        page = browser.new_page(viewport={"width": 1280, "height": 800})
        page.goto((plan / "preview.html").resolve().as_uri())
        page.wait_for_selector("body[data-drawn]")
        half = page.evaluate("pithline.stepOf('half')")
        shot(page, half + 1, "preview-mill.png")
        page.click("input[value=log]")
        page.check("#glass")
        page.click("[data-look=pith]")
        page.locator("#section").fill(page.evaluate("String(Math.round(pithline.length / 2))"))
        shot(page, 0, "preview-section.png")
        phone = browser.new_page(viewport={"width": 390, "height": 844}, device_scale_factor=2)
        phone.goto((plan / "preview.html").resolve().as_uri())
        phone.wait_for_selector("body[data-drawn]")
        shot(phone, half, "preview-phone.png")
        browser.close()
    image = Image.open(plan / "preview.png").convert("RGB").resize((720, 900))
    image.quantize(128).save(PICTURES / "preview.png", optimize=True)


if __name__ == "__main__":
    folder = Path(sys.argv[1])
    draw_pages(folder)
    draw_preview(folder)
