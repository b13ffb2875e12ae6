"""Section 3: one panel for each setting on the mill, two or three a page, under the rules that hold for all."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from reportlab.platypus import Flowable

from pithline.outputs.cut_script.document import Kind, Saw, ScriptCut, ScriptSetting
from pithline.outputs.cut_script.end_lines import mark_line_name
from pithline.outputs.cut_script.sawn_pieces import SawnPieces
from pithline.outputs.formatting import degrees
from pithline.outputs.holding.arris import arris_at, arris_faces
from pithline.outputs.holding.pose import FLAT_DEG, pose_of
from pithline.outputs.holding.props import Holding, holding_of, station_over
from pithline.outputs.holding.sketch import block_words, is_owned
from pithline.outputs.pdf.flow import Prose, band, bullets, gap, heading, markup, shares, side_by_side, style, table
from pithline.outputs.pdf.page import measure_of
from pithline.outputs.pdf.paging import Block
from pithline.outputs.print_job import PrintJob
from pithline.outputs.sheet.cautions import CLEARANCE, MILL_RULES, heavy
from pithline.outputs.sheet.mill_views import MillEnd, MillSide, stub_words
from pithline.outputs.sheet.where_next import where_next

LEFT_SHARE = 0.37
"""Share of the width that the views take."""
TEXT, BOLT_TITLE = 10.0, 11.5
"""Type of the steps, and of the title of one of several bolts held alike. [pt]"""
BLANK = "\N{NO-BREAK SPACE}____"
"""To be filled in, on the line of what it stands beside."""
LEAST_OFF, MOST_OFF = 10.0, 15.0
"""The height found may lie this far off the one expected before a mistake is looked for: at least, as marks and bunks are read
and bark gives way; at most, as the plan was weighed. [mm]"""


class ViewHeights(NamedTuple):
    """How tall the views are: facing the end, of a bolt without marks, of one of several held alike, from the side. [pt]"""

    end: float = 132.0
    bolt: float = 112.0
    alike: float = 104.0
    side: float = 64.0


FULL, LESS = ViewHeights(), ViewHeights(118.0, 100.0, 92.0, 58.0)
"""Views are drawn less tall where that saves a page."""


def mill_rules(job: PrintJob) -> list[Flowable]:
    """The rules that hold for every setting on the mill; nothing where none is still to come."""
    if not any(one.tool is Saw.MILL for one in job.log.ahead):
        return []
    return [*heading("3  At the mill: for every setting", 15.0), *bullets(MILL_RULES), gap(6.0)]


def mill_blocks(job: PrintJob) -> list[Block]:
    """A panel each setting on the mill that is still to come, with full views and with less tall ones."""
    return list(zip(mill_panels(job, FULL), mill_panels(job, LESS), strict=True))


def mill_panels(job: PrintJob, heights: ViewHeights = FULL) -> list[list[Flowable]]:
    """The panels; what bolts in one cradle share is said over the first of them."""
    panels: list[list[Flowable]] = []
    for alike in same_hold([one for one in job.log.ahead if one.tool is Saw.MILL]):
        if len(alike) == 1:
            panels.append(mill_panel(job, alike[0], heights))
            continue
        panels += [_bolt_panel(job, one, heights) for one in alike]
        panels[-len(alike)] = [*_shared_hold(job, alike), *panels[-len(alike)]]
    return panels


def mill_panel(job: PrintJob, setting: ScriptSetting, heights: ViewHeights = FULL) -> list[Flowable]:
    """One setting, from laying the piece to the last piece that comes off."""
    width, holding = measure_of(job.paper), holding_of(job.log, setting)
    left = LEFT_SHARE * width
    steps = set_up_words(job, setting, holding)
    texts = [_numbered(row, text) for row, text in enumerate(steps, 1)]
    body = side_by_side(
        [_views(job, setting, holding, left, heights), [*texts, *_sawn(job, setting)]], [left + 8.0, width - left - 8.0]
    )
    return [band(*_titles(job, setting), width), body, gap(6.0)]


def same_hold(settings: Sequence[ScriptSetting]) -> list[list[ScriptSetting]]:
    """Settings in their order, neighbours together that hold bolts without marks in one cradle, or flat on the bed."""
    found: list[list[ScriptSetting]] = []
    for one in settings:
        before = found[-1][-1] if found else None
        if (one.marks is None and one.against is not None and before is not None and before.marks is None
                and before.against is not None and before.support == one.support
                and abs(before.against.angle - one.against.angle) < FLAT_DEG):  # fmt: skip
            found[-1].append(one)
        else:
            found.append([one])
    return found


def _shared_hold(job: PrintJob, alike: Sequence[ScriptSetting]) -> list[Flowable]:
    """What neighbouring bolts share: where they lie, and what the blade is set from."""
    log, width, first = job.log, measure_of(job.paper), alike[0]
    numbers, marks = [log.mill_numbers[one.id] for one in alike], ", ".join(log.mark(one.piece) for one in alike)
    if first.against is None or first.against.angle < FLAT_DEG:
        where, blade = (
            "on the bed",
            "**Blade** by the scale, over the bed: bolts lie by their own sawn faces and have no marks.",
        )
    else:
        where = f"in the {degrees(first.against.angle)} cradle"
        blade = ("**Blade** from arris A, where the two faces told meet. Write its height over the bed beside what is expected, at both "
                 f"ends ({job.fmt.units}).")  # fmt: skip
    lay = f"**Lay** each {where} by the face told. {blade}"
    return [
        band(f"{numbers[0]} to {numbers[-1]}  Bolts {where}", marks, width),
        Prose(markup(lay), style(TEXT, spaceAfter=4.0)),
    ]


def _bolt_panel(job: PrintJob, setting: ScriptSetting, heights: ViewHeights) -> list[Flowable]:
    """One of several bolts that are held alike: what is its own."""
    width, holding = measure_of(job.paper), holding_of(job.log, setting)
    left = LEFT_SHARE * width
    own = Prose(markup(bolt_words(job, setting, holding)), style(TEXT, spaceAfter=3.0))
    views = _views(job, setting, holding, left, heights._replace(bolt=heights.alike))
    body = side_by_side([views, [own, *_sawn(job, setting)]], [left + 8.0, width - left - 8.0])
    return [band(*_titles(job, setting), width, BOLT_TITLE), body, gap(4.0)]


def bolt_words(job: PrintJob, setting: ScriptSetting, holding: Holding) -> str:
    """A bolt's face that is down, where its arris A stands, what is lifted and what blocks are to be made."""
    if setting.against is None:
        return ""
    arris, lifts = arris_of(job, setting, holding), _lifts(job, setting)
    text = f"**Face {job.log.cut_numbers[setting.against.face]}** down."
    if arris is not None:
        butt, top = (job.fmt.bare(one) for one in (arris.butt, arris.top))
        text += f" A, faces {arris.one}, {arris.other}: butt {butt}{BLANK}, top {top}{BLANK}."
    blocks = "" if is_owned(job.log, setting) else block_words(holding, job.fmt)
    return f"{text}{f' Lift {lifts} ({job.fmt.units}).' if lifts else ''}{f' {blocks}' if blocks else ''}"


def _titles(job: PrintJob, setting: ScriptSetting) -> tuple[str, str]:
    """A panel's title, and the few words at its right."""
    log = job.log
    number, same = log.mill_numbers[setting.id], _same_set_up(log, setting)
    beside = (f"{number} of {len(log.mill_numbers)} at the mill · {setting.minutes:.0f} min · butt end at {job.fmt.length(setting.butt_at)}"
              + (f" · set-up as {same}" if same is not None else ""))  # fmt: skip
    return (
        f"{number}  {log.kind(setting.piece).capitalize()} {log.mark(setting.piece)}, {job.fmt.weight(setting.weight)}",
        beside,
    )


def _views(
    job: PrintJob, setting: ScriptSetting, holding: Holding, width: float, heights: ViewHeights
) -> list[Flowable]:
    """The piece facing its butt end; from the side too where marks or lifts show there."""
    by_marks = setting.marks is not None
    views: list[Flowable] = [MillEnd(job, setting, holding, width, heights.end if by_marks else heights.bolt)]
    if by_marks or any(one.lift > 0.0 for one in setting.lifts):
        views.append(MillSide(job, setting, width, heights.side))
    return views


def _sawn(job: PrintJob, setting: ScriptSetting) -> list[Flowable]:
    """The table of a setting's cuts, and what holds for it alone."""
    return [
        cut_table(job, setting, (1.0 - LEFT_SHARE) * measure_of(job.paper) - 8.0),
        *bullets(special_words(job, setting), 9.0),
    ]


def _numbered(number: int, text: str) -> Flowable:
    made = style(TEXT, leftIndent=15.0, spaceAfter=3.0, bulletFontName="DejaVuSans-Bold", bulletFontSize=TEXT)
    return Prose(f'<bullet bulletIndent="0">{number}</bullet>{markup(text)}', made)


def set_up_words(job: PrintJob, setting: ScriptSetting, holding: Holding) -> list[str]:
    """What is done before the first cut; strong words stand between double asterisks."""
    by_line = setting.marks is not None and bool(job.log.cuts_of(setting))
    level = f" Spirit level along {_level_line(job, setting)}, both ends." if by_line else ""
    blocks = "" if is_owned(job.log, setting) else block_words(holding, job.fmt)
    lay = f"**Lay** it: {holding.words}.{level}" + (f" {blocks}" if blocks else "")
    steps = [lay, _wedge(job, setting, holding)]
    if setting.marks is not None:
        expected = float(np.mean([mark.height for mark in setting.marks.both]))
        off = height_allowance(job.log, setting)
        room = setting.mark_room
        limit = f" Mill's room: {job.fmt.bare(room.down)} down, {job.fmt.bare(room.up)} up." if room else ""
        stop = f"**Stop** if their mean is over **{job.fmt.length(off)}** off {job.fmt.length(expected)}: find the mistake."
        steps.append(f"Found ______ ______. {stop}{limit}")
    return steps


def _level_line(job: PrintJob, setting: ScriptSetting) -> str:
    return (
        "the line “level”"
        if job.log.kind(setting.piece) is Kind.LOG
        else f"line {job.log.cut_numbers[job.log.cuts_of(setting)[0].id]}"
    )


def _wedge(job: PrintJob, setting: ScriptSetting, holding: Holding) -> str:
    """To what heights the piece is wedged, or that it lies on its own face."""
    fmt, lifts = job.fmt, _lifts(job, setting)
    if setting.marks is None:
        lift = f" Lift {lifts} ({fmt.units})." if lifts else ""
        arris = arris_of(job, setting, holding)
        if arris is None:
            return f"**Blade** by the scale, over the bed: the bolt lies by its own sawn face and has no marks.{lift}"
        where = f"where faces {arris.one} and {arris.other} meet"
        return f"**Blade** from arris A, {where}: {_expected(job, arris)} over the bed expected ({fmt.units}), found ______.{lift}"
    names = [mark_line_name(job.log, setting, mark) for mark in setting.marks.both]
    said = f"{names[0]} on both ends" if names[0] == names[1] else f"{names[0]} on the butt, {names[1]} on the top end"
    butt, top = (fmt.bare(mark.height) for mark in setting.marks.both)
    return (f"**Wedge** until {said} {'stands' if names[0] == names[1] else 'stand'} at one height: butt {butt}, top {top} expected, "
            f"lift {lifts or 'none'} ({fmt.units}).")  # fmt: skip


def _lifts(job: PrintJob, setting: ScriptSetting) -> str:
    """The bunks that lift, and by how much; empty where none does."""
    bare = job.fmt.bare
    return ", ".join(f"{bare(one.lift)} at bunk {bare(one.bunk)}" for one in setting.lifts if one.lift > 0.0)


class ArrisHeights(NamedTuple):
    """Arris A of a bolt in a cradle: the numbers of its two faces, and its height over the bed at both ends. [mm]"""

    one: int
    other: int
    butt: float
    top: float

    @property
    def mean(self) -> float:
        """Half-way along. [mm]"""
        return (self.butt + self.top) / 2.0


def arris_of(job: PrintJob, setting: ScriptSetting, holding: Holding) -> ArrisHeights | None:
    """Where arris A of a bolt in a cradle stands: how high a cradle holds it depends on how far up it the bolt lies.

    `None` for a piece with marks, for one that lies flat on the bed, and where the face down meets no other sawn face.
    """
    if setting.marks is not None or setting.against is None or setting.against.angle < FLAT_DEG:
        return None
    faces = arris_faces(holding, setting)
    if faces is None:
        return None
    butt, top = (float(arris_at(holding.pose, faces, x)[1]) for x in job.log.stretch(setting.piece))
    one, other = (job.log.cut_numbers[face.cut] for face in faces)
    return ArrisHeights(one, other, butt, top)


def _expected(job: PrintJob, arris: ArrisHeights) -> str:
    """How high arris A stands over the bed, said once where both ends agree."""
    butt, top = job.fmt.bare(arris.butt), job.fmt.bare(arris.top)
    return butt if butt == top else f"butt {butt}, top {top}"


def height_allowance(log: SawnPieces, setting: ScriptSetting) -> float:
    """How far the mean height found may lie off the one expected before a mistake is looked for. [mm]

    Two standard errors of the bark under the bunks, for the underside was not seen, within `LEAST_OFF` and `MOST_OFF`; never more
    than the mill's own room.
    """
    model = log.model
    at = [int(np.argmin(np.abs(model.x - station_over(log, setting, one)))) for one in setting.lifts]
    doubt = 2.0 * float(np.mean([model.stderr_radius[row].mean() for row in at])) if at else LEAST_OFF
    room = setting.mark_room
    return float(min(np.clip(doubt, LEAST_OFF, MOST_OFF), room.down if room else np.inf, room.up if room else np.inf))


def cut_table(job: PrintJob, setting: ScriptSetting, width: float) -> Flowable:
    """Each cut in order: blade, scale, width, what comes off and where it goes; what stays on the bed at the end."""
    log, fmt, drop = job.log, job.fmt, job.log.scale_drop
    rows: list[list[str] | str] = []
    cuts = log.cuts_of(setting)
    arris = arris_of(job, setting, holding_of(log, setting))
    for cut in cuts:
        rows.append([f"**{log.cut_numbers[cut.id]}**", blade_words(job, cut, arris), fmt.bare((cut.blade_height or 0.0) - drop),
                     fmt.bare(cut.width or 0.0), comes_off_words(job, cut.above)])  # fmt: skip
    if cuts:
        rows.append(f"stays on the bed: {comes_off_words(job, cuts[-1].below)}")
    blade = "from marks" if setting.marks is not None else "blade" if arris is None else "from A"
    head, size = ["cut", blade, "scale", "wide", "comes off, and where to"], 8.5 if fmt.inches else 9.5
    return table(head, rows, shares(width, *((9, 21, 17, 18, 43) if fmt.inches else (9, 21.5, 13, 13, 43.5))), size)


def blade_words(job: PrintJob, cut: ScriptCut, arris: ArrisHeights | None = None) -> str:
    """Where the blade stands for a cut: over or under the marks' mean, or the arris of a bolt, or over the bed."""
    if cut.from_mark is None and arris is None:
        return "over the bed"
    found = cut.from_mark if cut.from_mark is not None else (cut.blade_height or 0.0) - (arris.mean if arris else 0.0)
    over = found - job.log.scale_drop
    return f"**{job.fmt.bare(abs(over))}** {'over' if over >= 0.0 else 'under'}"


def comes_off_words(job: PrintJob, piece: str) -> str:
    """A piece with its weight, how it is moved, and where it goes."""
    log, weight = job.log, weight_of(job.log, piece)
    kind = log.kind(piece)
    if kind is Kind.OFFCUT:
        return f"{log.mark(piece)} offcut"
    moved = heavy(weight)
    return (f"**{log.mark(piece)}**" + (f" {job.fmt.weight(weight)}" if weight >= 1.0 else "") + (f", {moved}" if moved else "")
            + f" → {where_next(job, piece)}")  # fmt: skip


def weight_of(log: SawnPieces, piece: str) -> float:
    """A piece's weight: as its next setting states it, else by its share of what it was sawn from. [kg]"""
    following = next((one for one in log.settings if one.piece == piece), None)
    if following is not None:
        return following.weight
    parent = log.parent(piece)
    if parent is None:
        return 0.0
    whole = log.pieces[parent].volume
    return weight_of(log, parent) * log.pieces[piece].volume / whole if whole > 0.0 else 0.0


def special_words(job: PrintJob, setting: ScriptSetting) -> list[str]:
    """What holds for this setting alone: a clearance run, a stub, a set-up that stands already."""
    notes = []
    tight = [one for one in setting.checks if one.clearance_run]
    if tight:
        what = ", ".join(
            f"{one.what.replace('_', ' ')} {job.fmt.bare(one.value)} of {job.fmt.length(one.limit)}"
            for one in tight[:2]
        )
        notes.append(f"{CLEARANCE} Tight: {what}.")
    stub = stub_words(job.log, setting, pose_of(job.log, setting), job.fmt)
    if stub:
        notes.append(stub)
    notes += [job.fmt.retold(one) for one in setting.cautions if "clearance run" not in one]
    return notes


def _same_set_up(log: SawnPieces, setting: ScriptSetting) -> int | None:
    """The mill setting just before this one, where it is of the same set-up."""
    order: Sequence[ScriptSetting] = [one for one in log.settings if one.tool is Saw.MILL]
    before = order[order.index(setting) - 1] if order.index(setting) else None
    return log.mill_numbers[before.id] if before and setting.set_up and before.set_up == setting.set_up else None
