"""End templates at 1:1: tiles with overlap and register marks, to be joined and laid on the end faces; or one page an end."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from reportlab.pdfgen.canvas import Canvas
from shapely.geometry import Polygon, box

from pithline.outputs.cut_script.document import Array
from pithline.outputs.cut_script.end_lines import EndLine, end_lines, lined_logs, lined_settings
from pithline.outputs.ends import EndFace
from pithline.outputs.pdf.page import MM, PAPERS, new_canvas, shortened, width_of
from pithline.outputs.pdf.pen import Pen
from pithline.outputs.print_job import PrintJob

EDGE = 10.0
"""Paper that no printer reaches. [mm]"""
OVERLAP = 15.0
"""Shared by neighbouring tiles. [mm]"""
HEAD = 24.0
"""Of each tile, kept for its name and the bar. [mm]"""
ROUND = 5.0
"""Shown beyond the bark. [mm]"""
APART = 9.0
"""Between the names of lines. [mm]"""
REPEAT = 110.0
"""Along a line, after which its name stands again, so that most tiles hold it. [mm]"""
SEARCH = 3.0
"""Steps along a line in which room for a name is looked for. [mm]"""
BORDER, FULL_HEAD = 15.0, 28.0
"""Round an end on a page of its own, and over it for its name and the bar. [mm]"""
LINES = "Lines are the kerfs' centres: heavy is sawn, thin is a tick or a mark, dotted is the rest of the same line."
CROSS = 4.0
"""Half the size of a register cross. [mm]"""


class Tile(NamedTuple):
    """One sheet of an end: which of the tiles (row 1 is the top one), and what of the face it shows. [mm]"""

    column: int
    row: int
    left: float
    bottom: float
    width: float
    height: float


@dataclass(frozen=True, slots=True, eq=False)
class Template:
    """One end with the lines on it."""

    log: str
    end: EndFace
    lines: tuple[EndLine, ...]


def end_templates(job: PrintJob) -> bytes:
    """Both ends of every log, whole or crosscut, at true size on the planes as sawn.

    Returns the bytes of a PDF; each tile carries its name, register marks and a bar to check the print scale by.
    """
    canvas, out = new_canvas(PAPERS[job.paper], f"End templates {job.log.script.log.id}")
    for template in templates_of(job):
        _tiled(canvas, job, template)
    canvas.save()
    return out.getvalue()


def full_size_templates(job: PrintJob) -> bytes:
    """The same ends, each on one page as large as it needs, for a print shop; a PDF at 1:1."""
    canvas, out = new_canvas(PAPERS[job.paper], f"End templates, full size, {job.log.script.log.id}")
    for template in templates_of(job):
        low, high = (
            (template.end.over_bark.min(axis=0) - BORDER) * MM,
            (template.end.over_bark.max(axis=0) + BORDER) * MM,
        )
        width, height = float(high[0] - low[0]), float(high[1] - low[1]) + FULL_HEAD * MM
        canvas.setPageSize((width, height))
        canvas.saveState()
        canvas.translate(-float(low[0]), -float(low[1]))
        draw_template(canvas, template, job.log.script.inputs.pith_radius)
        canvas.restoreState()
        pen, left, top = Pen(canvas), BORDER * MM, height - 24.0
        size = f"{job.fmt.length(width / MM)} × {job.fmt.length(height / MM)}"
        name = f"{template.end.name.upper()} END, facing it: log {job.log.script.log.id}, {job.log.mark(template.log)}"
        pen.text((left, top), shortened(name, width - 2.0 * left, 16.0, True), 16.0, bold=True)
        pen.text((left, top - 18.0), f"Print at 100 % on a sheet of {size}. {LINES}", 10.0)
        scale_bar(pen, (left, top - 40.0), job.fmt.units)
        canvas.showPage()
    canvas.save()
    return out.getvalue()


def templates_of(job: PrintJob) -> list[Template]:
    """The ends that templates are made of: of logs that go on the mill, else of the whole log, without lines."""
    logs = lined_logs(job.log, lined_settings(job.log, job.shop)) or {"log": []}
    found = []
    for log, settings in logs.items():
        for end in job.log.ends(log):
            groups = end_lines(job.log, job.shop, settings, end) if settings else []
            found.append(Template(log, end, tuple(line for group in groups for line in group.lines)))
    return found


def tiles(end: EndFace, paper: str) -> list[Tile]:
    """Every tile that shows some of the end, in face coordinates; rows from the top."""
    shape = Polygon(end.over_bark).buffer(0.0)
    width = PAPERS[paper][0] / MM - 2 * EDGE
    height = PAPERS[paper][1] / MM - 2 * EDGE - HEAD
    low, high = end.over_bark.min(axis=0) - ROUND, end.over_bark.max(axis=0) + ROUND
    across, down = (int(max(1, np.ceil((span - OVERLAP) / (size - OVERLAP))))
                    for span, size in zip(high - low, (width, height), strict=True))  # fmt: skip
    found = [
        Tile(column + 1, row + 1, float(low[0]) + column * (width - OVERLAP),
             float(high[1]) - height - row * (height - OVERLAP), width, height)
        for row in range(down) for column in range(across)
    ]  # fmt: skip
    return [
        one
        for one in found
        if shape.intersects(box(one.left, one.bottom, one.left + one.width, one.bottom + one.height))
    ]


def _tiled(canvas: Canvas, job: PrintJob, template: Template) -> None:
    form, sheets = f"end{canvas.getPageNumber()}", tiles(template.end, job.paper)
    corners = np.array([[one.left, one.bottom, one.left + one.width, one.bottom + one.height] for one in sheets]) * MM
    low, high = np.floor(corners.min(axis=0)), np.ceil(corners.max(axis=0))
    # drawn once, shown by every tile
    canvas.beginForm(form, int(low[0]), int(low[1]), int(high[2]), int(high[3]))
    draw_template(canvas, template, job.log.script.inputs.pith_radius)
    _register(Pen(canvas), sheets)
    canvas.endForm()
    for tile in sheets:
        canvas.saveState()
        frame = canvas.beginPath()
        frame.rect(EDGE * MM, EDGE * MM, tile.width * MM, tile.height * MM)
        Pen(canvas).box((EDGE * MM, EDGE * MM), tile.width * MM, tile.height * MM, 0.3)
        canvas.clipPath(frame, stroke=0, fill=0)
        canvas.translate((EDGE - tile.left) * MM, (EDGE - tile.bottom) * MM)
        canvas.doForm(form)
        canvas.restoreState()
        _head(canvas, job, template, tile)
        canvas.showPage()


def draw_template(canvas: Canvas, template: Template, pith_radius: float) -> None:
    """The end with its lines, at true size with the pith at (0, 0): heavy where they are sawn, names on the heavy stretches."""
    pen, end = Pen(canvas), template.end
    pen.polygon(end.over_bark * MM, 1.0)
    pen.polygon(end.under_bark * MM, 0.4, dash=(4.0, 3.0))
    pen.line(end.six * MM, end.twelve * MM, 1.6)
    pen.text((4.0, float(end.twelve[1]) * MM - 16.0), "12 o'clock", 12.0, bold=True)
    pen.line((-6 * MM, 0.0), (6 * MM, 0.0), 1.0)
    pen.circle((0.0, 0.0), pith_radius * MM, 1.0)
    for line in template.lines:
        if line.points is None:
            continue
        pen.line(line.points[0] * MM, line.points[1] * MM, 0.3, (2.0, 4.0))
        for parts, weight in ((line.ticks, 0.6), (line.sawn, 1.1)):
            for part in parts:
                pen.line(part[0] * MM, part[-1] * MM, weight)
    for name, spot in _name_places(template, pith_radius):
        wide = width_of(name, 10.0, True)
        pen.box(spot * MM - [wide / 2.0 + 1.0, 5.0], wide + 2.0, 10.0, 0.0, gray=1.0)
        pen.text(spot * MM - [0.0, 3.6], name, 10.0, bold=True, anchor=0.5)


def _name_places(template: Template, pith_radius: float) -> list[tuple[str, Array]]:
    """Where names stand: on the heavy stretches, every `REPEAT`, clear of one another and of the pith."""
    twelve = template.end.twelve
    taken = [twelve + np.array([away, -4.0]) for away in (6.0, 14.0, 22.0)]  # where "12 o'clock" stands
    found: list[tuple[str, Array]] = []
    for line in template.lines:
        if line.points is None:
            continue
        for part in line.sawn or line.ticks or (line.points,):
            first, last = part[0], part[-1]
            if np.hypot(*last) > np.hypot(*first):
                first, last = last, first
            length = float(np.hypot(*(last - first)))
            along, next_at = (last - first) / max(length, 1e-9), APART
            for at in np.arange(APART, max(length - APART, APART + 1.0), SEARCH):
                spot = first + at * along
                if at < next_at or np.hypot(*spot) <= pith_radius + APART:
                    continue
                if np.hypot(*(np.array(taken) - spot).T).min() > APART:
                    found.append((line.name, spot))
                    taken.append(spot)
                    next_at = at + REPEAT
    return found


def _register(pen: Pen, sheets: Sequence[Tile]) -> None:
    """Crosses in the overlaps: the same point of the face on both tiles."""
    for tile in sheets:
        for x in (tile.left + OVERLAP / 2.0, tile.left + tile.width - OVERLAP / 2.0):
            for y in (tile.bottom + OVERLAP / 2.0, tile.bottom + tile.height - OVERLAP / 2.0):
                pen.line(((x - CROSS) * MM, y * MM), ((x + CROSS) * MM, y * MM), 0.3)
                pen.line((x * MM, (y - CROSS) * MM), (x * MM, (y + CROSS) * MM), 0.3)


def _head(canvas: Canvas, job: PrintJob, template: Template, tile: Tile) -> None:
    pen, left, top = Pen(canvas), EDGE * MM, PAPERS[job.paper][1] - EDGE * MM
    room = PAPERS[job.paper][0] - 2.0 * left
    pen.text(
        (left, top - 11.0),
        f"{template.end.name.upper()} END, facing it: row {tile.row}, column {tile.column}",
        11.0,
        bold=True,
    )
    name = shortened(job.log.script.log.id, room / 2.0, 8.0)
    pen.text((left, top - 23.0), f"log {name}, piece {job.log.mark(template.log)}. Print at 100 %.", 8.0)
    pen.text((left, top - 34.0), f"Crosses of neighbouring tiles fall on one another. {LINES}", 7.0)
    scale_bar(pen, (left, top - 52.0), job.fmt.units)


def scale_bar(pen: Pen, at: tuple[float, float], units: str) -> None:
    """A bar to hold a rule against, with its length beside it; `at` its left end. [pt]"""
    bar, text = (101.6, "4 in") if units == "in" else (100.0, "100 mm")
    x, y = at
    pen.line((x, y), (x + bar * MM, y), 1.2)
    for end in (x, x + bar * MM):
        pen.line((end, y - 4.0), (end, y + 4.0), 1.2)
    pen.text((x + (bar + 2.0) * MM, y - 3.0), f"this bar is {text}: measure it", 8.0)
