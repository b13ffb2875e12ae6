"""A slab seen from above as it lies on the table: its rips, its crosscuts and the billets they leave."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from pithline.outputs.paper import Pages, width_of
from pithline.outputs.reading import Script
from pithline.outputs.sheet.lines import polygon
from pithline.outputs.sheet.measured import Reference, lying_face, rightward, rip_reference

DRAWING = 150.0  # pt, the most the picture takes
STATIONS = 9


def slab_view(pages: Pages, reading: Script, piece: str, settings: Sequence[Mapping[str, Any]]) -> None:
    """The picture, where the slab is ripped or crosscut at all."""
    first = next((one for one in settings if one["piece"] == piece and one["tool"] in ("rip", "crosscut")), None)
    lying = lying_face(reading, first) if first else None
    if first is None or lying is None:
        return
    right, up = rightward(lying[0]), -lying[0]
    low, high = reading.stretch(piece)
    stations = np.linspace(low, high, STATIONS)
    spans = np.array([_span(reading, piece, x, right, up) for x in stations])
    if not np.isfinite(spans).all():
        return
    scale = min((pages.measure - 40.0) / (high - low), (DRAWING - 26.0) / float(np.ptp(spans)))
    height = float(np.ptp(spans)) * scale + 26.0
    pages.room(height)
    origin = np.array([pages.left + 30.0, pages.y - 6.0])

    def spot(x: float, across: float) -> np.ndarray:
        return origin + scale * np.array([x - low, float(spans.min()) - across])

    canvas = pages.canvas
    canvas.setLineWidth(1.2)
    outline = [spot(x, s[0]) for x, s in zip(stations, spans, strict=True)]
    polygon(canvas, np.array(outline + [spot(x, s[1]) for x, s in zip(stations, spans, strict=True)][::-1]))
    _rips(pages, reading, settings, piece, right, spot)
    _billets(pages, reading, piece, right, up, spot, scale)
    if rip_reference(reading, first) == Reference("ticks"):
        ends = [spot(face.pith[0], float(face.pith @ right)) for face in reading.ends(piece)]
        canvas.setLineWidth(0.8)
        canvas.setDash([8, 2, 2, 2])
        canvas.line(*(ends[0] - [8.0, 0.0]), *(ends[1] + [8.0, 0.0]))
        canvas.setDash()
        pages.write(ends[1][0] + 2.0, ends[1][1] + 3.0, "tick", 7.0)
    face = reading.numbers[first["against"]["face"]]
    note = f"From above, butt end at the left, lying on face {face}. Boxes: billets with their number of plates."
    pages.write(pages.left + 30.0, pages.y - height + 5.0, note, 8.0)
    pages.y -= height


def _span(reading: Script, piece: str, x: float, right: np.ndarray, up: np.ndarray) -> tuple[float, float]:
    """Least and greatest place across of a piece at a station; not finite where it has no wood there."""
    shape = reading.section(piece, float(x), right, up)
    return (shape.bounds[0], shape.bounds[2]) if not shape.is_empty else (np.inf, -np.inf)


def _rips(pages: Pages, reading: Script, settings: Sequence[Mapping[str, Any]], slab: str, right: np.ndarray,
          spot: Any) -> None:  # fmt: skip
    """Rip lines along the piece that each parts; those of the whole slab with their numbers at the butt."""
    last = np.inf
    for setting in (one for one in settings if one["tool"] == "rip"):
        x0, x1 = reading.stretch(setting["piece"])
        placed = []
        for cut in reading.cuts_of(setting):
            normal = np.array(cut["normal"], float)
            pith = reading.ends(slab)[0].pith
            across = float(cut["offset"] - normal @ pith) / float(normal @ right) + float(pith @ right)
            pages.canvas.setLineWidth(0.5)
            pages.canvas.line(*spot(x0, across), *spot(x1, across))
            placed.append((spot(x0, across), str(reading.numbers[cut["id"]])))
        if setting["piece"] != slab:
            continue
        for (x, y), name in sorted(placed, key=lambda one: -one[0][1]):
            last = min(y - 2.5, last - 8.0)
            pages.canvas.setLineWidth(0.3)
            pages.canvas.line(x, y, x - 8.0, last + 2.5)
            pages.write(x - 10.0 - width_of(name, 7.0, True), last, name, 7.0, bold=True)


def _billets(pages: Pages, reading: Script, slab: str, right: np.ndarray, up: np.ndarray, spot: Any,
             scale: float) -> None:  # fmt: skip
    """A box for each piece that goes on to the band saw, or is kept as it is."""
    parted = {cut["piece"] for cut in reading.cuts.values() if cut["tool"] in ("rip", "crosscut")}
    plates = reading.plates_in
    for piece in reading.pieces.values():
        made = piece.get("made_by")
        if not made or reading.cuts[made]["tool"] not in ("rip", "crosscut") or piece["id"] in parted:
            continue
        if piece["kind"] == "offcut" or reading.from_mill(piece["id"]) != slab:
            continue
        x0, x1 = reading.stretch(piece["id"])
        near, far = _span(reading, piece["id"], round((x0 + x1) / 2.0, -1), right, up)
        if not near < far:
            continue
        corner, other = spot(x0, far), spot(x1, near)
        pages.canvas.setLineWidth(1.3)
        pages.canvas.rect(*corner, *(other - corner))
        text = reading.mark(piece["id"]) + (f": {plates[piece['id']]}" if piece["id"] in plates else "")
        size = min(9.0, 0.8 * (far - near) * scale, 0.9 * (x1 - x0) * scale / width_of(text, 1.0, True))
        if size >= 4.0:
            middle = (corner + other) / 2.0
            pages.write(middle[0] - width_of(text, size, True) / 2.0, middle[1] - 0.36 * size, text, size, bold=True)
