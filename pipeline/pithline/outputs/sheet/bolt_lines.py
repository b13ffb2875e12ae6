"""A bolt resawn by lines drawn on its ends: the lines by tape from two corners, and the picture of its butt end."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from reportlab.platypus import Flowable
from shapely.geometry import LineString

from pithline.outputs.cut_script.document import Array, ScriptCut, ScriptSetting, Tool
from pithline.outputs.cut_script.sawn_log import SawnLog, rings
from pithline.outputs.ends import EndFace
from pithline.outputs.pdf.flow import Drawing, shares, table
from pithline.outputs.pdf.page import measure_of
from pithline.outputs.pdf.pen import Pen
from pithline.outputs.print_job import PrintJob

HEIGHT = 190.0
"""Of the drawing. [pt]"""
FLAT_DEG = 0.05
"""A piece at less than this to the blade lies flat to the fence."""
LEAST_EDGE = 1.0
"""A face leaves an end where its edge there is longer than this. [mm]"""
INSIDE = 1e-6
"""How far inside a face its edge is looked for. [mm]"""


def slanted(setting: ScriptSetting) -> bool:
    """Whether a resaw setting's cuts are not parallel to the face the piece lies against."""
    return setting.tool is Tool.RESAW and (setting.against is None or abs(setting.against.angle) > FLAT_DEG)


def bolt_lines(job: PrintJob, piece: str, settings: Sequence[ScriptSetting]) -> list[Flowable]:
    """The butt end of a bolt with its resaw lines; both ends by tape from two corners of its newest sawn face."""
    log, ends = job.log, job.log.ends(piece)
    corners = [corners_of(log, piece, end) for end in ends]
    cuts = [cut for setting in settings if slanted(setting) for cut in log.cuts_of(setting)]
    butt_corners = corners[0]
    if not cuts or butt_corners is None or corners[1] is None:
        return []
    rows = []
    for cut in cuts:
        for end, two in zip(ends, corners, strict=True):
            points = in_piece(log, piece, end, cut)
            if points is not None and two is not None:
                taped = [job.fmt.length(float(np.hypot(*(point - corner)))) for point in points for corner in two]
                rows.append([str(log.cut_numbers[cut.id]), end.name, *taped])
    width = measure_of(job.paper)
    head = ["Line", "End", "Outer point from A", "from B", "Inner point from A", "from B"]
    return [
        BoltEnd(log, piece, butt_corners, cuts, width),
        table(head, rows, shares(width, 10, 12, 22, 17, 22, 17), 9.5),
    ]


def corners_of(log: SawnLog, piece: str, end: EndFace) -> Array | None:
    """A, nearer the pith, and B, farther: where the piece's newest sawn face leaves an end face; (2, 2) or `None`."""
    part = log.part_of_end(piece, end)
    for face in log.faces(piece):
        line = end.line(face.normal, face.offset - INSIDE)
        crossed = part.intersection(LineString(line)) if line is not None else None
        if isinstance(crossed, LineString) and crossed.length > LEAST_EDGE:
            points = np.asarray(crossed.coords)[[0, -1]]
            return np.asarray(points[np.argsort(np.hypot(points[:, 0], points[:, 1]))], float)
    return None


def in_piece(log: SawnLog, piece: str, end: EndFace, cut: ScriptCut) -> Array | None:
    """Outer and inner point (2, 2) of a cut's line within a piece's end; `None` where it misses it."""
    line = end.line(cut.normal, cut.offset)
    if line is None:
        return None
    crossed = log.part_of_end(piece, end).intersection(LineString(line))
    if crossed.is_empty or not isinstance(crossed, LineString):
        return None
    points = np.asarray(crossed.coords)[[0, -1]]
    return np.asarray(points[np.argsort(-np.hypot(points[:, 0], points[:, 1]))], float)


class BoltEnd(Drawing):
    """The butt end of a bolt, facing it, with its corners A and B and its lines."""

    def __init__(self, log: SawnLog, piece: str, corners: Array, cuts: Sequence[ScriptCut], width: float) -> None:
        super().__init__(width, HEIGHT)
        self.log, self.piece, self.corners, self.cuts = log, piece, corners, cuts

    def sketch(self, pen: Pen) -> None:
        """Outline, corners, numbered lines."""
        end = self.log.ends(self.piece).butt
        outlines = rings(self.log.part_of_end(self.piece, end))
        points = np.vstack(outlines)
        low, high = points.min(axis=0), points.max(axis=0)
        size = np.maximum(high - low, 1.0)
        scale = min((HEIGHT - 44.0) / size[1], self.width * 0.7 / size[0])
        origin = np.array([30.0, 28.0])
        pen.outlines((origin + (ring - low) * scale for ring in outlines), 1.3)
        middle, placed = origin + size * scale / 2.0, []
        for name, spot in zip("AB", origin + (self.corners - low) * scale, strict=True):
            placed.append(spot + 9.0 * _toward(spot, middle))
            pen.text(placed[-1] - 4.0, name, 11.0, bold=True)
        for cut in self.cuts:
            found = in_piece(self.log, self.piece, end, cut)
            if found is None:
                continue
            far, near = origin + (found - low) * scale
            pen.line(far, near, 0.9)
            spot = far + 8.0 * _toward(far, near)
            if all(abs(spot[0] - one[0]) > 14.0 or abs(spot[1] - one[1]) > 10.0 for one in placed):
                pen.text(spot - [4.0, 3.0], str(self.log.cut_numbers[cut.id]), 8.0, bold=True)
                placed.append(spot)
        note = "Butt end, facing it. A, nearer the pith, and B: corners of its newest sawn face. Draw all lines on both ends first."
        pen.text((0.0, 3.0), note, 8.0)


def _toward(spot: Array, away_from: Array) -> Array:
    """Unit vector (2,) to a spot from another."""
    way = spot - away_from
    return np.asarray(way / max(float(np.hypot(*way)), 1e-9), float)
