"""How a piece is turned on its machine, and how high."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from pithline.outputs.cut_script.document import Array, Saw, ScriptSetting
from pithline.outputs.cut_script.kept import kept
from pithline.outputs.cut_script.sawn_pieces import ACROSS, UPRIGHT, PieceFace, SawnPieces, rightward

ALONG = np.array([1.0, 0.0, 0.0])
"""From butt to top."""
FLAT_DEG = 0.05
"""A face at less than this to the blade lies flat to the fence; at more than 90° less this, flat on the table."""
LEANS = 1e-3
"""A face that looks up by more than this (cosine) would let its piece slide off the block: the piece is turned end for end."""


class MachinePose(NamedTuple):
    """A piece on its machine, seen by someone who faces one end of it.

    `right` and `up` (3,) are unit vectors of the log frame; a point X stands X·up + `level` over the bed or table [mm].
    `end` is the end that is faced, "butt" or "top".
    """

    right: Array
    up: Array
    level: float
    end: str = "butt"

    @property
    def along(self) -> Array:
        """Away from the one who looks, (3,); from butt to top where the butt is faced."""
        return np.asarray(np.cross(self.up, self.right), float)


@kept
def pose_of(log: SawnPieces, setting: ScriptSetting) -> MachinePose:
    """How a setting's piece lies, as sheet, cards and preview draw it."""
    if setting.up is not None:
        return MachinePose(rightward(setting.up), setting.up, _mill_level(log, setting))
    face = log.face(setting.piece, setting.against.face) if setting.against else None
    if setting.tool is Saw.BUCK or face is None or setting.against is None:
        return _on_the_table(log, setting, UPRIGHT)
    if setting.against.angle > 90.0 - FLAT_DEG:
        return _on_the_table(log, setting, -face.normal)
    return _at_the_fence(log, setting, face)


def _mill_level(log: SawnPieces, setting: ScriptSetting) -> float:
    """Height of the log's origin: the marks tell, else the cuts do, whose planes stand at their blade's height."""
    up = setting.up if setting.up is not None else UPRIGHT
    if setting.marks is not None:
        return float(np.mean([mark.height - float(mark.point @ up) for mark in setting.marks.both]))
    levels = [cut.blade_height - cut.offset for cut in log.cuts_of(setting) if cut.blade_height is not None]
    return float(np.mean(levels)) if levels else 0.0


def _on_the_table(log: SawnPieces, setting: ScriptSetting, up: Array) -> MachinePose:
    return MachinePose(rightward(up), up, _resting_level(log, setting.piece, rightward(up), up))


def _at_the_fence(log: SawnPieces, setting: ScriptSetting, face: PieceFace) -> MachinePose:
    """The fence at the left, the blade upright; a face that leans looks down at its block, whichever end is then faced."""
    cuts = log.cuts_of(setting)
    normal = cuts[0].normal if cuts else face.normal
    normal = normal - (normal @ ALONG) * ALONG if abs(normal[0]) < ACROSS else normal
    right = -normal if normal @ face.normal > 0.0 else normal
    right = np.asarray(right / np.linalg.norm(right), float)
    up, end = np.asarray(np.cross(-ALONG, right), float), "butt"
    if face.normal @ up > LEANS:
        up, end = -up, "top"
    return MachinePose(right, up, _resting_level(log, setting.piece, right, up), end)


def _resting_level(log: SawnPieces, piece: str, right: Array, up: Array) -> float:
    """Height of the log's origin where the lowest of a piece rests on the table."""
    shape = log.section(piece, log.stretch(piece).middle, right, up)
    return 0.0 if shape.is_empty else -float(shape.bounds[1])
