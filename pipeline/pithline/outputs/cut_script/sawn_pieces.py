"""The log as a cut script saws it: faces, ends, sections and sizes of its pieces."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np
from shapely import polygons
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from pithline.logmodel.model import EndPlane, LogModel, clock_angles, radius_at
from pithline.outputs.cut_script.document import Array
from pithline.outputs.cut_script.kept import kept
from pithline.outputs.cut_script.tree import PieceTree
from pithline.outputs.ends import EndFace, end_face

FAR = 1.0e5
"""Farther than any log reaches: half planes are drawn as rectangles of this size. [mm]"""
ACROSS = 0.7
"""A face whose normal lies along the log by more than this was left by a crosscut (cosine of 45°)."""
PARALLEL_PLANES, ON_PLANE = 1e-6, 1e-3
"""A face whose normal lies in a section's plane by no more than the first part bounds nothing there; a piece reaches up to its own
end, on which a face lies within the second. [mm]"""
LEVEL = np.array([0.0, -1.0, 0.0])
"""To the right of someone who faces the butt end of the log as scanned."""
UPRIGHT = np.array([0.0, 0.0, 1.0])
"""Up, of the log as scanned."""


class PieceFace(NamedTuple):
    """A face that a cut left: normal·X = offset with `normal` (3,) outwards, and the id of the cut."""

    normal: Array
    offset: float
    cut: str

    @property
    def across_log(self) -> bool:
        """Whether a crosscut left it: then it is an end of its piece and bounds no section."""
        return bool(abs(self.normal[0]) > ACROSS)


class Ends(NamedTuple):
    """Butt and top face of a log, whole or crosscut."""

    butt: EndFace
    top: EndFace


class Size(NamedTuple):
    """Length, width and thickness of a piece. [mm]"""

    length: float
    width: float
    thickness: float


class Stretch(NamedTuple):
    """Least and greatest station of a piece. [mm]"""

    low: float
    high: float

    @property
    def length(self) -> float:
        """From end to end. [mm]"""
        return self.high - self.low

    @property
    def middle(self) -> float:
        """The station half-way, to 10 mm: pieces of one length share their sections."""
        return round((self.low + self.high) / 2.0, -1)


@dataclass(frozen=True, eq=False)
class SawnPieces(PieceTree):
    """A cut script with the shapes that its cuts leave; bark and envelope count as the piece's own."""

    _envelopes: dict[float, Array] = field(default_factory=dict, repr=False)
    """Points of the envelope by station, kept: pages ask for the same stations again and again."""
    _faces: dict[str, tuple[PieceFace, ...]] = field(default_factory=dict, repr=False)
    _sections: dict[tuple[str, float, bytes, bytes], BaseGeometry] = field(default_factory=dict, repr=False)
    """By piece, station and both directions; kept for the same reason."""

    @property
    def model(self) -> LogModel:
        """The log model that the script carries."""
        return self.script.model

    @property
    def scale_drop(self) -> float:
        """How far the mill's scale reads under the kerf's centre. [mm]"""
        mill = self.script.inputs.mill
        return mill.kerf / 2.0 if mill.scale_reads == "lower" else 0.0

    def faces(self, piece: str) -> tuple[PieceFace, ...]:
        """The sawn faces of a piece, the newest first; some may have been cut away since."""
        if piece not in self._faces:
            self._faces[piece] = tuple(
                PieceFace(sign * cut.normal, sign * cut.offset - cut.kerf / 2.0, cut.id)
                for one, cut in self.made_by(piece)
                for sign in (-1.0 if cut.above == one else 1.0,)
            )
        return self._faces[piece]

    def face(self, piece: str, cut: str) -> PieceFace | None:
        """The face of a piece that a cut left; `None` where it has no such face."""
        return next((one for one in self.faces(piece) if one.cut == cut), None)

    @cached_property
    def _ends(self) -> dict[str, Ends]:
        return {log: self._ends_of(log) for log in dict.fromkeys(self.own_log(one) for one in self.pieces)}

    def _ends_of(self, log: str) -> Ends:
        planes = {"butt": self.model.butt, "top": self.model.top}
        for face in reversed(self.faces(log)):
            planes["butt" if face.normal[0] < 0.0 else "top"] = EndPlane(face.normal * face.offset, face.normal)
        return Ends(*(end_face(self.model, name, plane) for name, plane in planes.items()))

    def ends(self, piece: str) -> Ends:
        """Butt and top face of the log, whole or crosscut, that a piece belongs to."""
        return self._ends[self.own_log(piece)]

    def part_of_end(self, piece: str, end: EndFace) -> BaseGeometry:
        """What of an end face belongs to a piece, in face coordinates."""
        shape: BaseGeometry = Polygon(end.over_bark).buffer(0.0)
        for face in self.faces(piece):
            in_face = (float(face.normal @ end.right), float(face.normal @ end.up))
            shape = half_of(shape, in_face, face.offset - float(face.normal @ end.pith))
        return shape

    def section(self, piece: str, x: float, right: Array, up: Array) -> BaseGeometry:
        """Section of a piece at station x, with coordinates X·right and X·up; `right` and `up` (3,) are unit vectors."""
        asked = (piece, x, right.tobytes(), up.tobytes())
        if asked not in self._sections:
            self._sections[asked] = self._section(piece, x, right, up)
        return self._sections[asked]

    def _section(self, piece: str, x: float, right: Array, up: Array) -> BaseGeometry:
        shape = self._whole_section(x, right, up)
        for face in self.faces(piece):
            if face.across_log:
                continue
            level, upright = float(face.normal @ right), float(face.normal @ up)
            along = float(face.normal[0]) - level * float(right[0]) - upright * float(up[0])
            shape = half_of(shape, (level, upright), face.offset - along * x)
        return shape

    def _whole_section(self, x: float, right: Array, up: Array) -> BaseGeometry:
        """Section of the log before any cut, which all pieces share."""
        asked = ("", x, right.tobytes(), up.tobytes())
        if asked not in self._sections:
            points = self._envelope(x)
            self._sections[asked] = Polygon(np.column_stack([points @ right, points @ up])).buffer(0.0)
        return self._sections[asked]

    def _envelope(self, x: float) -> Array:
        """Points (n, 3) of the envelope at station x."""
        if x not in self._envelopes:
            clock = clock_angles()
            radius = radius_at(self.model, self.model.envelope, np.asarray(x), clock)
            centre = self.model.splines(self.model.centre)(x)
            yz = centre + radius[:, None] * np.stack([-np.sin(clock), np.cos(clock)], axis=-1)
            self._envelopes[x] = np.column_stack([np.full(len(yz), x), yz])
        return self._envelopes[x]

    def size(self, piece: str) -> Size | None:
        """A piece at its mid-length, square to its newest face along it; `None` where it has no wood there."""
        stretch = self.stretch(piece)
        up = next((face.normal for face in self.faces(piece) if not face.across_log), UPRIGHT)
        shape = self.section(piece, stretch.middle, rightward(up), up)
        if shape.is_empty:
            return None
        left, bottom, right, top = shape.bounds
        thickness, width = sorted((right - left, top - bottom))
        return Size(stretch.length, width, thickness)

    @kept
    def stretch(self, piece: str) -> Stretch:
        """From the butt to the top end of a piece, as its newest crosscut or its log's ends have it at the pith."""
        butt, top = self.ends(piece)
        low, high = float(butt.pith[0]), float(top.pith[0])
        for face in reversed(self.faces(piece)):
            if not face.across_log:
                continue
            at = float((face.offset - face.normal[1:] @ butt.pith[1:]) / face.normal[0])
            low, high = (at, high) if face.normal[0] < 0.0 else (low, at)
        return Stretch(low, high)


def rightward(up: Array) -> Array:
    """To the right of someone who faces the butt end of a piece that is posed with `up` (3,) vertical; a unit vector."""
    right = np.cross(up, [-1.0, 0.0, 0.0])
    return np.asarray(right / np.linalg.norm(right), float)


def half_of(shape: BaseGeometry, normal: tuple[float, float], offset: float) -> BaseGeometry:
    """What of a shape lies where normal·p ≤ offset; `normal` of any size."""
    size = float(np.hypot(*normal))
    if size < PARALLEL_PLANES:
        return shape if offset > -ON_PLANE else Polygon()
    across, up, d = normal[0] / size, normal[1] / size, offset / size
    if shape.is_empty:
        return shape
    left, bottom, right, top = shape.bounds
    # most faces of a piece were cut away since: its box tells
    if (right if across > 0.0 else left) * across + (top if up > 0.0 else bottom) * up <= d:
        return shape
    foot, along, deep = (across * d, up * d), (-up * FAR, across * FAR), (across * FAR, up * FAR)
    one, other = (foot[0] + along[0], foot[1] + along[1]), (foot[0] - along[0], foot[1] - along[1])
    corners = [one, other, (other[0] - deep[0], other[1] - deep[1]), (one[0] - deep[0], one[1] - deep[1])]
    half: Any = polygons(np.array(corners))
    part: BaseGeometry = shape.intersection(half)
    return part


def rings(shape: BaseGeometry) -> list[Array]:
    """The outer rings (n, 2) of a shape of one or several lumps."""
    lumps = shape.geoms if isinstance(shape, MultiPolygon) else [shape]
    return [np.asarray(one.exterior.coords) for one in lumps if isinstance(one, Polygon) and not one.is_empty]


def straight_parts(shape: BaseGeometry) -> list[Array]:
    """The straight stretches (n, 2) of a line crossed with a shape."""
    return [np.asarray(one.coords) for one in getattr(shape, "geoms", [shape])
            if one.geom_type == "LineString" and not one.is_empty]  # fmt: skip
