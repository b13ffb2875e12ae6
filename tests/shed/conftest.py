"""A real server over a yard, and pages of it in headless Chromium."""

import contextlib
import json
from pathlib import Path

import pytest

from pithline.library import Appraisal, write_appraisal
from pithline.shed.folder import YardFolder
from pithline.shed.lots import keep_pictures
from pithline.shed.own_copies import make_copy
from pithline.shed.plan_view import keep_view
from pithline.shed.weighing import keep_weighed
from pithline.yard.weighed_log import next_better
from shed_yard import DESK, PHONE, SAMPLES, free_port, make_yard, ready, settled, start, stop
from unit.test_appraisal_lot import whole
from unit.test_season_outputs import DOCUMENT as SEASON
from unit.test_weighed_log import PRICES, ROWS

CHROMIUM = Path("/usr/bin/chromium")


@pytest.fixture(scope="module")
def browser():
    api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed: pip install '.[test]'")
    with api.sync_playwright() as driver:
        flags = ["--no-sandbox", "--disable-background-networking", "--disable-component-update"]
        opened = driver.chromium.launch(executable_path=str(CHROMIUM), args=flags)
        yield opened
        opened.close()


def appraised(root, name):
    """An appraisal of invented logs, as the command writes it, with its pictures."""
    document, done = whole()
    pictures = [one.pictures for one in done]
    write_appraisal(Appraisal(document, pictures), root / name)
    keep_pictures(YardFolder(root), name, pictures)


@pytest.fixture(scope="module")
def yard(tmp_path_factory):
    root = make_yard(tmp_path_factory.mktemp("yard"))
    keep_view(YardFolder(root), root / "small" / "plan-1", "mm")
    for kind in ("ply", "toml"):
        (root / f"af-12.{kind}").write_bytes((SAMPLES / f"af-12.{kind}").read_bytes())
    (root / "season").mkdir()
    (root / "season" / "season.json").write_text(json.dumps(SEASON))
    found = {"good_for": ROWS, "next_better": next_better(ROWS, PRICES), "products": {"product": []}, "hour_rate": 60.0}
    keep_weighed(YardFolder(root), "af-12", found, "portable")
    appraised(root, "appraisal-1")
    make_copy(YardFolder(root), "mills", "portable", "my mill")
    make_copy(YardFolder(root), "products", "guitar", "my guitars")
    return root


@pytest.fixture(scope="module")
def port():
    return free_port()


@pytest.fixture(scope="module")
def server(yard, port):
    running = [start(yard, port)]
    yield running
    stop(running[0])


@contextlib.contextmanager
def new_page(browser, port):
    """A page of its own. At its end: no script of it broke, and it asked this machine alone."""
    context = browser.new_context(viewport=DESK)
    opened = context.new_page()
    opened.set_default_timeout(30_000)
    broken, elsewhere = [], []
    opened.on("pageerror", lambda error: broken.append(str(error)))
    opened.on(
        "request",
        lambda asked: (
            elsewhere.append(asked.url)
            if not asked.url.startswith((f"http://127.0.0.1:{port}", "data:", "blob:"))
            else None
        ),
    )
    opened.base = f"http://127.0.0.1:{port}"
    try:
        yield opened
    finally:
        context.close()
    assert broken == []
    assert elsewhere == [], "no other address is asked for anything"


@pytest.fixture
def page(browser, server, port):
    with new_page(browser, port) as opened:
        yield opened


@pytest.fixture(scope="module")
def shown(request, browser, server, port):
    """A page loaded once, on a phone, for every test that only looks at it."""
    with new_page(browser, port) as opened:
        opened.set_viewport_size(PHONE)
        ready(opened, request.param)
        settled(opened)
        yield opened
