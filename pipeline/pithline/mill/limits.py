"""What the mill's limits make of a setting: each limit with the value that meets it, too tight or a clearance run first."""

from __future__ import annotations

import itertools

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


def check(what: str, value: float, limit: float, room: float, margin: float) -> dict:
    """One line of a setting's checks; `room` is what is left before the limit."""
    line: dict = {"what": what, "value": round(float(value), 3), "limit": float(limit)}
    if room < margin:
        line["clearance_run"] = True
    return line


def setting_checks(
    shape: PieceShape, pose: Pose, blades: list[float], widths: list[float], mill: BandMill
) -> list[dict]:
    """Checks of one setting; `blades` are kerf-centre heights over the bed from the top down, `widths` of the cuts. [mm]"""
    top = float((shape.points @ pose.up).max()) + pose.height
    lift = max(v for _, v in pose.lifts)
    margin = mill.clearance_margin
    throat = max([top - blades[0]] + [a - b for a, b in itertools.pairwise(blades)])
    return [
        check("throat", throat, mill.throat, mill.throat - throat, margin),
        check("guide_opening", max(widths), mill.guide_opening, mill.guide_opening - max(widths), margin),
        check("blade_max", max(blades), mill.blade_max, mill.blade_max - max(blades), margin),
        check("blade_min", min(blades), mill.blade_min, min(blades) - mill.blade_min, 0.0),
        check("lift", lift, mill.lift_max, mill.lift_max - lift, 0.0),
        check("clamp_room", min(blades) - lift, mill.clamp_room, min(blades) - lift - mill.clamp_room, 0.0),
    ]


def breached(line: dict) -> bool:
    """Whether a check fails."""
    if line["what"] in ("blade_min", "clamp_room"):
        return line["value"] < line["limit"] - 1e-6
    return line["value"] > line["limit"] + 1e-6


def mark_room(pose: Pose, blades: list[float], mill: BandMill) -> dict:
    """How far the heights found at the mill may differ from those foretold."""
    lift = max(v for _, v in pose.lifts)
    return {
        "down": float(min(blades) - max(mill.blade_min, mill.clamp_room + lift)),
        "up": float(mill.blade_max - max(blades)),
    }


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
