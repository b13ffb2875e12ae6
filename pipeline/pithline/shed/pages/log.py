"""One log: both ends flat to mark the pith and the 12 o'clock line on, what the fit found, and the card's facts as a form."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import quote

from nicegui import ui

from pithline.errors import PithlineError
from pithline.logmodel.species import SPECIES
from pithline.outputs.formatting import Formatter
from pithline.shed.card_edit import (
    CardText,
    as_typed,
    open_card,
    point_of_touch,
    save,
    with_defect,
    with_keys,
    without_defect,
)
from pithline.shed.card_form import DEFECTS, FIRST, MORE, TAPE, Fact, effect_words
from pithline.shed.drawing import model_side
from pithline.shed.faces_svg import face_svg
from pithline.shed.fitting import shown_fit
from pithline.shed.parts import Tag, button, choice, drawing, frame, link, log_places, say
from pithline.shed.state import Shed

NUDGE = 2.0
"""How far a key moves the pith. [mm]"""


@dataclass(slots=True)
class LogDesk:
    """One page on one log: what it showed last, and what a touch now means."""

    shed: Shed
    name: str
    touch: str = "pith"
    effect: list[str] = field(default_factory=list)
    busy: bool = False
    redraw: Callable[[], None] = lambda: None

    @property
    def card(self) -> CardText:
        """The card as it lies there now."""
        path = self.shed.yard.log(self.name).card
        if path is None:
            raise PithlineError(f"{self.name} has no card yet; begin it in the yard.")
        return open_card(path)

    @property
    def fmt(self) -> Formatter:
        """How measures are written."""
        return Formatter(self.shed.units)

    async def change(self, card: CardText, seen: Mapping[str, Any]) -> None:
        """Save a changed card and show what it does to the fit."""
        before = shown_fit(self.shed.yard, self.name)
        save(card, seen)
        self.busy = True
        self.effect = ["Saved; the log is being fitted anew …"]
        self.redraw()
        found = await self.shed.fit(self.name)
        self.busy = False
        if "fault" in found:
            self.effect = [f"Saved, but the log cannot be fitted so: {found['fault']}"]
        else:
            self.effect = effect_words(before["facts"] if before else None, found, self.fmt.length)
        self.redraw()


def log_page(shed: Shed, name: str) -> None:
    """Build the page."""
    desk = LogDesk(shed, name)
    entry = shed.yard.log(name)
    with frame(shed.yard, name, f"/log/{quote(name, safe='')}", shed.places()[:1] + log_places(name)):
        if entry.card is None or entry.fault:
            Tag("p", entry.fault or "This scan has no card yet; begin it in the yard.", "fault")
            link("To the yard", "/", "act")
            return

        @ui.refreshable
        def ends() -> None:
            _ends(desk)

        @ui.refreshable
        def found() -> None:
            _found(desk)

        @ui.refreshable
        def defects() -> None:
            _defects(desk)

        def redraw() -> None:
            ends.refresh()
            found.refresh()
            defects.refresh()

        desk.redraw = redraw
        ends()
        found()
        _form(desk)
        defects()
        with Tag("p", look="last"):
            link("Plan this log", f"/plans/{quote(name, safe='')}", "act main")


# -- the ends ---------------------------------------------------------------------------------------------------------


def _ends(desk: LogDesk) -> None:
    shown = shown_fit(desk.shed.yard, desk.name)
    Tag("h2", "Both ends, each as you face it")
    if shown is None:
        Tag("p", "The ends are not drawn yet.")
        button("Fit and draw them", lambda: _refit(desk), "main")
        return
    Tag("p", "The pith decides every ring angle. A mark 10 mm off turns that of a plate 100 mm from the pith by 6°. Touch where it is on each "
        "end; the dashed line is 12 o'clock, the plumb line that you drew before the scan.")  # fmt: skip
    with Tag("fieldset"):
        Tag("legend", "A touch on an end sets")
        with Tag("div", look="pick"):
            for value, words in (("pith", "the pith"), ("twelve", "where the 12 o'clock line meets the bark")):
                with Tag("label"):
                    made = Tag("input", type="radio", name="touch", value=value, **({"checked": True} if desk.touch == value else {}))
                    made.on_change(lambda chosen: setattr(desk, "touch", chosen if chosen in ("pith", "twelve") else "pith"))
                    Tag("span", words)
    with Tag("div", look="faces"):
        for end in ("butt", "top"):
            _face(desk, end, shown["faces"][end])
    with Tag("div", look="note effect" if desk.effect else "effect", role="status", aria_live="polite"), Tag("ul"):
        for words in desk.effect:
            Tag("li", words)


def _face(desk: LogDesk, end: str, face: Mapping[str, Any]) -> None:
    marked = desk.card.value(f"pith.{end}") is not None
    with Tag("figure", id=f"end-{end}"):
        picture = f"/face/{quote(desk.name, safe='')}/{end}?at={abs(hash(str(face))) % 10**9}"
        with ui.element("div").classes("face").props(f'id="face-{end}"') as touched:
            ui.html(face_svg(face, end, picture, marked), sanitize=False)
        touched.on("click", lambda event: _touched(desk, end, face, event.args), js_handler="(e) => emit(shed.touch(e))")
        words = "pith as marked" if marked else "pith not marked: the centre stands for it"
        seen = _SEEN[face["colours"]] if face["seen"] else " The scan shows nothing of this face: measure by tape, from the leftmost and topmost point over bark."
        left, top = (desk.fmt.length(value) for value in face["pith"])
        Tag("figcaption", f"{end.capitalize()} end: {words}, {left} from the left and {top} from the top over bark.{seen}")
        with Tag("div", look="nudge", role="group", aria_label=f"Move the pith of the {end} end"):
            for words, across, down in (("←", -NUDGE, 0), ("→", NUDGE, 0), ("↑", 0, -NUDGE), ("↓", 0, NUDGE)):
                side = {"←": "left", "→": "right", "↑": "up", "↓": "down"}[words]
                place = [face["pith"][0] + across, face["pith"][1] + down]
                button(words, look="plain", aria_label=f"{end} end: pith {desk.fmt.length(NUDGE)} {side}").on(
                    "click", lambda place=place: _set_pith(desk, end, face, place))  # fmt: skip
            if marked:
                button("No mark", look="slight", aria_label=f"{end} end: take the pith mark off the card").on(
                    "click", lambda: _unset(desk, f"pith.{end}")
                )
        _by_tape(desk, end)


_SEEN = {True: "", False: " The scan has no colours, so the rings do not show here: take it from the log by tape."}


def _by_tape(desk: LogDesk, end: str) -> None:
    """The same mark by tape, for whoever stands at the log or cannot see the picture."""
    held = desk.card.value(f"pith.{end}")
    typed = dict(held) if isinstance(held, dict) and "from_left" in held else {}
    seen = held

    async def put(key: str, text: str) -> None:
        typed[key] = text
        words = {name: as_typed(name, str(typed.get(name, "")), "length") for name in ("from_left", "from_top")}
        if all(words.values()):
            await desk.change(with_keys(desk.card, {f"pith.{end}": words}), {f"pith.{end}": seen})

    with Tag("div", look="row"):
        for key, label in (("from_left", "from the left"), ("from_top", "from the top")):
            with Tag("div", look="field"):
                name = f"tape-{end}-{key}"
                Tag("label", f"{end.capitalize()} end by tape, {label}", for_=name)
                made = Tag("input", id=name, value=str(typed.get(key, "")), placeholder="242 mm, 9 1/2 in", autocomplete="off")
                made.on("change", lambda event, key=key: _told(put(key, str(event.args))), js_handler="(e) => emit(e.target.value)")


async def _told(work: Any) -> None:
    """Await work; a fault of the user's is told."""
    try:
        await work
    except PithlineError as error:
        say(str(error), fault=True)


async def _touched(desk: LogDesk, end: str, face: Mapping[str, Any], place: Any) -> None:
    if not (isinstance(place, list) and len(place) == 2 and all(isinstance(one, int | float) for one in place)) or desk.busy:
        return
    room = float(face["room"])
    if not (-room <= place[0] <= face["wide"] + room and -room <= place[1] <= face["high"] + room):
        return
    if desk.touch == "pith":
        await _set_pith(desk, end, face, place)
    else:
        await _set_twelve(desk, end, place)


async def _set_pith(desk: LogDesk, end: str, face: Mapping[str, Any], place: list[float]) -> None:
    card = desk.card
    key = f"pith.{end}"
    await _told(desk.change(with_keys(card, {key: point_of_touch(face, *place)}), {key: card.value(key)}))


async def _set_twelve(desk: LogDesk, end: str, place: list[float]) -> None:
    """A point of the line on this end; the other end keeps where its line stands, for the card holds both or none."""
    shown, card = shown_fit(desk.shed.yard, desk.name), desk.card
    if shown is None:
        return
    other = "top" if end == "butt" else "butt"
    points = {f"ends.twelve_{end}": point_of_touch(shown["faces"][end], *place)}
    if card.value(f"ends.twelve_{other}") is None:
        points[f"ends.twelve_{other}"] = point_of_touch(shown["faces"][other], *shown["faces"][other]["twelve"])
    await _told(desk.change(with_keys(card, points), {key: card.value(key) for key in points}))


async def _unset(desk: LogDesk, key: str) -> None:
    card = desk.card
    await _told(desk.change(with_keys(card, {key: None}), {key: card.value(key)}))


async def _refit(desk: LogDesk) -> None:
    found = await desk.shed.fit(desk.name)
    desk.effect = [found["fault"]] if "fault" in found else []
    desk.redraw()


# -- what was found ---------------------------------------------------------------------------------------------------


def _found(desk: LogDesk) -> None:
    import json

    shown, length = shown_fit(desk.shed.yard, desk.name), desk.fmt.length
    if shown is None:
        return
    facts = shown["facts"]
    Tag("h2", "What the fit found")
    rows = (
        ("Length", length(facts["length"])),
        ("Across at the butt", length(facts["diameter_butt"])),
        ("Across at the top", length(facts["diameter_top"])),
        ("Sweep", length(facts["sweep"])),
        ("Taper", f"{facts['taper']:.1f} mm a metre"),
        ("Out of round", f"{100 * facts['ovality']:.1f} %"),
        ("Girth seen by the scan", f"{100 * facts['coverage']:.0f} %"),
        ("Wood under bark", desk.fmt.volume(facts["volume"] * 1e6)),
        ("Swellings that may be knots", str(facts["knots"])),
    )
    with Tag("dl", look="facts"):
        for name, value in rows:
            with Tag("div"):
                Tag("dt", name)
                Tag("dd", value)
    try:
        model = json.loads((desk.shed.yard.fit_folder(desk.name) / "log-model.json").read_text(encoding="utf-8"))
        drawing(model_side(model, "The log from its right side, butt at the left; the dashed line is the pith"))
    except (OSError, ValueError, KeyError):
        pass
    for caution in facts["cautions"]:
        Tag("p", caution, "note")


# -- the card ---------------------------------------------------------------------------------------------------------


def _form(desk: LogDesk) -> None:
    Tag("h2", "What you know of it")
    Tag("p", "Lengths as you say them: 18 mm, 3/4 in, 6 ft 3 in. Each goes onto the card as you leave its field.")
    for title, facts in (("", FIRST), ("By tape, against the scan", TAPE), ("More", MORE)):
        if title:
            Tag("h3", title)
        with Tag("div", look="form"):
            for fact in facts:
                _fact(desk, fact)


def _fact(desk: LogDesk, fact: Fact) -> None:
    name = fact.path.replace(".", "-")
    value = desk.card.value(fact.path)
    shown = {"seen": value}
    with Tag("div", look="field"):
        if fact.kind in ("choice", "species"):
            options = {one: one for one in sorted(SPECIES)} if fact.kind == "species" else dict(fact.options)
            current = str(value or "")
            options = options if current in options else {current: current, **options}
            made = choice(fact.asked, options, current, lambda text: None, name)
        else:
            Tag("label", fact.asked, for_=name)
            text = "" if value is None else str(value)
            made = Tag("input", id=name, value=text, placeholder=fact.example, aria_describedby=f"why-{name}", autocomplete="off",
                       inputmode="text" if fact.kind == "length" else "decimal" if fact.kind == "number" else "text")  # fmt: skip
        Tag("p", fact.why, id=f"why-{name}")
        wrong = Tag("p", "", "error", role="alert")
        wrong.set_visibility(False)

    async def put(event: Any) -> None:
        text = str(event.args)
        made.keep(text)
        try:
            new = as_typed(fact.path, text, fact.kind)
            if new == shown["seen"]:
                mark("")
                return
            work = desk.change(with_keys(desk.card, {fact.path: new}), {fact.path: shown["seen"]})
            await work
        except PithlineError as error:
            mark(str(error))
            return
        shown["seen"] = new
        mark("")
        say(f"{fact.asked}: on the card. {desk.effect[0] if desk.effect else ''}")

    def mark(sentence: str) -> None:
        wrong.set_text(sentence)
        wrong.set_visibility(bool(sentence))
        made.classes(add="wrong" if sentence else "", remove="" if sentence else "wrong")

    made.on("change", put, js_handler="(e) => emit(e.target.value)")


# -- defects ----------------------------------------------------------------------------------------------------------


def _defects(desk: LogDesk) -> None:
    Tag("h2", "Knots, checks, metal, rot")
    Tag("p", "Only what stands here is kept out of the plates. Clock angles: 0 at 12 o'clock, clockwise as you face the butt end.")
    listed = desk.card.value("defect") or []
    if listed:
        with Tag("ul", look="defects"):
            for number, defect in enumerate(listed):
                with Tag("li"):
                    Tag("span", _defect_words(defect))
                    button("Take it off", look="slight", aria_label=f"Take defect {number + 1} off the card").on(
                        "click", lambda number=number: _told(desk.change(without_defect(desk.card, number), {"defect": listed}))
                    )
    state: dict[str, Any] = {"kind": "knot", "values": {}}

    @ui.refreshable
    def fields() -> None:
        with Tag("div", look="row"):
            for key, label, kind in DEFECTS[state["kind"]]:
                with Tag("div", look="field"):
                    name = f"defect-{key}"
                    if kind == "end":
                        choice(label, {"": "choose", "butt": "butt end", "top": "top end"}, state["values"].get(key, ""),
                               lambda text, key=key: state["values"].update({key: text}), name)  # fmt: skip
                    else:
                        Tag("label", label, for_=name)
                        made = Tag("input", id=name, value=state["values"].get(key, ""), autocomplete="off")
                        made.on_change(lambda text, key=key: state["values"].update({key: text}))

    def kind_chosen(kind: str) -> None:
        state["kind"] = kind if kind in DEFECTS else "knot"
        state["values"] = {}
        fields.refresh()

    async def add() -> None:
        defect: dict[str, Any] = {"kind": state["kind"]}
        try:
            for key, label, kind in DEFECTS[state["kind"]]:
                value = as_typed(label, str(state["values"].get(key, "")), kind)
                if value is not None:
                    defect[key] = value
            await desk.change(with_defect(desk.card, defect), {"defect": desk.card.value("defect")})
        except PithlineError as error:
            say(str(error), fault=True)

    with Tag("div", look="asking"), Tag("div"):
        choice("Add a", {kind: kind for kind in DEFECTS}, "knot", kind_chosen, "defect-kind")
    fields()
    button("Put it on the card", look="main", style="margin-top:10px").on("click", add)


def _defect_words(defect: Mapping[str, Any]) -> str:
    """A defect of the card in words."""
    kind = str(defect.get("kind", "defect"))
    labels = {key: label for key, label, _ in DEFECTS.get(kind, ())}
    parts = [f"{labels.get(key, key).lower()} {value}" for key, value in defect.items() if key != "kind"]
    return f"{kind.capitalize()}: {', '.join(parts)}"
