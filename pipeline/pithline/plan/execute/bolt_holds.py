"""How a bolt can be held by its own sawn faces: flat on one, or in a cradle that holds one at an angle to the blade."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pithline.geometry.pieces import Face, Piece
from pithline.mill.sections import PieceShape
from pithline.plan.problem.layout import LayoutSetting
from pithline.plan.problem.log_frame import PlanLog
from pithline.plan.problem.operations import Tool

Array = NDArray[np.float64]
FLAT_WITHIN_DEG = 1.2
"""A run drawn this near to a sawn face is sawn parallel to it: faces lean by a lift step at most."""
CRADLE_WITHIN_DEG = 3.0
"""A run drawn this near to a cradle's angle is sawn at that angle: drawn angles are those of the search's grid."""
ALONG = 0.5
"""A face whose line along the piece is shorter than this (cosine) is an end."""
SAME_TURN_COSINE = np.cos(np.radians(0.1))
"""Holds within this of each other turn a bolt alike: faces that stand at whole angles differ by the second order of their lean."""
CARRIED_SPARE = 5.0
"""The weight lies so far inside what carries it. [mm]"""


@dataclass(frozen=True, slots=True)
class BoltHold:
    """A sawn face that holds a bolt at an angle to the blade (0: flat on it), and the cuts' unit normal then, (3,).

    `listed` tells whether the shop has a cradle of that angle.
    """

    tool: Tool
    face: Face
    angle_deg: float
    normal: Array
    listed: bool = True

    @property
    def flat(self) -> bool:
        """Whether cuts run parallel to the face."""
        return self.angle_deg == 0.0

    @property
    def set_up(self) -> tuple[Tool, float]:
        """What settings of one set-up have in common."""
        return self.tool, self.angle_deg


def bolt_holds(
    log: PlanLog, piece: Piece, wanted: Array, tool: Tool, cradles_deg: tuple[float, ...], any_angle: bool
) -> tuple[BoltHold, ...]:
    """Ways to hold a bolt so that cuts run about as wanted, the nearest first; flat ones alone where there is one.

    Parameters
    ----------
    log : PlanLog
        The log that the bolt is of: its own faces hold nothing.
    piece : Piece
        The bolt with its sawn faces.
    wanted : (3,) array
        Unit normal of the cuts as drawn, log frame.
    tool : Tool
        The saw that takes it.
    cradles_deg : tuple of float
        Angles of the cradles there are.
    any_angle : bool
        Whether a cradle may be made to the angle that the drawn cuts have.
    """
    found: list[tuple[float, BoltHold]] = []
    for face in piece.faces:
        f = np.asarray(face.normal)
        line = log.axis - (log.axis @ f) * f
        if face in log.piece.faces or np.linalg.norm(line) < ALONG:
            continue
        line /= np.linalg.norm(line)
        drawn = wanted - (wanted @ line) * line
        drawn /= np.linalg.norm(drawn)
        across = np.cross(line, f)
        turn = float(np.degrees(np.arctan2(drawn @ across, drawn @ f)))
        lean = min(abs(turn), 180.0 - abs(turn))
        if lean < FLAT_WITHIN_DEG:
            return (BoltHold(tool, face, 0.0, f if abs(turn) < 90.0 else -f),)
        for angle in cradles_deg:
            if abs(lean - angle) <= CRADLE_WITHIN_DEG:
                found.append((abs(lean - angle), BoltHold(tool, face, angle, _turned(f, across, turn, angle))))
        if any_angle:
            found.append((CRADLE_WITHIN_DEG, BoltHold(tool, face, lean, drawn, False)))
    return tuple(hold for _, hold in sorted(found, key=lambda one: one[0]))


def hold_as_sawn(holds: Sequence[BoltHold], axis: Array, lean: float | None) -> BoltHold | None:
    """The best of some holds, the best first; None where there is none.

    Two faces may hold a bolt at the same turn, with cuts that lean along the log by a lift step more or less. Where the bolt
    was sawn before, cuts lean as they did then.

    Parameters
    ----------
    axis : (3,) unit vector of the log
    lean : part of the cuts' unit normal along the axis as they were sawn; None: they are new
    """
    if lean is None or not holds:
        return holds[0] if holds else None

    def across(hold: BoltHold) -> Array:
        part: Array = hold.normal - (hold.normal @ axis) * axis
        return part / np.linalg.norm(part)

    first = across(holds[0])
    alike = [hold for hold in holds if float(across(hold) @ first) > SAME_TURN_COSINE]
    return min(alike, key=lambda hold: abs(float(hold.normal @ axis) - lean))


def _turned(face: Array, across: Array, turn: float, angle: float) -> Array:
    """The unit normal that stands exactly `angle` from a face's line, on the side that `turn` is. [degrees]"""
    exact = np.copysign(angle if abs(turn) < 90.0 else 180.0 - angle, turn)
    normal: Array = np.cos(np.radians(exact)) * face + np.sin(np.radians(exact)) * across
    return normal


def stands(shape: PieceShape, piece: Piece, up: Array, axis: Array) -> bool:
    """Whether a bolt posed with `up` (3,) up has its weight over the sawn faces that face down, across the bed."""
    lateral = np.cross(up, axis)
    lateral /= np.linalg.norm(lateral)
    points = shape.points
    places = points @ lateral
    carried = np.zeros(len(points), bool)
    for face in piece.faces:
        n = np.asarray(face.normal)
        if n @ up < -np.sin(np.radians(10.0)) and abs(n @ axis) < ALONG:
            carried |= np.abs(points @ n - face.offset) < 1.0
    if not carried.any():
        return False
    weight = float(shape.centroid @ lateral)
    return bool(places[carried].min() + CARRIED_SPARE <= weight <= places[carried].max() - CARRIED_SPARE)


KnownHolds = dict[tuple[object, ...], tuple[BoltHold, ...]]
"""Ways to hold bolts that were found before, by log, turn and faces."""


def known_holds(
    known: KnownHolds,
    log: PlanLog,
    setting: LayoutSetting,
    piece: Piece,
    find: Callable[[LayoutSetting, Piece], tuple[BoltHold, ...]],
) -> tuple[BoltHold, ...]:
    """Ways to hold a bolt for a setting, looked up by its faces, or found and kept; by the names of the cuts that made its faces.

    Parameters
    ----------
    known : dict
        What was found before; filled.
    log : PlanLog
        The log that the bolt is of.
    setting : LayoutSetting
        How it is turned.
    piece : Piece
        The bolt.
    find : callable
        Finds them.
    """
    own = {(face.normal, face.offset): face for face in piece.faces}
    of_log = (*log.axis.tolist(), *((face.normal, face.offset) for face in log.piece.faces))
    key = (of_log, setting.clock, bool(setting.slabs), tuple(own))
    if key not in known:
        known[key] = find(setting, piece)
    return tuple(replace(hold, face=own[hold.face.normal, hold.face.offset]) for hold in known[key])
