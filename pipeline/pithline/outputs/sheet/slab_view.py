"""A slab seen from above as it lies on the table: its rips, its crosscuts and the billets they leave."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pithline.outputs.cut_script.document import Array, Kind, ScriptSetting, Tool
from pithline.outputs.cut_script.sawn_log import SawnLog, rightward
from pithline.outputs.cut_script.shop_measures import MeasuredFrom, Reference
from pithline.outputs.pdf.flow import Drawing
from pithline.outputs.pdf.page import width_of
from pithline.outputs.pdf.pen import CHAIN, Pen
from pithline.outputs.print_job import PrintJob

HEIGHT = 150.0
"""The most the picture takes. [pt]"""
STATIONS = 9
"""Places along the slab that its outline is drawn through."""
LEFT, NOTE = 30.0, 20.0
"""Room left of the slab for the rips' numbers, and under it for the note. [pt]"""
TABLE_SAWS = (Tool.RIP, Tool.CROSSCUT)


@dataclass(frozen=True, slots=True, eq=False)
class _Lying:
    """A slab as it lies: across it to the right, up, and the station and place of its upper left corner."""

    right: Array
    up: Array
    start: float
    across: float


def slab_view(job: PrintJob, slab: str, settings: Sequence[ScriptSetting], width: float) -> SlabView | None:
    """The picture, where the slab is ripped or crosscut at all."""
    log = job.log
    first = next((one for one in settings if one.piece == slab and one.tool in TABLE_SAWS), None)
    lying = job.shop.lying_face(first) if first else None
    if first is None or lying is None:
        return None
    up, stretch = -lying.normal, log.stretch(slab)
    stations = np.linspace(stretch.low, stretch.high, STATIONS)
    spans = np.array([_span(log, slab, float(x), rightward(up), up) for x in stations])
    if not np.isfinite(spans).all():
        return None
    return SlabView(job, first, settings, (stations, spans), width)


class SlabView(Drawing):
    """A slab with its rips and billets; `outline` is stations (n,) and least and greatest place across (n, 2)."""

    def __init__(
        self, job: PrintJob, first: ScriptSetting, settings: Sequence[ScriptSetting], outline: tuple[Array, Array], width: float
    ) -> None:
        stations, spans = outline
        self.scale = min((width - 40.0) / float(np.ptp(stations)), (HEIGHT - 26.0) / float(np.ptp(spans)))
        super().__init__(width, float(np.ptp(spans)) * self.scale + 26.0)
        self.job, self.log, self.first, self.settings, self.outline = job, job.log, first, settings, outline
        lying = job.shop.lying_face(first)
        if lying is None:
            raise ValueError(f"{first.id} lies on no face")
        self.lies = _Lying(rightward(-lying.normal), -lying.normal, float(stations[0]), float(spans.min()))

    def place(self, x: float, across: float) -> Array:
        """A station and a place across it, on the page."""
        way = np.array([x - self.lies.start, self.lies.across - across])
        return np.array([LEFT, self.height - 6.0]) + self.scale * way

    def sketch(self, pen: Pen) -> None:
        """Outline, rips, billets, ticks."""
        stations, spans = self.outline
        near, far = ([self.place(x, span[side]) for x, span in zip(stations, spans, strict=True)] for side in (0, 1))
        pen.polygon(np.array([*near, *far[::-1]]), 1.2)
        self._rips(pen)
        self._billets(pen)
        if self.job.shop.rip_references.get(self.first.id) == Reference(MeasuredFrom.TICKS):
            ends = [self.place(float(end.pith[0]), float(end.pith @ self.lies.right)) for end in self.log.ends(self.first.piece)]
            pen.line(ends[0] - [8.0, 0.0], ends[1] + [8.0, 0.0], 0.8, CHAIN)
            pen.text(ends[1] + [2.0, 3.0], "tick", 7.0)
        face = self.log.cut_numbers[self.first.against.face] if self.first.against else ""
        note = f"From above, butt end at the left, lying on face {face}. Boxes: billets with their number of plates."
        pen.text((LEFT, 5.0), note, 8.0)

    def _rips(self, pen: Pen) -> None:
        """Rip lines along the piece that each parts; those of the whole slab with their numbers at the butt."""
        last, right = np.inf, self.lies.right
        for setting in (one for one in self.settings if one.tool is Tool.RIP):
            stretch = self.log.stretch(setting.piece)
            placed: list[tuple[Array, str]] = []
            for cut in self.log.cuts_of(setting):
                pith = self.log.ends(setting.piece).butt.pith
                across = float(cut.offset - cut.normal @ pith) / float(cut.normal @ right) + float(pith @ right)
                start = self.place(stretch.low, across)
                pen.line(start, self.place(stretch.high, across), 0.5)
                placed.append((start, str(self.log.cut_numbers[cut.id])))
            if setting.piece != self.first.piece:
                continue
            for (x, y), name in sorted(placed, key=lambda one: -float(one[0][1])):
                last = min(y - 2.5, last - 8.0)
                pen.line((x, y), (x - 8.0, last + 2.5), 0.3)
                pen.text((x - 10.0, last), name, 7.0, bold=True, anchor=1.0)

    def _billets(self, pen: Pen) -> None:
        """A box for each piece that goes on to the band saw, or is kept as it is."""
        log, plates = self.log, self.log.plates_in
        parted = {cut.piece for cut in log.cuts.values() if cut.tool in TABLE_SAWS}
        for piece in log.pieces.values():
            if piece.made_by is None or log.cuts[piece.made_by].tool not in TABLE_SAWS or piece.id in parted:
                continue
            if piece.kind is Kind.OFFCUT or log.from_mill(piece.id) != self.first.piece:
                continue
            stretch = log.stretch(piece.id)
            near, far = _span(log, piece.id, stretch.middle, self.lies.right, self.lies.up)
            if not near < far:
                continue
            corner, other = self.place(stretch.low, far), self.place(stretch.high, near)
            wide, high = (float(one) for one in other - corner)
            pen.box(corner, wide, high, 1.3)
            text = piece.mark + (f": {plates[piece.id]}" if piece.id in plates else "")
            size = min(9.0, 0.8 * high, 0.9 * wide / width_of(text, 1.0, True))
            if size >= 4.0:
                pen.text((corner + other) / 2.0 - [0.0, 0.36 * size], text, size, bold=True, anchor=0.5)


def _span(log: SawnLog, piece: str, x: float, right: Array, up: Array) -> tuple[float, float]:
    """Least and greatest place across of a piece at a station; not finite where it has no wood there."""
    shape = log.section(piece, x, right, up)
    return (np.inf, -np.inf) if shape.is_empty else (shape.bounds[0], shape.bounds[2])
