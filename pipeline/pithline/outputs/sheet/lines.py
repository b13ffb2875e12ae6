"""Page 2: every mill line on both ends, by tape, before the first cut."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from shapely.geometry import LineString

from pithline.outputs.ends import EndFace, tape_point
from pithline.outputs.paper import Pages, width_of
from pithline.outputs.reading import Script
from pithline.outputs.sheet.measured import tick_line, tick_name, ticked_settings
from pithline.outputs.words import Words

DRAWING = 0.37  # of the page's height is kept for the drawing of one end
ROUND = 26.0  # pt, room round the end for the lines' numbers
HEAD = ("Line", "Bark point", "12", "pith", "6", "Bark point", "12", "pith", "6")


@dataclass(frozen=True, slots=True)
class FaceLine:
    """One line on an end face: its `name`, the `heavy` stretches that are sawn, its bark points (2, 2)."""

    name: str
    heavy: list[np.ndarray]
    points: np.ndarray


def drawing_the_lines(pages: Pages, reading: Script, words: Words) -> None:
    """One page or more an end, for every log that goes on the mill."""
    mill = lined_settings(reading)
    logs = list(dict.fromkeys(reading.own_log(one["piece"]) for one in mill))
    for log in logs:
        own = [one for one in mill if reading.own_log(one["piece"]) == log]
        for face in reading.ends(log):
            pages.turn()
            whose = f" of {reading.mark(log)}" if len(logs) > 1 or reading.parent(log) else ""
            pages.heading(f"2  Drawing the lines: {face.name.upper()} end{whose}")
            pages.text("Face this end, 12 o'clock line upright: left and right are yours. Draw every line on both ends "
                       + ("of the pieces in hand" if reading.sawn else "before the first cut")
                       + ": heavy where it is heavy here, for only there is it sawn. Number each."
                       + (" T lines are ticks for the rip saw." if ticked_settings(reading, own) else ""),
                       10.0)  # fmt: skip
            groups = face_lines(reading, own, face)
            draw_end(pages, face, [line for lines in groups.values() for line in lines])
            pages.text(f"Straight tape distances ({words.units}) to where the line meets the bark. 12 and 6: the bark ends of the 12 "
                       "o'clock line. Cross the arc from the pith with that from 12 or 6; the one in brackets is the "
                       "check.", 9.0)  # fmt: skip
            rows: list[list[str] | str] = []
            for title, lines in groups.items():
                rows.append(title)
                rows += [_row(face, line, words) for line in lines]
            pages.table(HEAD, rows, [7.5, 10.5, 11.5, 11.5, 11.5, 10.5, 11.5, 11.5, 11.5], 9.0)


def lined_settings(reading: Script) -> list[Mapping[str, Any]]:
    """The mill settings that lines are drawn for: those to come, and those sawn whose slabs are still to be ripped by ticks."""
    mill = [one for one in reading.settings if one["tool"] == "mill"]
    ticked = ticked_settings(reading, mill) if reading.sawn else set()
    return [one for one in mill if one["id"] not in reading.sawn or one["id"] in ticked]


def _sawn_edges(reading: Script, settings: Sequence[Mapping[str, Any]], face: EndFace) -> list[FaceLine]:
    """Where faces lie that pieces still to be sawn have already."""
    found: dict[str, FaceLine] = {}
    for setting in settings:
        for _, _, made in reading.faces(setting["piece"]):
            cut = reading.cuts[made]
            line = face.line(np.array(cut["normal"], float), cut["offset"])
            if cut["setting"] in reading.sawn and cut["tool"] == "mill" and line is not None:
                found[made] = FaceLine(str(reading.numbers[made]), [], line)
    return list(found.values())


def _row(face: EndFace, line: FaceLine, words: Words) -> list[str]:
    """A line with its two bark points."""
    taped = [tape_point(face, point) for point in line.points]
    cells = [line.name]
    same = taped[0].side == taped[1].side
    lower = line.points[0][1] < line.points[1][1]
    for number, tape in enumerate(taped):
        height = (", low" if (number == 0) == lower else ", high") if same else ""
        twelve, six = words.bare(tape.from_twelve), words.bare(tape.from_six)
        upper = tape.from_twelve <= tape.from_six
        cells += [tape.side + height, twelve if upper else f"({twelve})", words.bare(tape.from_pith),
                  f"({six})" if upper else six]  # fmt: skip
    return cells


def face_lines(reading: Script, settings: Sequence[Mapping[str, Any]], face: EndFace) -> dict[str, list[FaceLine]]:
    """Lines by the setting they are for: the level line of the first, then every mill cut, then ticks."""
    found: dict[str, list[FaceLine]] = {}
    first = next((one for one in settings if one["id"] not in reading.sawn), settings[0])
    point, up = (np.array(one, float) for one in (first["marks"][face.name]["point"], first["up"]))
    level = face.line(up, float(up @ point))
    if level is not None and first["id"] not in reading.sawn:
        found["Spirit level of the first setting"] = [FaceLine("level", [], level)]
    if edges := _sawn_edges(reading, settings, face):
        found["Sawn already: edges to lay these lines by"] = edges
    ticked = ticked_settings(reading, settings)
    for setting in settings:
        part = reading.part_of_face(setting["piece"], face)
        lines = []
        for cut in reading.cuts_of(setting) if setting["id"] not in reading.sawn else ():
            line = face.line(np.array(cut["normal"], float), cut["offset"])
            if line is not None:
                lines.append(FaceLine(str(reading.numbers[cut["id"]]), _within(part, line), line))
        if setting["id"] in ticked:
            line = face.line(*tick_line(reading, setting))
            if line is not None:
                lines.append(FaceLine(tick_name(reading, setting), _within(part, line), line))
        kind = reading.pieces[setting["piece"]]["kind"]
        done = " (sawn): ticks for the rip saw on its slabs" if setting["id"] in reading.sawn else ""
        found[f"Setting {reading.mill_numbers[setting['id']]}: {kind} {reading.mark(setting['piece'])}{done}"] = lines
    return found


def _within(part: Any, line: np.ndarray) -> list[np.ndarray]:
    """The stretches of a line that lie in the piece it cuts."""
    crossed = part.intersection(LineString(line))
    return [np.asarray(one.coords) for one in getattr(crossed, "geoms", [crossed])
            if one.geom_type == "LineString" and not one.is_empty]  # fmt: skip


def draw_end(pages: Pages, face: EndFace, lines: Sequence[FaceLine]) -> None:
    """The end as it is faced, with all its lines and their numbers round the bark."""
    height = DRAWING * pages.height
    pages.room(height)
    low, high = face.over_bark.min(axis=0), face.over_bark.max(axis=0)
    scale = (height - 2.0 * ROUND - 12.0) / float(max(high - low))
    centre = np.array([(pages.left + pages.right) / 2.0, pages.y - height / 2.0])
    middle = (low + high) / 2.0

    def to_page(points: np.ndarray) -> np.ndarray:
        return centre + (np.asarray(points) - middle) * scale

    canvas = pages.canvas
    canvas.setLineWidth(1.0)
    polygon(canvas, to_page(face.over_bark))
    canvas.setLineWidth(0.3)
    polygon(canvas, to_page(face.under_bark))
    top, foot, pith = to_page(face.twelve), to_page(face.six), to_page(np.zeros(2))
    canvas.setLineWidth(0.8)
    canvas.setDash(6, 2)
    canvas.line(*foot, *top)
    canvas.setDash()
    canvas.circle(*pith, 3.0)
    names = [("12 o'clock", top), ("6 o'clock", foot)]
    for line in lines:
        whole = to_page(line.points)
        canvas.setLineWidth(0.3)
        canvas.setDash(1, 3)
        canvas.line(*whole[0], *whole[1])
        canvas.setDash()
        canvas.setLineWidth(1.4)
        for part in line.heavy:
            canvas.line(*to_page(part[0]), *to_page(part[-1]))
        ends = np.concatenate([to_page(part[[0, -1]]) for part in line.heavy]) if line.heavy else whole
        names.append((line.name, ends[np.argmax(np.hypot(*(ends - centre).T))]))
    _names(pages, names, centre, (height - ROUND) / 2.0)
    pages.y -= height


def _names(pages: Pages, names: Sequence[tuple[str, np.ndarray]], centre: np.ndarray, radius: float) -> None:
    """Names on a circle, each as near its line's bark point as its neighbours let it, joined to it by a thin line."""
    size = min(9.0, 2.0 * np.pi * radius / (len(names) * 2.1))
    need = np.array([(max(width_of(name, size, True), size) + 2.0) / radius for name, _ in names])
    away = np.array([point - centre for _, point in names])
    angle = np.arctan2(away[:, 1], away[:, 0])
    order = np.argsort(angle)
    spread = spaced(angle[order], need[order])
    for place, index in zip(spread, order, strict=True):
        name, point = names[index]
        spot = centre + radius * np.array([np.cos(place), np.sin(place)])
        near = spot - (spot - centre) / radius * 7.0
        pages.canvas.setLineWidth(0.3)
        pages.canvas.line(*point, *near)
        pages.write(spot[0] - width_of(name, size, True) / 2.0, spot[1] - 0.36 * size, name, size, bold=True)


def spaced(angle: np.ndarray, need: np.ndarray) -> np.ndarray:
    """Sorted angles (n,) moved apart until neighbours, round the circle too, keep half the sum of their `need`. [rad]"""
    found = angle.copy()
    for _ in range(400):
        following = np.append(found[1:], found[0] + 2.0 * np.pi)
        lack = (need + np.roll(need, -1)) / 2.0 - (following - found)
        push = np.clip(lack, 0.0, None) / 2.0
        if push.max() < 1e-4:
            break
        found += np.roll(push, 1) - push
    return found


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
