"""A bolt resawn by lines drawn on its ends: the lines by tape from two corners, and the picture of its butt end."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from shapely.geometry import LineString

from pithline.outputs.ends import EndFace
from pithline.outputs.paper import Pages
from pithline.outputs.reading import Script, rings
from pithline.outputs.sheet.lines import polygon
from pithline.outputs.words import Words

DRAWING = 190.0


def slanted(setting: Mapping[str, Any]) -> bool:
    """Whether a resaw setting's cuts are not parallel to the face the piece lies against."""
    against = setting.get("against")
    return setting["tool"] == "resaw" and (not against or abs(against["angle_deg"]) > 0.05)


def fan(pages: Pages, reading: Script, words: Words, piece: str, settings: Sequence[Mapping[str, Any]]) -> None:
    """The butt end of a bolt with its resaw lines; both ends by tape from two corners of its newest sawn face."""
    butt, top = reading.ends(piece)
    corners = {face.name: _corners(reading, piece, face) for face in (butt, top)}
    cuts = [cut for setting in settings if slanted(setting) for cut in reading.cuts_of(setting)]
    if not cuts or corners["butt"] is None or corners["top"] is None:
        return
    _fan_drawing(pages, reading, piece, butt, corners["butt"], cuts)
    rows = []
    for cut in cuts:
        for face in (butt, top):
            ends = _in_piece(reading, piece, face, cut)
            if ends is not None:
                taped = [
                    words.length(float(np.hypot(*(end - corner)))) for end in ends for corner in corners[face.name]
                ]
                rows.append([str(reading.numbers[cut["id"]]), face.name, *taped])
    pages.table(["Line", "End", "Outer point from A", "from B", "Inner point from A", "from B"], rows,
                [10, 12, 22, 17, 22, 17], 9.5)  # fmt: skip


def _corners(reading: Script, piece: str, face: EndFace) -> np.ndarray | None:
    """A, nearer the pith, and B, farther: where the piece's newest sawn face leaves an end face; (2, 2) or `None`."""
    part = reading.part_of_face(piece, face)
    for normal, offset, _ in reading.faces(piece):
        line = face.line(normal, offset - 1e-6)
        crossed = part.intersection(LineString(line)) if line is not None else None
        if crossed is not None and crossed.geom_type == "LineString" and crossed.length > 1.0:
            ends = np.asarray(crossed.coords)[[0, -1]]
            return ends[np.argsort(np.hypot(ends[:, 0], ends[:, 1]))]
    return None


def _in_piece(reading: Script, piece: str, face: EndFace, cut: Mapping[str, Any]) -> np.ndarray | None:
    """Outer and inner point (2, 2) of a cut's line within a piece's end; `None` where it misses it."""
    line = face.line(np.array(cut["normal"], float), cut["offset"])
    if line is None:
        return None
    crossed = reading.part_of_face(piece, face).intersection(LineString(line))
    if crossed.is_empty or crossed.geom_type != "LineString":
        return None
    ends = np.asarray(crossed.coords)[[0, -1]]
    return ends[np.argsort(-np.hypot(ends[:, 0], ends[:, 1]))]


def _fan_drawing(pages: Pages, reading: Script, piece: str, face: EndFace, corners: np.ndarray,
                 cuts: Sequence[Mapping[str, Any]]) -> None:  # fmt: skip
    outlines = rings(reading.part_of_face(piece, face))
    points = np.vstack(outlines)
    low, high = points.min(axis=0), points.max(axis=0)
    size = np.maximum(high - low, 1.0)
    scale = min((DRAWING - 44.0) / size[1], pages.measure * 0.7 / size[0])
    origin = np.array([pages.left + 30.0, pages.y - DRAWING + 28.0])
    canvas = pages.canvas
    canvas.setLineWidth(1.3)
    for outline in outlines:
        polygon(canvas, origin + (outline - low) * scale)
    middle = origin + size * scale / 2.0
    placed = []
    for name, corner in zip("AB", corners, strict=True):
        spot = origin + (corner - low) * scale
        away = (spot - middle) / max(float(np.hypot(*(spot - middle))), 1e-9)
        placed.append(spot + 9.0 * away)
        pages.write(placed[-1][0] - 4.0, placed[-1][1] - 4.0, name, 11.0, bold=True)
    for cut in cuts:
        ends = _in_piece(reading, piece, face, cut)
        if ends is None:
            continue
        far, near = origin + (ends - low) * scale
        canvas.setLineWidth(0.9)
        canvas.line(*far, *near)
        along = (far - near) / max(float(np.hypot(*(far - near))), 1e-9)
        spot = far + 8.0 * along
        if all(abs(spot[0] - one[0]) > 14.0 or abs(spot[1] - one[1]) > 10.0 for one in placed):
            pages.write(spot[0] - 4.0, spot[1] - 3.0, str(reading.numbers[cut["id"]]), 8.0, bold=True)
            placed.append(spot)
    pages.write(
        pages.left,
        pages.y - DRAWING + 3.0,
        "Butt end, facing it. A, nearer the pith, and B: corners of its newest sawn face. Draw all lines on both ends first.",
        8.0,
    )
    pages.y -= DRAWING
