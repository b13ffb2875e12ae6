"""Off the mill: bucking first, then rip, crosscut and resaw work gathered by slab and bolt."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from shapely.geometry import LineString

from pithline.outputs.ends import EndFace
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
    pages.text(f"{words.weight(setting['weight_kg'])}, lying in a cradle. Carry the 12 o'clock line along the "
               f"bark past every cut "
               "before sawing, and mark the pith on the new faces as seen.", 11.0)  # fmt: skip
    pages.caution(ROLL)
    butt = reading.ends(setting["piece"])[0]
    rows = []
    for cut in reading.cuts_of(setting):
        normal = np.array(cut["normal"], float)
        along = float((cut["offset"] - normal @ butt.pith) / normal[0])
        rows.append(
            [
                str(reading.numbers[cut["id"]]),
                words.both(along),
                f"{reading.mark(cut['below'])} | {reading.mark(cut['above'])}",
            ]
        )
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
    pages.text("Before a billet is resawn: a large V across its edge, point to the butt, so that the plates "
               "go back in order. "
               "“face 7” is the face that cut 7 left; distances run from it to the near side of the "
               "kerf.", 10.5)  # fmt: skip
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
        number = reading.numbers[cut["id"]]
        texts.append(f"{number}: {_place(reading, words, setting, cut)}")
    return [
        TOOLS.get(setting["tool"], setting["tool"]),
        reading.mark(setting["piece"]),
        lies,
        "; ".join(texts),
        _gives(reading, cuts),
    ]


def _place(reading: Script, words: Words, setting: Mapping[str, Any], cut: Mapping[str, Any]) -> str:
    """Where a cut goes: from the face, from the butt end, from the pith line, or by the lines drawn."""
    distance = from_face(reading, setting, cut)
    if distance is not None:
        return words.length(distance) + (" from the butt, kerf centre" if setting["tool"] == "crosscut" else "")
    if setting["tool"] != "rip" or not setting.get("against"):
        return "by its line"
    ends = from_pith(reading, setting, cut)
    if ends is None:
        return "by its line"
    sides = [f"{words.length(abs(one))} {'right' if one >= 0.0 else 'left'}" for one in ends]
    return f"kerf centre {sides[0]} of the pith line at the butt, {sides[1]} at the top"


def from_pith(reading: Script, setting: Mapping[str, Any], cut: Mapping[str, Any]) -> tuple[float, float] | None:
    """How far right of the pith a rip runs at butt and top: slab on the named face, seen facing the butt. [mm]"""
    for outward, _, made in reading.faces(setting["piece"]):
        if made == setting["against"]["face"]:
            right = np.cross(-outward, [-1.0, 0.0, 0.0])
            normal = np.array(cut["normal"], float)
            slope = float(normal @ right)
            if abs(slope) > 0.3:
                butt, top = (
                    float((cut["offset"] - normal @ face.pith) / slope) for face in reading.ends(setting["piece"])
                )
                return butt, top
    return None


def _gives(reading: Script, cuts: Sequence[Mapping[str, Any]]) -> str:
    """The pieces that are kept of a run of cuts, by kind."""
    used = {cut["piece"] for cut in cuts}
    kept: dict[str, list[str]] = {}
    for cut in cuts:
        for piece in (cut["above"], cut["below"]):
            if piece not in used and reading.pieces[piece]["kind"] != "offcut":
                kept.setdefault(reading.pieces[piece]["kind"], []).append(reading.mark(piece))
    return (
        "; ".join(
            f"{len(marks)} {kind}{'s' if len(marks) > 1 else ''}: {' '.join(marks)}" for kind, marks in kept.items()
        )
        or "offcuts"
    )


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
    """The butt end of a bolt with its resaw lines; both ends by tape from two corners of its newest sawn face."""
    butt, top = reading.ends(piece)
    corners = {face.name: _corners(reading, piece, face) for face in (butt, top)}
    cuts = [cut for setting in settings if _slanted(setting) for cut in reading.cuts_of(setting)]
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
    pages.write(pages.left, pages.y - DRAWING + 3.0, "Butt end, facing it. Draw every line on both ends first.", 9.0)
    pages.y -= DRAWING
