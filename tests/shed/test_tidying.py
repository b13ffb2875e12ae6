"""Memory of pages that were left is given back, and not while somebody asks."""

import asyncio
import gc
import time
import weakref

import pytest

from pithline.shed import tidying
from pithline.shed.tidying import AT_LATEST, LULL, SELDOM, Hearing, Lulls


@pytest.fixture
def rule():
    """Python's own rule, put back afterwards."""
    before = gc.get_threshold()
    yield
    gc.set_threshold(*before)
    gc.unfreeze()


@pytest.mark.parametrize(
    ("since_tidied", "since_asked", "due"),
    [
        (SELDOM + 1, LULL + 1, True),
        (SELDOM - 1, LULL + 1, False),
        (SELDOM + 1, LULL - 1, False),
        (AT_LATEST + 1, 0.0, True),
    ],
)
def test_all_is_looked_through_in_a_lull_seldom_and_at_the_latest(since_tidied, since_asked, due):
    now = 10_000.0
    assert Lulls(asked=now - since_asked, tidied=now - since_tidied).due(now) is due


@pytest.mark.parametrize(("kind", "heard"), [("http", True), ("websocket", False)])
def test_a_request_is_heard_and_what_a_page_says_over_its_socket_is_not(kind, heard):
    lulls, passed = Lulls(asked=0.0), []

    async def page(scope, receive, send):
        passed.append(scope["type"])

    asyncio.run(Hearing(page, lulls)({"type": kind}, None, None))
    assert passed == [kind] and (lulls.asked > 0.0) is heard


class Page:
    """An object that only a full collection gives back: it holds itself."""

    def __init__(self):
        self.itself = self


@pytest.mark.parametrize(("quiet", "given_back"), [(LULL + 1, True), (-LULL, False)], ids=["a lull", "somebody asks"])
def test_a_page_that_was_left_is_given_back_in_a_lull(rule, monkeypatch, quiet, given_back):
    monkeypatch.setattr(tidying, "LOOKED_EVERY", 0.01)
    monkeypatch.setattr(tidying, "SELDOM", 0.0)

    async def left():
        work = asyncio.create_task(Lulls(asked=time.monotonic() - quiet).tidy())
        await asyncio.sleep(0.02)
        page = Page()
        there = weakref.ref(page)
        gc.collect(1)  # it has grown old
        del page
        for _ in range(50):
            await asyncio.sleep(0.01)
        work.cancel()
        return there() is None

    assert asyncio.run(left()) is given_back
