"""End templates at 1:1: tiles with overlap and register marks, to be joined and laid on the end faces."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from shapely.geometry import Polygon, box

from pithline.outputs.ends import EndFace
from pithline.outputs.paper import BOLD, PAPERS, PLAIN, new_canvas, width_of
from pithline.outputs.reading import Script
from pithline.outputs.sheet.lines import FaceLine, face_lines, lined_settings
from pithline.outputs.words import Words

MM = 72.0 / 25.4
EDGE = 10.0  # mm of paper no printer reaches
OVERLAP = 15.0  # mm shared by neighbouring tiles
APART = 9.0  # mm between the names of lines
REPEAT = 110.0  # mm along a line after which its name stands again, so that most tiles hold it
HEAD = 24.0  # mm of each tile's head, kept for its name and the bar


def end_templates(script: Mapping[str, Any], units: str = "mm", paper: str = "A4") -> bytes:
    """Both ends of every log, whole or bucked, at true size on the planes as sawn.

    Returns the bytes of a PDF; each tile carries its name, register marks and a bar to check the print scale by.
    """
    reading, words = Script(script), Words(units)
    canvas, out = new_canvas(paper, f"End templates {script['log']['id']}")
    logs = dict.fromkeys(reading.own_log(one["piece"]) for one in lined_settings(reading))
    for log in logs or {"log": None}:
        for face in reading.ends(log):
            _end(canvas, reading, log, face, paper, words)
    canvas.save()
    return out.getvalue()


def mill_lines(reading: Script, log: str, face: EndFace) -> list[tuple[int, np.ndarray]]:
    """Cut number and bark points (2, 2) of every mill line that meets a face."""
    found = []
    for setting in reading.ahead:
        if setting["tool"] == "mill" and reading.own_log(setting["piece"]) == log:
            for cut in reading.cuts_of(setting):
                line = face.line(np.array(cut["normal"], float), cut["offset"])
                if line is not None:
                    found.append((reading.numbers[cut["id"]], line))
    return found


def tiles(face: EndFace, paper: str) -> list[tuple[int, int, float, float, float, float]]:
    """Column, row, left, bottom, width and height [mm] of every tile that shows some of the end, in face coordinates.

    Row 1 is the top one.
    """
    end = Polygon(face.over_bark).buffer(0.0)
    width = PAPERS[paper][0] / MM - 2 * EDGE
    height = PAPERS[paper][1] / MM - 2 * EDGE - HEAD
    low, high = face.over_bark.min(axis=0) - 5.0, face.over_bark.max(axis=0) + 5.0
    across, down = (int(max(1, np.ceil((span - OVERLAP) / (size - OVERLAP))))
                    for span, size in zip(high - low, (width, height), strict=True))  # fmt: skip
    found = [
        (column + 1, row + 1, low[0] + column * (width - OVERLAP),
         high[1] - height - row * (height - OVERLAP), width, height)
        for row in range(down) for column in range(across)
    ]  # fmt: skip
    return [one for one in found if end.intersects(box(one[2], one[3], one[2] + one[4], one[3] + one[5]))]


def _end(canvas: Any, reading: Script, log: str, face: EndFace, paper: str, words: Words) -> None:
    own = [one for one in lined_settings(reading) if reading.own_log(one["piece"]) == log]
    groups = face_lines(reading, own, face) if own else {}
    lines = [line for group in groups.values() for line in group]
    names = _name_places(lines, face, reading.pith_radius)
    form = f"end{canvas.getPageNumber()}"
    sheets = tiles(face, paper)
    corners = np.array([[left, bottom, left + width, bottom + height] for _, _, left, bottom, width, height in sheets])
    low, high = corners.min(axis=0)[:2] * MM, corners.max(axis=0)[2:] * MM
    canvas.beginForm(form, *low, *high)  # drawn once, shown by every tile
    _draw(canvas, reading, face, lines, names)
    _register(canvas, face, paper)
    canvas.endForm()
    for column, row, left, bottom, width, height in sheets:
        canvas.saveState()
        frame = canvas.beginPath()
        frame.rect(EDGE * MM, EDGE * MM, width * MM, height * MM)
        canvas.setLineWidth(0.3)
        canvas.rect(EDGE * MM, EDGE * MM, width * MM, height * MM)
        canvas.clipPath(frame, stroke=0, fill=0)
        canvas.translate((EDGE - left) * MM, (EDGE - bottom) * MM)
        canvas.doForm(form)
        canvas.restoreState()
        _head(canvas, reading, log, face, column, row, paper, words)
        canvas.showPage()


def _draw(canvas: Any, reading: Script, face: EndFace, lines: Sequence[FaceLine],
          names: Sequence[tuple[str, np.ndarray]]) -> None:  # fmt: skip
    """The end with its lines: heavy where they are sawn, names on the heavy stretches."""
    canvas.setLineWidth(1.0)
    _outline(canvas, face.over_bark)
    canvas.setLineWidth(0.4)
    canvas.setDash(4, 3)
    _outline(canvas, face.under_bark)
    canvas.setDash()
    canvas.setLineWidth(1.6)
    canvas.line(0.0, face.six[1] * MM, 0.0, face.twelve[1] * MM)
    canvas.setFont(BOLD, 12)
    canvas.drawString(4.0, face.twelve[1] * MM - 16.0, "12 o'clock")
    canvas.setLineWidth(1.0)
    canvas.line(-6 * MM, 0.0, 6 * MM, 0.0)
    canvas.circle(0.0, 0.0, reading.pith_radius * MM)
    for line in lines:
        canvas.setLineWidth(0.3)
        canvas.setDash(2, 4)
        canvas.line(*(line.points[0] * MM), *(line.points[1] * MM))
        canvas.setDash()
        canvas.setLineWidth(1.1)
        for part in line.heavy:
            canvas.line(*(part[0] * MM), *(part[-1] * MM))
    canvas.setFont(BOLD, 10)
    for name, (x, y) in names:
        wide = width_of(name, 10, True)
        canvas.setFillGray(1.0)
        canvas.rect(x * MM - wide / 2.0 - 1.0, y * MM - 5.0, wide + 2.0, 10.0, stroke=0, fill=1)
        canvas.setFillGray(0.0)
        canvas.drawString(x * MM - wide / 2.0, y * MM - 3.6, name)


def _name_places(lines: Sequence[FaceLine], face: EndFace, pith: float) -> list[tuple[str, np.ndarray]]:
    """Where names stand: on the heavy stretches, every `REPEAT` mm, clear of one another and of the pith."""
    found = [("", face.twelve + np.array([away, -4.0])) for away in (6.0, 14.0, 22.0)]  # where "12 o'clock" stands
    for line in lines:
        for part in line.heavy or [line.points]:
            first, last = part[0], part[-1]
            if np.hypot(*last) > np.hypot(*first):
                first, last = last, first
            length = float(np.hypot(*(last - first)))
            along, next_at = (last - first) / max(length, 1e-9), APART
            for at in np.arange(APART, max(length - APART, APART + 1.0), 3.0):
                spot = first + at * along
                clear = all(np.hypot(*(spot - other)) > APART for _, other in found)
                if at >= next_at and clear and np.hypot(*spot) > pith + APART:
                    found.append((line.name, spot))
                    next_at = at + REPEAT
    return [one for one in found if one[0]]


def _outline(canvas: Any, outline: np.ndarray) -> None:
    path = canvas.beginPath()
    path.moveTo(*(outline[0] * MM))
    for point in outline[1:]:
        path.lineTo(*(point * MM))
    path.close()
    canvas.drawPath(path)


def _register(canvas: Any, face: EndFace, paper: str) -> None:
    """Crosses in the overlaps: the same point of the face on both tiles."""
    canvas.setLineWidth(0.3)
    boxes = tiles(face, paper)
    for _, _, left, bottom, width, height in boxes:
        for x in (left + OVERLAP / 2.0, left + width - OVERLAP / 2.0):
            for y in (bottom + OVERLAP / 2.0, bottom + height - OVERLAP / 2.0):
                canvas.line((x - 4) * MM, y * MM, (x + 4) * MM, y * MM)
                canvas.line(x * MM, (y - 4) * MM, x * MM, (y + 4) * MM)


def _head(canvas: Any, reading: Script, log: str, face: EndFace, column: int, row: int, paper: str,
          words: Words) -> None:  # fmt: skip
    top = PAPERS[paper][1] - EDGE * MM
    name = str(reading.document["log"]["id"])
    canvas.setFont(BOLD, 11)
    canvas.drawString(EDGE * MM, top - 11, f"{face.name.upper()} END, facing it: row {row}, column {column}")
    canvas.setFont(PLAIN, 8)
    shown = name if len(name) <= 40 else name[:39] + "…"
    canvas.drawString(EDGE * MM, top - 23, f"log {shown}, piece {reading.mark(log)}. Print at 100 %.")
    canvas.drawString(
        EDGE * MM, top - 34, "Crosses of neighbouring tiles fall on one another. Lines: kerf centres, heavy where sawn."
    )
    canvas.setLineWidth(1.2)
    bar, text = (101.6, "4 in") if words.units == "in" else (100.0, "100 mm")
    y = top - 52.0
    canvas.line(EDGE * MM, y, (EDGE + bar) * MM, y)
    for x in (EDGE, EDGE + bar):
        canvas.line(x * MM, y - 4, x * MM, y + 4)
    canvas.drawString((EDGE + bar + 2) * MM, y - 3, f"this bar is {text}: measure it")
