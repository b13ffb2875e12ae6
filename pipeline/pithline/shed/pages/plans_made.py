"""The plans that were made of one log: what each brings, its papers, its ladder side by side."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from functools import partial
from typing import Any
from urllib.parse import quote

from pithline.shed.drawing import swatch
from pithline.shed.folder import PlanEntry
from pithline.shed.pages.plan_desk import PlanDesk
from pithline.shed.parts import (
    Tag,
    button,
    drawing,
    link,
    to_the_top,
)
from pithline.shed.plan_view import FORMAT, LEFT, kept_view

PAPERS = {
    "set-up-sheet.pdf": "Set-up sheet",
    "shop-cards.pdf": "Shop cards",
    "overview.pdf": "Overview",
    "end-templates.pdf": "End templates",
    "labels.pdf": "Labels",
    "preview.html": "3D preview",
}


def newest_plan(desk: PlanDesk) -> None:
    """The newest plan of the log, whole."""
    for plan in desk.shed.yard.log(desk.name).plans[:1]:
        _plan(desk, plan, newest=True)


def older_plans(desk: PlanDesk) -> None:
    """Those before it, each folded until it is asked for."""
    for plan in desk.shed.yard.log(desk.name).plans[1:]:
        folded = Tag("details")
        with folded:
            Tag("summary", f"{_made(plan)}{_earned(desk, plan)}")
            inside = Tag("div")
        folded.on("toggle", partial(_unfold, desk, plan, inside))


def _unfold(desk: PlanDesk, plan: PlanEntry, inside: Tag) -> None:
    """Draw an earlier plan once it is asked for: a page of many plans stays light."""
    if not inside.default_slot.children:
        with inside:
            _plan(desk, plan, newest=False)


def _plan(desk: PlanDesk, plan: PlanEntry, newest: bool) -> None:
    view = kept_view(desk.shed.yard, plan.path, desk.shed.units)
    if newest:
        Tag("h2", f"{_made(plan)}, the newest")
    if view is None:
        _not_looked_at(desk, plan)
        return
    at, query = quote(desk.name, safe=""), quote(plan.name, safe="")
    if view["replanned"] is not None:
        Tag("p", "Planned anew once the log was open: " + " ".join(view["replanned"]), "note")
    _brings(view)
    if view["against"]:
        Tag("p", view["against"], "against")
    with Tag("div", look="papers"):
        link("Saw by this plan", f"/saw/{at}?plan={query}", "act main")
        for file, words in PAPERS.items():
            if (plan.path / file).is_file():
                link(words, f"/plan-file/{at}/{file}?plan={query}", "act", target="_blank", rel="noopener")
        if view["replanned"] is None:
            link("What if it is turned", f"/what-if/{at}?plan={query}", "act")
    for caution in view["cautions"]:
        Tag("p", caution, "note")
    if len(view["ladder"]) > 1:
        Tag("h3", "From little work to much")
        Tag(
            "p",
            "Each is a whole plan of this log. The framed one is taken; any other can be, without a new search.",
            "faint",
        )
    with Tag("ul", look="rungs"):
        for number, row in enumerate(view["ladder"]):
            picture = f"/plan-end/{at}/{number}?plan={query}&of={view['hash']}-{FORMAT}"
            _rung(row, picture, partial(_take, desk, plan, number) if row["own"] and not row["chosen"] else None)
    with Tag("ul", look="looks"):
        shown = {
            name: look for row in view["ladder"] if row["picture"] for name, look in row["picture"]["looks"].items()
        }
        for name, (colour, kind) in sorted(shown.items()):
            with Tag("li"):
                drawing(swatch(colour, kind, part_in_words(name)))


def _made(plan: PlanEntry) -> str:
    """A plan by its folder and when it was made."""
    return f"{plan.name.rpartition('/')[2]}, made {time.strftime('%d %b, %H:%M', time.localtime(plan.made))}"


def _earned(desk: PlanDesk, plan: PlanEntry) -> str:
    """What a folded plan earns, where that is known."""
    view = kept_view(desk.shed.yard, plan.path, desk.shed.units)
    taken = next((dict(row["figures"]) for row in view["ladder"] if row["chosen"]), None) if view else None
    return f": earns {taken['earns']} with {taken['hours at the saws']}" if taken else ""


def part_in_words(name: str) -> str:
    """A part beside its look: "product, part", once where both are called the same."""
    product, _, part = name.partition(", ")
    return product if product == part else name


def _brings(view: Mapping[str, Any]) -> None:
    """What the plan brings, and the customary way beside it, in a sentence each."""
    taken = next((row for row in view["ladder"] if row["chosen"]), view["ladder"][0])
    Tag("p", f"This plan: {_in_a_line(dict(taken['figures']))}.", "brings")
    if view["customary"]:
        Tag("p", f"The customary way on the same log: {_in_a_line(dict(view['customary']))}.")


def _in_a_line(figures: Mapping[str, str]) -> str:
    work = f"{figures['hours at the saws']} at the saws with {figures['set-ups']} set-ups"
    paid = f", {figures[LEFT]} once the log is paid" if LEFT in figures else ""
    return f"{figures['complete sets']}; {work}; earns {figures['earns']} after those hours{paid}"


def _take(desk: PlanDesk, plan: PlanEntry, number: int) -> None:
    """Make another plan of the ladder the plan, in a folder of its own."""
    asked = {"plan": plan.name, "rung": number, "units": desk.shed.units, "paper": desk.shed.setting("paper")}
    desk.shed.jobs.start("take", desk.name, asked, desk.shed.yard.next_plan(desk.name))
    to_the_top()
    desk.redraw()


def _not_looked_at(desk: PlanDesk, plan: PlanEntry) -> None:
    """A plan that the command line wrote, or in other measures: it is read in a process of its own."""
    job = desk.shed.jobs.state("look", desk.name)
    mine = job is not None and job.asked == {"plan": plan.name, "units": desk.shed.units}
    if job is not None and mine and (job.fault or job.broken_off):
        Tag("p", job.fault or "Reading it was broken off.", "fault")
        return
    Tag("p", "It is being read.", "faint")
    if job is None or not job.alive:
        desk.shed.jobs.start("look", desk.name, {"plan": plan.name, "units": desk.shed.units})


def _rung(row: dict[str, Any], picture: str, take: Callable[[], None] | None) -> None:
    with Tag("li", look="chosen" if row["chosen"] else ""):
        Tag("h3", f"This plan: {row['title']}" if row["chosen"] else f"{row['title'][:1].upper()}{row['title'][1:]}")
        if row["picture"]:
            Tag(
                "img",
                src=picture,
                alt=f"The butt end with the plates of the plan {row['title']}",
                look="end",
                width=400,
                height=400,
            )
        with Tag("dl"):
            for name, value in row["figures"]:
                with Tag("div"):
                    Tag("dt", name)
                    Tag("dd", value)
        if take is not None:
            button("Take this plan instead", take, aria_label=f"Take the plan {row['title']} instead")
