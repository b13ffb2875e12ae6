"""What the mill's limits make of a setting: each limit with the value that meets it, too tight or a clearance run first."""

from __future__ import annotations

import itertools

import numpy as np
from numpy.typing import NDArray

from pithline.errors import MillError
from pithline.mill.machine import BandMill
from pithline.mill.pose import Pose
from pithline.mill.sections import PieceShape

Array = NDArray[np.float64]


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


def log_fits(whole: PieceShape, plain_diameter: float, length: float, mill: BandMill, name: str) -> None:
    """Refuse a log the mill cannot hold: which limit, by how much, and whether a stub is to blame.

    Raises
    ------
    MillError
        With one sentence that names the limit.
    """
    for value, limit, word in ((length, mill.log_length_max, "longest"),):
        if value > limit:
            raise MillError(
                f"{name}: it is {value:.0f} mm long, the {word} log the mill takes is {limit:.0f} mm; "
                f"crosscut {value - limit:.0f} mm off or name a longer mill with --mill."
            )
    if length < mill.log_length_min:
        raise MillError(
            f"{name}: it is {length:.0f} mm long, the shortest log the mill takes is {mill.log_length_min:.0f} mm; "
            "name another mill with --mill."
        )
    middle = whole.centroids[:, None, :]
    keep = np.arange(whole.vertices.shape[1])[None, :] < whole.counts[:, None]
    reach = np.where(keep, np.linalg.norm(whole.vertices - middle, axis=2), 0.0)
    across = 2.0 * float(reach.max())
    half = whole.vertices.shape[1]
    widest = 0.0
    for i in range(len(whole.x)):
        v = whole.vertices[i, : whole.counts[i]]
        if len(v) > 2:
            turns = np.linspace(0, np.pi, 36, endpoint=False)
            s = v @ np.stack([np.cos(turns), np.sin(turns)])
            widest = max(
                widest,
                float((s.max(axis=0) - s.min(axis=0)).min()),
                float(np.ptp(s, axis=0).max()) if half < 0 else 0.0,
            )
    if widest > mill.log_diameter_max:
        blame = (
            "a stub or swelling is to blame: trim it flush and scan again"
            if plain_diameter <= mill.log_diameter_max
            else ("name a larger mill with --mill")
        )
        raise MillError(
            f"{name}: it is {widest:.0f} mm across with its bark ({across:.0f} mm at its widest reach), the largest log the mill "
            f"takes is {mill.log_diameter_max:.0f} mm, {widest - mill.log_diameter_max:.0f} mm too much; {blame}."
        )
