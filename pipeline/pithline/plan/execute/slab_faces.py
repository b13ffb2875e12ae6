"""Where a piece's sawn faces lie beside the slabs of a setting, and slabs moved onto them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pithline.geometry.pieces import Piece
from pithline.plan.execute.slab_view import SlabFrame
from pithline.plan.problem.layout import LayoutSlab
from pithline.plan.problem.log_frame import PlanLog

Array = NDArray[np.float64]
Slabs = tuple[LayoutSlab, ...]
PARALLEL_COSINE = np.cos(np.radians(0.02))
"""Faces within this of a normal are parallel to it; others, a lift step off, only bound a slab."""
SNAP_DISTANCE = 16.0
"""A slab whose face lies this near to a parallel sawn face uses that face instead of a cut of its own. [mm]"""
CLOSE_GAP = 6.0
"""Slabs of one setting nearer than this beyond their kerf are moved together to share it. [mm]"""
LEAST_BOARD = 12.0
"""Wood between two slabs that would make a thinner board stays on the lower one, and goes once its billets are resawn. [mm]"""
SAME_FACE = 0.3
"""Faces nearer than this to each other are one: no kerf was ever thinner. [mm]"""


@dataclass(frozen=True, slots=True)
class ParallelFace:
    """A sawn face parallel to a setting's cuts but for a hair: the height n·X to which the piece holds wood all along."""

    cut: str
    height: float


@dataclass(frozen=True, slots=True)
class ParallelFaces:
    """The faces parallel to a setting's cuts that bound a piece from below and from above, where it has such."""

    low: ParallelFace | None
    high: ParallelFace | None

    @property
    def floor(self) -> float | None:
        """Height of the lower one. [mm]"""
        return None if self.low is None else self.low.height

    @property
    def ceiling(self) -> float | None:
        """Height of the upper one. [mm]"""
        return None if self.high is None else self.high.height

    @property
    def any(self) -> bool:
        """Whether the piece has either."""
        return self.low is not None or self.high is not None

    def carries(self, slab: LayoutSlab) -> bool:
        """Whether the slab's lower face is the lower one."""
        return self.low is not None and slab.low - self.low.height < SAME_FACE


def parallel_faces(log: PlanLog, piece: Piece, normal: Array) -> ParallelFaces:
    """The piece's faces parallel to `normal` (3,)."""
    low = high = None
    lateral = np.cross(normal, log.axis)
    reach = float(log.field.radius.max())
    corners = [log.origin + a * log.reach * log.axis + b * reach * lateral for a in (0.0, 1.0) for b in (-1.0, 1.0)]
    for face in piece.faces:
        n = np.asarray(face.normal)
        lean = float(n @ normal)
        if abs(lean) < PARALLEL_COSINE:
            continue
        sign = 1.0 if lean > 0 else -1.0
        # a face leans by up to a lift step over its length: its height is where it comes nearest to the wood
        height = sign * min(face.offset - float((n - sign * normal) @ corner) for corner in corners)
        if lean < 0:
            low = ParallelFace(face.cut, height)
        else:
            high = ParallelFace(face.cut, height)
    return ParallelFaces(low, high)


def fit_slabs(slabs: Slabs, faces: ParallelFaces, kerf: float, thickest: float = np.inf) -> Slabs:
    """Slabs, from the top down, moved onto parallel sawn faces and onto each other where they lie near; see `close_gaps`."""
    return close_gaps(snap_to_faces(slabs, faces), kerf, faces.floor, thickest)


def snap_to_faces(slabs: Slabs, faces: ParallelFaces) -> Slabs:
    """Slabs moved onto a parallel sawn face where they lie near to it, thickness kept."""
    out, low, high = list(slabs), faces.floor, faces.ceiling
    if low is not None and out and abs(out[-1].low - low) < SNAP_DISTANCE:
        out[-1] = LayoutSlab(low, out[-1].thickness)
    if high is not None and out and abs(high - out[0].top) < SNAP_DISTANCE:
        out[0] = LayoutSlab(high - out[0].thickness, out[0].thickness)
    return tuple(out)


def close_gaps(slabs: Slabs, kerf: float, low: float | None = None, thickest: float = np.inf) -> Slabs:
    """Slabs from the top down, neighbours moved together where less than `CLOSE_GAP` would be wasted between them.

    They move up to the topmost; where the lowest rests on a sawn face at `low`, down to that one. Where more is wasted, but no more than
    a thin board and its kerf, the lower one is made so much thicker, up to `thickest`: a cut of its own would only free the
    board, and billets are cut at their top anyway. [mm]
    """
    down = low is not None and bool(slabs) and abs(slabs[-1].low - low) < SAME_FACE
    out: list[LayoutSlab] = []
    for slab in reversed(slabs) if down else slabs:
        if out:
            upper, lower = (slab, out[-1]) if down else (out[-1], slab)
            wasted = upper.low - kerf - lower.top
            if abs(wasted) < CLOSE_GAP:
                slab = LayoutSlab(slab.low + (-wasted if down else wasted), slab.thickness)
            elif 0.0 < wasted < LEAST_BOARD + kerf and lower.thickness + wasted <= thickest:
                thicker = LayoutSlab(lower.low, lower.thickness + wasted)
                if down:
                    out[-1] = thicker
                else:
                    slab = thicker
        out.append(slab)
    return tuple(reversed(out)) if down else tuple(out)


def slab_frame(log: PlanLog, piece: Piece, normal: Array, low: float, top: float) -> SlabFrame:
    """The frame of a slab of a piece between two faces square to `normal` (3,), at n·X = `low` and `top`. [mm]

    Parameters
    ----------
    log : PlanLog
        Its axis gives the slab's length; its own faces bound nothing across.
    piece : Piece
        The slab with its faces.
    normal : (3,) array
        Of the slab's two faces, unit, log frame.
    low, top : float
        Their offsets normal·X. [mm]
    """
    axis = log.axis - (log.axis @ normal) * normal
    axis /= np.linalg.norm(axis)
    # bucked faces are ends, which the log itself keeps clear
    sides = [f for f in piece.faces if f not in log.piece.faces]
    bounds = tuple((np.asarray(f.normal), f.offset) for f in sides if abs(np.dot(f.normal, normal)) < PARALLEL_COSINE)
    return SlabFrame(axis, normal, np.cross(normal, axis), low, top, bounds)
