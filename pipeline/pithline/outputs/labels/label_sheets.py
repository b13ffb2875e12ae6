"""Labels as a PDF for common label sheets, each with a QR code."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

from reportlab.pdfgen.canvas import Canvas

from pithline.outputs.formatting import Formatter, degrees
from pithline.outputs.labels.codes import code_cells
from pithline.outputs.labels.rows import Label, labels_of
from pithline.outputs.pdf.page import MM, PAPERS, new_canvas, shortened, width_of
from pithline.outputs.pdf.pen import Pen
from pithline.outputs.print_job import PrintJob

MARK, LEAST_MARK = 17.0, 8.0
"""Type of a label's mark, and the least where marks are many. [pt]"""
SMALL = 9.0
"""Type of what stands under the mark. [pt]"""
LEAD = 1.3
CODE = 80.0
"""Side of a QR code with its quiet zone, at most. [pt]"""
QUIET = 4
"""Cells left free round a QR code (ISO/IEC 18004)."""


@dataclass(frozen=True, slots=True)
class Stock:
    """A label sheet: columns, rows, label size and margins. [mm]"""

    columns: int
    rows: int
    width: float
    height: float
    left: float
    top: float
    gap: float = 0.0


STOCKS = {
    "A4": Stock(2, 7, 99.1, 38.1, 4.65, 15.15, 2.5),  # common practice: 14 a sheet
    "Letter": Stock(2, 5, 101.6, 50.8, 4.0, 12.7, 4.7),  # common practice: 4 in × 2 in, 10 a sheet
}


def labels_pdf(job: PrintJob) -> bytes:
    """Label sheets for the paper's common stock; a plate and its mate share one label (the pair stays together)."""
    stock = STOCKS[job.paper]
    canvas, out = new_canvas(PAPERS[job.paper], f"Labels {job.log.script.log.id}")
    height = PAPERS[job.paper][1]
    for index, label in enumerate(_one_a_pair(labels_of(job))):
        place = index % (stock.columns * stock.rows)
        if index and place == 0:
            canvas.showPage()
        column, line = place % stock.columns, place // stock.columns
        x = (stock.left + column * (stock.width + stock.gap)) * MM
        y = height - (stock.top + (line + 1) * stock.height) * MM
        _draw(canvas, label, job.fmt, (x, y), (stock.width * MM, stock.height * MM))
    canvas.showPage()
    canvas.save()
    return out.getvalue()


def _one_a_pair(labels: Sequence[Label]) -> list[Label]:
    """Labels without those of plates whose mate has one already."""
    found, marks = [], set()
    for label in labels:
        marks.add(label.mark)
        if label.mate not in marks:
            found.append(label)
    return found


def _use(label: Label) -> str:
    """What a plate is for and in which set, nothing said twice: there is not much room; of another piece its kind."""
    plate = label.plate
    if plate is None:
        return str(label.kind)
    part = plate.part if plate.part == plate.product else f"{plate.product}: {plate.part}"
    return part + (f", set {plate.set_id.removeprefix(plate.product).strip(' -')}" if plate.set_id else "")


def _grades(label: Label, fmt: Formatter) -> str:
    """Ring angle, mean and least, and sapwood, of a plate; that it fails, where it does."""
    plate = label.plate
    if plate is None:
        return ""
    text = f"rings {degrees(round(plate.ring_mean))}, least {degrees(round(plate.ring_least))}"
    if plate.sapwood is not None:
        text += f"; sapwood {fmt.length(plate.sapwood)}" if plate.sapwood > 0.0 else "; no sapwood"
    return text if plate.passes else f"FAILS; {text}"


def _draw(canvas: Canvas, label: Label, fmt: Formatter, at: tuple[float, float], size: tuple[float, float]) -> None:
    """One label in the box whose lower left corner is `at`. [pt]"""
    (x, y), (width, height) = at, size
    side = min(height - 16.0, CODE)
    qr_code(canvas, label.code, (x + width - side - 6.0, y + (height - side) / 2.0), side)
    room = width - side - 20.0
    mark = label.mark + (f" + {label.mate}" if label.mate else "")
    lines = [_use(label), fmt.size(*label.size) if label.size else "", _grades(label, fmt), f"log {label.log}, {label.species}",
             "sawn ____________"]  # fmt: skip
    mark_size = max((one for one in _sizes(MARK, LEAST_MARK) if width_of(mark, one, True) <= room), default=LEAST_MARK)
    pen, top = Pen(canvas), y + height - 5.0 - mark_size * LEAD
    pen.text((x + 8.0, top + 0.2 * mark_size), shortened(mark, room, mark_size, True), mark_size, bold=True)
    for text in (one for one in lines if one):
        top -= SMALL * LEAD
        if top < y + 5.0:  # the code and the CSV hold the whole of it
            return
        pen.text((x + 8.0, top + 0.2 * SMALL), shortened(text, room, SMALL), SMALL)


def _sizes(most: float, least: float) -> list[float]:
    return [most - step for step in range(int(most - least) + 1)]


def qr_code(canvas: Canvas, text: str, at: tuple[float, float], side: float) -> None:
    """A QR code with its quiet zone in a square of `side` [pt] from its lower left corner; a run of dark cells is one bar."""
    matrix = code_cells(text).tolist()
    cell = side / (len(matrix) + 2 * QUIET)
    left, top = at[0] + QUIET * cell, at[1] + side - QUIET * cell
    path = canvas.beginPath()
    for row, line in enumerate(matrix):
        start = 0
        for dark, run in groupby(line):
            length = len(list(run))
            if dark:
                path.rect(left + start * cell, top - (row + 1) * cell, length * cell, cell)
            start += length
    canvas.setFillGray(0.0)
    canvas.drawPath(path, stroke=0, fill=1)
