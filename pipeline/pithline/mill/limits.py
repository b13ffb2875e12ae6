"""What the mill's limits make of a setting: each limit with the value that meets it, too tight or a clearance run first."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pithline.errors import MillError
from pithline.logmodel.model import clock_of
from pithline.mill.machine import BandMill
from pithline.mill.pose import Pose
from pithline.mill.sections import PieceShape

Array = NDArray[np.float64]
WIDTHS = 90
"""Directions over half a turn in which a section's width is measured."""


@dataclass(frozen=True, slots=True)
class LimitCheck:
    """One limit of the mill with the value that meets it. [mm]"""

    what: str
    value: float
    limit: float
    clearance_run: bool = False  # near enough that the run is tried first, engine stopped and locked out

    @property
    def breached(self) -> bool:
        """Whether the limit is passed."""
        if self.what in ("blade_min", "clamp_room"):
            return self.value < self.limit - 1e-6
        return self.value > self.limit + 1e-6


@dataclass(frozen=True, slots=True)
class MarkRoom:
    """How far the marks' heights found at the mill may lie below and above those foretold. [mm]"""

    down: float
    up: float


def limit_check(what: str, value: float, limit: float, room: float, margin: float) -> LimitCheck:
    """One limit; `room` is what is left before it, `margin` the room under which a clearance run is asked for. [mm]

    Parameters
    ----------
    what : str
        The limit's name, as a cut script has it.
    value, limit : float
        What the setting needs, and what the mill gives. [mm]
    room : float
        What is left before the limit; less than 0 breaches it. [mm]
    margin : float
        The room under which a clearance run is asked for. [mm]
    """
    return LimitCheck(what, round(float(value), 3), float(limit), bool(room < margin))


def setting_checks(
    shape: PieceShape, pose: Pose, blades: list[float], widths: list[float], mill: BandMill
) -> tuple[LimitCheck, ...]:
    """Checks of one setting.

    Parameters
    ----------
    shape : PieceShape
        The piece with its bark.
    pose : Pose
        How it lies.
    blades : list of float
        Kerf-centre heights over the bed, from the top down. [mm]
    widths : list of float
        Greatest widths of the cuts. [mm]
    mill : BandMill
        The limits.
    """
    top = float((shape.points @ pose.up).max()) + pose.height
    lift = max(v for _, v in pose.lifts)
    margin = mill.clearance_margin
    throat = max([top - blades[0]] + [a - b for a, b in itertools.pairwise(blades)])
    return (
        limit_check("throat", throat, mill.throat, mill.throat - throat, margin),
        limit_check("guide_opening", max(widths), mill.guide_opening, mill.guide_opening - max(widths), margin),
        limit_check("blade_max", max(blades), mill.blade_max, mill.blade_max - max(blades), margin),
        limit_check("blade_min", min(blades), mill.blade_min, min(blades) - mill.blade_min, 0.0),
        limit_check("lift", lift, mill.lift_max, mill.lift_max - lift, 0.0),
        limit_check("clamp_room", min(blades) - lift, mill.clamp_room, min(blades) - lift - mill.clamp_room, 0.0),
    )


def mark_room(pose: Pose, blades: list[float], mill: BandMill) -> MarkRoom:
    """How far the heights found at the mill may differ from those foretold; `blades` as for `setting_checks`."""
    lift = max(v for _, v in pose.lifts)
    return MarkRoom(
        float(min(blades) - max(mill.blade_min, mill.clamp_room + lift)), float(mill.blade_max - max(blades))
    )


def widest_across(whole: PieceShape) -> tuple[float, float, float]:
    """The greatest width of any section in any direction, its station, and the clock angle about the section's centroid
    at which that section reaches farthest. [mm, mm, rad]
    """
    turns = np.arange(WIDTHS) * (np.pi / WIDTHS)
    keep = (np.arange(whole.vertices.shape[1])[None, :] < whole.counts[:, None])[:, :, None]
    places = whole.vertices @ np.stack([np.cos(turns), np.sin(turns)])
    width = np.where(keep, places, -np.inf).max(axis=1) - np.where(keep, places, np.inf).min(axis=1)
    widths = np.where(whole.counts > 2, width.max(axis=1), 0.0)
    i = int(np.argmax(widths))
    away = whole.vertices[i, : whole.counts[i]] - whole.centroids[i]
    far = away[int(np.argmax(np.hypot(away[:, 0], away[:, 1])))]
    return float(widths[i]), float(whole.x[i]), float(clock_of(far))


def log_fits(whole: PieceShape, plain_diameter: float, length: float, mill: BandMill, name: str) -> None:
    """Refuse a log the mill cannot hold: which limit, by how much, and whether a stub is to blame.

    Parameters
    ----------
    whole : PieceShape
        The log on its envelope, stubs and swellings included.
    plain_diameter : float
        Its greatest width over bark without them. [mm]
    length : float
        From end to end. [mm]
    mill : BandMill
        Its least and greatest log.
    name : str
        The log's, for the sentence.

    Raises
    ------
    MillError
        With one sentence that names the limit.
    """
    if length > mill.log_length_max:
        raise MillError(
            f"{name}: it is {length:.0f} mm long, the longest log the mill takes is {mill.log_length_max:.0f} mm; "
            f"crosscut {length - mill.log_length_max:.0f} mm off or name a longer mill with --mill."
        )
    if length < mill.log_length_min:
        raise MillError(
            f"{name}: it is {length:.0f} mm long, the shortest log the mill takes is {mill.log_length_min:.0f} mm, "
            f"{mill.log_length_min - length:.0f} mm more; name another mill with --mill."
        )
    widest, at, clock = widest_across(whole)
    if widest > mill.log_diameter_max:
        blame = (
            f"a stub or swelling near clock angle {np.degrees(clock):.0f}° is to blame: trim it flush and scan again"
            if plain_diameter <= mill.log_diameter_max
            else "name a larger mill with --mill"
        )
        raise MillError(
            f"{name}: it is {widest:.0f} mm across with its bark, {at:.0f} mm from the butt; the largest log the mill "
            f"takes is {mill.log_diameter_max:.0f} mm, {widest - mill.log_diameter_max:.0f} mm less; {blame}."
        )
