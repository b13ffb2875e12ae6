"""Off the mill: bucking first, then rip, crosscut and resaw work gathered by slab and bolt."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from shapely.geometry import LineString

from pithline.outputs.ends import EndFace, tape_point
from pithline.outputs.paper import Pages
from pithline.outputs.reading import Script, rings
from pithline.outputs.sheet.cautions import CHAIN, GUARDS, HEAVY, METAL, ROLL, ROUND, TWO_PEOPLE_KG
from pithline.outputs.sheet.lines import polygon
from pithline.outputs.words import Words, degrees

TOOLS = {"rip": "rip", "crosscut": "crosscut", "resaw": "resaw"}
DRAWING = 190.0


def buck_panel(pages: Pages, reading: Script, words: Words, setting: Mapping[str, Any]) -> None:
    """Where the log is shortened, by tape along the pith's chord from the butt end."""
    pages.turn()
    pages.heading(f"Bucking: {reading.mark(setting['piece'])}")
    pages.text(f"{words.weight(setting['weight_kg'])}, lying in a cradle. Carry the 12 o'clock line along the bark past every cut "
               "before sawing, and mark the pith on the new faces as seen.", 11.0)  # fmt: skip
    pages.caution(ROLL)
    butt = reading.ends(setting["piece"])[0]
    rows = []
    for cut in reading.cuts_of(setting):
        normal = np.array(cut["normal"], float)
        along = float((cut["offset"] - normal @ butt.pith) / normal[0])
        rows.append([str(reading.numbers[cut["id"]]), words.both(along), f"{reading.mark(cut['below'])} | {reading.mark(cut['above'])}"])
    pages.table(["Cut", "From the butt, along the pith, kerf centre", "Butt side | top side"], rows, [10, 55, 35], 11.5)
    pages.caution(CHAIN)
    pages.caution(METAL)


def shop_panels(pages: Pages, reading: Script, words: Words, settings: Sequence[Mapping[str, Any]], title: str) -> None:
    """One panel for each slab, half or bolt that goes to the shop."""
    groups: dict[str, list[Mapping[str, Any]]] = {}
    for setting in settings:
        groups.setdefault(from_mill(reading, setting["piece"]), []).append(setting)
    if not groups:
        return
    pages.turn()
    pages.heading(title)
    pages.text("Before a billet is resawn: a large V across its edge, point to the butt, so that the plates go back in order. "
               "“face 7” is the face that cut 7 left; distances run from it to the near side of the kerf.", 10.5)  # fmt: skip
    pages.caution(GUARDS)
    pages.caution(ROUND)
    for piece, own in groups.items():
        _panel(pages, reading, words, piece, own)


def from_mill(reading: Script, piece: str) -> str:
    """The piece as it came off the mill that a shop piece was made from."""
    for one in reading.line_of(piece):
        made = reading.pieces[one].get("made_by")
        if made is None or reading.cuts[made]["tool"] in ("mill", "buck"):
            return one
    return piece


def _panel(pages: Pages, reading: Script, words: Words, piece: str, settings: Sequence[Mapping[str, Any]]) -> None:
    kind = reading.pieces[piece]["kind"]
    weight = max(one["weight_kg"] for one in settings)
    slanted = any(_slanted(one) for one in settings)
    pages.room(DRAWING + 60.0 if slanted else 120.0)
    pages.text(f"{kind} {reading.mark(piece)}: {words.weight(weight)}, id {piece}", 14.0, bold=True)
    if weight > TWO_PEOPLE_KG:
        pages.caution(HEAVY)
    if slanted:
        _fan(pages, reading, words, piece, settings)
    rows = [_row(reading, words, setting) for setting in settings]
    pages.table(["Saw", "Piece", "Lies", "Cuts, in order", "Gives"], rows, [13, 12, 21, 32, 22], 9.5)


def _slanted(setting: Mapping[str, Any]) -> bool:
    against = setting.get("against")
    return setting["tool"] == "resaw" and (not against or abs(against["angle_deg"]) > 0.05)


def _row(reading: Script, words: Words, setting: Mapping[str, Any]) -> list[str]:
    against, cuts = setting.get("against"), reading.cuts_of(setting)
    lies = setting.get("support") or ""
    if against:
        lies += f", face {reading.numbers[against['face']]}"
        angle = float(against["angle_deg"])
        lies += " flat to it" if angle < 0.05 else f" at {degrees(angle)} to the blade"
    texts = []
    for cut in cuts:
        distance = from_face(reading, setting, cut)
        number = reading.numbers[cut["id"]]
        texts.append(f"{number}: {words.length(distance)}" if distance is not None else f"{number}: by line")
    return [TOOLS.get(setting["tool"], setting["tool"]), reading.mark(setting["piece"]), lies, "; ".join(texts), _gives(reading, cuts)]


def _gives(reading: Script, cuts: Sequence[Mapping[str, Any]]) -> str:
    """The pieces that are kept of a run of cuts, by kind."""
    used = {cut["piece"] for cut in cuts}
    kept: dict[str, list[str]] = {}
    for cut in cuts:
        for piece in (cut["above"], cut["below"]):
            if piece not in used and reading.pieces[piece]["kind"] != "offcut":
                kept.setdefault(reading.pieces[piece]["kind"], []).append(reading.mark(piece))
    return "; ".join(f"{len(marks)} {kind}{'s' if len(marks) > 1 else ''}: {' '.join(marks)}" for kind, marks in kept.items()) or "offcuts"


def from_face(reading: Script, setting: Mapping[str, Any], cut: Mapping[str, Any]) -> float | None:
    """From the face against the fence to the near side of the kerf, where the two are parallel; else `None`. [mm]

    A crosscut is measured along the piece from the log's butt end, as its own faces are parallel to nothing it lies on.
    """
    normal = np.array(cut["normal"], float)
    if setting["tool"] == "crosscut":
        butt = reading.ends(setting["piece"])[0]
        return float((cut["offset"] - normal @ butt.pith) / normal[0]) if abs(normal[0]) > 0.5 else None
    against = setting.get("against")
    for outward, offset, made in reading.faces(setting["piece"]):
        if against and made == against["face"] and abs(outward @ normal) > 1.0 - 1e-6:
            return float(offset - cut["offset"] * np.sign(outward @ normal)) - cut["kerf"] / 2.0
    return None


def _fan(pages: Pages, reading: Script, words: Words, piece: str, settings: Sequence[Mapping[str, Any]]) -> None:
    """The butt end of a bolt with its resaw lines, numbered: they are drawn on both of its ends before it is resawn."""
    face = reading.ends(piece)[0]
    outlines = rings(reading.part_of_face(piece, face))
    if not outlines:
        return
    points = np.vstack(outlines)
    low, high = points.min(axis=0), points.max(axis=0)
    scale = min((DRAWING - 30.0) / max(high[1] - low[1], 1.0), (pages.measure * 0.4) / max(high[0] - low[0], 1.0))
    origin = np.array([pages.left + 20.0, pages.y - DRAWING + 18.0])
    canvas = pages.canvas
    canvas.setLineWidth(1.3)
    for outline in outlines:
        polygon(canvas, origin + (outline - low) * scale)
    rows: list[str] = []
    for setting in filter(_slanted, settings):
        for cut in reading.cuts_of(setting):
            _fan_line(pages, reading, words, face, piece, cut, rows, (origin, low, scale))
    for index, row in enumerate(rows[: int((DRAWING - 20.0) / 11.0)]):
        pages.write(pages.left + pages.measure * 0.5, pages.y - 14.0 - 11.0 * index, row, 8.0)
    pages.write(origin[0], pages.y - DRAWING + 3.0, "butt end, facing it; straight distances from the pith mark", 8.0)
    pages.y -= DRAWING


def _fan_line(pages: Pages, reading: Script, words: Words, face: EndFace, piece: str, cut: Mapping[str, Any], rows: list[str],
              place: tuple[np.ndarray, np.ndarray, float]) -> None:  # fmt: skip
    line = face.line(np.array(cut["normal"], float), cut["offset"])
    if line is None:
        return
    crossed = reading.part_of_face(piece, face).intersection(LineString(line))
    if crossed.is_empty or crossed.geom_type != "LineString":
        return
    origin, low, scale = place
    a, b = np.asarray(crossed.coords)[[0, -1]]
    canvas = pages.canvas
    canvas.setLineWidth(0.9)
    canvas.line(*(origin + (a - low) * scale), *(origin + (b - low) * scale))
    far = max((a, b), key=lambda one: float(np.hypot(*one)))
    near = a if far is b else b
    number = reading.numbers[cut["id"]]
    spot = origin + (far - low) * scale + 7.0 * (far - near) / max(float(np.hypot(*(far - near))), 1e-9)
    pages.write(spot[0] - 4.0, spot[1] - 3.0, str(number), 7.0, bold=True)
    outer, inner = (tape_point(face, one).from_pith for one in (far, near))
    rows.append(f"line {number}: bark end {words.length(outer)}, inner {words.length(inner)}")
