"""Logs before they are bought: the lot as cards with bid and doubt, and what to ask of it."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from typing import Any
from urllib.parse import quote

from nicegui import ui

from pithline.errors import InputError, PithlineError
from pithline.logmodel.species import SPECIES
from pithline.outputs.reports.appraisal_page import Bar, LotEntry, NamedFact
from pithline.shed.drawing import span_bar
from pithline.shed.folder import LogEntry
from pithline.shed.lots import TAPED, add_taped_log, day_as_typed, margin_as_typed, read_appraisal
from pithline.shed.parts import (
    Tag,
    button,
    choice,
    chosen,
    drawing,
    frame,
    job_mark,
    link,
    redraw_on_change,
    say,
    shown_name,
    tick,
    typed,
    working,
)
from pithline.shed.state import Shed

LOOKED_EVERY = 0.8
"""Seconds between two looks at the work."""
OBJECTIVES = {"sets": "complete sets", "value": "what it earns, hours paid", "volume": "as much good wood as possible"}
STANDING = {"worth": "worth the price asked", "dear": "asked more than it is worth", "open": "no price asked"}


@dataclass(slots=True)
class AppraisalDesk:
    """What is asked for on one page."""

    shed: Shed
    mill: str
    products: set[str]
    logs: set[str]
    objective: str = "sets"
    margin: str = "25"
    on: str = ""
    taped: dict[str, str] = field(default_factory=dict)
    shown: str = ""
    redraw: Callable[[], None] = lambda: None

    def cards(self) -> list[LogEntry]:
        """Logs that can be appraised."""
        return [one for one in self.shed.yard.logs() if one.card is not None and not one.fault]

    def start(self) -> None:
        """Appraise in a process of its own."""
        logs = [one.name for one in self.cards() if one.name in self.logs]
        products = [one for one in self.shed.yard.choices("products") if one in self.products]
        if not logs:
            raise InputError("no log is chosen; choose at least one to appraise.")
        if not products:
            raise InputError("no product list is chosen; choose at least one to appraise for.")
        asked = {
            "logs": logs,
            "mill": self.mill,
            "products": products,
            "objective": self.objective,
            "margin": margin_as_typed(self.margin),
            "on": day_as_typed("the day", self.on),
        }
        self.shed.jobs.start("appraise", "", asked, self.shed.yard.next_report("appraisal"))
        self.redraw()

    async def begin_taped(self) -> None:
        """Put a log known by tape alone into the yard."""
        try:
            name = await self.shed.aside(add_taped_log, self.shed.yard, self.taped.get("name", ""), dict(self.taped))
        except PithlineError as error:
            say(str(error), fault=True)
            return
        self.logs.add(name)
        self.taped.clear()
        say(f"{name} lies in the yard now, and is chosen.")
        self.redraw()


def appraisal_page(shed: Shed, of: str) -> None:
    """Build the page; `of` is the appraisal that it shows, the newest where empty."""
    mills, lists = shed.yard.choices("mills"), shed.yard.choices("products")
    last = shed.jobs.state("appraise", "")
    asked = last.asked if last is not None else {}
    desk = AppraisalDesk(
        shed,
        asked["mill"] if asked.get("mill") in mills else "portable" if "portable" in mills else mills[0],
        {one for one in asked.get("products", []) if one in lists} or {"guitar" if "guitar" in lists else lists[0]},
        set(),
        asked.get("objective", "sets"),
        on=datetime.date.today().isoformat(),
        shown=shed.yard.report("appraisal", of).name if of else "",
    )
    desk.logs = set(asked.get("logs", [one.name for one in desk.cards()]))
    with frame(shed.yard, "What logs are worth before they are bought", "/appraisal", shed.places()):

        @ui.refreshable
        def lot() -> None:
            _lot(desk)

        @ui.refreshable
        def ask() -> None:
            _ask(desk)

        def redraw() -> None:
            lot.refresh()
            ask.refresh()

        desk.redraw = redraw
        lot()
        ask()
        redraw_on_change(lambda: _mark(desk), redraw, LOOKED_EVERY)


def _mark(desk: AppraisalDesk) -> tuple[Any, ...]:
    reports = [(one.name, one.made) for one in desk.shed.yard.reports("appraisal")]
    return job_mark(desk.shed.jobs.state("appraise", "")), *reports, *(one.name for one in desk.cards())


# -- what is asked ----------------------------------------------------------------------------------------------------


def _ask(desk: AppraisalDesk) -> None:
    yard = desk.shed.yard
    if working(
        desk.shed.jobs,
        "appraise",
        "",
        "Being appraised",
        "Stopping once the log in hand is looked at; nothing is kept.",
    ):
        return
    Tag("h2", "Appraise")
    cards = desk.cards()
    if not cards:
        Tag(
            "p",
            "No log of this yard has a card yet. Send a scan in the yard, or write what the tape says below.",
            "note",
        )
    with Tag("div", look="asking"):
        with Tag("fieldset"):
            Tag("legend", "Logs")
            for one in cards:
                known = "scanned" if one.scan is not None else "no scan, by tape"
                tick(f"{one.name}, {known}", one.name in desk.logs, partial(_member, desk.logs, one.name), one.name)
        with Tag("fieldset"):
            Tag("legend", "To be sawn for")
            with Tag("div", look="lists"):
                for each in yard.choices("products"):
                    tick(shown_name(each), each in desk.products, partial(_member, desk.products, each), each)
        with Tag("div"):
            mills = {each: shown_name(each) for each in yard.choices("mills")}
            choice("Mill", mills, desk.mill, partial(setattr, desk, "mill"), "mill")
            choice("Make most of", OBJECTIVES, desk.objective, lambda text: _objective(desk, text), "objective")
            typed(
                "Share of the proceeds that stays with you, per cent", "margin", desk.margin, partial(setattr, desk, "margin"),
                inputmode="decimal",
            )  # fmt: skip
            typed("As of", "on", desk.on, partial(setattr, desk, "on"), placeholder="2026-11-05")
    own = [name for name in ("priors.toml", "yard.toml") if yard.own_file(name)]
    Tag(
        "p",
        f"What no scan shows is drawn from {'your own ' + ' and '.join(own) if own else 'the bundled figures'}. Files priors.toml and "
        "yard.toml in this folder take the place of the bundled ones. Each appraisal makes a new folder.",
        "faint",
    )
    button("Appraise them", desk.start, "main")
    _taped(desk)


def _member(chosen_ones: set[str], one: str, on: bool) -> None:
    (chosen_ones.add if on else chosen_ones.discard)(one)


def _objective(desk: AppraisalDesk, text: str) -> None:
    if text in OBJECTIVES:
        desk.objective = text


def _taped(desk: AppraisalDesk) -> None:
    with Tag("details", **chosen("open", any(desk.taped.values()))):
        Tag("summary", "A log that is known by tape alone")
        Tag(
            "p",
            "Length and both girths are needed. Its page in the yard asks for more, each with what it is worth: pith, bark, sweep.",
            "faint",
        )
        with Tag("div", look="form"):
            typed("Name", "taped-name", desk.taped.get("name", ""), partial(desk.taped.__setitem__, "name"))
            for key, (label, example) in TAPED.items():
                if key == "species":
                    desk.taped.setdefault("species", next(iter(sorted(SPECIES))))
                    with Tag("div", look="field"):
                        wood = {one: one for one in sorted(SPECIES)}
                        keep = partial(desk.taped.__setitem__, key)
                        choice(label, wood, desk.taped["species"], keep, "taped-species")
                    continue
                keep = partial(desk.taped.__setitem__, key)
                typed(label, f"taped-{key}", desk.taped.get(key, ""), keep, placeholder=example)
        button("Put it into the yard", style="margin-top:12px").on("click", desk.begin_taped)


# -- what was found ---------------------------------------------------------------------------------------------------


def _lot(desk: AppraisalDesk) -> None:
    reports = desk.shed.yard.reports("appraisal")
    if not reports:
        Tag(
            "p",
            "Before you pay: the highest sensible bid of each log, how far it may be off, what may spoil it, what is worth finding out. "
            "A log need not be scanned; length and girths by tape will do, with more doubt.",
        )
        return
    entry = next((one for one in reports if one.name == desk.shown), reports[0])
    found = read_appraisal(desk.shed.yard, entry)
    if found is None:
        Tag("p", f"{entry.name} cannot be read as an appraisal; make it anew.", "fault")
    else:
        Tag(
            "p",
            f"{entry.name}, as of {found.on}, the best buy first. {found.currency}Each log sawn by its plan, by {found.objective}; a bid "
            f"leaves you {found.margin} of what the log sells for, after sawing and drying.",
        )
        Tag(
            "p",
            "Bars: four logs in five earn something in the broad span, net of hours; the dashed line is the highest bid, the plain red one "
            "the price asked.",
            "faint",
        )
        with Tag("ol", look="lot"):
            for number, one in enumerate(found.logs):
                at = f"/lot-picture/{quote(entry.name, safe='')}/{number}/" if found.pictured[number] else ""
                with Tag("li", look=one.standing):
                    _card(one, at, f"?at={int(entry.made)}")
        at = f"/report-file/appraisal/{quote(entry.name, safe='')}"
        with Tag("div", look="papers"):
            link("The whole report", f"{at}/appraisal.html", "act", target="_blank", rel="noopener")
            link("As a table", f"{at}/appraisal.csv", "act")
    if len(reports) > 1:
        with Tag("nav", look="others", aria_label="Other appraisals"), Tag("ul"):
            for other in reports:
                if other.name != entry.name:
                    with Tag("li"):
                        link(other.name, f"/appraisal?of={quote(other.name, safe='')}")


def _card(one: LotEntry, picture: str, stamp: str) -> None:
    if one.failed:
        Tag("h3", one.id)
        Tag("p", f"Not appraised: {one.why}", "fault")
        return
    Tag("h3", f"{one.rank}. {one.id}")
    Tag("p", one.basis, "faint")
    if picture:
        with Tag("div", look="seen"):
            Tag("img", src=f"{picture}side{stamp}", alt=f"{one.id} from the side, butt on the left", look="flank")
            Tag(
                "img",
                src=f"{picture}butt{stamp}",
                alt=f"The butt end of {one.id} with plates planned there",
                look="butt",
            )
    with Tag("p", look="bid"):
        Tag("strong", f"Bid up to {one.bid}")
        Tag("span", f", asked {one.asked}: {STANDING[one.standing]}" if one.standing != "open" else ", no price asked")
    if one.span is not None:
        _bar(one.span)
    Tag("p", one.why)
    if one.spoilers:
        Tag("p", f"May spoil it: {'; '.join(one.spoilers)}.")
    worth = "; ".join(f"{each.what} {each.worth} ± {each.error}" for each in one.worth)
    Tag("p", f"Worth finding out: {worth or 'nothing would change what you do'}.")
    with Tag("details"):
        Tag("summary", "Every figure")
        _facts((*one.money, *one.trade))
    for caution in one.cautions:
        Tag("p", caution, "note")


def _bar(span: Bar) -> None:
    """The span of what a log earns; all lots on the page have one scale."""
    drawing(span_bar(span.words, (span.low, span.middle, span.high), span.bid, span.asked))
    Tag("p", f"{span.words[:1].upper()}{span.words[1:]}.", "faint")


def _facts(rows: tuple[NamedFact, ...]) -> None:
    with Tag("dl", look="named"):
        for row in rows:
            with Tag("div"):
                Tag("dt", row.name)
                Tag("dd", _plain(row.words))


def _plain(words: Any) -> str:
    """Words without their markup; the browser escapes them anew."""
    return str(words.striptags()) if hasattr(words, "striptags") else str(words)
