"""What a cut off the mill is measured from: a sawn face, the ticks of the pith line, or the piece's own butt end."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property
from typing import NamedTuple

import numpy as np
from shapely.geometry import LineString, Point

from pithline.outputs.cut_script.document import Array, Saw, ScriptCut, ScriptSetting
from pithline.outputs.cut_script.sawn_pieces import FAR, LEVEL, UPRIGHT, PieceFace, SawnPieces, rightward, rings

PARALLEL = 1.0 - 1e-5
"""Least cosine at which a face and a cut count as parallel: a quarter of a degree."""
OPPOSITE = 0.95
"""Least cosine at which two faces count as a piece's two sides: 18°, for sides lean by lifts and rolls but little."""
SIDEWAYS = 0.3
"""Least share of a face's normal that lies across the piece, for its edge to be measured from."""
BOUNDS = 3.0
"""A face bounds a piece where at least this much of its section's edge lies on it. [mm]"""
JUST_INSIDE = 0.01
"""How far inside a face a line is drawn that must lie within the piece. [mm]"""
ON_THE_PIECE = 1.0
"""An arris that lies within this of a piece's section is still there. [mm]"""


class MeasuredFrom(StrEnum):
    """What rips are measured from."""

    FACE = "face"
    ARRIS = "arris"
    TICKS = "ticks"
    CORNER = "corner"


@dataclass(frozen=True, slots=True)
class Reference:
    """What the rips of a setting are measured from.

    A sawn `face` (the cut that left it) parallel to the cuts; the arris where a slanted sawn face meets the piece's
    `side`, "upper" or "lower"; the line between the ticks on its two ends; or, where the piece has none of these, the left
    corner of its lower side at each end.
    """

    edge: MeasuredFrom
    face: str = ""
    side: str = ""


class AtEnds(NamedTuple):
    """A distance at the butt and at the top end of a piece. [mm]"""

    butt: float
    top: float


class SawnPlane(NamedTuple):
    """normal·X = offset."""

    normal: Array
    offset: float


@dataclass(frozen=True, eq=False)
class ShopMeasures:
    """Where the saws of the shop cut, as a tape or a fence has it."""

    log: SawnPieces

    def lying_face(self, setting: ScriptSetting) -> PieceFace | None:
        """The face a piece lies on or against."""
        return self.log.face(setting.piece, setting.against.face) if setting.against else None

    def mill_setting_of(self, piece: str) -> ScriptSetting | None:
        """The mill setting that a piece came off; `None` for a log."""
        made = self.log.pieces[piece].made_by
        if made is None or self.log.cuts[made].tool is not Saw.MILL:
            return None
        return next(one for one in self.log.settings if one.id == self.log.cuts[made].setting)

    # -- ticks ----------------------------------------------------------------------------------------------------

    def tick_plane(self, setting: ScriptSetting) -> SawnPlane:
        """The plane through the pith at both ends that stands upright in a mill setting."""
        if setting.up is None:
            raise ValueError(f"{setting.id} is not on the mill")
        butt, top = self.log.ends(setting.piece)
        normal = np.cross(top.pith - butt.pith, setting.up)
        normal /= np.linalg.norm(normal)
        return SawnPlane(normal, float(normal @ butt.pith))

    def tick_name(self, setting: ScriptSetting) -> str:
        """What a mill setting's tick line is called where the lines are drawn."""
        return f"T{self.log.mill_numbers[setting.id]}"

    def ticked_settings(self, mill: Sequence[ScriptSetting]) -> frozenset[str]:
        """Ids of those mill settings whose slabs are ripped by ticks."""
        return frozenset(one.id for one in mill if self.ripped_by_ticks(one))

    def ripped_by_ticks(self, mill: ScriptSetting) -> tuple[str, ...]:
        """The pieces off a mill setting that are still to be ripped by the ticks on their ends."""
        return self._ripped_by_ticks.get(mill.id, ())

    @cached_property
    def _ripped_by_ticks(self) -> dict[str, tuple[str, ...]]:
        found: dict[str, tuple[str, ...]] = {}
        for setting in self.log.ahead:
            if setting.tool is Saw.RIP and self.rip_references[setting.id] == Reference(MeasuredFrom.TICKS):
                made = self.mill_setting_of(setting.piece)
                if made is not None and self.log.from_mill(setting.piece) == setting.piece:
                    found[made.id] = (*found.get(made.id, ()), setting.piece)
        return found

    def _is_ticked(self, piece: str) -> bool:
        """Whether both ends of a piece, fresh from the mill, hold a stretch of its setting's tick line."""
        setting = self.mill_setting_of(piece)
        if setting is None:
            return False
        for end in self.log.ends(piece):
            line = end.line(*self.tick_plane(setting))
            if line is None or self.log.part_of_end(piece, end).intersection(LineString(line)).length < BOUNDS:
                return False
        return True

    # -- rips -----------------------------------------------------------------------------------------------------

    @cached_property
    def rip_references(self) -> dict[str, Reference | None]:
        """By the id of every rip setting, what its cuts are measured from; `None` of a piece that lies on no face.

        A parallel sawn edge comes first, that on the side kept longest before the other; then the ticks; then an arris; then the
        corners.
        """
        return {
            one.id: self.rip_reference(one, self.log.cuts_of(one)) for one in self.log.settings if one.tool is Saw.RIP
        }

    def rip_reference(self, setting: ScriptSetting, cuts: Sequence[ScriptCut]) -> Reference | None:
        """What these cuts of a rip setting are measured from; see `rip_references`."""
        lying = self.lying_face(setting)
        if not cuts or lying is None:
            return None
        normal = cuts[0].normal
        edges = [one for one in self._edges(setting.piece, lying) if abs(one.normal @ normal) > SIDEWAYS]
        parallel = [one for one in edges if abs(one.normal @ normal) > PARALLEL]
        if parallel:
            return Reference(MeasuredFrom.FACE, min(parallel, key=lambda one: float(one.normal @ normal)).cut)
        if self._is_ticked(setting.piece):
            return Reference(MeasuredFrom.TICKS)
        return self._arris(setting, lying, edges) or Reference(MeasuredFrom.CORNER)

    def _arris(self, setting: ScriptSetting, lying: PieceFace, edges: Sequence[PieceFace]) -> Reference | None:
        """The first arris of the upper side, else of the lower, that the piece really has half-way along it."""
        x, up = self.log.stretch(setting.piece).middle, -lying.normal
        right = rightward(up)
        shape = self.log.section(setting.piece, x, right, up)
        for side in ("upper", "lower"):
            plane = self._side(setting, lying, side)
            if plane is None:
                continue
            for edge in edges:
                spot = _meet(x, SawnPlane(edge.normal, edge.offset), plane)
                if shape.distance(Point(float(spot @ right), float(spot @ up))) < ON_THE_PIECE:
                    return Reference(MeasuredFrom.ARRIS, edge.cut, side)
        return None

    def rip_distances(self, setting: ScriptSetting, reference: Reference, cut: ScriptCut) -> AtEnds:
        """Where a rip runs at the butt and at the top end of its piece. [mm]

        From a face: to the near side of the kerf. From an arris: to the kerf's centre, on the arris's side. From the
        ticks and from the left corners: to the kerf's centre, positive to the right of someone facing the butt.

        Raises
        ------
        ValueError
            If the piece lies on no face, or has no edge of that name.
        """
        piece, lying = setting.piece, self.lying_face(setting)
        if lying is None:
            raise ValueError(f"{setting.id} lies on no face")
        right = rightward(-lying.normal)
        if reference.edge is MeasuredFrom.TICKS:
            return AtEnds(
                *(float((cut.offset - cut.normal @ end.pith) / (cut.normal @ right)) for end in self.log.ends(piece))
            )
        if reference.edge is MeasuredFrom.CORNER:
            return AtEnds(*(self._from_left_corner(piece, lying, cut, x) for x in self._near_ends(piece)))
        edge = self.log.face(piece, reference.face)
        if edge is None:
            raise ValueError(f"{piece} has no face of {reference.face}")
        if reference.edge is MeasuredFrom.FACE:
            away = float(edge.offset - cut.offset * np.sign(edge.normal @ cut.normal)) - cut.kerf / 2.0
            return AtEnds(away, away)
        side = self._side(setting, lying, reference.side)
        if side is None:
            raise ValueError(f"{piece} has no {reference.side} sawn side")
        spots = [_meet(x, SawnPlane(edge.normal, edge.offset), side) for x in self.log.stretch(piece)]
        return AtEnds(*(abs(float((cut.offset - cut.normal @ spot) / (cut.normal @ right))) for spot in spots))

    def _near_ends(self, piece: str) -> tuple[float, float]:
        stretch = self.log.stretch(piece)
        return stretch.low + 1.0, stretch.high - 1.0

    def _from_left_corner(self, piece: str, lying: PieceFace, cut: ScriptCut, x: float) -> float:
        """From the left end of a piece's lower side at station x to the kerf's centre, along that side. [mm]"""
        up = -lying.normal
        right = rightward(up)
        points = np.vstack(rings(self.log.section(piece, x, right, up)) or [np.zeros((1, 2))])
        left = float(points[points[:, 1] < points[:, 1].min() + ON_THE_PIECE, 0].min())
        height = float(points[:, 1].min())
        return float((cut.offset - cut.normal[0] * x - float(cut.normal @ up) * height) / (cut.normal @ right)) - left

    def _edges(self, piece: str, lying: PieceFace) -> list[PieceFace]:
        """Sawn faces along a piece, those it lies on or is parallel to left out, that bound its section."""
        up = -lying.normal
        right, x = rightward(up), self.log.stretch(piece).middle
        shape = self.log.section(piece, x, right, up)
        found = []
        for face in self.log.faces(piece):
            in_face = np.array([face.normal @ right, face.normal @ up])
            size = float(np.hypot(*in_face))
            if face.across_log or abs(face.normal @ lying.normal) > OPPOSITE or size < SIDEWAYS:
                continue
            along_log = (face.normal - in_face[0] * right - in_face[1] * up)[0]
            n, d = in_face / size, (face.offset - along_log * x) / size - JUST_INSIDE
            along = np.array([-n[1], n[0]])
            if shape.intersection(LineString([n * d - FAR * along, n * d + FAR * along])).length > BOUNDS:
                found.append(face)
        return found

    def _side(self, setting: ScriptSetting, lying: PieceFace, side: str) -> SawnPlane | None:
        """The sawn face a piece lies on ("lower") or the one opposite ("upper"); `None` where that side is bark."""
        if side == "lower":
            return SawnPlane(lying.normal, lying.offset)
        opposite = (one for one in self.log.faces(setting.piece) if one.normal @ lying.normal < -OPPOSITE)
        return next((SawnPlane(one.normal, one.offset) for one in opposite), None)

    # -- crosscuts and slices ---------------------------------------------------------------------------------------

    def from_butt(self, setting: ScriptSetting, cut: ScriptCut) -> float:
        """A crosscut's kerf centre from the butt end of its setting's piece, along the middle of the piece. [mm]"""
        piece, butt = setting.piece, self.log.ends(setting.piece).butt
        end = SawnPlane(butt.normal, float(butt.normal @ butt.pith))
        for face in self.log.faces(piece):
            if face.across_log and face.normal[0] < 0.0:
                end = SawnPlane(face.normal, face.offset)
                break
        middle = self._middle(piece)
        start = float((end.offset - end.normal @ middle) / (end.normal @ cut.normal))
        return float((cut.offset - cut.normal @ middle) / (cut.normal @ cut.normal)) - start

    def from_fence(self, setting: ScriptSetting, cut: ScriptCut) -> float | None:
        """From the face against the fence to the near side of the kerf, where the two are parallel; else `None`. [mm]"""
        lying = self.lying_face(setting)
        if lying is None or abs(lying.normal @ cut.normal) < PARALLEL:
            return None
        return float(lying.offset - cut.offset * np.sign(lying.normal @ cut.normal)) - cut.kerf / 2.0

    def _middle(self, piece: str) -> Array:
        """A point on the middle line of a piece, half-way along it."""
        x = self.log.stretch(piece).middle
        found = rings(self.log.section(piece, x, LEVEL, UPRIGHT))
        if not found:
            return self.log.ends(piece).butt.pith
        ring = max(found, key=len)
        across, rise = (ring.min(axis=0) + ring.max(axis=0)) / 2.0
        return np.array([x, -across, rise])


def _meet(x: float, one: SawnPlane, other: SawnPlane) -> Array:
    """The point (3,) of two planes' common line at station x."""
    matrix = np.array([[1.0, 0.0, 0.0], one.normal, other.normal])
    return np.linalg.solve(matrix, np.array([x, one.offset, other.offset]))
