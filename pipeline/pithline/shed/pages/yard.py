"""The yard: every log with its picture, its size, how far it is and what its best plan brings; and where a scan is dropped in."""

from __future__ import annotations

import json
from collections.abc import Callable
from functools import lru_cache
from pathlib import Path
from typing import Any
from urllib.parse import quote

from nicegui import ui

from pithline.outputs.formatting import Formatter
from pithline.shed.drawing import model_end, model_side
from pithline.shed.fitting import shown_fit
from pithline.shed.folder import LogEntry
from pithline.shed.parts import Tag, about, bar, button, drawing, followed, frame, job_mark, link
from pithline.shed.plan_view import kept_view
from pithline.shed.state import Shed

LOOKED_EVERY = 1.5
"""Seconds between two looks at the folder."""
UNITS = {
    "m": "metres",
    "mm": "millimetres",
    "cm": "centimetres",
    "in": "inches",
    "ft": "feet",
    "tape": "none: the tape will tell",
}


WAY = (
    ("Log", "Touch the pith on both ends, and write what you know of the log: bark, knots, metal."),
    (
        "Good for",
        "See in a minute or two which sets the log gives, what they earn, and what stands in the way of dearer ones.",
    ),
    ("Plan", "Choose what to saw it for. Plans of little and of more work stand side by side: sets, hours, money."),
    ("Sheet", "Print the set-up sheet and the shop cards, or take a phone to the mill."),
    ("Saw", "One step at a time. Where the log lies or looks otherwise, the rest is planned anew."),
)
"""What follows on a scan."""
WORK = {"begin": "Being begun", "plan": "Being planned", "replan": "Being planned anew"}
"""Work on one log, and what it is called."""


def yard_page(shed: Shed) -> None:
    """Build the page."""
    with frame(shed.yard, "The yard", "/", shed.places()):
        _drop_zone()
        seen: dict[str, Any] = {}

        rows: dict[str, Any] = {}  # each log is drawn anew by itself: what is touched or typed at another one stays

        @ui.refreshable
        def logs() -> None:
            entries = shed.yard.logs()
            rows.clear()
            if not entries:
                _how_it_goes()
                return
            with Tag("ul", look="logs"):
                for entry in entries:
                    with Tag("li", id=f"log-{entry.name}"):
                        rows[entry.name] = ui.refreshable(_log)
                        rows[entry.name](shed, entry, look)

        def look() -> None:
            entries = {entry.name: entry for entry in shed.yard.logs()}
            marks = {name: _mark(shed, entry) for name, entry in entries.items()}
            if list(marks) != list(rows):
                logs.refresh()
            else:
                for name in (one for one in marks if seen.get(one, marks[one]) != marks[one]):
                    rows[name].refresh(shed, entries[name], look)
            seen.clear()
            seen.update(marks)

        logs()
        look()

        ui.timer(LOOKED_EVERY, look)


def _drop_zone() -> None:
    with Tag("section", look="drop", id="drop", aria_label="Send scans"):
        Tag("input", id="scans", type="file", multiple=True)
        Tag("label", "Send a scan", "act main", for_="scans")
        Tag(
            "p",
            "or drop it here. Before you scan, draw a plumb line through the pith on both ends; then scan the log all round, "
            "ends included. Kinds: PLY, PCD, XYZ, CSV, LAS, LAZ, E57, OBJ, STL, GLB, or one of these in a zip.",
        )
        Tag("ul", look="sending", id="sending", aria_live="polite")


def _how_it_goes() -> None:
    """What a yard without logs shows: the way from a scan to the saw."""
    Tag("p", "No log lies here yet. Send the scan of one, and this is the way on:", "note")
    with Tag("ol", look="way"):
        for head, words in WAY:
            with Tag("li"):
                Tag("strong", head)
                Tag("span", words)


def _mark(shed: Shed, entry: LogEntry) -> tuple[Any, ...]:
    """Changes whenever the log, a plan of it, or work on either does."""
    work = (job_mark(shed.jobs.state(kind, entry.name)) for kind in WORK)
    of_log = (entry.wood, entry.fault, len(entry.plans), entry.card is not None, fit_stamp(shed, entry.name))
    return *of_log, *work


def fit_stamp(shed: Shed, log: str) -> int:
    """Changes whenever a log is fitted anew; 0 where it was not."""
    try:
        return (shed.yard.fit_folder(log) / "log-model.json").stat().st_mtime_ns
    except OSError:
        return 0


@lru_cache(maxsize=128)
def portraits(path: str, stamp: int, units: str) -> tuple[str, str, str] | None:
    """End grain, side and sizes in words of a fitted log; `None` where the model cannot be read."""
    try:
        model = json.loads(Path(path).read_text(encoding="utf-8"))
        fmt, first, last = Formatter(units), model["stations"][0], model["stations"][-1]
        butt, top = (
            about(fmt, 2.0 * sum(one["radius_over_bark"]) / len(one["radius_over_bark"])) for one in (first, last)
        )
        wood = fmt.volume(model["volume_under_bark"])
        sizes = f"{about(fmt, model['length'])} long, {butt} and {top} across over bark, {wood} under bark"
        return (
            model_end(model, "The butt end"),
            model_side(model, "The log from its right side, butt at the left; the dashed line is the pith"),
            sizes,
        )
    except (OSError, ValueError, KeyError, IndexError, TypeError):
        return None


def _log(shed: Shed, entry: LogEntry, refresh: Callable[[], Any]) -> None:
    stamp = fit_stamp(shed, entry.name)
    seen = portraits(str(shed.yard.fit_folder(entry.name) / "log-model.json"), stamp, shed.units) if stamp else None
    if seen:
        drawing(seen[0], "portrait")
    else:
        Tag("div", look="portrait blank")
    with Tag("h2"):
        link(entry.name, f"/log/{quote(entry.name, safe='')}")
    with Tag("div"):
        Tag("p", ", ".join(part for part in (entry.wood, seen[2] if seen else "") if part) or "a scan", "faint")
        _state(shed, entry, bool(seen), refresh)
    if seen:
        drawing(seen[1], "profile")
    if entry.card is not None and not entry.fault:
        with Tag("div", look="ways"):
            _ways(shed, entry, bool(seen))


def _ways(shed: Shed, entry: LogEntry, fitted: bool) -> None:
    """Ways on from a log, the likeliest one marked."""
    at, shown = quote(entry.name, safe=""), shown_fit(shed.yard, entry.name)
    unmarked = shown is not None and bool(shown["facts"]["pith_assumed"])
    if fitted and unmarked and not entry.plans:
        link("Mark the pith", f"/log/{at}", "act main")
        link("Good for", f"/good-for/{at}", "act")
        return
    link("The log", f"/log/{at}", "act")
    if fitted and not entry.plans:
        link("Good for", f"/good-for/{at}", "act")
    if fitted:
        link("Plan it" if not entry.plans else "Its plans", f"/plans/{at}", "act main")


def _state(shed: Shed, entry: LogEntry, fitted: bool, refresh: Callable[[], Any]) -> None:
    """How far the log is, in words, and what to do next."""
    for kind in WORK:
        job = shed.jobs.state(kind, entry.name)
        if job is not None and job.alive:
            _under_way(shed, entry.name, kind)
            return
    begun = shed.jobs.state("begin", entry.name)
    if entry.fault:
        _fault(entry.fault)
    elif not fitted and begun is not None and (begun.fault or begun.broken_off):
        _fault(begun.fault or "The work was broken off before its end.")
        _begin_again(shed, entry, refresh)
    elif not fitted:
        Tag("p", "A card, not yet fitted" if entry.card else "A scan, not yet begun", "state")
        if entry.scan is not None:
            button("Begin", lambda: (shed.jobs.start("begin", entry.name, {}), refresh()), "main")
        else:
            Tag("p", "The card names no scan that lies in this yard.", "faint")
    elif entry.plans:
        _best(shed, entry)
    else:
        Tag("p", "Fitted, not yet planned", "state")


def _under_way(shed: Shed, log: str, kind: str) -> None:
    """How far work on a log is, drawn anew by itself."""

    def draw() -> None:
        job = shed.jobs.state(kind, log)
        if job is not None and job.alive:
            Tag("p", f"{WORK[kind]}: {job.what}", "state")
            bar(job, WORK[kind])

    followed(draw)


def _fault(sentence: str) -> None:
    with Tag("div", look="fault"):
        Tag("strong", "It stopped. ")
        Tag("span", sentence)


def _begin_again(shed: Shed, entry: LogEntry, refresh: Callable[[], Any]) -> None:
    """Ways on after a scan that was not understood: its unit, or which of several logs."""
    asked: dict[str, Any] = {}
    if entry.card is None:
        Tag("label", "The scan's unit", for_=f"unit-{entry.name}")
        unit = Tag("select", id=f"unit-{entry.name}")
        with unit:
            for key, text in UNITS.items():
                if key != "tape":
                    Tag("option", text, value=key)
        unit.on_change(lambda value: asked.update(units=value if value in UNITS else "m"))
    Tag("label", "Which log, where the scan shows several", for_=f"pick-{entry.name}")
    pick = Tag("input", id=f"pick-{entry.name}", inputmode="numeric", placeholder="1 is the largest")
    pick.on_change(lambda value: asked.update(pick=int(value) if value.isdecimal() and 0 < int(value) < 100 else None))
    button("Try again", lambda: (shed.jobs.start("begin", entry.name, asked), refresh()), "main")


def _best(shed: Shed, entry: LogEntry) -> None:
    """What the best plan brings."""
    views = [view for view in (kept_view(shed.yard, plan.path, shed.units) for plan in entry.plans) if view]
    rows = [row for view in views for row in view["ladder"] if row["chosen"]]
    number = len(entry.plans)
    Tag("p", f"{number} plan{'s' if number > 1 else ''}", "state")
    if rows:
        best = max(rows, key=lambda row: (row["earnings"] if row["earnings"] is not None else -1e12, row["sets"]))
        figures = dict(best["figures"])
        Tag(
            "p",
            f"The best: {figures['complete sets']}; {figures['hours at the saws']}, earns {figures['earns']}.",
            "brings",
        )
