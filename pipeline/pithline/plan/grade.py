"""The grade of one plate as sawn, on its own mid-plane, and whether its whole box is usable wood."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pithline.mill.products import Limits
from pithline.plan.frame import PlanLog, in_trims
from pithline.wood.field import at_points
from pithline.wood.unusable import in_defect

Array = NDArray[np.float64]
PITCH = 10.0


@dataclass(frozen=True, slots=True)
class Grade:
    """Figures of one plate. Angles in radians."""

    ring_min: float
    ring_mean: float
    runout: float
    sound: bool
    passes: bool


def box_grid(corner: Array, first: Array, second: Array, pitch: float = PITCH) -> Array:
    """Points of a rectangle, edges included, no two neighbours further apart than `pitch`, (n, m, 3)."""
    n = int(np.ceil(np.linalg.norm(first) / pitch - 1e-9)) + 1
    m = int(np.ceil(np.linalg.norm(second) / pitch - 1e-9)) + 1
    a, b = np.linspace(0, 1, max(n, 2)), np.linspace(0, 1, max(m, 2))
    return corner + a[:, None, None] * first + b[None, :, None] * second


def grade_plate(log: PlanLog, corner: Array, edges: tuple[Array, Array, Array], limits: Limits) -> Grade:
    """Grade a plate box: `corner` (3,), `edges` length, width and thickness vectors (3,) each, log frame, mm."""
    length, width, thickness = edges
    thick = float(np.linalg.norm(thickness))
    normal = thickness / thick
    middle = box_grid(corner + thickness / 2, length, width)
    angle, runout, _, _ = at_points(log.field, middle, normal)
    planes = np.linspace(0.0, 1.0, 2 + max(1, int(np.ceil(thick / 12.0))))
    points = np.concatenate([(box_grid(corner + t * thickness, length, width)).reshape(-1, 3) for t in planes])
    _, _, inside, pith = at_points(log.field, points, normal)
    sound = bool(inside.min() >= 0.0 and pith.min() >= log.pith_radius - 1e-6 and not in_trims(log, points).any())
    for defect in log.defects:
        sound = sound and not bool(in_defect(defect, log.model, log.field, points).any())
    sound = sound and _sapwood_fits(log, corner, edges, limits)
    ring_min, ring_mean, worst = float(angle.min()), float(angle.mean()), float(runout.max())
    good = ring_min >= limits.ring_angle_min and ring_mean >= limits.ring_angle_mean and worst <= limits.runout_max
    return Grade(ring_min, ring_mean, worst, sound, sound and good)


def _sapwood_fits(log: PlanLog, corner: Array, edges: tuple[Array, Array, Array], limits: Limits) -> bool:
    """Sapwood rule of design section 4: none, any, or along one long edge on both faces."""
    if limits.sapwood == "any":
        return True
    length, width, thickness = edges
    normal = thickness / np.linalg.norm(thickness)
    faces = [box_grid(corner, length, width), box_grid(corner + thickness, length, width)]
    sap = [at_points(log.field, face, normal)[2] < log.sapwood for face in faces]
    if limits.sapwood == "none":
        return not any(s.any() for s in sap)
    across = np.linspace(0.0, float(np.linalg.norm(width)), sap[0].shape[1])
    from_start = across > limits.sapwood_edge
    from_end = across[-1] - across > limits.sapwood_edge
    return any(all(not s[:, inner].any() for s in sap) for inner in (from_start, from_end))
