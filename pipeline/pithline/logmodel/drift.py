"""Drift between the two sides of a scan: the flanks held against the rims of the end faces, each seen in one go."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pithline.logmodel.face_edges import FaceEdge, seen_edge
from pithline.logmodel.model import clock_angles
from pithline.logmodel.surface import Surface
from pithline.scan.end_faces import ScannedFace

Array = NDArray[np.float64]

SEAM = 0.25
"""The two sides blend within about this sine of 12 o'clock. Common practice: a phone's software mixes passes there."""
SURE = 2.7
"""Standard errors by which a drift must stand out: of 328 generated logs without drift 4 stood out by 2.4, two of them by 2.7."""
LEAST = 1.5
"""Drifts smaller than this are not told. [mm]"""
CONTRADICT = 3.0
"""Two faces that tell of drifts so many standard errors apart contradict each other."""
BLUR, BLUR_SHARE = 1.0, 0.5
"""Edges are no sharper than this [mm], and than this part of the spread of a face's points."""
FIRST_BLUR, ROUNDS = 0.03, 30
"""They are sought with so much blur first [radii], which is halved from round to round."""
STEP = 0.5
"""Part of a step that is taken: which points lie next to the edge changes with it, and whole steps go to and fro."""
ARC = np.radians(15.0)
"""Edges over such an arc are of one kind: clean, or ragged, or dirt."""
WEAK = 0.1
"""No drift nor place of a face beyond this is expected. [radii]"""


@dataclass(frozen=True, slots=True)
class Drift:
    """How far the sides of the scan at 3 and 9 o'clock lie apart in height, with its standard error. [mm]

    Drift across is left out: it widens or narrows the log, and the flare of a butt looks alike.
    """

    apart: float
    stderr: float

    @property
    def significant(self) -> bool:
        """Whether it stands out of its error."""
        return abs(self.apart) > max(LEAST, SURE * self.stderr)

    @property
    def caution(self) -> str:
        """What to say of a significant drift."""
        return (
            f"The two sides of the scan lie {abs(self.apart):.0f} ± {2.0 * self.stderr:.0f} mm apart in height: the "
            "scanner drifted on its way round. Both were moved to meet the end faces; drift across the log cannot be told. "
            "Where it matters scan again, slowly, with more overlap over the top and round the ends."
        )

    def taken_out_of(self, points: Array, surface: Surface) -> Array:
        """Bark points (n, 3) as they would lie without it."""
        moved = points.copy()
        moved[:, 2] -= self.apart * _side(surface.residuals(points)[1])
        return moved

    def added_to(self, stderr: Array) -> Array:
        """Standard errors (n, 72) of the radii with what drift may still add.

        A significant one was undone but for its own error; of another, all that was found may be there. As much may lie across.
        """
        clock = clock_angles()
        up, across = 0.5 * np.abs(np.cos(clock)), 0.5 * np.abs(np.sin(clock))
        left = self.stderr if self.significant else abs(self.apart)
        widened: Array = np.hypot(stderr, np.hypot(left * up, self.apart * across))
        return widened


def _side(clock: Array) -> Array:
    """½ on the side of 3 o'clock, −½ on that of 9 o'clock."""
    side: Array = 0.5 * np.tanh(np.sin(clock) / SEAM)
    return side


def two_sides_drift(points: Array, surface: Surface, faces: tuple[ScannedFace, ScannedFace]) -> Drift | None:
    """The drift, or None where the edges of the faces do not tell.

    Parameters
    ----------
    points : (n, 3) array
        The log's points, faces included, in the log frame. [mm]
    """
    edges = [edge for face in faces if face.seen and (edge := seen_edge(points, surface, face)) is not None]
    if not edges:
        return None
    blur = max(BLUR, BLUR_SHARE * max(face.spread for face in faces))
    both = _solved(edges, blur, surface.radius)
    one, other = (_solved([edge], blur, surface.radius) for edge in (edges[0], edges[-1]))
    between = abs(one.apart - other.apart)
    if between < CONTRADICT * np.hypot(one.stderr, other.stderr):
        return both
    # faces that contradict each other tell of something else, and as much is in doubt
    return Drift(both.apart, max(both.stderr, 0.5 * between))


def _design(edges: list[FaceEdge]) -> Array:
    """How far outside the surface edges lie by drift across and in height, and by each face's own size and place. (cells, 2 + 3 faces)"""
    rows = []
    for number, edge in enumerate(edges):
        side, up, across = _side(edge.clock), np.cos(edge.clock), np.sin(edge.clock)
        own = np.zeros((len(edge.clock), 2 + 3 * len(edges)))
        own[:, :2] = np.column_stack([-across * side, -up * side])
        # the edge may lie a little in, and the face in another place than the flanks' mean: both are the face's own
        own[:, 2 + 3 * number : 5 + 3 * number] = np.column_stack([np.ones(len(side)), up, across])
        rows.append(own)
    return np.concatenate(rows)


def _solved(edges: list[FaceEdge], blur: float, radius: float) -> Drift:
    """The most likely drift with each face's own, by Fisher's scoring; its error grows with what arcs differ by beyond chance.

    No arc pulls more than its density, so gaps and dirt need no weights; weights made it worse, for what chance leaves is lopsided.

    Blur and radius in mm.
    """
    design = _design(edges)
    cells = np.cumsum([len(edge.clock) for edge in edges])[:-1]
    turns = np.concatenate([edge.clock + 4.0 * np.pi * number for number, edge in enumerate(edges)])
    arc = np.unique(np.rint(turns / ARC), return_inverse=True)[1]
    ridge = np.eye(design.shape[1]) / (WEAK * radius) ** 2
    found = np.zeros(design.shape[1])
    for turn in range(ROUNDS):
        width = max(blur, FIRST_BLUR * radius * 0.5**turn)
        at = np.split(design @ found, cells)
        slope = np.concatenate([edge.slope(own, width) for edge, own in zip(edges, at, strict=True)])
        told = np.concatenate([edge.information(width) for edge in edges])
        odd = np.bincount(arc, slope) / np.sqrt(np.bincount(arc, told))
        inverse = np.linalg.inv((design * told[:, None]).T @ design + ridge)
        found = found + STEP * inverse @ (design.T @ slope - ridge @ found)
    beyond_chance = float((odd**2).sum() / max(len(odd) - len(found), 1))
    return Drift(float(found[1]), float(np.sqrt(inverse[1, 1] * max(beyond_chance, 1.0))))
