"""The face that a piece really lies on, where its script names one that a later cut took away."""

from __future__ import annotations

from dataclasses import replace

from pithline.outputs.cut_script.document import CutScript, ScriptSetting
from pithline.outputs.cut_script.sawn_pieces import SawnPieces

SAME_WAY = 1.0 - 1e-5
"""Least cosine at which two faces look the same way: a quarter of a degree."""


def with_standing_faces(script: CutScript) -> CutScript:
    """The script, every piece lying on a face that it still has.

    A slab taken off a face leaves another parallel to it; the outer one is in the slab. Who stands the piece up finds the
    inner one alone, and reads its number there.
    """
    log = SawnPieces(script)
    return replace(script, operations=tuple(
        _standing(log, one) if isinstance(one, ScriptSetting) else one for one in script.operations
    ))  # fmt: skip


def _standing(log: SawnPieces, setting: ScriptSetting) -> ScriptSetting:
    named = log.face(setting.piece, setting.against.face) if setting.against else None
    if named is None or setting.against is None:
        return setting
    parallel = [one for one in log.faces(setting.piece) if float(one.normal @ named.normal) > SAME_WAY]
    standing = min(parallel, key=lambda one: one.offset)
    return (
        setting if standing.cut == named.cut else replace(setting, against=replace(setting.against, face=standing.cut))
    )
