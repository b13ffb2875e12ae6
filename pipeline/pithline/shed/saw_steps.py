"""A cut script as steps to be done one at a time, in the words of the set-up sheet and the shop cards."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np

from pithline.outputs.cards.card import FRESH_FACE, SAW_WORDS, step_words
from pithline.outputs.cards.work import SliceStep, Work, works_of
from pithline.outputs.cut_script.document import Saw, ScriptCut, ScriptSetting
from pithline.outputs.formatting import count
from pithline.outputs.holding.props import holding_of
from pithline.outputs.print_job import PrintJob
from pithline.outputs.sheet.cautions import BUCK_RULES, METAL, MILL_RULES, SHOP_RULES, dust, heavy
from pithline.outputs.sheet.crosscut_first import HOURS, along_the_bark
from pithline.outputs.sheet.mill_settings import (
    blade_words,
    comes_off_words,
    height_allowance,
    set_up_words,
    special_words,
)

FEW = 4
"""Billets up to this many are named in a step's title."""
Step = dict[str, Any]
"""id, where ("before", "chain saw", "mill", "shop", "dry"), title, figures [[name, value]], lines, cautions, rules, preview (operations
done when it is), cuts (ids); a mill setting by marks also `heights`: expected, allowed off it, and the mill's own room. [mm]"""


def saw_steps(job: PrintJob) -> list[Step]:
    """Every step still to come, in working order."""
    log = job.log
    places = {one.id: number for number, one in enumerate(log.script.operations, 1)}
    steps = [] if log.sawn else [_before(job)]
    for setting in log.ahead:
        if setting.tool is Saw.MILL:
            steps += _on_mill(job, setting, places)
        elif setting.tool is Saw.BUCK:
            steps += _crosscut_first(job, setting, places)
    for work in works_of(job):
        steps += _in_shop(job, work, places)
    seen: set[str] = set()
    for step in steps:  # rules are told once, where they first hold
        step["rules"] = [] if step["where"] in seen else step["rules"]
        seen.add(step["where"])
    return steps


def _step(name: str, where: str, title: str, **more: Any) -> Step:
    blank: Step = {"figures": [], "lines": [], "cautions": [], "rules": [], "preview": 0, "cuts": []}
    return {"id": name, "where": where, "title": title, **blank, **more}


def _before(job: PrintJob) -> Step:
    lines = [
        "Measure the log and hold it against the plan: the list stands below.",
        "Draw the lines of the set-up sheet on both ends, from the plumb line through the pith; or lay the end templates on.",
        "One number outside its room: do not saw. Find out why, or scan and plan again.",
    ]
    return _step(
        "before",
        "before",
        "Before you saw",
        lines=lines,
        cautions=[_plain(METAL), _plain(dust(job.log.script.log.species))],
    )


def _on_mill(job: PrintJob, setting: ScriptSetting, places: dict[str, int]) -> Iterator[Step]:
    log, cuts = job.log, job.log.cuts_of(setting)
    number, kind = log.mill_numbers[setting.id], log.kind(setting.piece)
    title = f"Mill {number} of {len(log.mill_numbers)}: {kind} {log.mark(setting.piece)}"
    moved = heavy(setting.weight).removesuffix(" off")
    figures = [["weight", job.fmt.weight(setting.weight) + (f", {moved}" if moved else "")]]
    lines = [_plain(text) for text in set_up_words(job, setting, holding_of(log, setting))]
    if setting.marks is not None:
        lines = lines[:-1]  # what is found is entered on the page, and the page itself says stop
    special = [_plain(text) for text in special_words(job, setting)]
    cautions = [
        text
        for text in special
        if text.startswith("Clearance run") or text in {job.fmt.retold(one) for one in setting.cautions}
    ]
    lines += [text for text in special if text not in cautions]
    heights = _heights(job, setting)
    if heights:
        names = dict.fromkeys(job.fmt.length(mark.height) for mark in setting.marks.both) if setting.marks else {}
        figures.insert(0, ["marks expected at", " | ".join(names)])
    yield _step(
        setting.id,
        "mill",
        title,
        figures=figures,
        lines=lines,
        cautions=[_plain(text) for text in cautions],
        rules=[_plain(text) for text in MILL_RULES],
        preview=places[setting.id],
        heights=heights,
        minutes=setting.minutes,
    )
    for cut in cuts:
        yield _mill_cut(job, setting, cut, cut is cuts[-1], places)


def _mill_cut(job: PrintJob, setting: ScriptSetting, cut: ScriptCut, last: bool, places: dict[str, int]) -> Step:
    log, fmt = job.log, job.fmt
    figures = [
        ["from the marks" if cut.from_mark is not None else "blade", f"{_plain(blade_words(job, cut))}"],
        [
            "scale, as foretold" if cut.from_mark is not None else "scale",
            fmt.length((cut.blade_height or 0.0) - log.scale_drop),
        ],
        ["width of the cut", fmt.length(cut.width or 0.0)],
    ]
    if cut.from_mark is not None:
        over = cut.from_mark - log.scale_drop
        figures[0][1] = f"{fmt.length(abs(over))} {'over' if over >= 0.0 else 'under'}"
    lines = [f"Comes off: {_plain(comes_off_words(job, cut.above))}."]
    if last:
        lines.append(f"Stays on the bed: {_plain(comes_off_words(job, cut.below))}.")
    lines.append(
        f"Crayon {log.mark(cut.above)} on the butt end of what comes off, and {log.cut_numbers[cut.id]} on both new faces."
    )
    return _step(
        cut.id,
        "mill",
        f"Cut {log.cut_numbers[cut.id]}, mill {log.mill_numbers[setting.id]}",
        figures=figures,
        lines=lines,
        preview=places[cut.id],
        cuts=[cut.id],
        over_marks=None if cut.from_mark is None else cut.from_mark - log.scale_drop,
    )


def _heights(job: PrintJob, setting: ScriptSetting) -> dict[str, Any] | None:
    """What the marks' mean height is held against. [mm]"""
    if setting.marks is None:
        return None
    room = setting.mark_room
    return {
        "expected": float(np.mean([mark.height for mark in setting.marks.both])),
        "allowed": height_allowance(job.log, setting),
        "down": room.down if room else None,
        "up": room.up if room else None,
    }


def _crosscut_first(job: PrintJob, setting: ScriptSetting, places: dict[str, int]) -> Iterator[Step]:
    log, fmt, cuts = job.log, job.fmt, job.log.cuts_of(setting)
    for cut in cuts:
        taped = along_the_bark(log, setting, cut)
        figures = [[f"from the butt end, at {hour} o'clock", fmt.length(taped[hour])] for hour in HOURS]
        lines = [
            "Tape straight along the bark to the kerf's centre, and join the marks round the log: the cut then runs square to the pith.",
            "Carry the 12 o'clock line along the bark past the cut before sawing; mark the pith on the new faces as seen.",
            f"Butt side {log.mark(cut.below)}, top side {log.mark(cut.above)}.",
        ]
        yield _step(
            cut.id,
            "chain saw",
            f"Crosscut first: cut {log.cut_numbers[cut.id]}",
            figures=figures,
            lines=lines,
            rules=[_plain(text) for text in BUCK_RULES],
            preview=places[cut.id],
            cuts=[cut.id],
        )


def _in_shop(job: PrintJob, work: Work, places: dict[str, int]) -> Iterator[Step]:
    log, fmt = job.log, job.fmt
    where = "dry" if work.dried else "shop"
    for number, step in enumerate(work.steps, 1):
        if isinstance(step, SliceStep):
            billets = {billet for fence in step.fences for billet in fence.slices}
            settings = [one for one in log.settings if one.tool is Saw.RESAW and one.piece in billets]
            title = f"Card {log.mark(work.piece)}, step {number}: resaw {_billets([log.mark(one) for one in sorted(billets)])}"
            figures = [["fence", fmt.fence(fence.thickness, fence.spare)] for fence in step.fences]
        else:
            settings = [step.setting]
            title = f"Card {log.mark(work.piece)}, step {number}: {SAW_WORDS[step.tool].lower()} {log.mark(step.piece)}"
            figures = [[f"cut {place.number}", place.where] for place in step.places]
        cuts = [cut for one in settings for cut in log.cuts_of(one)]
        cautions = [fmt.retold(text) for one in settings for text in one.cautions]
        lines = [_plain(step_words(job, step)) + "."]
        if isinstance(step, SliceStep):
            lines.append(FRESH_FACE)
        if number == 1:
            plates = f", {count(len(work.plates), 'plate')} come of it" if work.plates else ""
            lines.insert(0, f"{fmt.weight(work.weight)}{plates}, {work.minutes:.0f} min in all.")
        yield _step(
            f"{log.mark(work.piece)}-{where}-{number}",
            where,
            title,
            figures=figures,
            lines=lines,
            cautions=[_plain(text) for text in cautions],
            rules=[_plain(text) for text in SHOP_RULES],
            preview=max((places[cut.id] for cut in cuts), default=0),
            cuts=[cut.id for cut in cuts],
        )


def _billets(marks: list[str]) -> str:
    return " ".join(marks) if len(marks) <= FEW else count(len(marks), "billet")


def _plain(text: str) -> str:
    """A text of the sheet without its strong words' asterisks, and with the mark written out that the sheet's foot explains."""
    return text.replace("**", "").replace("(c.p.)", "(common practice)")
