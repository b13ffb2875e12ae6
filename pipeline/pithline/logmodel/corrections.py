"""A fitted log corrected by what was seen once it was open: pith, bark, sapwood. The log frame stays that of the fit."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pithline.errors import InputError
from pithline.logmodel.bark_thickness import BARK_VARIES, bark_thickness
from pithline.logmodel.card import MARK_ERROR, Card, PithMark
from pithline.logmodel.model import EndPlane, LogModel, clock_angles, clock_of, radius_at
from pithline.logmodel.pith_line import place_mark

Array = NDArray[np.float64]
NEAR = 150.0
"""A mark no farther than this from a sighting gives way to it; sightings no farther apart count as one, at their mean. [mm]"""
APART = 4.0
"""Sightings that count as one differ by no more than this many of their standard errors; else one of them is a slip."""
MOST_OFF = 0.5
"""A pith farther off the fitted one than this share of the radius is a slip of the tape."""


@dataclass(frozen=True, slots=True)
class Sighting:
    """The pith as found at a station: off the model's by so much, 12 o'clock line upright, facing the butt end. [mm]"""

    x: float
    up: float
    right: float


@dataclass(frozen=True, slots=True)
class _ModelOutline:
    """A model's over-bark outline with the methods of a fitted surface that marks are read by."""

    model: LogModel

    def radii(self, x: Array, clock: Array) -> Array:
        """Radius about the centreline over the grid x × clock: (len(x), len(clock))."""
        return radius_at(self.model, self.model.radius_over_bark, np.asarray(x)[:, None], np.asarray(clock)[None])

    def centre(self, x: Array) -> Array:
        """Centreline (y, z) at x: (len(x), 2)."""
        centre: Array = self.model.splines(self.model.centre)(x)
        return centre


def pith_at(model: LogModel, x: float) -> Array:
    """The pith (y, z) at a station. [mm]"""
    return np.asarray(model.splines(model.pith)(x), float)


def pith_from_mark(model: LogModel, end: str, mark: PithMark) -> Sighting:
    """A mark on an end face as a sighting there.

    Raises
    ------
    InputError
        Where the mark lies far off its end.
    """
    plane = model.butt if end == "butt" else model.top

    def inward(point: Array) -> Array:
        placed: Array = (model.scan_to_log @ np.append(point, 1.0))[:3]
        return placed

    point = place_mark(end, mark, plane, _ModelOutline(model), inward).point
    off = point[1:] - pith_at(model, float(point[0]))
    return Sighting(float(point[0]), float(off[1]), float(-off[0]))


def with_pith(model: LogModel, seen: Sequence[Sighting], held: Sequence[float], error: float | None) -> LogModel:
    """The model with its pith moved to what was seen, linearly between sightings and as the nearest one beyond them.

    Sightings near one another count as one: a millimetre between the two would bend the pith sharply.

    Parameters
    ----------
    seen : sightings
    held : stations where the pith stands as it is, being marked there. [mm]
    error : standard error of a sighting; None: that of a mark. [mm]

    Raises
    ------
    InputError
        Where a sighting lies off the log, moves the pith out of reason, or is at odds with another one.
    """
    # a sighting close to a mark speaks for it too: else a millimetre between the two would bend the pith sharply
    knots: dict[float, Array] = {x: np.zeros(2) for x in held if all(abs(sighting.x - x) >= NEAR for sighting in seen)}
    for sighting in seen:
        if not model.x[0] <= sighting.x <= model.x[-1]:
            raise InputError(
                f"pith.seen x = {sighting.x:.0f} mm lies off the log, which is {model.length:.0f} mm long; measure it from the butt end."
            )
        off, radius = float(np.hypot(sighting.up, sighting.right)), _least_radius(model, sighting.x)
        if off > MOST_OFF * radius:
            raise InputError(
                f"the pith as found at {sighting.x:.0f} mm lies {off:.0f} mm from where the plan has it, in a log of {radius:.0f} mm "
                "radius; measure it again."
            )
    new = MARK_ERROR if error is None else error
    places = _together(seen, APART * max(new, MARK_ERROR))
    knots |= places
    at = np.array(sorted(knots))
    shift = np.array([knots[x] for x in at])
    moved = model.pith + np.column_stack([np.interp(model.x, at, shift[:, i]) for i in (0, 1)])
    stderr = model.stderr_pith
    if len(knots) > 1:  # one sighting alone says nothing of the pith's way from there
        doubt = [min(new, d) if x in places else d for x, d in zip(at, np.interp(at, model.x, stderr), strict=True)]
        stderr = np.minimum(stderr, np.interp(model.x, at, doubt))
    out = replace(model, pith=moved, stderr_pith=stderr, pith_assumed=model.pith_assumed and not seen)
    butt, top = (EndPlane(_on_plane(out, plane), plane.normal) for plane in (model.butt, model.top))
    return replace(out, butt=butt, top=top, length=float(top.point[0]))


def _together(seen: Sequence[Sighting], most: float) -> dict[float, Array]:
    """How far the pith is off (y, z) by station, sightings near one another as their mean. [mm]

    InputError where one of these is more than `most` off another.
    """
    groups: list[list[Sighting]] = []
    for sighting in sorted(seen, key=lambda one: one.x):
        if groups and sighting.x - groups[-1][0].x < NEAR:
            groups[-1].append(sighting)
        else:
            groups.append([sighting])
    out: dict[float, Array] = {}
    for group in groups:
        for one, other in itertools.combinations(group, 2):
            apart = float(np.hypot(one.up - other.up, one.right - other.right))
            if apart > most:
                raise InputError(
                    f"the pith as found at {one.x:.0f} mm and at {other.x:.0f} mm lies {apart:.0f} mm apart, seen against the plan's; no "
                    "pith bends so sharply: measure again, or keep one."
                )
        mean = np.mean([(one.x, -one.right, one.up) for one in group], axis=0)
        out[float(mean[0])] = mean[1:]
    return out


def _least_radius(model: LogModel, x: float) -> float:
    return float(radius_at(model, model.radius_under_bark, np.array(x), clock_angles()).min())


def _on_plane(model: LogModel, plane: EndPlane) -> Array:
    """Where the pith meets an end plane, (3,)."""
    spline, x = model.splines(model.pith), float(plane.point[0])
    for _ in range(20):
        y, z = spline(x)
        x = float(
            plane.point[0]
            - (plane.normal[1] * (y - plane.point[1]) + plane.normal[2] * (z - plane.point[2])) / plane.normal[0]
        )
    return np.array([x, *spline(x)])


def with_bark(model: LogModel, card: Card) -> LogModel:
    """The model with the bark that the card now states, and the doubt of a measured bark.

    Raises
    ------
    InputError
        If that bark leaves no wood, or leaves the pith outside it.
    """
    outline = model.radius_over_bark
    thickness, error = bark_thickness(card, outline)
    under = outline - thickness
    was = outline.mean(axis=1) - model.radius_under_bark.mean(axis=1)
    old = BARK_VARIES * np.abs(was)[:, None]
    stderr = np.sqrt(np.maximum(model.stderr_radius**2 - old**2, 0.0) + error**2)
    out = replace(model, radius_under_bark=under, stderr_radius=stderr, bark_assumed=False)
    away = model.pith - model.centre
    rim = radius_at(out, under, model.x, clock_of(away))
    if float((rim - np.hypot(away[:, 0], away[:, 1])).min()) <= 0.0:
        raise InputError(
            f"bark.thickness is {float(thickness[0, 0]):.0f} mm, which leaves the pith outside the wood; correct it."
        )
    return out


def with_sapwood(model: LogModel, thickness: float) -> LogModel:
    """The model with the sapwood that was found.

    Raises
    ------
    InputError
        If that sapwood is thicker than the log.
    """
    least = float(model.radius_under_bark.min())
    if thickness >= least:
        raise InputError(
            f"sapwood.thickness is {thickness:.0f} mm but the wood's radius only {least:.0f} mm; correct it."
        )
    return replace(model, sapwood_thickness=thickness, sapwood_assumed=False)
