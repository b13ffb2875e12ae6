"""The card's facts and defects as forms, each saved to the card as it is typed."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from typing import Any

from nicegui import ui

from pithline.errors import PithlineError
from pithline.logmodel.species import SPECIES
from pithline.shed.card_edit import as_typed, with_defect, with_keys, without_defect
from pithline.shed.card_form import DEFECTS, FIRST, MORE, TAPE, Fact
from pithline.shed.pages.log_desk import LogDesk, told
from pithline.shed.parts import Tag, button, choice, say


def card_form(desk: LogDesk) -> None:
    """What is known of the log, a field for each key of the card, with why it matters."""
    Tag("h2", "What you know of it")
    Tag("p", "Lengths as you say them: 18 mm, 3/4 in, 6 ft 3 in. Each goes onto the card as you leave its field.")
    with Tag("div", look="form"):
        for fact in FIRST:
            _fact(desk, fact)


def more_form(desk: LogDesk) -> None:
    """What holds a scan against the tape, and what few logs need."""
    for title, facts in (("By tape, against the scan", TAPE), ("More", MORE)):
        Tag("h2", title)
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
            made = Tag(
                "input",
                id=name,
                value=text,
                placeholder=fact.example,
                aria_describedby=f"why-{name}",
                autocomplete="off",
                inputmode="text" if fact.kind == "length" else "decimal" if fact.kind == "number" else "text",
            )
        Tag("p", fact.why, id=f"why-{name}")
        wrong = Tag("p", "", "error", role="alert")
        wrong.set_visibility(False)

    async def put(event: Any) -> None:
        text = str(event.args)
        made.keep(text)
        try:
            new = as_typed(fact.asked, text, fact.kind)
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


def defect_form(desk: LogDesk) -> None:
    """The defects on the card, and a form for one more."""
    Tag("h2", "Knots, checks, metal, rot")
    Tag(
        "p",
        "Only what stands here is kept out of the plates. Clock angles: 0 at 12 o'clock, clockwise as you face the butt end.",
    )
    listed = desk.card.value("defect") or []
    if listed:
        with Tag("ul", look="defects"):
            for number, defect in enumerate(listed):
                with Tag("li"):
                    Tag("span", _defect_words(defect))
                    button("Take it off", look="slight", aria_label=f"Take defect {number + 1} off the card").on(
                        "click",
                        partial(_take_off, desk, number, listed),
                    )
    state: dict[str, Any] = {"kind": "knot", "values": {}}

    def typed(key: str, text: str) -> None:
        state["values"][key] = text

    @ui.refreshable
    def fields() -> None:
        with Tag("div", look="row"):
            for key, label, kind in DEFECTS[state["kind"]]:
                with Tag("div", look="field"):
                    name = f"defect-{key}"
                    if kind == "end":
                        choice(
                            label,
                            {"": "choose", "butt": "butt end", "top": "top end"},
                            state["values"].get(key, ""),
                            partial(typed, key),
                            name,
                        )
                    else:
                        Tag("label", label, for_=name)
                        made = Tag("input", id=name, value=state["values"].get(key, ""), autocomplete="off")
                        made.on_change(partial(typed, key))

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


async def _take_off(desk: LogDesk, number: int, seen: Any) -> None:
    await told(desk.change(without_defect(desk.card, number), {"defect": seen}))


def _defect_words(defect: Mapping[str, Any]) -> str:
    """A defect of the card in words."""
    kind = str(defect.get("kind", "defect"))
    labels = {key: label for key, label, _ in DEFECTS.get(kind, ())}
    parts = [f"{labels.get(key, key).lower()} {value}" for key, value in defect.items() if key != "kind"]
    return f"{kind.capitalize()}: {', '.join(parts)}"
