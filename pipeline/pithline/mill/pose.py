"""How a piece lies on the mill: which bunks carry it, with what lifts, and which way is then truly up.

The roll is held by dogs and wedges, so only the rest along the log counts: the piece lies on two bunks with its weight
between them. A bunk at b stands b − butt_at along the pith's chord, level from the pith on the butt end.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pithline.mill.machine import BandMill
from pithline.mill.sections import PieceShape, lowest_along

Array = NDArray[np.float64]
END_CLEAR = 25.0
"""A bunk this near to an end of the piece carries nothing (design section 5). [mm]"""
STEEP = 1.0
"""An end off square leaves the piece's underside rising more than this towards it, as a slope: nothing lies on that.
Where such an underside is lowest hangs on millimetres along the log."""
CLEAR = 2.0
"""Room kept between the piece and bunks that are not to carry it. [mm]"""
LEAN = 60.0
"""A bunk this near to the weight does not carry: the true weight may lie on its other side. [mm]"""
LEVEL = 0.05
"""A piece that needs no lift may touch any bunk, as a sawn face on the bed does, within this. [mm]"""
CLEAR_LIFTED = 0.5
"""Room that is enough once it was lifted by more than it needs. [mm]"""
MORE_STEPS = 6
"""Lift steps that are tried beyond what it needs, to clear the other bunks."""
SETTLINGS = 4
"""Times that the tilt is followed until the piece lies on both carriers; it changes what is lowest by little."""
BED_STEPS = (50.0, 5.0)
"""Between places along the bed where the log's butt end may lie: the second for a log so short that the first finds none. [mm]"""
SPAN_ENOUGH = 0.4
"""Carriers this share of the length apart on either side of the weight need be no further."""
FAR_DOWN = 0.02
"""What a millimetre further down the bed counts against: of equals, the log lies near the bed's end. [mm]"""


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


@dataclass(frozen=True, slots=True)
class _Lying:
    """A piece to be rested: its shape with bark, the pith's chord and the pith on the butt end."""

    shape: PieceShape
    axis: Array
    origin: Array

    def along(self, up: Array) -> Array:
        """The chord's direction level, where `up` is up, (3,)."""
        along: Array = self.axis - (self.axis @ up) * up
        return along / np.linalg.norm(along)

    def underside(self, up: Array) -> tuple[Array, Array]:
        """Places along the chord, and how low the piece reaches there. [mm]"""
        along = self.along(up)
        place, low = lowest_along(self.shape, up, along)
        return place - self.origin @ along, low

    @property
    def centre(self) -> float:
        """Where its weight lies along the chord. [mm]"""
        return float((self.shape.centroid - self.origin) @ self.axis)


@dataclass(frozen=True, slots=True)
class _Bunks:
    """The mill's bunks with a log laid down somewhere along the bed.

    Attributes
    ----------
    at : (b,) array
        Where they stand along the log. [mm]
    under : (u,) array
        Those under the piece, by number.
    carries : list of int
        Those far enough from its ends to carry.
    heights : (b,) array
        How low the piece reaches at each, unlifted. [mm]
    """

    at: Array
    under: NDArray[np.int64]
    carries: list[int]
    heights: Array

    def carriers(self, centre: float) -> tuple[int, int]:
        """The two that carry, with the weight at `centre` between them: the one that needs no lift where it can, the other far off."""
        lowest = max(self.under, key=lambda k: -self.heights[k])
        left = [k for k in self.carries if self.at[k] < centre - LEAN]
        right = [k for k in self.carries if self.at[k] > centre + LEAN]
        return int(lowest if lowest in left else left[0]), int(lowest if lowest in right else right[-1])

    @property
    def base(self) -> float:
        """How high the piece must stand to clear all of them. [mm]"""
        return float(max(-self.heights[k] for k in self.under))


def pose_piece(
    shape: PieceShape, up: Array, axis: Array, origin: Array, mill: BandMill, density: float
) -> Pose | NoPose:
    """Rest a piece so that `up` points up, lifts and tilt as the mill can set them.

    Parameters
    ----------
    shape : PieceShape
        The piece with its bark.
    up : (3,) array
        Wanted, unit, square to `axis`.
    axis, origin : (3,) arrays
        The pith's chord and the pith on the butt end.
    mill : BandMill
        Its bunks and lifts.
    density : float
        Green. [kg/m³]

    Returns
    -------
    Pose or NoPose
        How it lies, or why it cannot.
    """
    if len(shape.x) < 2 or shape.volume <= 0:
        return NoPose("nothing is left of it")
    lying = _Lying(shape, axis, origin)
    place, low = lying.underside(up)
    if len(place) < 3:
        return NoPose("it is too short to lie on two bunks")
    bearing = _bearing(place, low)
    butt_at = _butt_at(lying.centre, bearing, mill)
    if butt_at is None:
        return NoPose("fewer than two bunks lie under it with its weight between them")
    at = np.asarray(mill.bunks) - butt_at
    under = np.flatnonzero((at >= place.min() - 1e-6) & (at <= place.max() + 1e-6))
    carries = [int(k) for k in under if bearing.min() + END_CLEAR < at[k] < bearing.max() - END_CLEAR]
    bunks = _Bunks(at, under, carries, np.interp(at, place, low))
    rested = _rest(lying, up, bunks, mill)
    if isinstance(rested, NoPose):
        return rested
    return replace(rested, butt_at=butt_at, weight_kg=shape.volume * 1e-9 * density)


def pose_bolt(
    shape: PieceShape, up: Array, axis: Array, origin: Array, mill: BandMill, density: float
) -> Pose | NoPose:
    """Lay a bolt on its sawn face, or in a cradle that stands on the bed: no bunk is lifted, its lowest edge lies at height 0.

    Parameters
    ----------
    shape : PieceShape
        The bolt with its bark.
    up : (3,) array
        Unit, log frame; kept as it is, for the face that holds the bolt sets it.
    axis, origin : (3,) arrays
        The pith's chord (unit) and the pith on the butt end. [mm]
    mill : BandMill
        Its bunks.
    density : float
        Green. [kg/m³]

    Returns
    -------
    Pose or NoPose
        How it lies, or why it cannot.
    """
    if len(shape.x) < 2 or shape.volume <= 0:
        return NoPose("nothing is left of it")
    lying = _Lying(shape, axis, origin)
    place, low = lying.underside(up)
    butt_at = _butt_at(lying.centre, place, mill) if len(place) > 2 else None
    if butt_at is None:
        return NoPose("fewer than two bunks lie under it with its weight between them")
    at = np.asarray(mill.bunks) - butt_at
    carries = np.flatnonzero((at > place.min() + END_CLEAR) & (at < place.max() - END_CLEAR))
    ends = (carries[0], carries[-1])
    lifts = ((float(mill.bunks[ends[0]]), 0.0), (float(mill.bunks[ends[1]]), 0.0))
    return Pose(up, -float(low.min()), butt_at, lifts, shape.volume * 1e-9 * density)


def _bearing(place: Array, low: Array) -> Array:
    """Of the places along a piece those between which it may lie on bunks: without ends at which its underside rises steeply. [mm]"""
    first, last = 0, len(place) - 1
    while last - first > 2 and low[first] - low[first + 1] > STEEP * abs(place[first + 1] - place[first]):
        first += 1
    while last - first > 2 and low[last] - low[last - 1] > STEEP * abs(place[last] - place[last - 1]):
        last -= 1
    return place[first : last + 1]


def least_length_on_bunks(mill: BandMill) -> float:
    """Length of the shortest piece with ends square that lies on two bunks, clear of its ends. [mm]"""
    return float(np.diff(mill.bunks).min(initial=np.inf)) + 2 * END_CLEAR


def _butt_at(centre: float, place: Array, mill: BandMill) -> float | None:
    """Where the log's butt end lies best along the bed, its weight well between two bunks; None: nowhere. [mm]"""
    return next((found for step in BED_STEPS if (found := _best_place(centre, place, mill, step)) is not None), None)


def _best_place(centre: float, place: Array, mill: BandMill, step: float) -> float | None:
    """As `_butt_at`, of places so far apart. [mm]"""
    best: tuple[float, float] | None = None
    for butt_at in np.arange(0.0, max(mill.bunks) + 1.0, step):
        at = np.asarray(mill.bunks) - butt_at
        carries = (at > place.min() + END_CLEAR) & (at < place.max() - END_CLEAR)
        left, right = np.flatnonzero(carries & (at < centre - LEAN)), np.flatnonzero(carries & (at > centre + LEAN))
        if not len(left) or not len(right):
            continue
        span = min(centre - at[left[0]], at[right[-1]] - centre)
        score = min(span, SPAN_ENOUGH * (place.max() - place.min())) - FAR_DOWN * butt_at
        if best is None or score > best[0] + 1e-9:
            best = (float(score), float(butt_at))
    return None if best is None else best[1]


def _rest(lying: _Lying, up: Array, bunks: _Bunks, mill: BandMill) -> Pose | NoPose:
    """Lifts in whole steps, more until no other bunk is in the way; where the log lies and what it weighs is left open."""
    at, (i, j) = bunks.at, bunks.carriers(lying.centre)
    for extra in range(MORE_STEPS):
        lift = [bunks.base + bunks.heights[k] for k in (i, j)]
        raised = [max(round((v + extra * mill.lift_step) / mill.lift_step), 0) * mill.lift_step for v in lift]
        if max(raised) > mill.lift_max + 1e-9:
            return NoPose(f"a lift of {max(raised):.0f} mm is needed, the mill's largest is {mill.lift_max:.0f} mm")
        new_up, height = _settle(lying, up, (float(at[i]), float(at[j])), (raised[0], raised[1]))
        place, low = lying.underside(new_up)
        gaps = [np.interp(at[k], place, low) + height for k in bunks.under if k not in (i, j)]
        flat = max(raised) == 0.0 and bool(gaps) and min(gaps) > -LEVEL
        if not gaps or flat or min(gaps) >= CLEAR or (extra and min(gaps) > CLEAR_LIFTED):
            lifts = sorted([(mill.bunks[i], raised[0]), (mill.bunks[j], raised[1])])
            return Pose(new_up, height, 0.0, tuple((float(b), float(v)) for b, v in lifts), 0.0)
    return NoPose("a bunk between the carriers stays in its way")


def _settle(lying: _Lying, up: Array, at: tuple[float, float], lifts: tuple[float, float]) -> tuple[Array, float]:
    """Tilt along the log until the piece touches both carriers, `at` along it, at their lifts: up, and height over the bed."""
    now = up
    for _ in range(SETTLINGS):
        place, low = lying.underside(now)
        h = [float(np.interp(a, place, low)) for a in at]
        tilt = ((lifts[1] - lifts[0]) - (h[1] - h[0])) / (at[1] - at[0])
        if abs(tilt) < 1e-9:
            break
        now = now + tilt * lying.along(now)
        now /= np.linalg.norm(now)
    place, low = lying.underside(now)
    return now, float(np.mean([lifts[m] - np.interp(at[m], place, low) for m in (0, 1)]))
