"""The yard against its orders: which logs, which orders, and the season that was worked out, by week."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from typing import Any
from urllib.parse import quote

from nicegui import ui

from pithline.errors import InputError, PithlineError
from pithline.mill.products import Products
from pithline.outputs.reports.season_page import ReportTable
from pithline.outputs.reports.season_weeks import SeasonWeek
from pithline.shed.folder import LogEntry
from pithline.shed.lots import day_as_typed
from pithline.shed.parts import Tag, button, choice, frame, job_mark, link, say, shown_name, tick, typed, working
from pithline.shed.seasons import (
    LOGS,
    ORDERS,
    OUT,
    Cells,
    open_sheet,
    products_of,
    read_season,
    save_logs,
    save_orders,
)
from pithline.shed.state import Shed

LOOKED_EVERY = 0.8
"""Seconds between two looks at the work."""
MATCHED = {"": "from any logs", "log": "all from one log"}
MISSING = (
    "The yard has no orders.csv yet. It says what is wanted: a row for each order, with its product and how many sets; and where you "
    "like the price of a set, the day it is due, a priority from 0 to 9, and whether all its sets come from one log. Write the first here."
)


@dataclass(slots=True)
class SeasonDesk:
    """What is asked for on one page."""

    shed: Shed
    mill: str
    products: set[str]
    start: str
    finish: bool = False
    orders: Cells = field(default_factory=list)
    orders_stamp: str = ""
    logs: Cells = field(default_factory=list)
    logs_stamp: str = ""
    fault: str = ""
    redraw: Callable[[], None] = lambda: None

    def load(self) -> None:
        """Read logs and orders as they lie there."""
        try:
            orders, logs = open_sheet(self.shed.yard, ORDERS), open_sheet(self.shed.yard, LOGS)
        except PithlineError as error:
            self.fault = str(error)
            return
        self.fault = ""
        self.orders, self.orders_stamp = orders.rows, orders.stamp
        self.logs, self.logs_stamp = logs.rows, logs.stamp

    def lists(self) -> list[str]:
        """The product lists that are chosen."""
        return [one for one in self.shed.yard.choices("products") if one in self.products]

    def known(self) -> Products | None:
        """What may be ordered; `None`, with a sentence told, where the lists cannot be used."""
        return products_of(self.shed.yard, self.lists()) if self.lists() else None

    def save(self) -> None:
        """Write both files."""
        known = self.known()
        if known is None:
            raise InputError("no product list is chosen; choose at least one.")
        self.orders_stamp = save_orders(self.shed.yard, self.orders, self.orders_stamp, known)
        self.logs_stamp = save_logs(self.shed.yard, self.logs, self.logs_stamp)

    def keep(self) -> None:
        """Write both files and say so."""
        self.save()
        say("Kept in logs.csv and orders.csv of this yard.")

    def begin(self) -> None:
        """Work the season out in a process of its own."""
        self.save()
        asked = {
            "mill": self.mill,
            "products": self.lists(),
            "start": day_as_typed("the start", self.start),
            "finish": self.finish,
            "units": self.shed.units,
            "paper": self.shed.setting("paper"),
        }
        self.shed.jobs.start("season", "", asked, OUT)
        self.redraw()


def season_page(shed: Shed) -> None:
    """Build the page."""
    mills, lists = shed.yard.choices("mills"), shed.yard.choices("products")
    last = shed.jobs.state("season", "")
    asked = last.asked if last is not None else {}
    desk = SeasonDesk(
        shed,
        asked["mill"] if asked.get("mill") in mills else "portable" if "portable" in mills else mills[0],
        {one for one in asked.get("products", []) if one in lists} or {"guitar" if "guitar" in lists else lists[0]},
        str(asked.get("start") or datetime.date.today().isoformat()),
        bool(asked.get("finish")),
    )
    desk.load()
    if not desk.logs_stamp:
        desk.logs = [_row_of(one) for one in _cards(shed)]
    with frame(shed.yard, "The yard against its orders", "/season", shed.places()):

        @ui.refreshable
        def found() -> None:
            _found(desk)

        @ui.refreshable
        def ask() -> None:
            _ask(desk)

        def redraw() -> None:
            found.refresh()
            ask.refresh()

        desk.redraw = redraw
        found()
        ask()
        seen: dict[str, Any] = {"mark": _mark(desk)}

        def look() -> None:
            now = _mark(desk)
            if now[0] != seen["mark"][0]:
                ask.refresh()
            if now[1:] != seen["mark"][1:]:
                found.refresh()
            seen["mark"] = now

        ui.timer(LOOKED_EVERY, look)


def _mark(desk: SeasonDesk) -> tuple[Any, ...]:
    reports = [(one.name, one.made) for one in desk.shed.yard.reports("season")]
    return job_mark(desk.shed.jobs.state("season", "")), *reports


def _cards(shed: Shed) -> list[LogEntry]:
    """Logs that can be planned."""
    return [one for one in shed.yard.logs() if one.card is not None and not one.fault and one.scan is not None]


def _row_of(one: LogEntry) -> dict[str, str]:
    assert one.card is not None
    return {"card": one.card.name}


# -- what is asked ----------------------------------------------------------------------------------------------------


def _ask(desk: SeasonDesk) -> None:
    if working(
        desk.shed.jobs, "season", "", "The season", "Stopping once the log in hand is done; finished plans are kept."
    ):
        return
    if desk.fault:
        Tag("p", f"{desk.fault}", "fault")
        Tag("p", "Mend it in a text editor or a spreadsheet, then load this page again.")
        return
    Tag("h2", "Products, mill and start")
    yard = desk.shed.yard
    with Tag("div", look="asking"):
        with Tag("fieldset"):
            Tag("legend", "Product lists that orders are taken for")
            with Tag("div", look="lists"):
                for each in yard.choices("products"):
                    tick(shown_name(each), each in desk.products, partial(_list, desk, each), each)
        with Tag("div"):
            mills = {each: shown_name(each) for each in yard.choices("mills")}
            choice("Mill", mills, desk.mill, partial(setattr, desk, "mill"), "mill")
            typed(
                "First day of the season",
                "start",
                desk.start,
                partial(setattr, desk, "start"),
                placeholder="2026-04-06",
            )
        with Tag("div"):
            tick(
                "Plan the chosen logs fully and print their papers; takes longer",
                desk.finish,
                partial(setattr, desk, "finish"),
            )
            Tag(
                "p",
                "A file yard.toml in this folder tells hours a week, drying and money in place of the bundled one.",
                "faint",
            )
    _logs(desk)
    _orders(desk)
    with Tag("div", look="papers"):
        button("Work the season out", desk.begin, "main")
        button("Only keep logs and orders", desk.keep)


def _list(desk: SeasonDesk, one: str, on: bool) -> None:
    (desk.products.add if on else desk.products.discard)(one)
    desk.redraw()


def _logs(desk: SeasonDesk) -> None:
    Tag("h2", "Logs")
    cards = _cards(desk.shed)
    if not cards:
        Tag("p", "No log of this yard has a card and a scan yet; begin one in the yard.", "note")
        return
    Tag(
        "p",
        "Logs that are not ticked stay out of it. Cost and priority may stay empty; the card's own cost holds then.",
        "faint",
    )
    with Tag("ul", look="rows"):
        for one in cards:
            row = next((each for each in desk.logs if each["card"] == _row_of(one)["card"]), None)
            with Tag("li"):
                tick(one.name, row is not None, partial(_log_chosen, desk, one), one.name)
                if row is not None:
                    for key, label, example in (
                        ("cost", "cost", "310"),
                        ("priority", "priority, 0 to 9", "0"),
                        ("not_before", "not before", "2026-05-04"),
                    ):
                        keep = partial(row.__setitem__, key)
                        typed(f"{label}", f"log-{one.name}-{key}", row.get(key, ""), keep, placeholder=example,
                              aria_label=f"{one.name}: {label}")  # fmt: skip


def _log_chosen(desk: SeasonDesk, one: LogEntry, on: bool) -> None:
    desk.logs = [each for each in desk.logs if each["card"] != _row_of(one)["card"]]
    if on:
        desk.logs.append(_row_of(one))
    desk.redraw()


def _orders(desk: SeasonDesk) -> None:
    Tag("h2", "Orders")
    try:
        known = desk.known()
    except PithlineError as error:
        Tag("p", str(error), "fault")
        return
    if known is None:
        Tag("p", "Choose a product list first.", "note")
        return
    if not desk.orders_stamp:
        Tag("p", MISSING, "note")
    with Tag("ul", look="rows"):
        for number, row in enumerate(desk.orders):
            with Tag("li"):
                _order(desk, number, row, known)
    button("One order more", lambda: _more(desk, known))


def _more(desk: SeasonDesk, known: Products) -> None:
    desk.orders.append({"product": known.products[0].name, "quantity": "1"})
    desk.redraw()


def _order(desk: SeasonDesk, number: int, row: dict[str, str], known: Products) -> None:
    prices = {one.name: one.price for one in known.products}
    product = row.get("product", "")
    options = {name: f"{name}, {price:g} a set" if price else name for name, price in prices.items()}
    if product not in options:
        options = {product: f"{product}: in no chosen list", **options}
    with Tag("div", look="field broad"):
        choice(f"Order {number + 1}", options, product, partial(row.__setitem__, "product"), f"order-{number}-product")
    for key, label, example in (
        ("quantity", "sets", "4"),
        ("price", "price of a set", "as the list"),
        ("due", "due", "any time"),
        ("priority", "priority, 0 to 9", "0"),
    ):
        keep = partial(row.__setitem__, key)
        typed(label, f"order-{number}-{key}", row.get(key, ""), keep, placeholder=example,
              aria_label=f"Order {number + 1}: {label}")  # fmt: skip
    with Tag("div", look="field"):
        choice(
            "its sets", MATCHED, row.get("matched", ""), partial(row.__setitem__, "matched"), f"order-{number}-matched"
        )
    button("Take it off", partial(_less, desk, number), "slight", aria_label=f"Take order {number + 1} off")


def _less(desk: SeasonDesk, number: int) -> None:
    if 0 <= number < len(desk.orders):
        del desk.orders[number]
    desk.redraw()


# -- what was found ---------------------------------------------------------------------------------------------------


def _found(desk: SeasonDesk) -> None:
    reports = desk.shed.yard.reports("season")
    if not reports:
        Tag(
            "p",
            "Which logs to saw, by which plan, in which week, for which order: worked out for all logs and orders together. What dries too "
            "long or waits too long is counted.",
        )
        return
    entry = reports[0]
    view = read_season(entry)
    if view is None:
        Tag("p", f"{entry.name} cannot be read as a season; work it out anew.", "fault")
        return
    Tag("h2", f"The season from {view.start}")
    with Tag("dl", look="facts"):
        for fact in view.facts:
            with Tag("div"):
                Tag("dt", fact.what)
                Tag("dd", fact.figure)
    Tag("p", view.proof)
    Tag("h2", "By week")
    with Tag("ol", look="weeks"):
        for week in view.weeks:
            with Tag("li"):
                _week(week)
    for table in view.tables:
        _table(table)
    at = f"/report-file/season/{quote(entry.name, safe='')}"
    with Tag("div", look="papers"):
        link("The whole report", f"{at}/season.html", "act", target="_blank", rel="noopener")
        link("As a table", f"{at}/season.csv", "act")
        for log in desk.shed.yard.logs():
            if any(plan.name.startswith(f"{entry.name}/logs/") for plan in log.plans):
                link(f"Plans of {log.name}", f"/plans/{quote(log.name, safe='')}", "act")


def _week(week: SeasonWeek) -> None:
    Tag("h3", f"Week of {week.begins.day} {week.begins:%b %Y}")
    if week.hours > 0.0:
        share = min(100.0 * week.hours / max(week.most, 1e-9), 100.0)
        with Tag("div", look="hours"):
            with Tag("div", look="progress", aria_hidden="true"):
                Tag("div", style=f"width:{share:.0f}%")
            Tag("span", f"{week.hours:.1f} of {week.most:g} h at the mill")
    for words, things in (("Sawn: ", week.done), ("Dry and ready: ", week.ready), ("Due: ", week.due)):
        if things:
            Tag("p", words + ", ".join(things))


def _table(table: ReportTable) -> None:
    Tag("h2", table.title)
    with Tag("div", look="wide"), Tag("table", look="worths plain"):
        with Tag("thead"), Tag("tr"):
            for column in table.columns:
                Tag("th", column.name, scope="col")
        with Tag("tbody"):
            for row in table.rows:
                with Tag("tr"):
                    for at, (column, cell) in enumerate(row):
                        if at == 0:
                            Tag("th", cell.text, scope="row")
                        else:
                            Tag("td", cell.text, "short" if cell.short else "", data_is=column.name)
