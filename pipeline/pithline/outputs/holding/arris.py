"""Where the blade stands on a bolt that a block holds at the band saw: from the arris of its sawn faces."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from pithline.outputs.cut_script.document import Array, ScriptCut, ScriptSetting
from pithline.outputs.cut_script.sawn_pieces import PieceFace, SawnPieces
from pithline.outputs.holding.pose import MachinePose
from pithline.outputs.holding.props import Holding, holding_of

ARRIS_GAP = 3.0
"""Two faces whose edges end nearer than this meet in an arris. [mm]"""


class FromArris(NamedTuple):
    """From arris A to the near side of a kerf, across the table, at the butt and at the top end; to the right where positive. [mm]"""

    butt: float
    top: float


def blade_at(pose: MachinePose, cut: ScriptCut, x: float) -> float:
    """Where the kerf's centre stands across the table at a station of the log. [mm]"""
    return float((cut.offset - cut.normal[0] * x) / (cut.normal @ pose.right))


def arris_faces(holding: Holding, setting: ScriptSetting) -> tuple[PieceFace, PieceFace] | None:
    """The face on the block, and the bolt's other sawn face that meets it in arris A; `None` where none does."""
    own = next((one for one in holding.faces if setting.against and one.face.cut == setting.against.face), None)
    if own is None:
        return None
    gaps = {other.number: (float(np.hypot(*(mine - end))), other) for other in holding.faces if other is not own
            for mine in own.edge for end in other.edge if float(np.hypot(*(mine - end))) < ARRIS_GAP}  # fmt: skip
    nearest = min(gaps.values(), key=lambda one: one[0], default=None)
    return None if nearest is None else (own.face, nearest[1].face)


def arris_at(pose: MachinePose, faces: tuple[PieceFace, PieceFace], x: float) -> Array:
    """Arris A at a station of the log: across the table and its height, (2,). [mm]"""
    one, other = faces
    point = np.linalg.solve(
        np.array([[1.0, 0.0, 0.0], one.normal, other.normal]), np.array([x, one.offset, other.offset])
    )
    return np.array([float(point @ pose.right), float(point @ pose.up) + pose.level])


def from_arris(log: SawnPieces, setting: ScriptSetting) -> dict[str, FromArris]:
    """Every cut of a bolt on its block, by its id; empty where the face on the block meets no other sawn face."""
    holding = holding_of(log, setting)
    faces = arris_faces(holding, setting)
    if faces is None:
        return {}
    found = {}
    for cut in log.cuts_of(setting):
        over = [
            blade_at(holding.pose, cut, x) - float(arris_at(holding.pose, faces, x)[0])
            for x in log.stretch(setting.piece)
        ]
        found[cut.id] = FromArris(*(one - np.sign(one) * cut.kerf / 2.0 for one in over))
    return found
