"""One panel for each setting on the mill: how the piece lies, what is wedged and checked, and each cut in order."""

from __future__ import annotations

from collections.abc import Sequence

from reportlab.platypus import Flowable, PageBreak

from pithline.outputs.cut_script.document import Check, Kind, ScriptCut, ScriptSetting, Tool
from pithline.outputs.formatting import Formatter, clock_face, degrees
from pithline.outputs.pdf.flow import caution, heading, paragraph, shares, step, table
from pithline.outputs.pdf.page import measure_of
from pithline.outputs.print_job import PrintJob
from pithline.outputs.sheet.cautions import CLEARANCE, DOGS, LOCK_OUT, ROLL, TIPS, heavy
from pithline.outputs.sheet.mill_views import MillViews, stands

SAWS = {Tool.RIP: "to the rip saw", Tool.CROSSCUT: "to the crosscut saw", Tool.RESAW: "to the band saw"}


def mill_panel(job: PrintJob, setting: ScriptSetting, first: bool) -> list[Flowable]:
    """One setting, from turning the piece to the last piece that comes off; `first` of its log."""
    log, fmt, cuts = job.log, job.fmt, job.log.cuts_of(setting)
    number, kind, roll = log.mill_numbers[setting.id], log.kind(setting.piece), setting.roll or 0.0
    many = "1 cut" if len(cuts) == 1 else f"{len(cuts)} cuts"
    tight = [one for one in setting.checks if one.clearance_run]
    tips = "" if kind is Kind.LOG or stands(log, setting) else TIPS
    line = "the level line" if first else f"line {log.cut_numbers[cuts[0].id]}" if cuts else "the drawn line"
    return [
        PageBreak(),
        *heading(f"3.{number}  Mill setting {number} of {len(log.mill_numbers)}: {kind} {log.mark(setting.piece)}"),
        paragraph(f"{fmt.weight(setting.weight)}, {setting.minutes:.0f} minutes, {many}. Butt end at "
                  f"{fmt.length(setting.butt_at)} along the bed.", 10.5),
        MillViews(job, setting, measure_of(job.paper)),
        step(1, f"Turn until clock angle {degrees(roll)} is up: the 12 o'clock line then points to {clock_face(-roll)}, "
                "facing the butt."),
        caution(" ".join(one for one in (heavy(setting.weight), tips, ROLL) if one)),
        step(2, f"Roll until a spirit level along {line} reads level at both ends. If the ends disagree by more than 1°: stop, "
                "the lines or the scan are wrong."),
        *_wedge(job, setting),
        caution(LOCK_OUT),
        step(4, "Dog, chock, and set the blade by the marks. Saw in this order:"),
        caution(_clearance(tight, fmt) if tight else DOGS),
        *_cut_table(job, cuts),
        *(paragraph(f"• {note}", 10.0) for note in setting.cautions),
    ]  # fmt: skip


def _clearance(tight: Sequence[Check], fmt: Formatter) -> str:
    what = "; ".join(f"{one.what.replace('_', ' ')} {fmt.length(one.value)} of {fmt.length(one.limit)}" for one in tight[:3])
    return f"Tight: {what}. {CLEARANCE} Dogged while sawn."


def _wedge(job: PrintJob, setting: ScriptSetting) -> list[Flowable]:
    fmt, marks = job.fmt, setting.marks
    if marks is None:
        return []
    lifts = ", ".join(f"{fmt.length(one.lift)} at bunk {fmt.length(one.bunk)}" for one in setting.lifts if one.lift > 0.0)
    names = [_mark_name(job, setting, mark.name) for mark in marks.both]
    said = f"{names[0]} on both ends" if names[0] == names[1] else f"butt: {names[0]}, top: {names[1]}"
    row = [text for mark in marks.both for text in (fmt.both(mark.height), "")]
    found: list[Flowable] = [
        step(3, f"Wedge until both marks stand at one height ({said}). Expected lift: {lifts or 'none'}."),
        table(["Butt mark, over the bed", "Found", "Top mark, over the bed", "Found"], [row],
              shares(measure_of(job.paper), 32, 18, 32, 18), 10.0),
    ]  # fmt: skip
    if setting.mark_room:
        found.append(paragraph(f"Mean found over {fmt.length(setting.mark_room.down)} lower or {fmt.length(setting.mark_room.up)} "
                               "higher: do not saw, plan again.", 10.5, bold=True))  # fmt: skip
    return found


def _mark_name(job: PrintJob, setting: ScriptSetting, name: str) -> str:
    """A mark as the sawyer finds it: the first line by its number."""
    cuts = job.log.cuts_of(setting)
    if name == "first line" and cuts:
        return f"line {job.log.cut_numbers[cuts[0].id]}"
    return f"the {name}" if name == "pith" else name


def _cut_table(job: PrintJob, cuts: Sequence[ScriptCut]) -> list[Flowable]:
    length, drop, rows = job.fmt.length, job.log.scale_drop, []
    for cut in cuts:
        over, height = (cut.from_mark or 0.0) - drop, (cut.blade_height or 0.0) - drop
        rows.append([str(job.log.cut_numbers[cut.id]), f"{length(abs(over))} {'over' if over >= 0 else 'under'}", length(height),
                     length(cut.width or 0.0), goes(job, cut.above)])  # fmt: skip
    head = ["Cut", "Blade to mean of the marks", "Expected on scale", "Width", "Comes off: crayon mark, where to"]
    return [
        table(head, rows, shares(measure_of(job.paper), 7, 20, 17, 15, 41), 10.5),
        *(paragraph(f"On the bed stays {goes(job, cut.below)}.", 11.0) for cut in cuts[-1:]),
    ]


def goes(job: PrintJob, piece: str) -> str:
    """The crayon mark of a piece, and where it goes next."""
    return f"{job.log.mark(piece)}: {destination(job, piece)}"


def destination(job: PrintJob, piece: str) -> str:
    """What a piece is, its weight where it is known, and where it goes next."""
    log, following, kind = job.log, job.log.following(piece), job.log.kind(piece)
    if following is None:
        return f"{kind}, " + ("done" if kind is Kind.PLATE else "set aside")
    target = SAWS.get(following.tool) or f"setting {log.mill_numbers.get(following.id, '')}"
    if following.roll is not None:
        target += f", {clock_face(following.roll)} up"
    return f"{kind} {job.fmt.weight(following.weight)}, {target}"
