"""An earlier script's settings read back as layouts, so that they can be carried out again or compared with new ones."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pithline.geometry.pieces import Piece
from pithline.plan.execute.bucked_log import LogLayout, crosscut_log
from pithline.plan.execute.ledger import vector
from pithline.plan.execute.operation_json import operations_from_json
from pithline.plan.execute.slab_faces import parallel_faces
from pithline.plan.problem.layout import LayoutSetting, LayoutSlab
from pithline.plan.problem.log_frame import PlanLog, clock_of_normal
from pithline.plan.problem.operations import Cut, Operation, Tool
from pithline.plan.replan.script_history import Operations, ledger_of

Array = NDArray[np.float64]
ROLES = ("log", "half", "bolt")
ROUNDING_SLACK = 0.02
"""Heights are rounded so that no slab comes out thinner than drawn: one drawn this much thinner comes out as it was. [mm]"""


@dataclass(frozen=True, slots=True)
class ScriptLayouts:
    """An earlier script's cuts by the piece that they part, and its pieces."""

    cut_of: Mapping[str, Cut]
    pieces: Mapping[str, Piece]

    def layout(self, log: PlanLog, name: str) -> LayoutSetting | None:
        """What was done on the mill and the resaw with a log, half, bolt, or what a broken-off setting left of one; None: nothing."""
        piece, first = self.pieces[name], self.cut_of.get(name)
        if first is None or not first.tool.on_mill_or_resaw or piece.kind not in ROLES:
            return None
        normal = np.asarray(first.normal, float)
        normal /= np.linalg.norm(normal)
        middle = float((log.origin + log.axis * log.reach / 2) @ normal)
        slabs: list[LayoutSlab] = []
        above: LayoutSetting | None = None
        current, cut = name, first
        while True:
            over = self.pieces[cut.above]
            if over.kind == "slab":
                slabs.append(self._slab(log, over, normal, middle, first.tool))
            elif cut is first:
                above = self.layout(log, over.id)
            current = cut.below
            following = self.cut_of.get(current)
            if following is None or following.setting != first.setting:
                break
            cut = following
        below: LayoutSetting | None = None
        if self.pieces[current].kind == "slab":
            slabs.append(self._slab(log, self.pieces[current], normal, middle, first.tool))
        else:
            below = self.layout(log, current)
        if not slabs:
            return None
        lean = float(normal @ log.axis)
        return LayoutSetting(clock_of_normal(normal), tuple(slabs), above, below, piece.kind, lean=lean)

    def _slab(self, log: PlanLog, slab: Piece, normal: Array, middle: float, tool: Tool) -> LayoutSlab:
        faces = parallel_faces(log, slab, normal)
        assert faces.floor is not None and faces.ceiling is not None
        slack = ROUNDING_SLACK if tool is Tool.MILL else 0.0
        return LayoutSlab(faces.floor - middle + slack / 2, faces.ceiling - faces.floor - slack)


def script_layouts(operations: Operations, kinds: Mapping[str, str]) -> ScriptLayouts:
    """Index a script's operations; `kinds` are those of its pieces."""
    cuts = {each.piece: each for each in operations if isinstance(each, Cut)}
    return ScriptLayouts(cuts, ledger_of(operations, kinds).pieces)


def crosscut_places(operations: Operations, log: PlanLog) -> tuple[float, ...]:
    """Where a log was crosscut first: kerf centres along its pith's chord from the butt end, rising. [mm]"""
    found = [
        (cut.offset - float(np.dot(cut.normal, log.origin))) / float(np.dot(cut.normal, log.axis))
        for cut in bucking_cuts(operations)
    ]
    return tuple(sorted(found))


def bucking_cuts(operations: Operations) -> list[Cut]:
    """The crosscuts that shorten the log."""
    return [each for each in operations if isinstance(each, Cut) and each.tool is Tool.BUCK]


def logs_of(operations: Operations) -> list[str]:
    """The logs that a script's crosscuts leave, from butt to top; the log where there are none."""
    bucks = bucking_cuts(operations)
    used = {cut.piece for cut in bucks}
    # along the chord a log lies above every cut that it is the upper side of
    place = {cut.above: cut.offset for cut in bucks} | {cut.below: cut.offset - 1.0 for cut in bucks}
    return sorted((name for name in place if name not in used), key=lambda name: place[name]) or ["log"]


def in_log_frame(operations: Operations, scan_to_log: Array, into: Array) -> Operations:
    """The operations' planes in another log frame of the same scan.

    Parameters
    ----------
    operations : sequence of Operation
        Their marks and poses stay as they are.
    scan_to_log, into : (4, 4) arrays
        Matrices of the frame they stand in and of the one wanted.
    """
    change = np.asarray(into, float) @ np.linalg.inv(np.asarray(scan_to_log, float))
    if np.allclose(change, np.eye(4), atol=1e-6):
        return operations
    turn, shift = change[:3, :3], change[:3, 3]
    out: list[Operation] = []
    for each in operations:
        if isinstance(each, Cut):
            normal = turn @ np.asarray(each.normal, float)
            normal /= np.linalg.norm(normal)
            each = replace(each, normal=vector(normal), offset=float(each.offset + normal @ shift))
        out.append(each)
    return out


def layout_of_script(script: Mapping[str, Any], log: PlanLog, kerf: float) -> LogLayout | None:
    """An earlier script's layout on the log as it is fitted now; None where it saws nothing.

    Parameters
    ----------
    script : mapping
        A cut script of the same scan.
    log : PlanLog
        The whole log.
    kerf : float
        Of the saw that crosscuts logs. [mm]
    """
    frames = (np.asarray(each, float) for each in (script["log"]["scan_to_log"], log.model.scan_to_log))
    operations = in_log_frame(operations_from_json(script["operations"]), *frames)
    places = crosscut_places(operations, log)
    logs = crosscut_log(log, places, kerf, 0.0)[1]
    past = script_layouts(operations, {piece["id"]: piece["kind"] for piece in script["pieces"]})
    layouts = tuple(past.layout(each, name) for each, name in zip(logs, logs_of(operations), strict=True))
    return LogLayout(log, places, logs, layouts) if any(layouts) else None
