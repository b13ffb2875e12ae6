"""An earlier script's settings read back as layouts, so that they can be carried out again or compared with new ones."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pithline.geometry.pieces import Piece
from pithline.plan.execute.simulate import parallel_faces
from pithline.plan.problem.layout import LayoutSetting, LayoutSlab
from pithline.plan.problem.log_frame import PlanLog, clock_of_normal
from pithline.plan.replan.script_history import ledger_of

Array = NDArray[np.float64]
ROLES = ("log", "half", "bolt")
ROUNDING_SLACK = 0.02
"""Heights are rounded so that no slab comes out thinner than drawn: one drawn this much thinner comes out as it was. [mm]"""


@dataclass(frozen=True, slots=True)
class ScriptLayouts:
    """An earlier script's operations, by the piece that they part."""

    settings: Mapping[str, Mapping[str, Any]]
    cut_of: Mapping[str, Mapping[str, Any]]
    pieces: Mapping[str, Piece]

    def layout(self, log: PlanLog, name: str) -> LayoutSetting | None:
        """What was done on the mill and the resaw with a log, half, bolt, or what a broken-off setting left of one; None: nothing."""
        piece, first = self.pieces[name], self.cut_of.get(name)
        if first is None or first["tool"] not in ("mill", "resaw") or piece.kind not in ROLES:
            return None
        normal = np.asarray(first["normal"], float)
        normal /= np.linalg.norm(normal)
        middle = float((log.origin + log.axis * log.reach / 2) @ normal)
        slabs: list[LayoutSlab] = []
        above: LayoutSetting | None = None
        current, cut = name, first
        while True:
            over = self.pieces[cut["above"]]
            if over.kind == "slab":
                slabs.append(self._slab(log, over, normal, middle, first["tool"]))
            elif cut is first:
                above = self.layout(log, over.id)
            current = cut["below"]
            following = self.cut_of.get(current)
            if following is None or following["setting"] != first["setting"]:
                break
            cut = following
        below: LayoutSetting | None = None
        if self.pieces[current].kind == "slab":
            slabs.append(self._slab(log, self.pieces[current], normal, middle, first["tool"]))
        else:
            below = self.layout(log, current)
        if not slabs:
            return None
        return LayoutSetting(clock_of_normal(normal), tuple(slabs), above, below, piece.kind)

    def _slab(self, log: PlanLog, slab: Piece, normal: Array, middle: float, tool: str) -> LayoutSlab:
        low, high = parallel_faces(log, slab, normal)
        assert low is not None and high is not None
        spare = ROUNDING_SLACK if tool == "mill" else 0.0
        return LayoutSlab(low.height - middle + spare / 2, high.height - low.height - spare)


def script_layouts(operations: Sequence[Mapping[str, Any]], kinds: Mapping[str, str]) -> ScriptLayouts:
    """Index a script's operations."""
    settings = {one["id"]: one for one in operations if one["op"] == "setting"}
    cuts = {one["piece"]: one for one in operations if one["op"] == "cut"}
    return ScriptLayouts(settings, cuts, ledger_of(operations, kinds).pieces)


def crosscut_places(operations: Sequence[Mapping[str, Any]], log: PlanLog) -> tuple[float, ...]:
    """Where a log was crosscut first: kerf centres along its pith's chord from the butt end, rising. [mm]"""
    found = [
        (one["offset"] - float(np.dot(one["normal"], log.origin))) / float(np.dot(one["normal"], log.axis))
        for one in operations
        if one["op"] == "cut" and one["tool"] == "buck"
    ]
    return tuple(sorted(found))


def in_log_frame(operations: Sequence[Mapping[str, Any]], scan_to_log: Array, into: Array) -> list[dict[str, Any]]:
    """The operations' planes in another log frame of the same scan.

    Parameters
    ----------
    scan_to_log, into : (4, 4) matrices of the frame they stand in and of the one wanted
    """
    change = np.asarray(into, float) @ np.linalg.inv(np.asarray(scan_to_log, float))
    if np.allclose(change, np.eye(4), atol=1e-6):
        return [dict(one) for one in operations]
    turn, shift = change[:3, :3], change[:3, 3]
    out = []
    for one in operations:
        if one["op"] == "cut":
            normal = turn @ np.asarray(one["normal"], float)
            normal /= np.linalg.norm(normal)
            one = {**one, "normal": [float(v) for v in normal], "offset": float(one["offset"] + normal @ shift)}
        out.append(dict(one))
    return out
