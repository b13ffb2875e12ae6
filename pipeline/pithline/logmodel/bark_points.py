"""Which points of the log's lump are bark: faces and bearers underneath told apart."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_dilation, label

from pithline.logmodel.cells import TOUCHING, Mask, cell_of, dilated
from pithline.logmodel.model import CLOCK_SAMPLES
from pithline.logmodel.surface import Surface
from pithline.scan.end_faces import ScannedFace

Array = NDArray[np.float64]

FACE_SKIN = 3.0
"""Points this near an end plane belong to the face. [spreads of its points]"""
BEYOND_UNSEEN = 30.0
"""Where a face was not seen, points this far beyond its assumed plane still count. [mm]"""
MANY_BEYOND = 50
"""So many points beyond an end that was not seen are told."""
UNDERSIDE = np.radians(55.0)
"""What a log lies on touches it within this of 6 o'clock: farther round, level bearers stand well off the bark."""
ALONG_BARK = np.cos(np.radians(32.0))
"""On the underside, a patch whose normal is farther off the radius is a bearer's, not bark's."""
BEARER_OUT, FLANK_OUT = 0.16, 0.39
"""What stands farther out is a bearer's: on the underside, and up to 12° over the middle of the flanks. [radii]"""
FLAT_OUT, FLAT_SPREADS = 0.028, 2.0
"""A level or square patch that stands out of the underside by more than this [radii], and than the first surface's points spread, is a
bearer's."""
LEVEL = np.cos(np.radians(13.0))
"""Standing out of the underside, a patch this near to level or to square across is a bearer's top or side."""
NEAR_IN, NEAR_OUT = 0.3, 0.6
"""Bark is sought from so far within the first surface to so far without it. [radii]"""
MIXED_SHARE = 0.3
"""A cell with more foreign points than this part is not told apart, nor are those next to it."""
ISLAND = 0.08
"""Seen bark underneath that is not connected with the rest and smaller than this part of the grid is a bearer's."""


@dataclass(frozen=True, slots=True)
class LogPoints:
    """The log's points in the log frame (n, 3) and the unit normal (n, 3) of each one's patch."""

    points: Array
    normals: Array


def within_faces(points: Array, faces: tuple[ScannedFace, ScannedFace], skin: float | None = None) -> Mask:
    """Points (n, 3) inside both end planes by `skin` [mm], or clear of the faces' own; a face not seen leaves all on its side."""
    inside = np.ones(len(points), bool)
    for face in faces:
        clear = FACE_SKIN * face.spread if skin is None else skin
        margin = clear if face.seen else -BEYOND_UNSEEN
        inside &= (points - face.point) @ face.normal < -margin
    return inside


@dataclass(frozen=True, slots=True)
class BeyondEnd:
    """What lies beyond an end, named "butt" or "top": how many `points`, up to how `far`; whether its face was `seen`, and by how much
    its plane may be off (`stderr`). [mm]
    """

    name: str
    points: int
    far: float
    seen: bool
    stderr: float

    @property
    def caution(self) -> str:
        """What to say of an end whose face was not seen."""
        off = f"give or take {2.0 * self.stderr:.0f} mm"
        words = f"The {self.name} end face was not scanned: it was taken square where the bark ends, {off}."
        if self.points >= MANY_BEYOND:
            words += f" {self.points} points up to {self.far:.0f} mm beyond it were left out: scan the face, and trim with care."
        return words


def beyond_ends(points: Array, faces: tuple[ScannedFace, ScannedFace]) -> tuple[BeyondEnd, BeyondEnd]:
    """What of the log's points (n, 3) lies beyond its butt and its top end, face (butt, top) by face."""
    ends = []
    for name, face in zip(("butt", "top"), faces, strict=True):
        height = (points - face.point) @ face.normal
        out = height[height > BEYOND_UNSEEN]
        far = float(np.quantile(out, 0.98)) if len(out) else 0.0
        ends.append(BeyondEnd(name, len(out), far, face.seen, face.stderr))
    return ends[0], ends[1]


def split_bark_from_bearers(
    log: LogPoints, surface: Surface, faces: tuple[ScannedFace, ScannedFace]
) -> tuple[Mask, Mask]:
    """Masks (n,) of what may be bark, and of bearers and other things the log lies on.

    Parameters
    ----------
    surface : Surface
        A first surface in the log frame, of round or oval sections.
    """
    out, clock = surface.residuals(log.points)
    radial = np.column_stack([-np.sin(clock), np.cos(clock)])
    facing = np.abs((log.normals[:, 1:] * radial).sum(1))
    below = np.cos(clock) < np.cos(np.pi - UNDERSIDE)
    radius = float(np.median(surface.rows_at(surface.x)[:, 0]))
    flat = (np.abs(log.normals[:, 2]) > LEVEL) | (np.abs(log.normals[:, 0]) > LEVEL)
    flat_out = max(FLAT_OUT * radius, FLAT_SPREADS * surface.scale)
    foreign = below & (((facing < ALONG_BARK) & (out > 0.0)) | (flat & (out > flat_out)) | (out > BEARER_OUT * radius))
    foreign |= (np.cos(clock) < 0.2) & (out > FLANK_OUT * radius)
    foreign |= below & _against_foreign(log.points, foreign, surface, clock)
    inside = within_faces(log.points, faces)
    near = (out > -NEAR_IN * radius) & (out < NEAR_OUT * radius)
    bark = inside & near & ~foreign & ~(below & (facing < ALONG_BARK))
    return bark & ~_islands(log.points, bark, surface, clock), foreign


def _against_foreign(points: Array, foreign: Mask, surface: Surface, clock: Array) -> Mask:
    """Points in or next to cells where much is foreign: bark and bearer meet there too closely to be told apart. (n,)"""
    cell = cell_of(points[:, 0], clock, surface.x)
    total, other = np.zeros((2, len(surface.x), CLOCK_SAMPLES))
    np.add.at(total, cell, 1.0)
    np.add.at(other, (cell[0][foreign], cell[1][foreign]), 1.0)
    return dilated((other > MIXED_SHARE * total) & (other >= 2), rounds=2)[cell]


def _islands(points: Array, bark: Mask, surface: Surface, clock: Array) -> Mask:
    """Points of patches on the underside that no seen bark connects with the rest: remains of bearers. (n,)"""
    row, column = cell_of(points[:, 0], clock, surface.x)
    grid = np.zeros((len(surface.x), CLOCK_SAMPLES), bool)
    grid[row[bark], column[bark]] = True
    names, count = label(binary_dilation(grid), structure=TOUCHING)
    sizes = np.bincount(names.ravel(), minlength=count + 1)
    # the seam of the grid is at 12 o'clock, which is seen
    keep = sizes > ISLAND * grid.size
    keep[np.unique(names[:, [0, -1]])] = True
    islands: Mask = ~keep[names[row, column]] & (np.cos(clock) < 0.0)
    return islands
