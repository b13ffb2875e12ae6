"""Edges of the end faces where girth was seen, found by all points near them: to a part of a millimetre, where rims are read to some."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from pithline.logmodel.face_rims import NEAR, SKIN
from pithline.logmodel.model import CLOCK_SAMPLES, clock_angles
from pithline.logmodel.surface import Surface
from pithline.scan.end_faces import ScannedFace

Array = NDArray[np.float64]

STRAY = 0.03
"""Outside the edge of a face there may be so many points, of those as densely scanned within it."""
REACH = 0.08
"""Points within this of the fitted outline tell of the edge. [radii]"""
INNER = (0.5, 0.1)
"""From so far within the outline to so far the points tell how densely a face was scanned. [radii]"""
AROUND = 7
"""Its density is that of so many cells on each side."""
LEAST_CELLS = 18
"""Cells of 5° in which a face must be seen to tell anything."""


def _information() -> float:
    step = 0.01
    u = np.arange(-8.0, 8.0, step)
    density = np.exp(-0.5 * u**2) / np.sqrt(2.0 * np.pi)
    return float((density**2 / (ndtr(u) + STRAY)).sum() * step)


INFORMATION = _information()
"""What a point per unit of depth tells of where an edge lies that is blurred by one unit: ∫ φ² / (Φ + STRAY), Fisher's information of
a Poisson process."""


@dataclass(frozen=True, slots=True)
class FaceEdge:
    """One face in cells of 5° of seen girth: their `clock` angles (k,), their `density` (k,) in points per mm of depth, and of the points
    near the edge how far they lie outside the fitted outline (m,) [mm] and in which cell (m,).

    Points are a Poisson process of that density within the edge and of `STRAY` of it outside.
    """

    clock: Array
    density: Array
    out: Array
    cell: NDArray[np.int64]

    def slope(self, edge: Array, blur: float) -> Array:
        """Derivative (k,) of the log likelihood of edges (k,) that lie so far outside the outline, blurred by so much. [mm]"""
        u = (edge[self.cell] - self.out) / blur
        each = np.exp(-0.5 * u**2) / (np.sqrt(2.0 * np.pi) * blur * (ndtr(u) + STRAY))
        slope: Array = np.bincount(self.cell, each, len(self.clock)) - self.density
        return slope

    def information(self, blur: float) -> Array:
        """Expected curvature (k,) of the log likelihood. [1/mm²]"""
        information: Array = INFORMATION * self.density / blur
        return information


def seen_edge(points: Array, surface: Surface, face: ScannedFace) -> FaceEdge | None:
    """The edge of a face where bark was seen near it, or None where that is little. Points (n, 3), faces included."""
    height = (points - face.point) @ face.normal
    out, clock = surface.residuals(points[(height > 0.0) & (height < SKIN * face.spread)])
    column = np.rint(clock * (CLOCK_SAMPLES / (2 * np.pi))).astype(int) % CLOCK_SAMPLES
    radius = surface.radius
    within = (out > -INNER[0] * radius) & (out < -INNER[1] * radius)
    counts = np.bincount(column[within], minlength=CLOCK_SAMPLES)
    smooth = np.mean([np.roll(counts, turn) for turn in range(-AROUND, AROUND + 1)], axis=0)
    middle = 1.0 - 0.5 * (INNER[0] + INNER[1])  # a cell is narrower there than at its edge
    density = smooth / ((INNER[0] - INNER[1]) * radius * middle)
    # where girth was hidden the surface follows the rim itself
    bark = surface.cells[np.abs(surface.x - face.point[0]) < NEAR * radius].sum(axis=0) > 0.5
    seen = bark & np.roll(bark, 1) & np.roll(bark, -1) & (smooth > 0.0)
    if seen.sum() < LEAST_CELLS:
        return None
    near = seen[column] & (np.abs(out) < REACH * radius)
    number = np.cumsum(seen) - 1
    return FaceEdge(clock_angles()[seen], density[seen], out[near], number[column[near]])
