"""The end faces of a log as sawn, and the lines drawn on them; all from the script's own log model.

Face coordinates are (right, up) in mm from the pith, for someone facing that end: the two ends mirror each other.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pithline.logmodel.model import EndPlane, LogModel, clock_direction, radius_at

Array = NDArray[np.float64]
OUTLINE_POINTS = 360


@dataclass(frozen=True, slots=True)
class EndFace:
    """One end face: `pith` (3,), outward `normal`, unit `right` and `up` in the face, outlines (n, 2)."""

    name: str
    pith: Array
    normal: Array
    right: Array
    up: Array
    over_bark: Array
    under_bark: Array

    def flat(self, points: Array) -> Array:
        """Face coordinates of points (..., 3) of the log frame."""
        away = np.asarray(points, float) - self.pith
        return np.stack([away @ self.right, away @ self.up], axis=-1)

    @property
    def twelve(self) -> Array:
        """Bark end of the 12 o'clock line, (2,)."""
        bark: Array = _crossings(self.over_bark, np.array([1.0, 0.0]), 0.0, axis=1)[-1]
        return bark

    @property
    def six(self) -> Array:
        """The other bark end of the same line, (2,)."""
        bark: Array = _crossings(self.over_bark, np.array([1.0, 0.0]), 0.0, axis=1)[0]
        return bark

    def arms(self) -> dict[str, float]:
        """Pith to bark along the plumb-and-level cross. [mm]"""
        across = _crossings(self.over_bark, np.array([0.0, 1.0]), 0.0, axis=0)
        return {"up": self.twelve[1], "right": across[-1][0], "down": -self.six[1], "left": -across[0][0]}

    def line(self, normal: Array, offset: float) -> Array | None:
        """The two bark points (2, 2), left one first, of the plane normal·X = offset on this face; `None` off it."""
        n = np.asarray(normal, float)
        in_face = np.array([n @ self.right, n @ self.up])
        size = float(np.hypot(*in_face))
        if size < 1e-9:
            return None
        along = np.array([-in_face[1], in_face[0]])
        axis = int(np.argmax(np.abs(along)))
        points = _crossings(self.over_bark, in_face / size, (offset - float(n @ self.pith)) / size, axis)
        if len(points) < 2:
            return None
        ends = np.array([points[0], points[-1]])
        return ends[np.lexsort((-ends[:, 1], ends[:, 0]))]


@dataclass(frozen=True, slots=True)
class TapePoint:
    """A bark point by tape: distances from both bark ends of the 12 o'clock line and from the pith. [mm]"""

    side: str  # "left" or "right" of the 12 o'clock line, facing the end
    from_twelve: float
    from_six: float
    from_pith: float


def tape_point(face: EndFace, point: Array) -> TapePoint:
    """The tape distances of one face point (2,)."""
    return TapePoint(
        "left" if point[0] < 0.0 else "right",
        float(np.hypot(*(point - face.twelve))),
        float(np.hypot(*(point - face.six))),
        float(np.hypot(*point)),
    )


def point_by_tape(face: EndFace, tape: TapePoint) -> Array:
    """The face point (2,) that the tape finds: the pith's arc crossed with that of the nearer end of the line."""
    near_top = tape.from_twelve <= tape.from_six
    anchor, reach = (face.twelve, tape.from_twelve) if near_top else (face.six, tape.from_six)
    height = anchor[1]
    up = (tape.from_pith**2 - reach**2 + height**2) / (2.0 * height)
    away = np.sqrt(max(tape.from_pith**2 - up**2, 0.0))
    return np.array([-away if tape.side == "left" else away, up])


def end_face(model: LogModel, name: str, plane: EndPlane) -> EndFace:
    """The face where `plane` meets the log: "butt" is faced looking toward greater x, "top" the other way."""
    normal = plane.normal / np.linalg.norm(plane.normal)
    up = np.array([-normal[2], 0.0, normal[0]])
    up = up / np.linalg.norm(up) * (1.0 if up[2] >= 0.0 else -1.0)
    right = np.cross(up, normal)
    pith = _on_plane(model, plane.point, normal)
    face = EndFace(name, pith, normal, right, up, np.empty((0, 2)), np.empty((0, 2)))
    outlines = [face.flat(_outline(model, radii, pith, normal)) for radii in
                (model.radius_over_bark, model.radius_under_bark)]  # fmt: skip
    return EndFace(name, pith, normal, right, up, outlines[0], outlines[1])


def _on_plane(model: LogModel, point: Array, normal: Array) -> Array:
    """Where the pith line meets a plane, by a few fixed-point steps: the pith runs nearly square to it."""
    pith, x = model.splines(model.pith), float(point[0])
    for _ in range(6):
        yz = pith(x)
        x = float(point[0] - (normal[1:] @ (yz - point[1:])) / normal[0])
    return np.array([x, *pith(x)])


def _outline(model: LogModel, radii: Array, point: Array, normal: Array) -> Array:
    """Surface points (n, 3) on a plane; x found by fixed-point steps, as the surface runs nearly square to it."""
    clock = np.arange(OUTLINE_POINTS, dtype=np.float64) * (2.0 * np.pi / OUTLINE_POINTS)
    direction = clock_direction(clock)
    centre, x = model.splines(model.centre), np.full(OUTLINE_POINTS, float(point[0]))
    for _ in range(6):
        yz = centre(x) + radius_at(model, radii, x, clock)[:, None] * direction
        before, x = x, point[0] - ((yz - point[1:]) @ normal[1:]) / normal[0]
        if np.array_equal(x, before):  # at once where the plane stands square to x
            break
    return np.column_stack([x, yz])


def _crossings(outline: Array, normal: Array, offset: float, axis: int) -> Array:
    """Where a closed outline (n, 2) crosses the line normal·p = offset, sorted along `axis`."""
    side = outline @ normal - offset
    following = np.roll(side, -1)
    hit = np.nonzero((side < 0.0) != (following < 0.0))[0]
    share = (side[hit] / (side[hit] - following[hit]))[:, None]
    points = outline[hit] + share * (np.roll(outline, -1, axis=0)[hit] - outline[hit])
    return points[np.argsort(points[:, axis])]
