"""What a log is good for, before any plan is made: each product list alone, and what keeps a dearer set out."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote

from nicegui import ui

from pithline.errors import InputError
from pithline.outputs.formatting import Formatter
from pithline.shed.parts import (
    Tag,
    button,
    choice,
    frame,
    job_mark,
    link,
    log_places,
    progress,
    redraw_on_change,
    say,
    shown_name,
    tick,
    what_next,
)
from pithline.shed.state import Shed
from pithline.shed.weighing import ListRow, kept_weighed, weighed_stamp

TOGETHER = 3
"""So many lists that bring most are offered to be planned for together."""
LOOKED_EVERY = 0.7
"""Seconds between two looks at the work."""


@dataclass(slots=True)
class WeighDesk:
    """What is asked for on one page."""

    shed: Shed
    name: str
    mill: str
    products: set[str]
    redraw: Callable[[], None] = lambda: None

    def start(self) -> None:
        """Begin in a process of its own."""
        chosen = [one for one in self.shed.yard.choices("products") if one in self.products]
        if not chosen:
            raise InputError("no product list is chosen; choose at least one to look for.")
        self.shed.jobs.start("weigh", self.name, {"mill": self.mill, "products": chosen})
        self.redraw()


def good_for_page(shed: Shed, name: str) -> None:
    """Build the page."""
    mills, lists = shed.yard.choices("mills"), shed.yard.choices("products")
    last = shed.jobs.state("weigh", name)
    asked = last.asked if last is not None else {}
    desk = WeighDesk(
        shed,
        name,
        asked["mill"] if asked.get("mill") in mills else "portable" if "portable" in mills else mills[0],
        {one for one in asked.get("products", lists) if one in lists},
    )
    entry, at = shed.yard.log(name), quote(name, safe="")
    with frame(shed.yard, f"{name}: what it is good for", f"/good-for/{at}", shed.places()[:1] + log_places(name)):
        if entry.card is None or entry.scan is None:
            Tag("p", "Only a log with a card and a scan can be looked at; begin it in the yard.", "fault")
            link("To the yard", "/", "act")
            return

        @ui.refreshable
        def table() -> None:
            _table(desk)

        @ui.refreshable
        def ask() -> None:
            _ask(desk)

        @ui.refreshable
        def following() -> None:
            _next(desk)

        def redraw() -> None:
            table.refresh()
            ask.refresh()
            following.refresh()

        desk.redraw = redraw
        table()
        ask()
        following()
        redraw_on_change(lambda: _mark(desk), redraw, LOOKED_EVERY)


def _mark(desk: WeighDesk) -> tuple[Any, ...]:
    return job_mark(desk.shed.jobs.state("weigh", desk.name)), weighed_stamp(desk.shed.yard, desk.name)


def _ask(desk: WeighDesk) -> None:
    job = desk.shed.jobs.state("weigh", desk.name)
    if job is not None and job.alive:
        Tag("h2", "Being looked at")
        progress(desk.shed.jobs, "weigh", desk.name, "Looking at the log")
        button("Stop, and keep what is known", lambda: _stop(desk), "stop")
        return
    Tag("h2", "Look at it for")
    if job is not None and (job.fault or job.broken_off):
        with Tag("div", look="fault"):
            Tag("strong", "It stopped. ")
            Tag("span", job.fault or "The work was broken off before its end; start it again.")
    with Tag("div", look="asking"):
        with Tag("fieldset"):
            Tag("legend", "Product lists")
            with Tag("div", look="lists"):
                for one in desk.shed.yard.choices("products"):
                    _list(desk, one)
        with Tag("div"):
            mills = {one: shown_name(one) for one in desk.shed.yard.choices("mills")}
            choice("Mill", mills, desk.mill, lambda text: setattr(desk, "mill", text), "mill")
            Tag(
                "p",
                "Each list is searched alone and quickly, a few seconds each. A plan finds more. Prices stand in the lists; the bundled "
                "ones are invented.",
                "faint",
            )
    button("Look what it is good for", desk.start, "main", style="margin-top:12px")


def _list(desk: WeighDesk, one: str) -> None:
    def changed(on: bool) -> None:
        (desk.products.add if on else desk.products.discard)(one)

    tick(shown_name(one), one in desk.products, changed, one)


def _stop(desk: WeighDesk) -> None:
    desk.shed.jobs.stop("weigh", desk.name)
    say("Stopping: what is known by now will be shown.")


def _table(desk: WeighDesk) -> None:
    found = kept_weighed(desk.shed.yard, desk.name, Formatter(desk.shed.units))
    if found is None:
        Tag(
            "p",
            "What each product list would give of this log, and which parts do not fit it and by how much. No plan is needed for it.",
        )
        return
    if found.stale:
        Tag("p", "The card has changed since this was looked at; look again.", "note")
    Tag("p", found.way, "note")
    with Tag("div", look="wide"), Tag("table", look="worths"):
        with Tag("thead"), Tag("tr"):
            Tag("th", "list", scope="col")
            for name, _ in found.rows[0].figures if found.rows else ():
                Tag("th", name, scope="col")
            Tag("th", "plan", scope="col")
        with Tag("tbody"):
            for row in found.rows:
                _row(desk, row)
    Tag("p", f"{found.searched} On the mill {shown_name(found.mill)}.", "faint")
    missing = [row for row in found.rows if row.misfits]
    if missing:
        Tag("h2", "Parts that do not fit, and by how much")
        for row in missing:
            Tag("h3", shown_name(row.name))
            with Tag("ul"):
                for text in row.misfits:
                    Tag("li", text)


def _row(desk: WeighDesk, row: ListRow) -> None:
    with Tag("tr"):
        Tag("th", shown_name(row.name), scope="row")
        for name, value in row.figures:
            Tag("td", value, data_is=name)
        with Tag("td"):
            if row.sells:
                words = f"Plan it for {shown_name(row.name)}"
                link("Plan it", _plans_of(desk, [row]), "act", aria_label=words)


def _plans_of(desk: WeighDesk, rows: Sequence[ListRow]) -> str:
    """The page of plans, with these lists ticked."""
    return f"/plans/{quote(desk.name, safe='')}?products={quote(','.join(row.name for row in rows), safe='')}"


def _next(desk: WeighDesk) -> None:
    """What comes after a look."""
    found = kept_weighed(desk.shed.yard, desk.name, Formatter(desk.shed.units))
    selling = [row for row in found.rows if row.sells] if found else []
    if not selling:
        return
    best, earns = selling[0], dict(selling[0].figures)["earns"]
    ways = [(f"Plan it for {shown_name(best.name)}", _plans_of(desk, [best]))]
    if len(selling) >= TOGETHER:
        ways.append((f"For the first {TOGETHER} together", _plans_of(desk, selling[:TOGETHER])))
    what_next(
        f"Of the lists alone {shown_name(best.name)} brings most: {earns}. Several that share the log may bring more.",
        ways,
    )
