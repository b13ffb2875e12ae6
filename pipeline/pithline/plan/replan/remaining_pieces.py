"""Pieces of a log that is open already: what is in hand, and the sawn sides that it is searched from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pithline.geometry.pieces import Piece
from pithline.plan.problem.layout import LayoutSetting
from pithline.plan.problem.log_frame import PlanLog, clock_of_normal

SAME_ROLL = np.radians(0.75)
"""A face turned off the grid by less counts as one of its rolls: it leans by a lift step, or was rounded."""
END_LEAN = 0.7
"""A face whose normal agrees more with the log's axis (cosine) is an end, not a side."""


@dataclass(frozen=True, slots=True)
class RemainingPiece:
    """A piece in hand that mill or resaw may still take, the log it belongs to, and what the earlier plan did with it."""

    log: PlanLog
    piece: Piece
    before: LayoutSetting | None


@dataclass(frozen=True, slots=True)
class SawnSide:
    """A sawn side of a piece: the piece lies where n(clock)·X ≥ corner, from the pith's chord at mid-length. [rad, mm]"""

    clock: float
    corner: float


def sides_of(log: PlanLog, piece: Piece) -> tuple[SawnSide, ...]:
    """The sawn faces along a piece, the newest first; faces that a newer parallel one replaced are left out."""
    middle = log.origin + log.axis * log.reach / 2
    out: list[SawnSide] = []
    for face in reversed(piece.faces):
        inward = -np.asarray(face.normal)
        if face in log.piece.faces or abs(float(inward @ log.axis)) > END_LEAN:
            continue
        side = SawnSide(clock_of_normal(inward), -face.offset - float(inward @ middle))
        if not any(abs(angle_between(side.clock, newer.clock)) < SAME_ROLL for newer in out):
            out.append(side)
    return tuple(out)


def angle_between(one: float, other: float) -> float:
    """How far one clock angle lies beyond another, −π … π. [rad]"""
    return float((one - other + np.pi) % (2 * np.pi) - np.pi)
