"""What carrying a plan out a little wrong costs: its plates regraded turned, shifted, or with the pith elsewhere.

Each is the passing volume lost, the mean of both or all ways in which it may go wrong.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from pithline.plan.evaluate.sampling import SAMPLE_PITCH
from pithline.plan.execute.grade import grade_plates, plates_to_grade
from pithline.plan.execute.ledger import Plate
from pithline.plan.problem.layout import LayoutSetting
from pithline.plan.problem.log_frame import PlanLog, normal_at
from pithline.plan.problem.parts import SawnPart
from pithline.wood.field import moved_pith, tables

Array = NDArray[np.float64]
ROLL, HEIGHT, PITH = np.radians(5.0), 5.0, 5.0


def cost_of(
    logs: Sequence[tuple[PlanLog, LayoutSetting | None]], plates: Sequence[Plate], parts: tuple[SawnPart, ...]
) -> dict[str, float]:
    """Instrument volume lost by 5° of roll, 5 mm of height in the first setting, and 5 mm of pith. [mm³]

    Parameters
    ----------
    logs : the log, or the logs crosscut from it, each with its layout
    """
    total = {"roll_5_deg": 0.0, "height_5_mm": 0.0, "pith_5_mm": 0.0}
    for log, layout in logs:
        if layout is not None:
            for key, lost in _cost_of(log, layout.clock, plates, parts).items():
                total[key] += lost
    return total


def _cost_of(log: PlanLog, clock: float, plates: Sequence[Plate], parts: tuple[SawnPart, ...]) -> dict[str, float]:
    """Of the plates of one log, whose first setting turns clock angle `clock` up. [rad]"""
    own = [plate for plate in plates if plate.passes and _within(log, plate)]
    volumes = np.array([plate.volume for plate in own])
    whole = float(volumes.sum())
    up = normal_at(log.axis, clock)
    limits = [parts[plate.part].limits for plate in own]
    still_there = plates_to_grade([(plate.corner, plate.edges) for plate in own], limits, SAMPLE_PITCH)

    def kept(one: PlanLog, turn: float, shift: Array) -> float:
        rotation = Rotation.from_rotvec(turn * log.axis).as_matrix()
        boxes = still_there.boxes @ rotation.T
        boxes[:, 0] += log.origin - rotation @ log.origin + shift
        return float(volumes @ grade_plates(one, replace(still_there, boxes=boxes)).passes)

    still = np.zeros(3)
    turned = [kept(log, sign * ROLL, still) for sign in (1.0, -1.0)]
    raised = [kept(log, 0.0, sign * HEIGHT * up) for sign in (1.0, -1.0)]
    found = []
    for way in (0.0, 0.5 * np.pi, np.pi, 1.5 * np.pi):
        field = moved_pith(log.field, PITH * np.array([-np.sin(way), np.cos(way)]))
        found.append(kept(replace(log, field=field, exact=tables(field, 0.0, 0.0)), 0.0, still))
    return {
        "roll_5_deg": whole - float(np.mean(turned)),
        "height_5_mm": whole - float(np.mean(raised)),
        "pith_5_mm": whole - float(np.mean(found)),
    }


def _within(log: PlanLog, plate: Plate) -> bool:
    return bool(log.piece.holds(plate.middle[None])[0])
