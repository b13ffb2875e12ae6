"""Convex pieces: a part of the log cut out by half-spaces, each left by one kerf."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Face:
    """The sawn face a cut left on a piece: the piece lies where normal·X ≤ offset (log frame, outward normal)."""

    normal: tuple[float, float, float]
    offset: float
    cut: str  # id of the cut that made it


@dataclass(frozen=True, slots=True)
class Piece:
    """A convex part of the log: the log between its end planes, within all `faces`."""

    id: str
    kind: str
    faces: tuple[Face, ...] = ()

    def holds(self, points: Array, slack: float = 0.0) -> NDArray[np.bool_]:
        """Which of (..., 3) points lie within every face, bark and ends not asked."""
        inside = np.ones(points.shape[:-1], dtype=bool)
        for face in self.faces:
            inside &= points @ np.asarray(face.normal) <= face.offset + slack
        return inside

    def above(self, normal: Array, offset: float, kerf: float, cut: str, piece: str, kind: str) -> Piece:
        """The piece left on the side that `normal` points to.

        Parameters
        ----------
        normal : (3,) array
            Of the cut's plane, unit, log frame.
        offset : float
            Of the kerf's middle: the plane is normal·X = offset. [mm]
        kerf : float
            Half of it is lost on this side. [mm]
        cut, piece : str
            Ids of the cut and of the piece that it leaves.
        kind : str
            Of the piece that it leaves.
        """
        n = -np.asarray(normal, float)
        face = Face((float(n[0]), float(n[1]), float(n[2])), -(offset + kerf / 2.0), cut)
        return Piece(piece, kind, (*self.faces, face))

    def below(self, normal: Array, offset: float, kerf: float, cut: str, piece: str, kind: str) -> Piece:
        """The piece left on the other side.

        Parameters
        ----------
        normal : (3,) array
            Of the cut's plane, unit, log frame.
        offset : float
            Of the kerf's middle: the plane is normal·X = offset. [mm]
        kerf : float
            Half of it is lost on this side. [mm]
        cut, piece : str
            Ids of the cut and of the piece that it leaves.
        kind : str
            Of the piece that it leaves.
        """
        n = np.asarray(normal, float)
        face = Face((float(n[0]), float(n[1]), float(n[2])), offset - kerf / 2.0, cut)
        return Piece(piece, kind, (*self.faces, face))
