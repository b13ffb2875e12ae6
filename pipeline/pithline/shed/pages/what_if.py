"""A planned log turned by hand: another roll, another first slab, bolts left whole; what follows is told as it is turned."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from typing import Any
from urllib.parse import quote, urlencode

from nicegui import ui

from pithline.errors import PithlineError
from pithline.outputs.formatting import clock_face
from pithline.shed.drawing import roll_curve, swatch
from pithline.shed.folder import SCRIPT
from pithline.shed.parts import Tag, button, choice, drawing, frame, link, log_places, say, tick
from pithline.shed.state import Shed
from pithline.shed.what_if import QUARTER, HandQuestion, HandView, what_follows

AGAIN_AFTER = 0.15
"""Seconds between two places of the slider that are asked after, while it moves."""
AS_PAYS = "as pays"


@dataclass(slots=True)
class HandDesk:
    """One page that turns one log."""

    shed: Shed
    name: str
    plan: str
    script: str
    changed: int
    turned: int = 0
    first_slab: float | None = None
    bolts: bool = True
    held: set[str] = field(default_factory=set)
    busy: bool = False
    again: bool = False
    at_plan: dict[bool, HandView] = field(default_factory=dict)
    shown: HandView | None = None
    fault: str = ""
    redraw: Callable[[], Any] = lambda: None
    opened: Callable[[], Any] = lambda: None

    def question(self, closely: bool) -> HandQuestion:
        """What is asked now."""
        choice = float(self.turned), self.first_slab, self.bolts
        return HandQuestion(self.script, self.changed, self.shed.units, *choice, closely)

    async def ask(self, closely: bool = False) -> None:
        """Ask what follows; while an answer is awaited only the last choice is remembered."""
        if self.busy:
            self.again = True
            return
        self.busy = True
        try:
            await self._look(closely)
            while self.again:
                self.again = False
                await self._look(False)
        except PithlineError as error:
            self.fault = str(error)
            self.redraw()
        finally:
            self.busy = False

    async def _look(self, closely: bool) -> None:
        if closely not in self.at_plan:
            plain = HandQuestion(self.script, self.changed, self.shed.units, closely=closely)
            self.at_plan[closely] = await self.shed.at_hand(what_follows, plain)
            self.opened()
        self.shown = await self.shed.at_hand(what_follows, self.question(closely))
        self.redraw()


def what_if_page(shed: Shed, name: str, plan: str) -> None:
    """Build the page."""
    entry = shed.yard.plan(name, plan)
    path = entry.path / SCRIPT
    desk = HandDesk(shed, name, entry.name, str(path), path.stat().st_mtime_ns)
    with frame(shed.yard, f"{name}: what if", f"/plans/{quote(name, safe='')}", shed.places()[:1] + log_places(name)):
        Tag(
            "p",
            f"Turn the log of {entry.name} by hand and see what follows: by the plan's own cuts at once; closely, and by cuts chosen anew "
            "where they bring more, at a touch. All is carried out on your machines and graded on the fitted log; a search that holds "
            "what you choose may find more.",
        )
        _controls(desk)

        @ui.refreshable
        def answer() -> None:
            _answer(desk)

        desk.redraw = answer.refresh
        answer()
        ui.timer(0.1, desk.ask, once=True)


def _controls(desk: HandDesk) -> None:
    with Tag("div", look="field turn"):
        Tag(
            "label",
            "Turned from the plan's roll, in degrees; plus is clockwise as you face the butt end",
            for_="turned",
        )
        # no value of the server's own: it would throw a slider that moves back to where it was
        slider = Tag(
            "input",
            id="turned",
            type="range",
            min=-QUARTER,
            max=QUARTER,
            step=1,
            defaultValue="0",
            aria_describedby="turned-to",
        )

        async def turned(event: Any) -> None:
            text = str(event.args)
            desk.turned = max(-QUARTER, min(QUARTER, int(text))) if text.removeprefix("-").isdecimal() else 0
            await desk.ask()

        slider.on("input", turned, throttle=AGAIN_AFTER, js_handler="(e) => emit(e.target.value)")

        async def back() -> None:
            desk.turned = 0
            ui.run_javascript("document.getElementById('turned').value = 0")
            await desk.ask()

        button("Back to the plan's roll").on("click", back)

    @ui.refreshable
    def first() -> None:
        _first_slab(desk)

    first()
    desk.opened = first.refresh

    def bolts_changed(on: bool) -> None:
        desk.bolts = on
        ui.timer(0.0, desk.ask, once=True)

    tick("Saw the bolts", True, bolts_changed)


def _first_slab(desk: HandDesk) -> None:
    slabs = next((one.first_slabs for one in desk.at_plan.values()), ())
    known = {AS_PAYS: AS_PAYS} | {f"{value:g}": words for value, words in slabs}

    def chosen(text: str) -> None:
        desk.first_slab = float(text) if text in known and text != AS_PAYS else None
        ui.timer(0.0, desk.ask, once=True)

    with Tag("div", look="asking"), Tag("div"):
        now = AS_PAYS if desk.first_slab is None else f"{desk.first_slab:g}"
        choice("First slab, the one at the first setting", known, now, chosen, "first-slab")


# -- what follows -----------------------------------------------------------------------------------------------------


def _answer(desk: HandDesk) -> None:
    if desk.fault:
        Tag("p", desk.fault, "fault")
        return
    if desk.shown is None:
        Tag("p", "The wood is being looked at, at every roll; it takes some seconds, once.", "note", role="status")
        return
    found = desk.shown
    Tag(
        "p",
        f"Turned {found.turned:+.0f}°: {found.roll_deg:.0f}° of the clock, {clock_face(found.roll_deg)}, is up at the first setting.",
        "state",
        id="turned-to",
        role="status",
    )
    drawing(roll_curve(found.curve, found.turned, found.unit))
    if not found.figures:
        Tag("p", "Nothing that is wanted pays its work at this roll, with this first slab.", "note")
        return
    with Tag("div", look="beside"):
        with Tag("div"):
            cuts = "cuts chosen anew" if found.anew else "the plan's own cuts"
            how = "looked at as finely as it is sawn" if found.closely else "a rough look in both columns"
            Tag("p", f"By {cuts}, {how}.")
            if not found.closely:
                button("Look closely, and choose cuts anew").on("click", partial(_closely, desk))
            _figures(desk.at_plan[found.closely], found)
            for words in found.angles:
                Tag("p", words)
            for words in found.limits:
                Tag("p", words, "note")
        with Tag("figure"):
            drawing(found.picture, "turned-end")
            with Tag("ul", look="looks"):
                for name, colour, kind in found.looks:
                    with Tag("li"):
                        drawing(swatch(colour, kind, name))
    _holds(desk, found)


async def _closely(desk: HandDesk) -> None:
    say("Looking closely; it takes some seconds.")
    await desk.ask(closely=True)


def _figures(before: HandView, found: HandView) -> None:
    was = dict(before.figures)
    with Tag("table", look="worths plain"):
        with Tag("thead"), Tag("tr"):
            for words in ("", "so turned", "at the plan's roll"):
                Tag("th", words, scope="col")
        with Tag("tbody"):
            for name, words in found.figures:
                with Tag("tr"):
                    Tag("th", name, scope="row")
                    Tag("td", words, data_is="so turned")
                    Tag("td", was.get(name, "–"), data_is="at the plan's roll")


def _holds(desk: HandDesk, found: HandView) -> None:
    """What is held in a search, each by a touch."""
    Tag("h2", "Plan it with what you hold")
    locks = [("roll", f"Hold {found.roll_deg:.0f}° up")]
    if desk.first_slab is not None:
        words = next((words for value, words in found.first_slabs if value == desk.first_slab), "")
        locks.append(("slab", f"Hold a first slab of {words}"))
    if not desk.bolts:
        locks.append(("bolts", "Leave every bolt whole"))

    @ui.refreshable
    def way() -> None:
        asked = {}
        if "roll" in desk.held:
            asked["roll_deg"] = f"{found.roll_deg:.1f}"
        if "slab" in desk.held and desk.first_slab is not None:
            asked["first_slab"] = f"{desk.first_slab:g} mm"
        if "bolts" in desk.held and not desk.bolts:
            asked["bolts"] = "leave"
        query = f"?{urlencode(asked)}" if asked else ""
        link("To the search", f"/plans/{quote(desk.name, safe='')}{query}", "act main")

    def hold(lock: str, on: bool) -> None:
        (desk.held.add if on else desk.held.discard)(lock)
        way.refresh()

    for lock, words in locks:
        tick(words, lock in desk.held, partial(hold, lock), lock)
    way()
