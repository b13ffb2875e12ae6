"""Where the blade stands on a bolt that a block holds at the band saw: from the arris of its sawn faces."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from pithline.outputs.cut_script.document import Array, ScriptCut, ScriptSetting
from pithline.outputs.cut_script.sawn_pieces import SawnPieces
from pithline.outputs.holding.pose import MachinePose
from pithline.outputs.holding.props import Holding, holding_of

ARRIS_GAP = 3.0
"""Two faces whose edges end nearer than this meet in an arris. [mm]"""


class FromArris(NamedTuple):
    """From arris A to the near side of a kerf, across the table, and whether that is to the right. [mm]"""

    distance: float
    to_the_right: bool


def blade_at(pose: MachinePose, cut: ScriptCut, x: float) -> float:
    """Where the kerf's centre stands across the table at a station of the log. [mm]"""
    return float((cut.offset - cut.normal[0] * x) / (cut.normal @ pose.right))


def arris_of(holding: Holding, setting: ScriptSetting) -> Array | None:
    """Arris A (2,): where the face on the block meets the bolt's other sawn face; `None` where it meets none."""
    faces = {one.face.cut: one for one in holding.faces}
    own = faces.get(setting.against.face) if setting.against else None
    if own is None:
        return None
    others = [end for one in holding.faces if one is not own for end in one.edge]
    best = min(((float(np.hypot(*(end - other))), tuple(end)) for end in own.edge for other in others), default=None)
    return np.array(best[1]) if best is not None and best[0] < ARRIS_GAP else None


def from_arris(log: SawnPieces, setting: ScriptSetting) -> dict[str, FromArris]:
    """Every cut of a bolt on its block, by its id; empty where the face on the block meets no other sawn face."""
    holding = holding_of(log, setting)
    arris = arris_of(holding, setting)
    if arris is None or holding.section is None:
        return {}
    over = {cut: blade_at(holding.pose, cut, holding.section.x) - float(arris[0]) for cut in log.cuts_of(setting)}
    return {cut.id: FromArris(abs(one) - cut.kerf / 2.0, one > 0.0) for cut, one in over.items()}
