"""Section 2: every line that is drawn on the ends before the first cut, by tape."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from reportlab.platypus import Flowable, PageBreak

from pithline.outputs.cut_script.document import Array, ScriptSetting
from pithline.outputs.cut_script.end_lines import EndLine, end_lines, lined_logs, lined_settings
from pithline.outputs.ends import EndFace, tape_point
from pithline.outputs.formatting import Formatter
from pithline.outputs.pdf.flow import Drawing, heading, paragraph, shares, table
from pithline.outputs.pdf.page import PAPERS, measure_of, width_of
from pithline.outputs.pdf.pen import DOTTED, Pen
from pithline.outputs.print_job import PrintJob

DRAWING = 0.37
"""Share of the page's height that the drawing of one end takes."""
ROUND = 26.0
"""Room round the end for the lines' names. [pt]"""
NAME_SIZE = 9.0
"""Type of the names, less where there are many. [pt]"""
HEAD = ("Line", "Bark point", "12", "pith", "6", "Bark point", "12", "pith", "6")
SPREADING_STEPS = 400
"""More steps than names ever took to come apart."""


def lines_pages(job: PrintJob) -> list[Flowable]:
    """One page or more an end, for every log that goes on the mill."""
    logs = lined_logs(job.log, lined_settings(job.log, job.shop))
    story: list[Flowable] = []
    for own, settings in logs.items():
        named = len(logs) > 1 or job.log.parent(own) is not None
        for end in job.log.ends(own):
            story += _one_end(job, settings, end, f" of {job.log.mark(own)}" if named else "")
    return story


def _one_end(job: PrintJob, settings: Sequence[ScriptSetting], end: EndFace, whose: str) -> list[Flowable]:
    groups = end_lines(job.log, job.shop, settings, end)
    when = "of the pieces in hand" if job.log.sawn else "before the first cut"
    ticks = " T lines are ticks for the rip saw." if job.shop.ticked_settings(settings) else ""
    rows: list[list[str] | str] = []
    for group in groups:
        rows.append(group.title)
        rows += [_row(end, line, job.fmt) for line in group.lines]
    width = measure_of(job.paper)
    return [
        PageBreak(),
        *heading(f"2  Drawing the lines: {end.name.upper()} end{whose}"),
        paragraph(f"Face this end, 12 o'clock line upright: left and right are yours. Draw every line on both ends {when}: heavy "
                  f"where it is heavy here, for only there is it sawn. Number each.{ticks}", 10.0),
        EndDrawing(end, [line for group in groups for line in group.lines], width, DRAWING * PAPERS[job.paper][1]),
        paragraph(f"Straight tape distances ({job.fmt.units}) to where the line meets the bark. 12 and 6: the bark ends of the 12 "
                  "o'clock line. Cross the arc from the pith with that from 12 or 6; the one in brackets is the check.", 9.0),
        table(HEAD, rows, shares(width, 7.5, 10.5, 11.5, 11.5, 11.5, 10.5, 11.5, 11.5, 11.5), 9.0),
    ]  # fmt: skip


def _row(end: EndFace, line: EndLine, fmt: Formatter) -> list[str]:
    """A line with its two bark points."""
    taped = [tape_point(end, point) for point in line.points]
    cells = [line.name]
    same = taped[0].side == taped[1].side
    lower = line.points[0][1] < line.points[1][1]
    for number, tape in enumerate(taped):
        height = (", low" if (number == 0) == lower else ", high") if same else ""
        twelve, six = fmt.bare(tape.from_twelve), fmt.bare(tape.from_six)
        upper = tape.from_twelve <= tape.from_six
        cells += [tape.side + height, twelve if upper else f"({twelve})", fmt.bare(tape.from_pith),
                  f"({six})" if upper else six]  # fmt: skip
    return cells


class EndDrawing(Drawing):
    """The end as it is faced, with all its lines and their numbers round the bark."""

    def __init__(self, end: EndFace, lines: Sequence[EndLine], width: float, height: float) -> None:
        super().__init__(width, height)
        self.end, self.lines = end, lines
        low, high = end.over_bark.min(axis=0), end.over_bark.max(axis=0)
        self.scale = (height - 2.0 * ROUND - 12.0) / float(max(high - low))
        self.centre, self.middle = np.array([width / 2.0, height / 2.0]), (low + high) / 2.0

    def place(self, points: Array) -> Array:
        """Face coordinates (..., 2) [mm] to the drawing's. [pt]"""
        return np.asarray(self.centre + (np.asarray(points, float) - self.middle) * self.scale, float)

    def sketch(self, pen: Pen) -> None:
        """Bark, wood, plumb line, every line with its name."""
        end = self.end
        pen.polygon(self.place(end.over_bark), 1.0)
        pen.polygon(self.place(end.under_bark), 0.3)
        top, foot = self.place(end.twelve), self.place(end.six)
        pen.line(foot, top, 0.8, (6.0, 2.0))
        pen.circle(self.place(np.zeros(2)), 3.0)
        names = [("12 o'clock", top), ("6 o'clock", foot)]
        for line in self.lines:
            whole = self.place(line.points)
            pen.line(whole[0], whole[1], 0.3, DOTTED)
            for part in line.sawn:
                pen.line(self.place(part[0]), self.place(part[-1]), 1.4)
            tips = np.concatenate([self.place(part[[0, -1]]) for part in line.sawn]) if line.sawn else whole
            names.append((line.name, tips[int(np.argmax(np.hypot(*(tips - self.centre).T)))]))
        self._names(pen, names)

    def _names(self, pen: Pen, names: Sequence[tuple[str, Array]]) -> None:
        """Names on a circle, each as near its line's bark point as its neighbours let it, joined to it by a thin line."""
        radius = (self.height - ROUND) / 2.0
        size = min(NAME_SIZE, 2.0 * np.pi * radius / (len(names) * 2.1))
        need = np.array([(max(width_of(name, size, True), size) + 2.0) / radius for name, _ in names])
        away = np.array([point - self.centre for _, point in names])
        angle = np.arctan2(away[:, 1], away[:, 0])
        order = np.argsort(angle)
        for place, index in zip(spread(angle[order], need[order]), order, strict=True):
            name, point = names[int(index)]
            way = np.array([np.cos(place), np.sin(place)])
            spot = self.centre + radius * way
            pen.line(point, spot - 7.0 * way, 0.3)
            pen.text(spot - [0.0, 0.36 * size], name, size, bold=True, anchor=0.5)


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
