"""The wood of one slab as it truly lies, seen on planes through its thickness."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pithline.geometry.integral_images import integral_images
from pithline.plan.problem.log_frame import PlanLog, unusable_on_planes
from pithline.plan.problem.parts import SawnPart
from pithline.plan.problem.task import ShopSaws
from pithline.wood.field import Planes, Seen, plane_stack

Array = NDArray[np.float64]

PLANE_STEP = 2.5
"""A slab is looked at on planes this far apart through its thickness [mm]; ring angles between them are read linearly."""
LAYOUT_ANGLE_RESERVE = np.radians(0.25)
LAYOUT_RUNOUT_RESERVE = np.radians(0.1)


@dataclass(frozen=True, slots=True)
class SlabFrame:
    """A slab between two parallel sawn faces, in the log frame. n·X runs from `low` to `top`."""

    axis: Array
    normal: Array
    lateral: Array
    low: float
    top: float
    bounds: tuple[tuple[Array, float], ...]  # the piece's other faces: normal·X ≤ offset

    def point(self, along: float, across: float, height: float) -> Array:
        """Log-frame point of slab coordinates."""
        return along * self.axis + across * self.lateral + height * self.normal


class Span(NamedTuple):
    """How far wood of a slab may reach, along and across. [mm]"""

    start: float
    end: float
    low: float
    high: float

    @property
    def holds_a_plate(self) -> bool:
        """Whether the smallest plate anyone saws could lie there."""
        return self.end - self.start >= LEAST_LENGTH and self.high - self.low >= LEAST_WIDTH


LEAST_LENGTH, LEAST_WIDTH = 50.0, 20.0
"""No part is shorter or narrower, so a slab within these is not looked at. [mm]"""
FACE_ROOM = 30.0
"""The surface within this beyond a slab's faces tells how far its wood reaches: it lies up to a station's step away. [mm]"""
LEAST_LEAN = 0.3
"""A face that leans across by less (cosine) bounds a slab nowhere in particular."""
LEAST_HELD = 0.2
"""Share of a billet's breadth and length that it holds of one of its slab's faces: by that it lies on a table and along a fence."""
THINNEST_GAP = 0.05
"""A plate that lacks so little is sawn all the same. [mm]"""


def layer_count(slab: SlabFrame, part: SawnPart, saws: ShopSaws) -> int:
    """Plates one billet of this slab holds."""
    return int((slab.top - slab.low + saws.resaw_kerf + THINNEST_GAP) / (part.thickness + saws.resaw_kerf))


def span_of(log: PlanLog, slab: SlabFrame) -> Span:
    """Extent along and across that could hold wood of this slab."""
    field = log.field
    x = field.x0 + np.arange(len(field.pith)) * field.dx
    clocks = np.arange(0, 360, 5)
    e = np.stack([-np.sin(np.radians(clocks)), np.cos(np.radians(clocks))], axis=1)
    points = np.concatenate(
        [
            np.broadcast_to(x[:, None, None], (len(x), len(clocks), 1)),
            field.pith[:, None] + field.radius[:, clocks, None] * e[None],
        ],
        axis=2,
    ).reshape(-1, 3)
    middle = (slab.low + slab.top) / 2
    half = (slab.top - slab.low) / 2 + FACE_ROOM
    near = points[np.abs(points @ slab.normal - middle) < half]
    if not len(near):
        return Span(0.0, 0.0, 0.0, 0.0)
    across, along = near @ slab.lateral, near @ slab.axis
    low, high = float(across.min()), float(across.max())
    for normal, offset in slab.bounds:
        lean = float(normal @ slab.lateral)
        # a face square enough to the across direction bounds it; its edge moves a little with height and length
        if abs(lean) > LEAST_LEAN:
            ends = [
                (offset - h * float(normal @ slab.normal) - a * float(normal @ slab.axis)) / lean
                for h in (slab.low, slab.top)
                for a in (along.min(), along.max())
            ]
            if lean > 0:
                high = min(high, max(ends))
            else:
                low = max(low, min(ends))
    return Span(float(along.min()), float(along.max()), low, high)


@dataclass(frozen=True, slots=True)
class SlabView:
    """A slab seen on parallel planes through its thickness, (k, along, across).

    `unusable` is what goes into no plate, `gone` what the slab's other faces or the bark leave out.
    """

    heights: Array
    wood: Seen
    unusable: NDArray[np.bool_]
    gone: NDArray[np.bool_]

    def faces_held(self, long: int, wide: int) -> NDArray[np.bool_]:
        """Where a billet of so many cells, begun at each place, holds enough of one of the slab's two faces to lie on it.

        Returns
        -------
        (across − wide, along − long) bool array
        """
        held = integral_images(~self.gone[[0, -1]], np.int32)
        cells = held[:, long:, wide:] - held[:, :-long, wide:] - held[:, long:, :-wide] + held[:, :-long, :-wide]
        return np.asarray((cells >= LEAST_HELD * long * wide).any(axis=0).T)


def look_at_slab(
    log: PlanLog,
    slab: SlabFrame,
    span: Span,
    counts: tuple[int, int],
    steps: tuple[float, float],
) -> SlabView:
    """Look at the wood of a slab every few millimetres of its thickness, both faces included.

    Parameters
    ----------
    log : PlanLog
        The wood, with what is kept out of plates.
    slab : SlabFrame
        Where it lies. [mm]
    span : Span
        How far its wood may reach along and across. [mm]
    counts : (int, int)
        Cells along and across.
    steps : (float, float)
        Between cells along and across. [mm]

    Returns
    -------
    SlabView
        Of k planes: heights (k,), wood and what is unusable (k, along, across).
    """
    heights = np.linspace(slab.low, slab.top, max(2, int(np.ceil((slab.top - slab.low) / PLANE_STEP)) + 1))
    origin = slab.point(span.start, span.low, 0.0)
    planes = Planes(origin, slab.axis, slab.lateral, slab.normal, heights, counts, steps)
    wood = plane_stack(log.conservative, planes)
    unusable = unusable_on_planes(log, planes) | (wood.from_pith < log.pith_radius + 0.5)
    gone = wood.depth < 0.0
    for normal, offset in slab.bounds:
        beyond = planes.beyond(normal, offset - 0.2)
        unusable |= beyond
        gone |= beyond
    return SlabView(heights, wood, unusable, gone)
