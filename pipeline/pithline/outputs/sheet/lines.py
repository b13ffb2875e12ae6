"""Page 2: every mill line on both ends, by tape, before the first cut."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from shapely.geometry import LineString

from pithline.outputs.ends import EndFace, tape_point
from pithline.outputs.paper import LEAD, Pages
from pithline.outputs.reading import Script
from pithline.outputs.words import Words

DRAWING = 250.0  # pt, height kept for the drawing of one end


def drawing_the_lines(pages: Pages, reading: Script, words: Words) -> None:
    """One page or more an end, for every log that goes on the mill."""
    mill = [one for one in reading.settings if one["tool"] == "mill"]
    for log in dict.fromkeys(reading.own_log(one["piece"]) for one in mill):
        own = [one for one in mill if reading.own_log(one["piece"]) == log]
        for face in reading.ends(log):
            pages.turn()
            pages.heading(f"2  Drawing the lines: {face.name.upper()} end of {reading.mark(log)}")
            pages.text("Face this end, 12 o'clock line upright. Left and right are yours, facing it. Draw "
                       "every line on both ends "
                       "before the first cut, number it, and draw heavy what is heavy here.", 10.0)  # fmt: skip
            lines = face_lines(reading, own, face)
            draw_end(pages, face, lines)
            rows = []
            for name, _, line in lines:
                for point in line:
                    tape = tape_point(face, point)
                    rows.append([name, tape.side, words.length(tape.from_twelve), words.length(tape.from_pith),
                                 words.length(tape.from_six)])  # fmt: skip
                    name = ""
            pages.table(["Line", "Bark point", "from 12 o'clock bark", "from pith", "check: from 6 o'clock bark"], rows,
                        [14, 16, 24, 20, 26], 10.0)  # fmt: skip
            pages.text("Straight tape distances to where the line meets the bark. 12 and 6 o'clock bark: the "
                       "two bark ends of the "
                       "12 o'clock line. Below the pith cross the pith's arc with that of the 6 o'clock bark; "
                       "it is sharper there.",
                       9.0)  # fmt: skip


def face_lines(
    reading: Script, settings: Sequence[Any], face: EndFace
) -> list[tuple[str, list[np.ndarray], np.ndarray]]:
    """Name, heavy parts and bark points of each line: the level line of the first setting, then every mill cut."""
    found = []
    first = settings[0]
    point = np.array(first["marks"][face.name]["point"], float)
    up = np.array(first["up"], float)
    level = face.line(up, float(up @ point))
    if level is not None:
        found.append(("level", [], level))
    for setting in settings:
        part = reading.part_of_face(setting["piece"], face)
        for cut in reading.cuts_of(setting):
            line = face.line(np.array(cut["normal"], float), cut["offset"])
            if line is not None:
                found.append((str(reading.numbers[cut["id"]]), _within(part, line), line))
    return found


def _within(part: Any, line: np.ndarray) -> list[np.ndarray]:
    """The stretches of a line that lie in the piece it cuts."""
    crossed = part.intersection(LineString(line))
    return [np.asarray(one.coords) for one in getattr(crossed, "geoms", [crossed])
            if one.geom_type == "LineString" and not one.is_empty]  # fmt: skip


def draw_end(pages: Pages, face: EndFace, lines: Sequence[tuple[str, list[np.ndarray], np.ndarray]]) -> None:
    """The end as it is faced, with all its lines; numbers stand round the bark so that they do not overlap."""
    pages.room(DRAWING)
    low, high = face.over_bark.min(axis=0), face.over_bark.max(axis=0)
    scale = min((DRAWING - 50.0) / (high[1] - low[1]), (pages.measure - 120.0) / (high[0] - low[0]))
    centre = np.array([(pages.left + pages.right) / 2.0, pages.y - DRAWING / 2.0])
    middle = (low + high) / 2.0

    def to_page(points: np.ndarray) -> np.ndarray:
        return centre + (np.asarray(points) - middle) * scale

    canvas = pages.canvas
    canvas.setLineWidth(1.0)
    polygon(canvas, to_page(face.over_bark))
    canvas.setLineWidth(0.4)
    polygon(canvas, to_page(face.under_bark))
    top, foot, pith = to_page(face.twelve), to_page(face.six), to_page(np.zeros(2))
    canvas.setLineWidth(0.8)
    canvas.setDash(6, 2)
    canvas.line(*foot, *top)
    canvas.setDash()
    canvas.circle(*pith, 3.0)
    pages.write(top[0] - 8.0, top[1] + 12.0, "12", 10.0, bold=True)
    placed: list[np.ndarray] = [top + np.array([0.0, 15.0])]
    for name, heavy, line in lines:
        a, b = to_page(line)
        canvas.setLineWidth(0.5)
        canvas.setDash(2, 2)
        canvas.line(*a, *b)
        canvas.setDash()
        canvas.setLineWidth(1.6)
        for part in heavy:
            canvas.line(*to_page(part[0]), *to_page(part[-1]))
        _number(pages, name, a, b, centre, placed)
    pages.y -= DRAWING


def _number(
    pages: Pages, name: str, a: np.ndarray, b: np.ndarray, centre: np.ndarray, placed: list[np.ndarray]
) -> None:
    """The line's name beyond one of its bark ends, or not at all where both are crowded: the table still holds it."""
    for reach in (10.0, 22.0, 34.0):
        for point, other in ((a, b), (b, a)):
            spot = point + reach * (point - other) / max(float(np.hypot(*(point - other))), 1e-9)
            inside = pages.left + 12.0 < spot[0] < pages.right - 12.0 and abs(spot[1] - centre[1]) < DRAWING / 2.0 - 6.0
            if inside and all(abs(spot[0] - p[0]) > 32.0 or abs(spot[1] - p[1]) > 9.0 * LEAD for p in placed):
                width = 5.5 * len(name)
                pages.write(spot[0] - width / 2.0, spot[1] - 3.0, name, 9.0, bold=True)
                placed.append(spot)
                return


def polygon(canvas: Any, points: np.ndarray, fill: int = 0) -> None:
    """A closed outline on the page. [pt]"""
    if len(points) < 3:
        return
    path = canvas.beginPath()
    path.moveTo(*points[0])
    for point in points[1:]:
        path.lineTo(*point)
    path.close()
    canvas.drawPath(path, stroke=1, fill=fill)
