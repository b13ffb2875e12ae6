"""Section 2: every line that is drawn on the ends before the first cut, both ends on one page where they fit."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from reportlab.platypus import Flowable

from pithline.outputs.cut_script.document import Array
from pithline.outputs.cut_script.end_lines import LEVEL_LINE, EndLine, LineGroup, end_lines, lined_logs, lined_settings
from pithline.outputs.ends import EndFace, tape_point
from pithline.outputs.formatting import Formatter
from pithline.outputs.pdf.flow import TABLE_LEAD, Drawing, bullets, gap, heading, shares, side_by_side, table
from pithline.outputs.pdf.page import height_of, measure_of, width_of
from pithline.outputs.pdf.paging import Block
from pithline.outputs.pdf.pen import DOTTED, Pen
from pithline.outputs.print_job import PrintJob

HEIGHTS = (252.0, 230.0, 208.0, 188.0, 170.0)
"""Of the drawing of one end: less where another log's lines, or what is read before them, then share the page. [pt]"""
ROUND = 24.0
"""Room round the end for the lines' names. [pt]"""
NAME_SIZE = 10.0
"""Type of the names, less where there are many. [pt]"""
LEAST_ROW, MOST_ROW, MOST_ROW_INCHES = 7.5, 9.0, 8.0
"""Type of the table: as large as lets both ends stand on one page, within these. [pt]"""
MM_SHARES, INCH_SHARES = (6.6, *(10.8, 10.7, 10.8, 10.7, 7.8) * 2), (6.4, *(8.9, 11.6, 8.9, 11.6, 8.6) * 2)
"""Of the width, by the table's columns."""
OTHERS = 132.0
"""What heading and rules take of the page. [pt]"""
SPREADING_STEPS = 400
"""More steps than names ever took to come apart."""
NEVER_SAWN = {
    "T": "T lines, ticks on the ends of slabs, for the rip saw to measure from",
    "M": "M lines, where a setting's marks stand",
}
"""Lines by the letter of their name."""
UPPER, LOWER = "▲", "▼"
TWELVE, SIX = "12 o'clock", "6 o'clock"
"""The bark ends of the plumb line, in words that no line's number can be taken for."""


class BothGroups(NamedTuple):
    """The same lines on the butt and on the top end."""

    butt: list[LineGroup]
    top: list[LineGroup]


def lines_blocks(job: PrintJob) -> list[Block]:
    """A block a log that goes on the mill; how lines are drawn and taped is said with the first."""
    logs = lined_logs(job.log, lined_settings(job.log, job.shop))
    ends = {
        own: [end_lines(job.log, job.shop, settings, end) for end in job.log.ends(own)]
        for own, settings in logs.items()
    }
    told: list[Flowable] = bullets(
        _rules(job, [group for both in ends.values() for groups in both for group in groups])
    )
    blocks: list[Block] = []
    for own, (butt, top) in ends.items():
        named = len(logs) > 1 or job.log.parent(own) is not None
        title = heading(f"2  Draw the lines{f' of {job.log.mark(own)}' if named else ''}, both ends")
        rules = [] if blocks else told
        blocks.append(
            [[*title, *rules, gap(2.0), *_both_ends(job, own, BothGroups(butt, top), height)] for height in HEIGHTS]
        )
    return blocks


def _both_ends(job: PrintJob, own: str, groups: BothGroups, height: float) -> list[Flowable]:
    """Both ends of a log drawn, `height` tall [pt], over the table of all its lines."""
    ends, width = job.log.ends(own), measure_of(job.paper)
    drawings: list[Sequence[Flowable]] = [
        [EndDrawing(end, [line for group in on_end for line in group.lines], width / 2.0, height)]
        for end, on_end in zip(ends, groups, strict=True)
    ]
    rows = _rows(job.fmt, ends.butt, ends.top, groups)
    head = [
        "line",
        *(f"{end}\n{part}" for end in ("butt", "top") for part in ("left", "from", "right", "from", "long")),
    ]
    room = height_of(job.paper) - HEIGHTS[0] - OTHERS
    most = MOST_ROW_INCHES if job.fmt.inches else MOST_ROW
    size = float(np.clip((room / (len(rows) + 2.0) - 4.0) / TABLE_LEAD, LEAST_ROW, most))
    return [
        side_by_side(drawings, [width / 2.0, width / 2.0]),
        table(head, rows, shares(width, *(INCH_SHARES if job.fmt.inches else MM_SHARES)), size),
    ]


def _rules(job: PrintJob, groups: Sequence[LineGroup]) -> list[str]:
    lines = [line for group in groups for line in group.lines]
    first = {line.name[0] for line in lines}
    level = " “Level” is for the spirit level." if any(line.name == LEVEL_LINE for line in lines) else ""
    when = "on the pieces in hand" if job.log.sawn else "before the first cut"
    rules = [
        f"Face each end, 12 o'clock line upright: left and right are yours. Draw every line on both ends {when}, heavy where it is "
        f"here: only there is it sawn. Number each.{level}",
        f"Tape in {'inches' if job.fmt.inches else job.fmt.units}, straight. **Left** and **right** point: from the pith, then **from** 12 "
        "or 6, the bark ends of the 12 o'clock line; where the two arcs cross on that side is the bark point. "
        f"{UPPER} {LOWER}: the upper, the lower of two points on one side. **Long** is from bark to bark: the check.",
    ]
    if told := [text for letter, text in NEVER_SAWN.items() if letter in first]:
        rules.append(f"Never sawn: {'; '.join(told)}.")
    if any(line.points is None for line in lines):
        rules.append("“Misses”: the line does not meet that end; it is drawn on the other alone, and there its piece is levelled by "
                     "its marks.")  # fmt: skip
    return rules


def _rows(fmt: Formatter, butt: EndFace, top: EndFace, groups: BothGroups) -> list[list[str] | str]:
    """A row a line, under the title of the setting it is for; the level line needs no title."""
    rows: list[list[str] | str] = []
    tops = {group.title: group.lines for group in groups.top}
    for title in dict.fromkeys([*(group.title for group in groups.butt), *tops]):
        on_butt = {line.name: line for group in groups.butt if group.title == title for line in group.lines}
        on_top = {line.name: line for line in tops.get(title, ())}
        if not on_butt and not on_top:
            continue
        if LEVEL_LINE not in on_butt:
            rows.append(title)
        for name in dict.fromkeys([*on_butt, *on_top]):
            cells = [f"**{name}**"]
            for end, line in ((butt, on_butt.get(name)), (top, on_top.get(name))):
                cells += _taped(end, line, fmt)
            rows.append(cells)
    return rows


def _taped(end: EndFace, line: EndLine | None, fmt: Formatter) -> list[str]:
    """The five cells of a line on one end: two bark points by tape, and how far they are apart."""
    if line is None or line.points is None:
        return ["misses", "", "", "", ""]
    taped = [tape_point(end, point) for point in line.points]
    same, lower = taped[0].side == taped[1].side, line.points[0][1] < line.points[1][1]
    cells = []
    for number, tape in enumerate(taped):
        side = f"{tape.side[0].upper()}{LOWER if (number == 0) == lower else UPPER} " if same else ""
        anchor, reach = ("12", tape.from_twelve) if tape.from_twelve <= tape.from_six else ("6", tape.from_six)
        cells += [f"{side}{fmt.bare(tape.from_pith)}", f"{anchor}: {fmt.bare(reach)}"]
    return [*cells, fmt.bare(float(np.hypot(*(line.points[1] - line.points[0]))))]


class EndDrawing(Drawing):
    """The end as it is faced, with all its lines and their numbers round the bark."""

    def __init__(self, end: EndFace, lines: Sequence[EndLine], width: float, height: float) -> None:
        super().__init__(width, height)
        self.end, self.lines = end, [line for line in lines if line.points is not None]
        low, high = end.over_bark.min(axis=0), end.over_bark.max(axis=0)
        room = min(width, height - 12.0) - 2.0 * ROUND
        self.scale = room / float(max(high - low))
        self.centre, self.middle = np.array([width / 2.0, (height - 12.0) / 2.0]), (low + high) / 2.0

    def place(self, points: Array) -> Array:
        """Face coordinates (..., 2) [mm] to the drawing's. [pt]"""
        return np.asarray(self.centre + (np.asarray(points, float) - self.middle) * self.scale, float)

    def sketch(self, pen: Pen) -> None:
        """Bark, wood, plumb line, every line with its name."""
        end = self.end
        pen.text(
            (self.width / 2.0, self.height - 10.0),
            f"{end.name.upper()} END, facing it",
            NAME_SIZE,
            bold=True,
            anchor=0.5,
        )
        pen.polygon(self.place(end.over_bark), 1.0)
        pen.polygon(self.place(end.under_bark), 0.3)
        top, foot = self.place(end.twelve), self.place(end.six)
        pen.line(foot, top, 0.8, (6.0, 2.0))
        pen.circle(self.place(np.zeros(2)), 3.0)
        names = [(TWELVE, top), (SIX, foot)]
        for line in self.lines:
            if line.points is None:
                continue
            whole = self.place(line.points)
            pen.line(whole[0], whole[1], 0.3, DOTTED)
            for parts, weight in ((line.ticks, 0.7), (line.sawn, 1.6)):
                for part in parts:
                    pen.line(self.place(part[0]), self.place(part[-1]), weight)
            shown = line.sawn or line.ticks
            tips = np.concatenate([self.place(part[[0, -1]]) for part in shown]) if shown else whole
            names.append((line.name, tips[int(np.argmax(np.hypot(*(tips - self.centre).T)))]))
        self._names(pen, names)

    def _names(self, pen: Pen, names: Sequence[tuple[str, Array]]) -> None:
        """Names on a circle, each as near its line's bark point as its neighbours let it, joined to it by a thin line."""
        radius = min(self.width, self.height - 12.0) / 2.0 - ROUND / 2.0
        size = min(NAME_SIZE, 2.0 * np.pi * radius / (len(names) * 2.1))
        plain = {TWELVE, SIX}
        need = np.array([(max(width_of(name, size, True), size) + 2.0) / radius for name, _ in names])
        away = np.array([point - self.centre for _, point in names])
        angle = np.arctan2(away[:, 1], away[:, 0])
        order = np.argsort(angle)
        for place, index in zip(spread(angle[order], need[order]), order, strict=True):
            name, point = names[int(index)]
            way = np.array([np.cos(place), np.sin(place)])
            spot = self.centre + radius * way
            pen.line(point, spot - 5.0 * way, 0.3)
            outward, wide = (
                (1.0 - way[0]) / 2.0,
                width_of(name, size, name not in plain),
            )  # a long name runs away from the bark
            left = min(max(spot[0] - outward * wide, 1.0), self.width - wide - 1.0)
            pen.text((left, spot[1] - 0.36 * size), name, size, bold=name not in plain)


def spread(angle: Array, need: Array) -> Array:
    """Sorted angles (n,) moved apart until neighbours, round the circle too, keep half the sum of their `need`. [rad]"""
    found = angle.copy()
    for _ in range(SPREADING_STEPS):
        following = np.append(found[1:], found[0] + 2.0 * np.pi)
        lack = (need + np.roll(need, -1)) / 2.0 - (following - found)
        push = np.clip(lack, 0.0, None) / 2.0
        if push.max() < 1e-4:
            break
        found += np.roll(push, 1) - push
    return found
