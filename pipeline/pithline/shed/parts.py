"""What every page is built of: plain elements with labels, the frame round them, and words for figures."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from nicegui import Client, ui
from nicegui.elements.mixins.text_element import TextElement

from pithline.errors import PithlineError
from pithline.outputs.formatting import Formatter
from pithline.shed.folder import YardFolder
from pithline.shed.jobs import Jobs, JobState
from pithline.units import format_inches, format_mm

STATIC = Path(__file__).parent / "static"
FOLLOWED_EVERY = 0.7
"""Seconds between two drawings of how far work is."""


class Tag(TextElement):
    """An element of HTML with a text of its own, escaped by the browser; attributes by keyword, `for_` for a word of Python's own."""

    def __init__(self, tag: str, text: str = "", look: str = "", **attributes: Any) -> None:
        super().__init__(tag=tag, text=text)
        if look:
            self.classes(look)
        self._typed = tag == "textarea" or (tag == "input" and attributes.get("type", "text") == "text")
        for name, value in attributes.items():
            self._props[self._text_key if name == "value" else name.rstrip("_").replace("_", "-")] = value

    @property
    def _text_key(self) -> str:
        """What holds a field's text; where people type, only its first: else an answer to one field undoes what is typed in another."""
        return "defaultValue" if self._typed else "value"

    def keep(self, text: str) -> None:
        """Remember what was typed, so that the next drawing of the field shows it."""
        self._props[self._text_key] = text

    def on_click(self, handler: Callable[[], Any]) -> Tag:
        """Do something when it is clicked, or chosen by the keyboard."""
        self.on("click", lambda: guarded(handler))
        return self

    def on_change(self, handler: Callable[[str], Any]) -> Tag:
        """Do something with the new text of a field once it is left or chosen."""

        def changed(event: Any) -> None:
            self.keep(str(event.args))
            guarded(lambda: handler(str(event.args)))

        self.on("change", changed, js_handler="(e) => emit(e.target.value)")
        return self


def chosen(attribute: str, value: bool) -> dict[str, Any]:
    """An attribute that is there or not: `**chosen("checked", on)`."""
    return {attribute: True} if value else {}


def guarded(handler: Callable[[], Any]) -> Any:
    """Run what a touch asks for; a fault of the user's is told, in one sentence."""
    try:
        return handler()
    except PithlineError as error:
        say(str(error), fault=True)
        return None


def say(sentence: str, fault: bool = False, client: Client | None = None) -> None:
    """A sentence at the foot of the page, read out where the reader cannot see it; `client` where what asked may be drawn anew."""
    (client or ui).run_javascript(f"shed.say({_js(sentence)}, {'true' if fault else 'false'})")


def to_the_top() -> None:
    """Show the head of the page, where what was just begun tells how far it is."""
    ui.run_javascript("scrollTo(0, 0)")


def _js(text: str) -> str:
    import json

    return json.dumps(text, ensure_ascii=True).replace("<", "\\u003c")


def button(text: str, handler: Callable[[], Any] | None = None, look: str = "", **attributes: Any) -> Tag:
    """A button."""
    made = Tag("button", text, look or "plain", type="button", **attributes)
    return made.on_click(handler) if handler is not None else made


def link(text: str, to: str, look: str = "", **attributes: Any) -> Tag:
    """A link."""
    return Tag("a", text, look, href=to, **attributes)


def drawing(svg: str, look: str = "") -> None:
    """A picture that we drew ourselves; every text in it is escaped."""
    ui.html(svg, sanitize=False).classes(look)


def choice(label: str, options: dict[str, str], value: str, handler: Callable[[str], Any], name: str) -> Tag:
    """A list to choose one from, with its label.

    Parameters
    ----------
    label : str
        What is asked.
    options : dict of str to str
        What may be chosen: the value, and its words.
    value : str
        The one chosen so far.
    handler : callable
        Hears what is chosen.
    name : str
        Id of the element on the page.
    """
    Tag("label", label, for_=name)
    made = Tag("select", id=name)
    with made:
        for key, text in options.items():
            Tag("option", text, value=key, **chosen("selected", key == value))
    made.on_change(handler)
    return made


def tick(words: str, on: bool, handler: Callable[[bool], Any], value: str = "") -> Tag:
    """A box to tick, with its label; the handler hears whether it is ticked."""
    with Tag("label", look="tick"):
        box = Tag("input", type="checkbox", value=value, **chosen("checked", on))
        box.on(
            "change",
            lambda event: guarded(lambda: handler(bool(event.args))),
            js_handler="(e) => emit(e.target.checked)",
        )
        Tag("span", words)
    return box


def shown_name(one: str) -> str:
    """The name of a mill or of a product list as people say it."""
    words = one.rpartition("/")[2].removesuffix(".toml").replace("-", " ")
    return f"{words} (this yard's)" if "/" in one else words


def followed(draw: Callable[[], None]) -> None:
    """Draw a part of a page anew while work goes on, and nothing beside it.

    A touch that is under way while a button is drawn anew is lost: no button may stand in what `draw` draws.
    """
    part = ui.refreshable(draw)
    part()
    ui.timer(FOLLOWED_EVERY, part.refresh)


def progress(jobs: Jobs, kind: str, log: str, doing: str) -> None:
    """How far work is, as long as it goes on: in words, and as a bar; drawn anew by itself."""

    def draw() -> None:
        job = jobs.state(kind, log)
        if job is not None and job.alive:
            _progress(job, doing)

    followed(draw)


def _progress(job: JobState, doing: str) -> None:
    begun = time.strftime("%H:%M", time.localtime(job.started))
    Tag(
        "p",
        f"{job.what[:1].upper()}{job.what[1:]}, begun at {begun}. It goes on if you leave this page.",
        "state",
    )
    bar(job, doing)


def bar(job: JobState, doing: str) -> None:
    """How much of the work is done."""
    with Tag("div", look="progress", role="progressbar", aria_label=doing, aria_valuenow=int(100 * job.part)):
        Tag("div", style=f"width:{100 * job.part:.0f}%")


def job_mark(job: JobState | None) -> tuple[Any, ...] | None:
    """Changes when work begins or ends; how far it is shows in a part that is drawn by itself (`progress`)."""
    return None if job is None else (job.alive, job.done, job.fault)


def redraw_on_change(mark: Callable[[], Any], redraw: Callable[[], Any], every: float) -> None:
    """Draw anew whenever a mark is another one, looked at every so many seconds."""
    seen = [mark()]

    def look() -> None:
        now = mark()
        if now != seen[0]:
            redraw()
        seen[0] = now

    ui.timer(every, look)


def typed(label: str, name: str, value: str, handler: Callable[[str], Any], **attributes: Any) -> Tag:
    """A field for a line of text, with its label."""
    with Tag("div", look="field"):
        Tag("label", label, for_=name)
        made = Tag("input", id=name, value=value, autocomplete="off", **attributes)
        made.on_change(handler)
    return made


def working(jobs: Jobs, kind: str, log: str, doing: str, stopping: str) -> bool:
    """How far work is, with a way to stop it, while it is under way; else why it stopped, where it did.

    Parameters
    ----------
    jobs : Jobs
        The work of the yard.
    kind, log : str
        Which work; the log empty where it is the whole yard's.
    doing : str
        What it is called while it goes on.
    stopping : str
        What is said once it was asked to stop.

    Returns
    -------
    bool
        Whether it is under way.
    """
    job = jobs.state(kind, log)
    if job is not None and job.alive:

        def stop() -> None:
            jobs.stop(kind, log)
            say(stopping)

        Tag("h2", doing)
        progress(jobs, kind, log, doing)
        button("Stop", stop, "stop")
        return True
    if job is not None and (job.fault or job.broken_off):
        with Tag("div", look="fault"):
            Tag("strong", "It stopped. ")
            Tag("span", job.fault or "The work was broken off before its end; start it again.")
    return False


def what_next(sentence: str, ways: list[tuple[str, str]]) -> None:
    """A bar that stays in sight at the foot of a page: what is left to do here, and the ways on, the likeliest first."""
    with Tag("section", look="next", aria_label="What comes next"):
        Tag("p", sentence)
        with Tag("div", look="ways"):
            for number, (words, to) in enumerate(ways):
                link(words, to, "act" if number else "act main")


@contextmanager
def frame(yard: YardFolder, title: str, here: str, places: list[tuple[str, str]]) -> Iterator[None]:
    """A page: its head with the ways to go, its content, and the place where sentences are told.

    Parameters
    ----------
    yard : YardFolder
    title : str
        The page's own name.
    here : str
        The path of the way that leads here.
    places : list of (name, path)
        Ways to go from this page, besides the yard.
    """
    ui.page_title(f"{title} · Pithline")
    ui.add_head_html(
        '<link rel="stylesheet" href="/shed-files/shed.css"><script src="/shed-files/shed.js" defer></script>'
    )
    link("Skip to the page", "#page", "skip")
    with Tag("header", look="head"):
        link(yard.root.name or "Yard", "/", "home", aria_label=f"The yard: {yard.root.name}")
        with Tag("nav", aria_label="Pages"), Tag("ul"):
            for name, path in places:
                with Tag("li"):
                    link(
                        name, path, "here" if path == here else "", **({"aria-current": "page"} if path == here else {})
                    )
    with Tag("div", look="sheet", id="page"):  # the page library draws the main landmark round all of it
        Tag("h1", title)
        yield
    with Tag("footer"):
        Tag(
            "p",
            "A plan says where to cut, not whether it is safe to. The maker's manual, local codes and licensed practice come first.",
        )
    Tag("div", look="told", id="told", role="status", aria_live="polite")


def about(fmt: Formatter, value: float) -> str:
    """A length [mm] in whole millimetres or quarters of an inch, for what is only described."""
    return format_inches(value, 4) if fmt.inches else format_mm(value)


def log_places(name: str) -> list[tuple[str, str]]:
    """The pages of one log."""
    from urllib.parse import quote

    at = quote(name, safe="")
    return [("Log", f"/log/{at}"), ("Good for", f"/good-for/{at}"), ("Plans", f"/plans/{at}")]
