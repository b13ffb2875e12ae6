"""Why a wanted part does not fit a log, and by how much: its size against the length, and the room between pith and bark.

A plate is straight and as long as its part, so the room for it in one clock direction is what lies between the farthest that the
pith (not its circle) comes out that way along the plate and the nearest that the bark comes in. It needs its width, the pith's circle,
what of the sapwood its limits keep out, and what is kept clear under the bark; more where its rings may not stand square to its face.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from pithline.logmodel.model import clock_direction
from pithline.mill.machine import Machines
from pithline.mill.products import Limits
from pithline.plan.execute.grade import PlateGrade, grade_plate
from pithline.plan.problem.effort import thickness_max
from pithline.plan.problem.log_frame import SURFACE_RESERVE, PlanLog, in_trims, normal_at
from pithline.plan.problem.parts import SawnPart, sapwood_kept_out

Array = NDArray[np.float64]
CLOCK_STEP = 5
"""Clock angles looked at, one each so many degrees."""
HEIGHTS = np.arange(0.0, 400.0, 2.0)
"""Of a plate's mid-plane over the pith, where its place is looked for. [mm]"""
SHIFTS = np.arange(0.0, 240.0, 2.0)
"""Of a plate sideways from the nearest that it may lie to the pith. [mm]"""
ACROSS = np.linspace(0.0, 1.0, 17)
"""Places over a plate's width where its ring angle is read."""
ANGLE_RESERVE = np.radians(2.0)
"""Kept from ring-angle limits where a place is looked for: rings are no circles."""
AS_NEAR = 1.02
"""Of places that need about as much room, the one that stands squarest to the rings is taken."""
FEW_CLOCKS = 0.25
"""A part that fits at less than this share of the clock angles is told of too."""
GRADED, ALONG = 18, 5
"""Clock angles with room enough, and places along the log at each, where plates are graded before it is said that none passes."""


class Why(StrEnum):
    """What keeps a part from a log."""

    LENGTH = "length"
    THICKNESS = "thickness"  # more than every saw takes
    WIDTH = "width"  # more than the resaw takes
    ROOM = "room"  # between pith and bark
    GRAIN = "grain"  # room enough, but the limits are missed, or a defect lies there


@dataclass(frozen=True, slots=True)
class Misfit:
    """A wanted part that does not fit, or hardly does.

    Attributes
    ----------
    part : SawnPart
        The part.
    why : Why
        What keeps it out.
    needs, has : float
        What it needs, and the most that there is of it: length, room, or size a saw takes. [mm]
    mean : float
        The mean room between pith and bark along plates of its length. [mm]
    clock : float
        Clock angle of the most room. [rad]
    somewhere : bool
        Whether it fits at some clock angles after all.
    sentence : str
        All this in words, lengths in mm.
    """

    part: SawnPart
    why: Why
    needs: float
    has: float
    mean: float
    clock: float
    somewhere: bool
    sentence: str


class Place(NamedTuple):
    """Where across the log a plate lies so that its outer edge is as near to the pith as its limits allow. [mm]

    `height` of its mid-plane over the pith, `inner` edge's place sideways (negative: beyond the pith), `radius` of its outermost edge.
    """

    height: float
    inner: float
    radius: float


def nearest_place(part: SawnPart, pith_radius: float) -> Place | None:
    """The place nearest to the pith that keeps a part's limits, rings taken as circles about the pith; None where there is none.

    At height h over the pith a ring meets a level face at atan(u / h), u sideways from the pith.
    """
    limits, half, h = part.limits, part.thickness / 2.0, HEIGHTS[:, None]
    least, mean = (
        angle + ANGLE_RESERVE if angle > 0.0 else 0.0 for angle in (limits.ring_angle_min, limits.ring_angle_mean)
    )
    most = np.pi if limits.ring_angle_max is None else limits.ring_angle_max - ANGLE_RESERVE
    gap = np.maximum(h - half, 0.0)
    clear = np.sqrt(np.maximum(pith_radius**2 - gap**2, 0.0))
    beside = np.maximum(clear, h * np.tan(min(least, np.radians(89.9)))) + SHIFTS
    over = np.where(h - half >= pith_radius, -part.width / 2.0, np.nan)
    inner = np.concatenate([beside, over], axis=1)
    u = inner[..., None] + part.width * ACROSS
    angle = np.arctan2(np.abs(u), h[..., None] + 1e-9)
    good = (angle.min(axis=2) >= least - 1e-9) & (angle.max(axis=2) <= most) & (angle.mean(axis=2) >= mean)
    radius = np.where(good, np.hypot(np.abs(u).max(axis=2), h + half), np.inf)
    nearest = radius.min(axis=1)
    if not np.isfinite(nearest).any():
        return None
    row = int(np.argmax(nearest <= AS_NEAR * nearest.min()))
    return Place(float(HEIGHTS[row]), float(inner[row, np.argmin(radius[row])]), float(nearest[row]))


@dataclass(frozen=True, slots=True)
class PlateRoom:
    """Room between pith and bark for plates of one length.

    Attributes
    ----------
    clocks : (c,) array
        Clock angles. [rad]
    starts : (w,) array
        Where along the log frame's x plates begin. [mm]
    room : (w, c) array
        [mm]
    pith_out : (w, c) array
        How far the pith comes out from the chord that way along such a plate. [mm]
    """

    clocks: Array
    starts: Array
    room: Array
    pith_out: Array


def plate_room(log: PlanLog, length: float) -> PlateRoom:
    """The room for plates of a length between the trims; no windows where the log is too short."""
    field = log.field
    x = field.x0 + np.arange(len(field.pith), dtype=np.float64) * field.dx
    chord = log.origin[1:] + (x - log.origin[0])[:, None] * (log.axis[1:] / log.axis[0])
    clocks: Array = np.radians(np.arange(0.0, 360.0, CLOCK_STEP))
    pith = (field.pith - chord) @ clock_direction(clocks).T
    bark: Array = pith + field.radius[:, :-1:CLOCK_STEP]
    inside = np.flatnonzero((x >= log.butt.point[0] + log.trim_butt) & (x <= log.top.point[0] - log.trim_top))
    count = int(np.floor(length / field.dx)) + 1
    if len(inside) < count:
        none: Array = np.empty((0, len(clocks)))
        return PlateRoom(clocks, np.empty(0), none, none)
    span = slice(inside[0], inside[-1] + 1)
    out: Array = sliding_window_view(pith[span], count, axis=0).max(axis=-1)
    room: Array = sliding_window_view(bark[span], count, axis=0).min(axis=-1) - out
    return PlateRoom(clocks, x[inside[: len(room)]], room, out)


def misfits(
    logs: Sequence[PlanLog], parts: Sequence[SawnPart], machines: Machines, passing: Sequence[bool]
) -> tuple[Misfit, ...]:
    """The wanted parts that fit nowhere, or at few clock angles only, each with why and by how much.

    Parameters
    ----------
    logs : sequence of PlanLog
        The log, or the shorter logs it is crosscut into; a part fits where it fits one.
    parts : sequence of SawnPart
        Those that are not wanted (demand 0) are passed over.
    machines : Machines
        What saws take.
    passing : sequence of bool
        Of each part, whether a search has seen a place where it passes; where it has not, plates are graded to tell why.
    """
    wanted = [(part, passes) for part, passes in zip(parts, passing, strict=True) if part.demand != 0]
    found = (misfit(logs, part, machines, passes) for part, passes in wanted)
    return tuple(one for one in found if one is not None)


def misfit(logs: Sequence[PlanLog], part: SawnPart, machines: Machines, passing: bool = False) -> Misfit | None:
    """Why one part does not fit, or hardly does; None where it does. `passing` as for `misfits`."""
    size = _too_big(logs, part, machines)
    if size is not None:
        return size
    place = nearest_place(part, logs[0].pith_radius)
    if place is None:
        words = "no log has a place that keeps their limits"
        return None if passing else _told(part, Why.GRAIN, (0.0, 0.0), _nothing_known(), words)
    tried = [_in_log(log, part, place, passing) for log in logs]
    if any(one is None for one in tried):
        return None
    return max((one for one in tried if one is not None), key=lambda one: (one.somewhere, one.has - one.needs))


def _too_big(logs: Sequence[PlanLog], part: SawnPart, machines: Machines) -> Misfit | None:
    """A part that is longer than the log, or more than the saws take."""
    clear, thickest, widest = max(log.clear for log in logs), thickness_max(machines), machines.resaw.height_max
    size = _nothing_known()
    if part.length > clear:
        whose = "the clear length" if len(logs) == 1 else "the clear length of the longest shorter log"
        words = f"{whose} is {clear:.0f} mm, {part.length - clear:.0f} mm too little"
        return _told(part, Why.LENGTH, (part.length, clear), size, words)
    if part.thickness > thickest:
        return _told(part, Why.THICKNESS, (part.thickness, thickest), size, f"the shop's saws take {thickest:.0f} mm")
    if part.width > widest:
        return _told(part, Why.WIDTH, (part.width, widest), size, f"the resaw takes {widest:.0f} mm")
    return None


class _Most(NamedTuple):
    """The mean room, the clock angle of the most, and whether the part fits there."""

    mean: float
    clock: float
    somewhere: bool


def _nothing_known() -> _Most:
    return _Most(0.0, 0.0, False)


def _in_log(log: PlanLog, part: SawnPart, place: Place, passing: bool) -> Misfit | None:
    """Why a part that is short enough does not fit one log, or at few clock angles; None where it does."""
    kept_out = sapwood_kept_out(part.limits, log.sapwood)
    needs = place.radius + kept_out + SURFACE_RESERVE
    seen = plate_room(log, part.length)
    if not len(seen.starts):
        words = f"a shorter log's clear length is {log.clear:.0f} mm"
        return _told(part, Why.LENGTH, (part.length, log.clear), _nothing_known(), words)
    most = seen.room.max(axis=0)
    best, enough = int(np.argmax(most)), np.flatnonzero(most >= needs)
    grade = None if passing else _best_grade(log, part, place, seen, enough)
    passes = passing or (grade is not None and grade.passes)
    if passes and not 0 < len(enough) < FEW_CLOCKS * len(most):
        return None
    known, has = _Most(float(seen.room.mean()), float(seen.clocks[best]), passes), float(most[best])
    if len(enough) and grade is not None and not passes:
        words = f"{has:.0f} mm from pith to bark at {_clock(known.clock)} would do, but {_missed(grade, part.limits)}"
        return _told(part, Why.GRAIN, (needs, has), known, words)
    of_sapwood = f", {kept_out:.0f} mm of it sapwood that must stay out" if kept_out >= 0.5 else ""
    there = ", where alone they fit" if passes else ""
    words = (
        f"{needs:.0f} mm from pith to bark{of_sapwood}; this log has {known.mean:.0f} mm on average, "
        f"{has:.0f} mm at {_clock(known.clock)}{there}"
    )
    return _told(part, Why.ROOM, (needs, has), known, words)


def _best_grade(
    log: PlanLog, part: SawnPart, place: Place, seen: PlateRoom, enough: NDArray[np.intp]
) -> PlateGrade | None:
    """Of plates all round, where there is room, and along the log: the first that passes, else the one that misses least."""
    best: PlateGrade | None = None
    for k in enough[:: max(1, len(enough) // GRADED)]:
        fitting = np.flatnonzero(seen.room[:, k] >= place.radius)
        for w in fitting[np.unique(np.linspace(0, len(fitting) - 1, ALONG).astype(int))] if len(fitting) else ():
            corner, edges = _box(
                log, part, place, float(seen.starts[w]), float(seen.clocks[k]), float(seen.pith_out[w, k])
            )
            ends = np.array([corner + i * edges[0] + j * edges[1] + m * edges[2] for i, j, m in np.ndindex(2, 2, 2)])
            if in_trims(log, ends).any():
                continue
            grade = grade_plate(log, corner, edges, part.limits)
            if grade.passes:
                return grade
            if best is None or _excess(grade, part.limits) < _excess(best, part.limits):
                best = grade
    return best


def _excess(grade: PlateGrade, limits: Limits) -> float:
    """How far a plate misses the limits of its grain. [rad]"""
    over = [
        grade.runout - limits.runout_max,
        limits.ring_angle_min - grade.ring_min,
        limits.ring_angle_mean - grade.ring_mean,
    ]
    over += [] if limits.slope_max is None else [grade.slope - limits.slope_max]
    return max(*over, 0.0)


def _box(
    log: PlanLog, part: SawnPart, place: Place, start: float, clock: float, out: float
) -> tuple[Array, tuple[Array, Array, Array]]:
    """A plate's corner and edges: it begins at x = `start`, its width towards the clock angle, `out` from the chord. [mm]"""
    across = normal_at(log.axis, clock)
    up = np.cross(log.axis, across)
    base = log.origin + log.axis * ((start - log.origin[0]) / log.axis[0])
    corner = base + (out + place.inner) * across + (place.height - part.thickness / 2.0) * up
    return corner, (log.axis * part.length, across * part.width, up * part.thickness)


def _missed(grade: PlateGrade, limits: Limits) -> str:
    """Which limit a plate misses, in words."""

    def deg(value: float) -> str:
        return f"{np.degrees(value):.1f}°"

    if grade.runout > limits.runout_max:
        return f"fibres leave the face there at {deg(grade.runout)} where {deg(limits.runout_max)} is the most"
    if limits.slope_max is not None and grade.slope > limits.slope_max:
        return f"fibres cross the face there at {deg(grade.slope)} where {deg(limits.slope_max)} is the most"
    if grade.ring_min < limits.ring_angle_min:
        return f"the ring angle there falls to {deg(grade.ring_min)} where {deg(limits.ring_angle_min)} is the least"
    if grade.ring_mean < limits.ring_angle_mean:
        return f"the mean ring angle there is {deg(grade.ring_mean)} where {deg(limits.ring_angle_mean)} is the least"
    if not grade.sound:
        return "a defect or sapwood lies there"
    return "its rings stand too steep there"


def _told(part: SawnPart, why: Why, sizes: tuple[float, float], most: _Most, words: str) -> Misfit:
    """A misfit with its sentence."""
    size = {Why.LENGTH: part.length, Why.THICKNESS: part.thickness}.get(why, part.width)
    joint = " need " if why is Why.ROOM else ": "
    sentence = f"{size:.0f} mm {plural(part.part.name)}{joint}{words}."
    return Misfit(part, why, sizes[0], sizes[1], most.mean, most.clock, most.somewhere, sentence)


def plural(name: str) -> str:
    """The plural of a part's name: "neck blocks", "body halves"."""
    if name.endswith("half"):
        return f"{name[:-4]}halves"
    return name if name.endswith("s") else f"{name}s"


def _clock(angle: float) -> str:
    """A clock angle by the hour."""
    return f"{round(float(np.degrees(angle)) / 30.0) % 12 or 12} o'clock"
