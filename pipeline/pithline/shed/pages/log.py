"""One log: both ends flat to mark the pith and the 12 o'clock line on, what the fit found, and the card's facts as a form."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from typing import Any
from urllib.parse import quote

from nicegui import ui

from pithline.shed.card_edit import as_typed, point_of_touch, with_keys
from pithline.shed.faces_svg import face_svg
from pithline.shed.fitting import shown_fit
from pithline.shed.pages.log_card import card_form, defect_form, more_form
from pithline.shed.pages.log_desk import LogDesk, told
from pithline.shed.pages.log_in_space import log_in_space
from pithline.shed.pages.log_photo import photo_of, photo_stamp
from pithline.shed.pages.yard import fit_stamp, portraits
from pithline.shed.parts import Tag, button, chosen, drawing, frame, link, log_places, say, what_next
from pithline.shed.state import Shed

LOOKED_EVERY = 1.0
"""Seconds between two looks at a photograph's work."""
NUDGE = 2.0
"""How far a key moves the pith. [mm]"""


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
            defect_form(desk)

        @ui.refreshable
        def following() -> None:
            _next(desk)

        def redraw() -> None:
            ends.refresh()
            found.refresh()
            defects.refresh()
            following.refresh()

        desk.redraw = redraw
        desk.tell = partial(say, client=ui.context.client)
        stamp = {"photo": photo_stamp(desk)}

        def look() -> None:
            now = photo_stamp(desk)
            if now != stamp["photo"]:
                ends.refresh()
            stamp["photo"] = now

        ui.timer(LOOKED_EVERY, look)
        ends()
        card_form(desk)
        defects()
        found()
        more_form(desk)
        following()


def _next(desk: LogDesk) -> None:
    """What is left to do on this page, and the ways on."""
    at, card = quote(desk.name, safe=""), desk.card
    good_for, plan = ("What is it good for", f"/good-for/{at}"), ("Plan this log", f"/plans/{at}")
    if shown_fit(desk.shed.yard, desk.name) is None:
        what_next("Next: fit the log and draw its ends.", [("To the ends", "#ends")])
        return
    open_ends = [end for end in ("butt", "top") if card.value(f"pith.{end}") is None]
    if open_ends:
        words = " and on the ".join(f"{end} end" for end in open_ends)
        what_next(
            f"Next: mark the pith on the {words}.", [(f"To the {open_ends[0]} end", f"#end-{open_ends[0]}"), good_for]
        )
    elif card.value("bark.thickness") is None:
        what_next(
            "The pith is marked. Next: write how thick the bark is.", [("To the bark", "#bark-thickness"), good_for]
        )
    else:
        what_next("Pith and bark are on the card. Next: see what the log is good for.", [good_for, plan])


# -- the ends ---------------------------------------------------------------------------------------------------------


def _ends(desk: LogDesk) -> None:
    shown = shown_fit(desk.shed.yard, desk.name)
    Tag("h2", "Both ends, each as you face it", id="ends")
    if shown is None:
        Tag("p", "The ends are not drawn yet.")
        button("Fit and draw them", lambda: _refit(desk), "main")
        return
    Tag(
        "p",
        "The pith decides every ring angle. A mark 10 mm off turns that of a plate 100 mm from the pith by 6°. Touch where it is on each "
        "end; the dashed line is 12 o'clock, the plumb line that you drew before the scan.",
    )
    with Tag("fieldset"):
        Tag("legend", "A touch on an end sets")
        with Tag("div", look="pick"):
            for value, words in (("pith", "the pith"), ("twelve", "where the 12 o'clock line meets the bark")):
                with Tag("label"):
                    made = Tag(
                        "input",
                        type="radio",
                        name="touch",
                        value=value,
                        **chosen("checked", desk.touch == value),
                    )
                    made.on_change(
                        lambda chosen: setattr(desk, "touch", chosen if chosen in ("pith", "twelve") else "pith")
                    )
                    Tag("span", words)
    with Tag("div", look="faces"):
        for end in ("butt", "top"):
            _face(desk, end, shown["faces"][end])
    with Tag("div", look="note effect" if desk.effect else "effect", role="status", aria_live="polite"), Tag("ul"):
        for words in desk.effect:
            Tag("li", words)


def _face(desk: LogDesk, end: str, fitted: Mapping[str, Any]) -> None:
    marked, other = (desk.card.value(f"pith.{one}") is not None for one in (end, "top" if end == "butt" else "butt"))
    face = {**fitted, "pith": desk.pending.get(end, fitted["pith"])}
    with Tag("figure", id=f"end-{end}"):
        picture = f"/face/{quote(desk.name, safe='')}/{end}?at={abs(hash(str(fitted))) % 10**9}"
        with ui.element("div").classes("face").props(f'id="face-{end}"') as touched:
            ui.html(face_svg(face, end, picture, marked), sanitize=False)
        touched.on(
            "click", lambda event: _touched(desk, end, face, event.args), js_handler="(e) => emit(shed.touch(e))"
        )
        words = "pith as marked" if marked else _UNMARKED[other]
        seen = (
            _SEEN[bool(face.get("colours", True))]
            if face["seen"]
            else " The scan shows nothing of this face: measure by tape, from the leftmost and topmost point over bark."
        )
        left, top = (desk.fmt.length(value) for value in face["pith"])
        Tag(
            "figcaption",
            f"{end.capitalize()} end: {words}, {left} from the left and {top} from the top over bark.{seen}",
        )
        with Tag("div", look="nudge", role="group", aria_label=f"Move the pith of the {end} end"):
            for words, across, down in (("←", -NUDGE, 0), ("→", NUDGE, 0), ("↑", 0, -NUDGE), ("↓", 0, NUDGE)):
                side = {"←": "left", "→": "right", "↑": "up", "↓": "down"}[words]
                place = [face["pith"][0] + across, face["pith"][1] + down]
                moved = f"{end} end: pith {desk.fmt.length(NUDGE)} {side}"
                button(words, look="plain", id=f"{end}-{side}", aria_label=moved).on(
                    "click", lambda place=place: _set_pith(desk, end, face, place)
                )
            if marked:
                button("No mark", look="slight", aria_label=f"{end} end: take the pith mark off the card").on(
                    "click", lambda: _unset(desk, f"pith.{end}")
                )
        _by_tape(desk, end)
        photo_of(desk, end)


_UNMARKED = {
    False: "pith not marked: the centre stands for it",
    True: "pith not marked: it is taken to lie as far off the centre as at the other end",
}
_SEEN = {
    True: "",
    False: " The scan has no colours, so the rings do not show here: take it from the log by tape, or send a photograph.",
}


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
                made = Tag(
                    "input", id=name, value=str(typed.get(key, "")), placeholder="242 mm, 9 1/2 in", autocomplete="off"
                )
                made.on(
                    "change",
                    lambda event, key=key: told(put(key, str(event.args))),
                    js_handler="(e) => emit(e.target.value)",
                )


async def _touched(desk: LogDesk, end: str, face: Mapping[str, Any], place: Any) -> None:
    if not (isinstance(place, list) and len(place) == 2 and all(isinstance(one, int | float) for one in place)):
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
    desk.pending[end] = [round(float(one), 1) for one in place]
    await told(desk.change(with_keys(card, {key: point_of_touch(face, *place)}), {key: card.value(key)}))


async def _set_twelve(desk: LogDesk, end: str, place: list[float]) -> None:
    """A point of the line on this end; the other end keeps where its line stands, for the card holds both or none."""
    shown, card = shown_fit(desk.shed.yard, desk.name), desk.card
    if shown is None:
        return
    other = "top" if end == "butt" else "butt"
    points = {f"ends.twelve_{end}": point_of_touch(shown["faces"][end], *place)}
    if card.value(f"ends.twelve_{other}") is None:
        points[f"ends.twelve_{other}"] = point_of_touch(shown["faces"][other], *shown["faces"][other]["twelve"])
    await told(desk.change(with_keys(card, points), {key: card.value(key) for key in points}))


async def _unset(desk: LogDesk, key: str) -> None:
    card = desk.card
    desk.pending.pop(key.rpartition(".")[2], None)
    await told(desk.change(with_keys(card, {key: None}), {key: card.value(key)}))


async def _refit(desk: LogDesk) -> None:
    found = await desk.shed.fit(desk.name)
    desk.effect = [found["fault"]] if "fault" in found else []
    desk.redraw()


# -- what was found ---------------------------------------------------------------------------------------------------


def _found(desk: LogDesk) -> None:
    shown, length = shown_fit(desk.shed.yard, desk.name), desk.fmt.length
    if shown is None:
        return
    facts = shown["facts"]
    doubt = facts.get("length_doubt")  # fits of earlier versions state none
    Tag("h2", "What the fit found")
    rows = (
        ("Length", length(facts["length"]) + (f" ± {length(doubt)}" if doubt else "")),
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
    seen = portraits(
        str(desk.shed.yard.fit_folder(desk.name) / "log-model.json"), fit_stamp(desk.shed, desk.name), desk.shed.units
    )
    if seen:
        drawing(seen[1])
    for caution in facts["cautions"]:
        Tag("p", caution, "note")
    log_in_space(desk.shed, desk.name)
