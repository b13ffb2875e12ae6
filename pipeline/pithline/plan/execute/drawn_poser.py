"""Layouts carried out exactly as they are drawn, with no look at how pieces lie on the machines."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pithline.geometry.pieces import Piece
from pithline.mill.machine import Machines
from pithline.plan.execute.bolt_holds import BoltHold, bolt_holds
from pithline.plan.execute.shop import minutes_of
from pithline.plan.execute.simulate import PosedSetting
from pithline.plan.execute.slab_faces import fit_slabs, parallel_faces
from pithline.plan.problem.effort import thickness_max
from pithline.plan.problem.layout import LayoutSetting, LayoutSlab
from pithline.plan.problem.log_frame import PlanLog, normal_at
from pithline.plan.problem.operations import Setting, Tool

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class DrawnPoser:
    """Takes every setting exactly as drawn: for the practice layout and for comparing layouts. Bolts go to the shop's saw, or stay."""

    log: PlanLog
    machines: Machines
    bolts_on_mill: bool = False

    def pose(self, setting: LayoutSetting, piece: Piece) -> PosedSetting:
        """Normal and offsets as drawn."""
        return self._drawn(setting, piece, Tool.MILL, True, normal_at(self.log.axis, setting.clock))

    def holds(self, setting: LayoutSetting, piece: Piece) -> tuple[BoltHold, ...]:
        """Any angle that the drawing asks for."""
        tool = Tool.MILL if self.bolts_on_mill else Tool.RESAW
        found = bolt_holds(self.log, piece, normal_at(self.log.axis, setting.clock), tool, (), True)
        return tuple(replace(hold, angle_deg=round(hold.angle_deg, 1)) for hold in found)

    def pose_bolt(self, setting: LayoutSetting, piece: Piece, hold: BoltHold) -> PosedSetting:
        """Normal and offsets as drawn."""
        charged = hold.tool is Tool.MILL or not hold.flat
        return self._drawn(setting, piece, hold.tool, charged, normal_at(self.log.axis, setting.clock))

    def _drawn(self, setting: LayoutSetting, piece: Piece, tool: Tool, charged: bool, normal: Array) -> PosedSetting:
        base = float(self.log.origin @ normal)
        saw = self.machines.mill if tool is Tool.MILL else self.machines.resaw
        slabs = tuple(LayoutSlab(s.low + base, s.thickness) for s in setting.slabs)
        slabs = fit_slabs(slabs, parallel_faces(self.log, piece, normal), saw.kerf, thickness_max(self.machines))
        minutes = minutes_of(self.log.reach, 2 * len(slabs), saw.feed, saw.minutes_per_setting, saw.minutes_per_cut)
        return PosedSetting(normal, slabs, saw.kerf, Setting(tool, piece.id, charged, minutes))
