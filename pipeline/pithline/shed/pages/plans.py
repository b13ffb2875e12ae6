"""The plans of one log: what to ask for, the search while it runs, and the ladder of what was found side by side."""

from __future__ import annotations

import time
from collections.abc import Callable, Collection, Mapping
from functools import partial
from typing import Any
from urllib.parse import quote

from nicegui import ui

from pithline.outputs.formatting import Formatter
from pithline.shed.drawing import climb_curve
from pithline.shed.fitting import shown_fit
from pithline.shed.jobs import JobState, end_of_best
from pithline.shed.pages.own_list import own_address
from pithline.shed.pages.plan_desk import HELD, PlanDesk
from pithline.shed.pages.plans_made import newest_plan, older_plans
from pithline.shed.parts import (
    Tag,
    button,
    choice,
    chosen,
    drawing,
    followed,
    frame,
    job_mark,
    link,
    log_places,
    progress,
    say,
    shown_name,
    tick,
)
from pithline.shed.plan_view import kept_view
from pithline.shed.state import Shed
from pithline.shed.weighing import kept_weighed

LOOKED_EVERY = 0.7
"""Seconds between two looks at a search."""
MOST_TYPED = 40
"""Letters of what an address fills into a field."""
OBJECTIVES = {"sets": "complete sets", "value": "what it earns, hours paid", "volume": "as much good wood as possible"}
EFFORTS = {"coarse": "a quick look: a minute or two", "full": "as well as it can be done: some minutes"}
RUNGS = {"paying": "the last that pays its hours", "best": "the best, whatever the hours"}
MEANT = {
    "L": "litres of wood in complete sets, the charge for every set-up and cut taken off",
    "money": "what it earns, hours and charges paid",
}
"""What the figures of a search count, by its unit."""


def plans_page(
    shed: Shed, name: str, held: Mapping[str, str], leave_bolts: bool, wanted: Collection[str] = (), mill: str = ""
) -> None:
    """Build the page.

    Parameters
    ----------
    shed : Shed
    name : str
        The log's, looked up before.
    held : mapping
        What is decided already, as the page that turns a log by hand sends it.
    leave_bolts : bool
    wanted : collection of str
        Product lists to begin with, as the page of what the log is good for sends them; unknown ones are left out.
    mill : str
        The mill to begin with, as the page of that mill sends it; an unknown one is left out.
    """
    mills, lists = shed.yard.choices("mills"), shed.yard.choices("products")
    last = shed.jobs.state("plan", name)
    asked = last.asked if last is not None else {}
    desk = PlanDesk(
        shed,
        name,
        next((one for one in (mill, asked.get("mill"), "portable") if one in mills), mills[0]),
        _begun_with(shed, name, lists, wanted or asked.get("products", [])),
        asked.get("objective", "sets"),
        asked.get("effort", "coarse"),
        asked.get("rung", "paying"),
        {key: text[:MOST_TYPED] for key, text in held.items() if text},
        leave_bolts,
        bool(wanted or mill),
    )
    at = quote(name, safe="")
    with frame(shed.yard, f"{name}: plans", f"/plans/{at}", shed.places()[:1] + log_places(name)):
        if shed.yard.log(name).card is None:
            Tag("p", "This scan has no card yet; begin it in the yard.", "fault")
            return

        @ui.refreshable
        def search() -> None:
            _search(desk)

        @ui.refreshable
        def newest() -> None:
            newest_plan(desk)

        @ui.refreshable
        def ask() -> None:
            _ask(desk)

        @ui.refreshable
        def older() -> None:
            older_plans(desk)

        def redraw() -> None:
            for part in (search, newest, ask, older):
                part.refresh()

        desk.redraw = redraw
        search()
        newest()
        ask()
        older()
        _watch(desk, search.refresh, redraw)


def _begun_with(shed: Shed, name: str, lists: list[str], wanted: Collection[str]) -> set[str]:
    """Product lists that are ticked at first: those asked for, else the one that brings most of this log, where that is known."""
    asked = {one for one in wanted if one in lists}
    if asked:
        return asked
    weighed = kept_weighed(shed.yard, name, Formatter(shed.units))
    best = [row.name for row in weighed.rows if row.name in lists] if weighed else []
    return {best[0] if best else "guitar" if "guitar" in lists else lists[0]}


def _watch(desk: PlanDesk, search: Callable[[], Any], redraw: Callable[[], Any]) -> None:
    """Follow work on this log, whoever started it, from this page or another."""
    seen: dict[str, Any] = {"work": _mark(desk), "plans": _plans_mark(desk), "begun": _under_way(desk)}

    def look() -> None:
        work, plans, begun = _mark(desk), _plans_mark(desk), _under_way(desk)
        if plans != seen["plans"] or begun != seen["begun"]:
            redraw()
        elif work != seen["work"]:
            search()
        seen.update(work=work, plans=plans, begun=begun)

    ui.timer(LOOKED_EVERY, look)


def _running_job(desk: PlanDesk) -> JobState | None:
    """A search or a copying of a plan of this log that goes on."""
    states = (desk.shed.jobs.state(kind, desk.name) for kind in SEARCHES)
    return next((job for job in states if job is not None and job.alive), None)


def _under_way(desk: PlanDesk) -> bool:
    return _running_job(desk) is not None


def _mark(desk: PlanDesk) -> tuple[Any, ...]:
    jobs = desk.shed.jobs
    return tuple((job_mark(jobs.state(one, desk.name)), jobs.stopping(one, desk.name)) for one in SEARCHES)


def _plans_mark(desk: PlanDesk) -> tuple[Any, ...]:
    plans = desk.shed.yard.log(desk.name).plans
    job = desk.shed.jobs.state("look", desk.name)
    looked = None if job is None else (job.alive, job.fault)
    return (
        looked,
        *((plan.name, plan.made, kept_view(desk.shed.yard, plan.path, desk.shed.units) is not None) for plan in plans),
    )


# -- what is asked ----------------------------------------------------------------------------------------------------


def _search(desk: PlanDesk) -> None:
    """How far a search is; else why the last one brought no plan, where it did not."""
    running = _running_job(desk)
    if running is not None:
        _running(desk, running)
        return
    for kind in SEARCHES:
        job = desk.shed.jobs.state(kind, desk.name)
        if job is not None and (job.fault or job.broken_off):
            with Tag("div", look="fault"):
                Tag("strong", "No plan was made. ")
                Tag("span", job.fault or "The search was broken off before its end; start it again.")


def _ask(desk: PlanDesk) -> None:
    """The form of a search; folded where there is a plan already, and nothing while one is searched."""
    if _under_way(desk):
        return
    if not desk.shed.yard.log(desk.name).plans:
        Tag("h2", "Plan it")
        _form(desk)
        return
    held = bool(desk.leave_bolts or any(desk.typed.values()))
    with Tag("details", look="again", **chosen("open", held or desk.begun_with)):
        Tag("summary", "Plan it again, or for something else")
        _form(desk)


def _form(desk: PlanDesk) -> None:
    shown = shown_fit(desk.shed.yard, desk.name)
    if shown is not None and shown["facts"]["pith_assumed"]:
        with Tag("div", look="note"):
            Tag("p", "The pith is marked on neither end. Every ring angle hangs on it: mark it before you plan to saw.")
            link("Mark the pith", f"/log/{quote(desk.name, safe='')}", "act")
    with Tag("div", look="asking"):
        with Tag("fieldset"):
            Tag("legend", "To be sawn for")
            with Tag("div", look="lists"):
                for one in desk.shed.yard.choices("products"):
                    _tick(desk, one)
            button("Make or change your own list", partial(_to_own, desk, "products"), "slight", id="own-products")
        with Tag("div"):
            choice(
                "Mill",
                {one: shown_name(one) for one in desk.shed.yard.choices("mills")},
                desk.mill,
                lambda text: setattr(desk, "mill", text),
                "mill",
            )
            button("Make or change your own mill", partial(_to_own, desk, "mills"), "slight", id="own-mills")
        with Tag("div"):
            choice(
                "Make most of",
                OBJECTIVES,
                desk.objective,
                lambda text: _set(desk, "objective", text, OBJECTIVES),
                "objective",
            )
            choice("Search", EFFORTS, desk.effort, lambda text: _set(desk, "effort", text, EFFORTS), "effort")
            choice("Of the ladder, take", RUNGS, desk.rung, lambda text: _set(desk, "rung", text, RUNGS), "rung")
    _held(desk)
    button("Plan it", desk.start, "main", style="margin-top:12px")


def _to_own(desk: PlanDesk, kind: str) -> None:
    """To a copy of what is chosen, or to the copy itself where it is the yard's own."""
    lists = [one for one in desk.shed.yard.choices("products") if one in desk.products]
    one = desk.mill if kind == "mills" else next(iter(lists), "")
    own = one.partition("/")[2].removesuffix(".toml")
    at = quote(desk.name, safe="")
    ui.navigate.to(own_address(kind, own, desk.name) if own else f"/own?of={quote(one, safe='')}&log={at}#{kind}")


def _held(desk: PlanDesk) -> None:
    """What the sawyer has decided already."""
    with Tag("details", **chosen("open", bool(desk.leave_bolts or any(desk.typed.values())))):
        Tag("summary", "Hold what you have decided")
        Tag("p", "The plan keeps to it and tells what it costs. Leave empty what the search may choose.", "faint")
        with Tag("div", look="form"):
            for key, (label, example) in HELD.items():
                with Tag("div", look="field"):
                    Tag("label", label, for_=f"held-{key}")
                    made = Tag(
                        "input",
                        id=f"held-{key}",
                        value=desk.typed.get(key, ""),
                        placeholder=example,
                        autocomplete="off",
                    )
                    made.on_change(partial(desk.typed.__setitem__, key))
        tick("Leave every bolt whole", desk.leave_bolts, lambda on: setattr(desk, "leave_bolts", on))


def _set(desk: PlanDesk, name: str, value: str, known: dict[str, str]) -> None:
    if value in known:
        setattr(desk, name, value)


def _tick(desk: PlanDesk, one: str) -> None:
    def changed(on: bool) -> None:
        (desk.products.add if on else desk.products.discard)(one)

    tick(shown_name(one), one in desk.products, changed, one)


# -- while it runs ----------------------------------------------------------------------------------------------------


def _running(desk: PlanDesk, begun: JobState) -> None:
    kind = begun.kind

    def best() -> None:
        job = desk.shed.jobs.state(kind, desk.name)
        if job is not None and job.alive:
            _best_so_far(desk, job)

    Tag("h2", SEARCHES[kind])
    progress(desk.shed.jobs, kind, desk.name, SEARCHES[kind])
    if kind == "take":
        return
    if desk.shed.jobs.stopping(kind, desk.name):
        Tag("p", STOPPING, "note")
    else:
        button("Stop, and keep the best so far", lambda: _stop(desk, kind), "stop", id="stop-search")
    followed(best)


def _best_so_far(desk: PlanDesk, job: JobState) -> None:
    """What the best plan so far brings, how that rose, and its end."""
    if job.curve:
        best, bound = job.curve[-1][1], job.curve[-1][2]
        unit = "" if job.unit == "money" else f" {job.unit}"
        words = f"Best so far: {best:.1f}{unit}"
        if bound is not None and best is not None and bound > best:
            words += f"; no plan of the kinds searched can bring more than {bound:.1f}{unit}"
        Tag("p", f"{words}.")
        Tag(
            "p",
            f"The line shows {MEANT.get(job.unit, MEANT['L'])}. The broken line above it is what no plan can exceed.",
            "faint",
        )
        with Tag("div", look="live"):
            drawing(climb_curve(job.curve, time.time() - job.started, job.unit))
            _best_end(desk, job)
    else:
        Tag("p", "The first plan shows here after some seconds.", "faint")


def _best_end(desk: PlanDesk, job: JobState) -> None:
    """The end view of the best plan carried out so far, where there is one."""
    try:
        drawn = end_of_best(desk.shed.jobs.path(job.kind, desk.name)).stat().st_mtime_ns
    except OSError:
        return
    with Tag("figure"):
        words = "The butt end with the plates of the best plan so far"
        Tag(
            "img", src=f"/best-end/{quote(desk.name, safe='')}?at={drawn}", alt=words, look="end", width=300, height=300
        )
        Tag("figcaption", "The best plan carried out so far")


SEARCHES = {"plan": "The search", "replan": "The rest is being planned anew", "take": "The plan is being made ready"}
STOPPING = (
    "Stopping. The best plan so far is kept as a plan of its own; writing it with its sheets and labels may take about a minute, and goes "
    "on if you leave this page. Earlier plans stay as they are."
)


def _stop(desk: PlanDesk, kind: str) -> None:
    desk.shed.jobs.stop(kind, desk.name)
    say(STOPPING)
    desk.redraw()


# -- what was found ---------------------------------------------------------------------------------------------------
