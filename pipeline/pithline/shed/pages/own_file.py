"""One mill or product list of the yard's own, as a form or as text: each change is checked as it is typed, and kept once it holds."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from typing import Any
from urllib.parse import quote

from nicegui import ui

from pithline.errors import InputError, PithlineError
from pithline.keys.declared import declared_tables
from pithline.mill.products import Limits, Part, Product, Products
from pithline.shed.own_copies import (
    KINDS,
    MOST_BYTES,
    ChangedElsewhere,
    OwnFile,
    checked,
    one_less,
    one_more,
    open_own,
    put,
    replace,
)
from pithline.shed.own_form import MOST_TYPED, AskedKey, as_shown, asked_keys, typed_value
from pithline.shed.pages.own_list import own_address
from pithline.shed.parts import Tag, button, choice, chosen, frame, link, say, shown_name, what_next
from pithline.shed.state import Shed
from pithline.shed.toml_edit import Place, value_at

MACHINES = {
    "mill": "The band mill",
    "resaw": "The shop's band saw",
    "rip": "The saw that rips slabs",
    "crosscut": "The saw that cuts to length",
    "buck": "The chain saw that shortens the log",
}
"""What the tables of a mill file are called on the page; a further one goes by its own name."""
PAUSE = 450
"""How long nothing is typed before it is looked at. [ms]"""
MOST_WAYS = 3
"""Logs that are offered to be planned next."""
_WHEN_TYPED = (
    f"(e) => {{ clearTimeout(e.target.pause); e.target.pause = setTimeout(() => emit(e.target.value), {PAUSE}); }}"
)
_WHEN_LEFT = "(e) => { clearTimeout(e.target.pause); emit(e.target.value); }"


@dataclass(slots=True)
class WaitingKeys:
    """A change that holds only together with another: kept once that one is made."""

    value: Any
    mark: Callable[[str], None]
    after: Callable[[], None]


@dataclass(slots=True)
class OwnDesk:
    """One page on one file: what it shows, and what waits to be kept."""

    shed: Shed
    seen: OwnFile
    waiting: dict[tuple[Place, str], WaitingKeys] = field(default_factory=dict)
    opened: set[Place] = field(default_factory=set)
    redraw: Callable[[], None] = lambda: None

    def load(self) -> None:
        """Show the file as it lies there now."""
        self.seen = open_own(self.shed.yard, self.seen.kind, self.seen.name)
        self.waiting.clear()
        self.redraw()

    def would(self, asked: AskedKey, text: str) -> None:
        """Whether a field could be kept so, together with what waits. InputError where not."""
        value = typed_value(asked, text)
        if value == value_at(self.seen.tables(), (*asked.place, asked.key)) and not self.waiting:
            return
        changes = {at: one.value for at, one in self.waiting.items()} | {(asked.place, asked.key): value}
        checked(self.seen.with_keys(changes))

    def keep(self, asked: AskedKey, text: str, mark: Callable[[str], None], after: Callable[[], None]) -> None:
        """Keep a field, and what waited for it; where the file does not hold so, it waits itself."""
        at = (asked.place, asked.key)
        try:
            value = typed_value(asked, text)
        except InputError as error:
            self.waiting.pop(at, None)
            mark(str(error))
            return
        self.waiting[at] = WaitingKeys(value, mark, after)
        try:
            self.seen, merged = put(self.shed.yard, self.seen, {key: one.value for key, one in self.waiting.items()})
        except ChangedElsewhere as error:
            self.load()
            say(str(error), fault=True)
            return
        except InputError as error:
            if value == value_at(self.seen.tables(), (*asked.place, asked.key)):
                del self.waiting[at]  # as the file has it: nothing of this field waits
                mark("")
            else:
                mark(str(error))
            return
        done = list(self.waiting.values())
        self.waiting.clear()
        for one in done:
            one.mark("")
            one.after()
        say(f"{asked.label}: kept in {self.seen.place}.")
        if merged:
            self.redraw()

    def rebuild(self, make: Callable[[], OwnFile]) -> None:
        """Put in or take out a product or a part."""
        try:
            self.seen = make()
        except ChangedElsewhere as error:
            self.load()
            say(str(error), fault=True)
            return
        self.waiting.clear()
        say(f"Kept in {self.seen.place}.")
        self.redraw()


def own_file_page(shed: Shed, kind: str, name: str, log: str, as_text: bool) -> None:
    """Build the page.

    Parameters
    ----------
    shed : Shed
    kind : "mills" or "products"
    name : str
        InputError where the yard has none of that name.
    log : str
        The log to be planned with it next, empty where it is none.
    as_text : bool
    """
    own = open_own(shed.yard, kind, name)
    desk, fault = OwnDesk(shed, own), own.fault
    with frame(shed.yard, f"{KINDS[kind].one.capitalize()}: {shown_name(name)}", "", shed.places()):
        Tag("p", f"The file {own.place} of this yard, which the commands read too.")
        other, view = ("See it as a form", "") if as_text else ("See it as text", "text")
        link(other, own_address(kind, name, log, view), "act")
        if as_text:
            _text(desk)
        elif fault:
            Tag("p", f"No plan can be made with it: {fault}", "fault")
            link("Mend it as text", own_address(kind, name, log, "text"), "act")
            return
        else:
            _form(desk)
        kept = "The text is kept by its button." if as_text else "Each change is kept as you leave its field."
        _next(shed, own, log, kept)


def _next(shed: Shed, own: OwnFile, log: str, kept: str) -> None:
    """The ways on: to plan with it."""
    logs = [one.name for one in shed.yard.logs() if one.card is not None and not one.fault]
    wanted = [log] if log in logs else logs if len(logs) <= MOST_WAYS else []
    key = "mill" if own.kind == "mills" else "products"
    ways = [
        (f"Plan {one} with it", f"/plans/{quote(one, safe='')}?{key}={quote(own.place, safe='')}") for one in wanted
    ]
    what_next(kept, ways or [("To the yard", "/")])


# -- as a form --------------------------------------------------------------------------------------------------------


def _form(desk: OwnDesk) -> None:
    if desk.seen.kind == "mills":
        Tag(
            "p",
            "What your mill can hold and how it must be run stands in its maker's manual. Where this page disagrees, the manual is right.",
            "note",
        )
    Tag("p", "Lengths as you say them: 2.4 mm, 3/32 in. A fault is told as you type, and not kept.", "said")

    @ui.refreshable
    def whole() -> None:
        (_mill if desk.seen.kind == "mills" else _products)(desk)

    def redraw() -> None:
        desk.waiting.clear()
        whole.refresh()

    desk.redraw = redraw
    whole()


def _mill(desk: OwnDesk) -> None:
    first = True
    for path, fills in declared_tables(KINDS["mills"].fills).items():
        head = MACHINES.get(path, path)
        if first:
            Tag("h2", head)
            _keys(desk, fills, (path,))
        else:
            _folded(desk, (path,), head, partial(_keys, desk, fills, (path,)))
        first = False


def _products(desk: OwnDesk) -> None:
    tables = desk.seen.tables()
    Tag("h2", "Products")
    for number in range(len(tables["product"])):
        place: Place = ("product", number)
        _folded(desk, place, _in_short(tables["product"][number]), partial(_product, desk, place))
    Tag("h2", "Limits that a product or part can name")
    Tag("p", "How well quartered, how straight of grain and how free of sapwood a plate has to be.")
    for name in tables["limits"]:
        _folded(desk, ("limits", name), name, partial(_keys, desk, Limits, ("limits", name)))
    Tag("h2", "The list as a whole")
    _keys(desk, Products, ())


def _in_short(product: Any) -> str:
    """A product in its folded line."""
    parts, wanted = len(product.get("part", [])), product.get("demand")
    many = "any number" if wanted is None else f"{wanted} wanted"
    return f"{product['name']}: {product['price']:g} a set, {many}, {parts} {'part' if parts == 1 else 'parts'}"


def _product(desk: OwnDesk, place: Place, summary: Tag) -> None:
    def retold() -> None:
        summary.set_text(_in_short(value_at(desk.seen.tables(), place)))

    _keys(desk, Product, place, retold)
    for number, part in enumerate(value_at(desk.seen.tables(), (*place, "part"))):
        one: Place = (*place, "part", number)
        with Tag("fieldset", look="part"):
            Tag("legend", f"Part {number + 1}: {part['name']}")
            _keys(desk, Part, one)
            _more_or_less(desk, one, "part", str(part["name"]))
    _more_or_less(desk, place, "product", str(value_at(desk.seen.tables(), (*place, "name"))))


def _more_or_less(desk: OwnDesk, place: Place, what: str, name: str) -> None:
    yard = desk.shed.yard
    number = int(place[-1])

    def more() -> None:
        desk.opened.add((*place[:-1], number + 1))
        desk.rebuild(lambda: one_more(yard, desk.seen, place))

    mark = _id(place, "")
    with Tag("div", look="papers"):
        button(f"Another {what} like it", more, id=f"{mark}more", aria_label=f"Another {what} like it: {name}")
        button(
            f"Take this {what} out",
            lambda: desk.rebuild(lambda: one_less(yard, desk.seen, place)),
            "slight",
            id=f"{mark}less",
            aria_label=f"Take this {what} out: {name}",
        )


def _folded(desk: OwnDesk, place: Place, words: str, build: Callable[..., None]) -> None:
    """A part of the form that is drawn once it is opened: a list of many products stays light."""
    folded = Tag("details", **chosen("open", place in desk.opened))
    with folded:
        summary = Tag("summary", words, id=_id(place, "head"))
        inside = Tag("div", look="folded")

    def draw() -> None:
        if not inside.default_slot.children:
            with inside:
                build(summary) if place[0] == "product" else build()

    def turned(event: Any) -> None:
        (desk.opened.add if event.args else desk.opened.discard)(place)
        if event.args:
            draw()

    if place in desk.opened:
        draw()
    folded.on("toggle", turned, js_handler="(e) => emit(e.target.open)")


def _keys(desk: OwnDesk, fills: type, place: Place, after: Callable[[], None] = lambda: None) -> None:
    """A field for each key of a table."""
    with Tag("div", look="form"):
        for asked in asked_keys(fills, place):
            _key(desk, asked, after)


def _id(place: Place, key: str) -> str:
    """A field's id on the page: names that people chose are no ids."""
    steps = [str(one) if isinstance(one, int) or one.isidentifier() else one.encode().hex() for one in (*place, key)]
    return "-".join(steps)


def _key(desk: OwnDesk, asked: AskedKey, after: Callable[[], None]) -> None:
    name = _id(asked.place, asked.key)
    value = value_at(desk.seen.tables(), (*asked.place, asked.key))
    options = _options(desk, asked, as_shown(value))
    with Tag("div", look="field"):
        if options:
            made = choice(asked.label, options, as_shown(value), lambda text: None, name)
            made.props["aria-describedby"] = f"why-{name}"
        else:
            Tag("label", asked.label, for_=name)
            made = Tag(
                "input",
                id=name,
                value=as_shown(value),
                placeholder=asked.example,
                aria_describedby=f"why-{name}",
                autocomplete="off",
                maxlength=MOST_TYPED,
                inputmode="decimal" if asked.reader.takes in ("number", "whole") else "text",
            )
        wrong = Tag("p", "", "error", role="alert")
        wrong.set_visibility(False)
        Tag("p", asked.means, id=f"why-{name}")

    def mark(sentence: str) -> None:
        if sentence and not wrong.visible:
            wrong.run_method("scrollIntoView", {"block": "nearest"})  # else a phone's keyboard or the bar hides it
        wrong.set_text(sentence)
        wrong.set_visibility(bool(sentence))
        made.classes(add="wrong" if sentence else "", remove="" if sentence else "wrong")

    def looked_at(event: Any) -> None:
        try:
            desk.would(asked, str(event.args))
        except PithlineError as error:
            mark(str(error))
            return
        mark("")

    def left(event: Any) -> None:
        made.keep(str(event.args)[:MOST_TYPED])
        desk.keep(asked, str(event.args), mark, after)

    if not options:
        made.on("input", looked_at, js_handler=_WHEN_TYPED)
    made.on("change", left, js_handler=_WHEN_LEFT)


def _options(desk: OwnDesk, asked: AskedKey, now: str) -> dict[str, str]:
    """What a key may be chosen from; none where it is typed."""
    if asked.key == "limits":
        words = {name: name for name in desk.seen.tables().get("limits", {})}
    elif asked.reader.takes == "flag":
        words = {"true": "yes", "false": "no"}
    else:
        words = {one: one for one in asked.reader.choices}
    if not words:
        return {}
    left_out = {} if asked.required else {"": "not said"}
    return {**left_out, **({now: now} if now and now not in words else {}), **words}


# -- as text ----------------------------------------------------------------------------------------------------------


def _text(desk: OwnDesk) -> None:
    Tag("label", "The file", "said", for_="text")
    verdict = Tag("p", "", look="verdict", id="verdict", role="status")
    made = Tag(
        "textarea",
        look="file",
        id="text",
        value=desk.seen.text,
        spellcheck="false",
        autocomplete="off",
        aria_describedby="verdict",
        maxlength=MOST_BYTES,
    )
    typed = {"text": desk.seen.text}

    def judge(text: str) -> None:
        typed["text"] = text
        try:
            checked(OwnFile(desk.seen.kind, desk.seen.name, text))
        except InputError as error:
            verdict.set_text(str(error))
            verdict.classes(add="fault", remove="note")
            return
        verdict.set_text("It can be read." if text == desk.seen.text else "It can be read; it is not kept yet.")
        verdict.classes(add="note", remove="fault")

    def keep() -> None:
        desk.seen = replace(desk.shed.yard, desk.seen, typed["text"])
        judge(desk.seen.text)
        say(f"Kept in {desk.seen.place}.")

    judge(desk.seen.text)
    made.on("input", lambda event: judge(str(event.args)), js_handler=_WHEN_TYPED)
    made.on("change", lambda event: judge(str(event.args)), js_handler=_WHEN_LEFT)
    button("Keep this text", keep, "main", id="keep")
