"""End templates at 1:1: tiles with overlap and register marks, to be joined and laid on the end faces."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from pithline.outputs.ends import EndFace
from pithline.outputs.paper import BOLD, PAPERS, PLAIN, new_canvas
from pithline.outputs.reading import Script
from pithline.outputs.words import Words

MM = 72.0 / 25.4
EDGE = 10.0  # mm of paper no printer reaches
OVERLAP = 15.0  # mm shared by neighbouring tiles
HEAD = 24.0  # mm of each tile's head, kept for its name and the bar


def end_templates(script: Mapping[str, Any], units: str = "mm", paper: str = "A4") -> bytes:
    """Both ends of every log, whole or bucked, at true size on the planes as sawn.

    Returns the bytes of a PDF; each tile carries its name, register marks and a bar to check the print scale by.
    """
    reading, words = Script(script), Words(units)
    canvas, out = new_canvas(paper, f"End templates {script['log']['id']}")
    logs = dict.fromkeys(reading.own_log(one["piece"]) for one in reading.settings if one["tool"] == "mill")
    for log in logs or {"log": None}:
        for face in reading.ends(log):
            _end(canvas, reading, log, face, paper, words)
    canvas.save()
    return out.getvalue()


def mill_lines(reading: Script, log: str, face: EndFace) -> list[tuple[int, np.ndarray]]:
    """Cut number and bark points (2, 2) of every mill line that meets a face."""
    found = []
    for setting in reading.settings:
        if setting["tool"] == "mill" and reading.own_log(setting["piece"]) == log:
            for cut in reading.cuts_of(setting):
                line = face.line(np.array(cut["normal"], float), cut["offset"])
                if line is not None:
                    found.append((reading.numbers[cut["id"]], line))
    return found


def tiles(face: EndFace, paper: str) -> list[tuple[int, int, float, float, float, float]]:
    """Column, row, left, bottom, width and height [mm] of every tile, in face coordinates; row 1 is the top one."""
    width = PAPERS[paper][0] / MM - 2 * EDGE
    height = PAPERS[paper][1] / MM - 2 * EDGE - HEAD
    low, high = face.over_bark.min(axis=0) - 5.0, face.over_bark.max(axis=0) + 5.0
    across, down = (int(max(1, np.ceil((span - OVERLAP) / (size - OVERLAP))))
                    for span, size in zip(high - low, (width, height), strict=True))  # fmt: skip
    return [
        (column + 1, row + 1, low[0] + column * (width - OVERLAP),
         high[1] - height - row * (height - OVERLAP), width, height)
        for row in range(down) for column in range(across)
    ]  # fmt: skip


def _end(canvas: Any, reading: Script, log: str, face: EndFace, paper: str, words: Words) -> None:
    lines = mill_lines(reading, log, face)
    for column, row, left, bottom, width, height in tiles(face, paper):
        canvas.saveState()
        frame = canvas.beginPath()
        frame.rect(EDGE * MM, EDGE * MM, width * MM, height * MM)
        canvas.setLineWidth(0.3)
        canvas.rect(EDGE * MM, EDGE * MM, width * MM, height * MM)
        canvas.clipPath(frame, stroke=0, fill=0)
        canvas.translate((EDGE - left) * MM, (EDGE - bottom) * MM)
        _draw(canvas, reading, face, lines)
        _register(canvas, face, paper)
        canvas.restoreState()
        _head(canvas, reading, log, face, column, row, paper, words)
        canvas.showPage()


def _draw(canvas: Any, reading: Script, face: EndFace, lines: list[tuple[int, np.ndarray]]) -> None:
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
    canvas.circle(0.0, 0.0, pith_radius(reading) * MM)
    canvas.setLineWidth(0.7)
    for number, line in lines:
        a, b = line * MM
        canvas.line(*a, *b)
        towards = (b - a) / max(float(np.hypot(*(b - a))), 1e-9)
        for share in (0.12, 0.88):
            x, y = a + share * (b - a) + 2.0 * np.array([-towards[1], towards[0]])
            canvas.setFont(BOLD, 10)
            canvas.drawString(x, y, str(number))


def pith_radius(reading: Script) -> float:
    """Radius of the pith circle [mm] as the card gives it, at least one millimetre."""
    card = reading.document["inputs"]["card"]
    value = card.get("pith_radius") or (card.get("pith") or {}).get("radius") or 0.0
    return max(float(value), 1.0)


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
    canvas.drawString(EDGE * MM, top - 34, "Crosses of neighbouring tiles fall on one another. Lines are kerf centres.")
    canvas.setLineWidth(1.2)
    bar, text = (101.6, "4 in") if words.units == "in" else (100.0, "100 mm")
    y = top - 52.0
    canvas.line(EDGE * MM, y, (EDGE + bar) * MM, y)
    for x in (EDGE, EDGE + bar):
        canvas.line(x * MM, y - 4, x * MM, y + 4)
    canvas.drawString((EDGE + bar + 2) * MM, y - 3, f"this bar is {text}: measure it")
