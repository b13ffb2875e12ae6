"""The grade of one plate as sawn, on its own mid-plane, and whether its whole box is usable wood."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pithline.geometry.boxes import box_grid
from pithline.mill.products import Limits
from pithline.plan.problem.log_frame import PlanLog, in_trims
from pithline.wood.kernels import box_figures
from pithline.wood.unusable import in_defect

Array = NDArray[np.float64]
GRADE_PITCH = 10.0


@dataclass(frozen=True, slots=True)
class PlateGrade:
    """Figures of one plate: angles in radians; `sapwood` is how deep sapwood reaches in from a long edge, over both faces. [mm]"""

    ring_min: float
    ring_mean: float
    runout: float
    sound: bool
    passes: bool
    slope: float = 0.0
    sapwood: float = 0.0


def grade_plate(
    log: PlanLog, corner: Array, edges: tuple[Array, Array, Array], limits: Limits, pitch: float = GRADE_PITCH
) -> PlateGrade:
    """Grade a plate box: `corner` (3,), `edges` length, width and thickness vectors (3,) each, log frame, mm.

    Parameters
    ----------
    log : PlanLog
        The wood that the plate is sawn from.
    corner : (3,) array
        Of the box, log frame. [mm]
    edges : tuple of three (3,) arrays
        Its length, width and thickness from there. [mm]
    limits : Limits
        What it must keep.
    pitch : float
        Between the points at which its wood is looked at. [mm]
    """
    length, width, thickness = edges
    thick = float(np.linalg.norm(thickness))
    n, m = (max(2, int(np.ceil(np.linalg.norm(edge) / pitch - 1e-9)) + 1) for edge in (length, width))
    planes = 2 + max(1, int(np.ceil(thick / 12.0)))
    ring_min, ring_mean, worst, inside, pith, saps, first, last, slope, greatest = box_figures(
        corner, edges, (n, m, planes), log.sapwood, log.exact
    )
    # the trims are half-spaces: a box is clear of them if its corners are
    corners = np.array([corner + i * length + j * width + k * thickness for i, j, k in np.ndindex(2, 2, 2)])
    sound = bool(inside >= 0.0 and pith >= log.pith_radius - 1e-6 and not in_trims(log, corners).any())
    if sound and log.defects:
        points = np.concatenate(
            [
                box_grid(corner + t * thickness, length, width, pitch).reshape(-1, 3)
                for t in np.linspace(0.0, 1.0, planes)
            ]
        )
        sound = not any(in_defect(defect, log.model, log.field, points).any() for defect in log.defects)
    across = float(np.linalg.norm(width))
    # from whichever long edge it reaches in less
    deep = min(last, 1.0 - first) * across if saps > 0 else 0.0
    allowed = {"any": np.inf, "none": 0.0, "edge": limits.sapwood_edge}[limits.sapwood]
    sound = sound and (saps == 0 or (limits.sapwood != "none" and deep <= allowed))
    good = ring_min >= limits.ring_angle_min and ring_mean >= limits.ring_angle_mean and worst <= limits.runout_max
    if limits.ring_angle_max is not None:
        good = good and greatest <= limits.ring_angle_max
    if limits.slope_max is not None:
        good = good and slope <= limits.slope_max
    return PlateGrade(
        float(ring_min),
        float(ring_mean),
        float(worst),
        sound,
        bool(sound and good),
        float(slope),
        float(deep),
    )
