"""Pictures of a card, in true proportion: a slab from above with its billets, a bolt on its block at the band saw."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np

from pithline.outputs.cards.work import SawStep, Work, card_of
from pithline.outputs.cut_script.document import Array, Kind, Saw, ScriptCut, ScriptSetting
from pithline.outputs.cut_script.sawn_pieces import PieceFace, SawnPieces, Stretch
from pithline.outputs.cut_script.shop_measures import MeasuredFrom, Reference
from pithline.outputs.holding.arris import arris_at, arris_faces, blade_at
from pithline.outputs.holding.attitude import shown_faces
from pithline.outputs.holding.pose import FLAT_DEG, MachinePose, pose_of
from pithline.outputs.holding.props import holding_of
from pithline.outputs.holding.sketch import draw_holding
from pithline.outputs.palette import NEUTRAL, PartLook
from pithline.outputs.pdf.flow import Drawing
from pithline.outputs.pdf.page import width_of
from pithline.outputs.pdf.pen import CHAIN, DASHED, Pen
from pithline.outputs.print_job import PrintJob

MOST_HEIGHT = 54.0
"""Of a slab's picture. [pt]"""
LEFT, RIGHT, FOOT = 20.0, 30.0, 9.0
"""Room for the rips' numbers, for the faces' names, and above and below. [pt]"""
STATIONS = 9
"""Places along a slab that its outline is drawn through."""
SMALL, NAME = 6.5, 8.0
"""Type of numbers and notes, and of billets' names at most. [pt]"""
BOLT_HEIGHT = 84.0
"""Of a bolt's picture. [pt]"""
BESIDE = 30.0
"""Left and right of a bolt, for the names of its faces. [pt]"""
FLAT_ON = 0.9
"""Least cosine of a face with the upright for it to be the slab's own upper or lower side."""
TABLE_SAWS = (Saw.RIP, Saw.CROSSCUT)


class PictureOutline(NamedTuple):
    """A slab from above: stations (n,), least and greatest place across at each (n,)."""

    x: Array
    near: Array
    far: Array


def part_name(log: SawnPieces, plate: str) -> str:
    """Product and part of a plate, nothing said twice."""
    one = log.plates[plate]
    return one.part if one.part == one.product else f"{one.part}, {one.product}"


def outline_of(log: SawnPieces, piece: str, pose: MachinePose, stations: int = STATIONS) -> PictureOutline | None:
    """A piece from above as it lies; `None` where it has no length to show."""
    stretch = log.stretch(piece)
    x = np.linspace(stretch.low + 0.5, stretch.high - 0.5, stations)
    shapes = [log.section(piece, float(one), pose.right, pose.up) for one in x]
    held = [not one.is_empty for one in shapes]
    if sum(held) < 2:
        return None
    spans = np.array([(one.bounds[0], one.bounds[2]) for one in shapes if not one.is_empty])
    return PictureOutline(x[held], spans[:, 0], spans[:, 1])


def slab_plan(job: PrintJob, work: Work, looks: Mapping[str, PartLook], width: float) -> SlabPlan | None:
    """The picture, where the slab is ripped or crosscut at all."""
    first = next((one.setting for one in work.steps if isinstance(one, SawStep) and one.piece == work.piece and one.tool in TABLE_SAWS),
                 None)  # fmt: skip
    if first is None:
        return None
    pose = pose_of(job.log, first)
    outline = outline_of(job.log, work.piece, pose)
    return SlabPlan(job, work, (first, pose, outline), looks, width) if outline is not None else None


class SlabPlan(Drawing):
    """A slab from above, butt end at the left, as it lies for its first cut: rips, billets by the parts they give, faces."""

    def __init__(self, job: PrintJob, work: Work, lying: tuple[ScriptSetting, MachinePose, PictureOutline], looks: Mapping[str, PartLook],
                 width: float) -> None:  # fmt: skip
        self.first, self.pose, self.outline = lying
        wide = float(self.outline.far.max() - self.outline.near.min())
        long = float(np.ptp(self.outline.x))
        self.scale = min((width - LEFT - RIGHT) / long, (MOST_HEIGHT - FOOT) / wide)
        super().__init__(width, wide * self.scale + FOOT)
        self.job, self.log, self.work, self.looks = job, job.log, work, looks

    def place(self, x: float, across: float) -> Array:
        """A station and a place across it, on the page; right is down, for one who faces the butt end."""
        way = np.array([x - float(self.outline.x[0]), float(self.outline.near.min()) - across])
        return np.asarray(np.array([LEFT, self.height - 5.0]) + self.scale * way, float)

    def _strip(self, outline: PictureOutline) -> Array:
        near = [self.place(x, side) for x, side in zip(outline.x, outline.near, strict=True)]
        far = [self.place(x, side) for x, side in zip(outline.x, outline.far, strict=True)]
        return np.array([*near, *far[::-1]])

    def sketch(self, pen: Pen) -> None:
        """Outline, billets, rips with their numbers, ticks, faces."""
        pen.polygon(self._strip(self.outline), 1.1)
        self._billets(pen)
        self._rips(pen)
        self._edges(pen)
        if self.job.shop.rip_references.get(self.first.id) == Reference(MeasuredFrom.TICKS):
            ends = [
                self.place(float(end.pith[0]), float(end.pith @ self.pose.right))
                for end in self.log.ends(self.first.piece)
            ]
            for start, end in ((ends[0], ends[1]), (ends[1], ends[0])):
                way = (end - start) / max(float(np.hypot(*(end - start))), 1e-9)
                pen.line(start - 6.0 * way, start + 10.0 * way, 1.4)
            pen.line(ends[0], ends[1], 0.5, CHAIN)
            pen.text(ends[1] + np.array([8.0, -2.5]), "ticks", SMALL)

    def _across(self, cut: ScriptCut, x: float) -> float:
        """Where a rip's kerf runs at a station, half-way through the slab."""
        lying = self.job.shop.lying_face(self.first)
        height = float(lying.normal @ self.pose.up) * lying.offset if lying else 0.0
        return float(
            (cut.offset - cut.normal[0] * x - float(cut.normal @ self.pose.up) * height)
            / (cut.normal @ self.pose.right)
        )

    def _rips(self, pen: Pen) -> None:
        """Rip lines where they run, slanted ones slanted; those of the whole slab with their numbers at the butt."""
        shown = {place.number for step in self.work.steps if isinstance(step, SawStep) for place in step.places}
        last = np.inf
        for step in self.work.steps:
            if not isinstance(step, SawStep) or step.tool is not Saw.RIP:
                continue
            stretch: Stretch = self.log.stretch(step.piece)
            starts: list[tuple[Array, str]] = []
            for cut in self.log.cuts_of(step.setting):
                number = str(self.log.cut_numbers[cut.id])
                if number not in shown:
                    continue
                start = self.place(stretch.low, self._across(cut, stretch.low))
                pen.line(start, self.place(stretch.high, self._across(cut, stretch.high)), 0.8)
                starts.append((start, number))
            for spot, name in sorted(starts, key=lambda one: -float(one[0][1])):
                if step.piece != self.work.piece:
                    pen.text(spot + np.array([1.5, 1.0]), name, SMALL)
                    continue
                last = min(float(spot[1]) - 2.5, last - SMALL - 0.5)
                pen.line(spot, (spot[0] - 5.0, last + 2.3), 0.3)
                pen.text((spot[0] - 6.0, last), name, SMALL, bold=True, anchor=1.0)

    def _billets(self, pen: Pen) -> None:
        """Each piece that goes on to the band saw, or is kept as it is, in the looks of what it gives."""
        log, parted = self.log, {cut.piece for cut in self.log.cuts.values() if cut.tool in TABLE_SAWS}
        for piece in log.pieces.values():
            if piece.made_by is None or log.cuts[piece.made_by].tool not in TABLE_SAWS or piece.id in parted:
                continue
            if piece.kind is Kind.OFFCUT or card_of(log, piece.id) != self.work.piece:
                continue
            outline = outline_of(log, piece.id, self.pose, 2)
            if outline is None:
                continue
            box = self._strip(outline)
            pen.filled(box, self._look(piece.id), 1.0)
            wide, high = float(np.ptp(box[:, 0])), float(np.ptp(box[:, 1]))
            count = len(log.plates_from.get(piece.id, ()))
            text = piece.mark + (f" ×{count}" if count else "")
            size = min(NAME, 0.85 * high, 0.9 * wide / width_of(text, 1.0, True))
            if size >= 4.0:
                middle, half = box.mean(axis=0), width_of(text, size, True) / 2.0 + 1.0
                pen.box(middle - np.array([half, size / 2.0]), 2.0 * half, size, 0.0, gray=1.0)
                pen.text(middle - np.array([0.0, 0.36 * size]), text, size, bold=True, anchor=0.5)

    def _look(self, piece: str) -> PartLook:
        """The looks of the parts that a billet gives most of."""
        names = [part_name(self.log, one) for one in self.log.plates_from.get(piece, ())]
        return self.looks[max(sorted(set(names)), key=names.count)] if names else PartLook(NEUTRAL, 0)

    def _edges(self, pen: Pen) -> None:
        """The sawn faces along the slab's edges, by their numbers, at the top end."""
        x = float(self.outline.x[-1])
        middle = (float(self.outline.near[-1]) + float(self.outline.far[-1])) / 2.0
        sides: dict[bool, str] = {}
        for face in self._named_faces():
            sides.setdefault(float(face.normal @ self.pose.right) > 0.0, f"face {self.log.cut_numbers[face.cut]}")
        for right, text in sides.items():
            edge = float(self.outline.far[-1]) if right else float(self.outline.near[-1])
            spot = self.place(x, edge if abs(edge - middle) > 1.0 else middle)
            pen.text(spot + np.array([2.0, 0.0 if right else -SMALL]), text, SMALL)

    def _named_faces(self) -> list[PieceFace]:
        """The faces that rips of the slab are measured from, then those that can be seen along its edges."""
        references = [self.job.shop.rip_references.get(one.setting.id) for one in self.work.steps
                      if isinstance(one, SawStep) and one.piece == self.work.piece]  # fmt: skip
        named = [self.log.face(self.work.piece, one.face) for one in references if one is not None and one.face]
        seen = shown_faces(self.log, self.work.piece, self.pose, self.log.stretch(self.work.piece).middle)
        return [one for one in named if one is not None] + [
            one.face for one in seen if abs(float(one.face.normal @ self.pose.up)) < FLAT_ON
        ]


class BoltOnBlock(Drawing):
    """A bolt as it stands at the band saw: fence, block with its angle, blade lines with their numbers, arris A."""

    def __init__(self, job: PrintJob, setting: ScriptSetting, width: float) -> None:
        super().__init__(width, BOLT_HEIGHT)
        self.job, self.log, self.setting, self.holding = job, job.log, setting, holding_of(job.log, setting)

    def sketch(self, pen: Pen) -> None:
        """Table, fence and block, the bolt, where the blade runs."""
        section = self.holding.section
        title = f"{self.log.mark(self.setting.piece)}, facing the {self.holding.pose.end} end"
        pen.text((0.0, self.height - SMALL), title, SMALL, bold=True)
        if section is None:
            return
        points = np.vstack([section.points, *(prop.outline for prop in self.holding.props)])
        low, high = points.min(axis=0), points.max(axis=0)
        top = self.height - 2.0 * SMALL - 8.0
        scale = min((self.width - 2.0 * BESIDE) / float(high[0] - low[0]), (top - 8.0) / float(high[1]))

        def place(spots: Array) -> Array:
            return np.asarray(np.array([BESIDE, 6.0]) + (np.asarray(spots, float) - [low[0], 0.0]) * scale, float)

        pen.line((0.0, 6.0), (self.width, 6.0), 1.6)
        last = -np.inf
        for cut in sorted(self.log.cuts_of(self.setting), key=lambda one: blade_at(self.holding.pose, one, section.x)):
            blade = float(place(np.array([blade_at(self.holding.pose, cut, section.x), 0.0]))[0])
            across = min(max(blade, 0.0), self.width)  # a blade beside the piece stands at the picture's edge
            pen.line((across, 3.0), (across, top), 0.9, DASHED)
            name = str(self.log.cut_numbers[cut.id])
            at = max(across - width_of(name, SMALL, True) / 2.0, last + 2.0)
            pen.text((at, top + 1.5), name, SMALL, bold=True)
            last = at + width_of(name, SMALL, True)
        draw_holding(pen, self.holding, place, self.job.fmt)
        faces = arris_faces(self.holding, self.setting)
        if faces is not None and self.setting.against is not None and self.setting.against.angle > FLAT_DEG:
            pen.text(place(arris_at(self.holding.pose, faces, section.x)) + np.array([1.5, 2.0]), "A", NAME, bold=True)
