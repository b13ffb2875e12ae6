"""How a piece lies on the mill: which bunks carry it, with what lifts, and which way is then truly up.

The roll is held by dogs and wedges, so only the rest along the log counts: the piece lies on two bunks with its weight
between them. A bunk at b stands b − butt_at along the pith's chord, level from the pith on the butt end.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pithline.mill.machine import BandMill
from pithline.mill.sections import PieceShape, lowest_along

Array = NDArray[np.float64]
END_CLEAR = 25.0
"""A bunk this near to an end of the piece carries nothing (design section 5). [mm]"""
CLEAR = 2.0
"""Room kept between the piece and bunks that are not to carry it. [mm]"""
LEAN = 60.0
"""A bunk this near to the weight does not carry: the true weight may lie on its other side. [mm]"""
LEVEL = 0.05
"""A piece that needs no lift may touch any bunk, as a sawn face on the bed does, within this. [mm]"""


@dataclass(frozen=True, slots=True)
class Pose:
    """A resting piece: height over the bed of a log-frame point X is up·X + height."""

    up: Array
    height: float
    butt_at: float
    lifts: tuple[tuple[float, float], ...]  # (bunk position, lift) of the two that carry
    weight_kg: float

    def height_of(self, points: Array) -> Array:
        """Heights over the bed of (..., 3) points."""
        return np.asarray(points) @ self.up + self.height


@dataclass(frozen=True, slots=True)
class NoPose:
    """Why a piece cannot lie so."""

    why: str


def _undersides(shape: PieceShape, up: Array, axis: Array, origin: Array) -> tuple[Array, Array]:
    along = axis - (axis @ up) * up
    along /= np.linalg.norm(along)
    place, low = lowest_along(shape, up, along)
    return place - origin @ along, low


def pose_piece(
    shape: PieceShape, up: Array, axis: Array, origin: Array, mill: BandMill, density: float
) -> Pose | NoPose:
    """Rest a piece (its shape with bark) so that `up` points up, lifts and tilt as the mill can set them.

    Parameters
    ----------
    up : (3,)
        Wanted, unit, square to `axis`.
    axis, origin : (3,)
        The pith's chord and the pith on the butt end.
    density : float
        Green, kg/m³.
    """
    if len(shape.x) < 2 or shape.volume <= 0:
        return NoPose("nothing is left of it")
    weight = shape.volume * 1e-9 * density
    place, low = _undersides(shape, up, axis, origin)
    if len(place) < 3:
        return NoPose("it is too short to lie on two bunks")
    centre = float((shape.centroid - origin) @ axis)
    best: tuple[float, float, int, int] | None = None
    for butt_at in np.arange(0.0, max(mill.bunks) + 1.0, 50.0):
        at = np.asarray(mill.bunks) - butt_at
        carries = (at > place.min() + END_CLEAR) & (at < place.max() - END_CLEAR)
        left, right = np.flatnonzero(carries & (at < centre - LEAN)), np.flatnonzero(carries & (at > centre + LEAN))
        if not len(left) or not len(right):
            continue
        span = min(centre - at[left[0]], at[right[-1]] - centre)
        score = min(span, 0.4 * (place.max() - place.min())) - 0.02 * butt_at
        if best is None or score > best[0] + 1e-9:
            best = (score, float(butt_at), int(left[0]), int(right[-1]))
    if best is None:
        return NoPose("fewer than two bunks lie under it with its weight between them")
    butt_at = best[1]
    at = np.asarray(mill.bunks) - butt_at
    under = np.flatnonzero((at >= place.min() - 1e-6) & (at <= place.max() + 1e-6))
    carries = [int(k) for k in under if place.min() + END_CLEAR < at[k] < place.max() - END_CLEAR]
    heights = np.interp(at, place, low)
    return _rest(shape, up, axis, origin, mill, weight, butt_at, at, heights, under, carries, centre)


def pose_bolt(
    shape: PieceShape, up: Array, axis: Array, origin: Array, mill: BandMill, density: float
) -> Pose | NoPose:
    """Lay a bolt on its sawn face, or in a cradle that stands on the bed: no bunk is lifted, its lowest edge lies at height 0.

    Parameters as for `pose_piece`; `up` is kept as it is, for the face that holds the bolt sets it.
    """
    if len(shape.x) < 2 or shape.volume <= 0:
        return NoPose("nothing is left of it")
    place, low = _undersides(shape, up, axis, origin)
    centre = float((shape.centroid - origin) @ axis)
    best: tuple[float, float, float, float] | None = None
    for butt_at in np.arange(0.0, max(mill.bunks) + 1.0, 50.0):
        at = np.asarray(mill.bunks) - butt_at
        carries = at[(at > place.min() + END_CLEAR) & (at < place.max() - END_CLEAR)]
        left, right = carries[carries < centre - LEAN], carries[carries > centre + LEAN]
        if not len(left) or not len(right):
            continue
        span = min(centre - left[0], right[-1] - centre)
        score = min(span, 0.4 * (place.max() - place.min())) - 0.02 * butt_at
        if best is None or score > best[0] + 1e-9:
            best = (score, float(butt_at), float(left[0] + butt_at), float(right[-1] + butt_at))
    if best is None:
        return NoPose("fewer than two bunks lie under it with its weight between them")
    lifts = ((best[2], 0.0), (best[3], 0.0))
    return Pose(up, -float(low.min()), best[1], lifts, shape.volume * 1e-9 * density)


def _rest(
    shape: PieceShape,
    up: Array,
    axis: Array,
    origin: Array,
    mill: BandMill,
    weight: float,
    butt_at: float,
    at: Array,
    heights: Array,
    under: NDArray[np.int64],
    carries: list[int],
    centre: float,
) -> Pose | NoPose:
    base = max(-heights[k] for k in under)
    lowest = max(under, key=lambda k: -heights[k])
    left = [k for k in carries if at[k] < centre - LEAN]
    right = [k for k in carries if at[k] > centre + LEAN]
    # the bunk that needs no lift carries where it can; the other carrier is the furthest on the far side of the weight
    i = lowest if lowest in left else left[0]
    j = lowest if lowest in right else right[-1]
    for extra in range(6):
        lift = [base + heights[k] for k in (i, j)]
        raised = [max(round((v + extra * mill.lift_step) / mill.lift_step), 0) * mill.lift_step for v in lift]
        if max(raised) > mill.lift_max + 1e-9:
            return NoPose(f"a lift of {max(raised):.0f} mm is needed, the mill's largest is {mill.lift_max:.0f} mm")
        pose = _settle(shape, up, axis, origin, butt_at, (float(at[i]), float(at[j])), (raised[0], raised[1]))
        new_up, height = pose
        place, low = _undersides(shape, new_up, axis, origin)
        gaps = [np.interp(at[k], place, low) + height for k in under if k not in (i, j)]
        flat = max(raised) == 0.0 and bool(gaps) and min(gaps) > -LEVEL
        if not gaps or flat or min(gaps) >= CLEAR or (extra and min(gaps) > 0.5):
            bunks = sorted([(mill.bunks[i], raised[0]), (mill.bunks[j], raised[1])])
            return Pose(new_up, height, butt_at, tuple((float(b), float(v)) for b, v in bunks), weight)
    return NoPose("a bunk between the carriers stays in its way")


def _settle(
    shape: PieceShape,
    up: Array,
    axis: Array,
    origin: Array,
    butt_at: float,
    at: tuple[float, float],
    lifts: tuple[float, float],
) -> tuple[Array, float]:
    """Tilt along the log until the piece touches both carriers at their lifts."""
    now = up
    for _ in range(4):
        place, low = _undersides(shape, now, axis, origin)
        h = [float(np.interp(a, place, low)) for a in at]
        along = axis - (axis @ now) * now
        along /= np.linalg.norm(along)
        tilt = ((lifts[1] - lifts[0]) - (h[1] - h[0])) / (at[1] - at[0])
        if abs(tilt) < 1e-9:
            break
        now = now + tilt * along
        now /= np.linalg.norm(now)
    place, low = _undersides(shape, now, axis, origin)
    return now, float(np.mean([lifts[m] - np.interp(at[m], place, low) for m in (0, 1)]))
