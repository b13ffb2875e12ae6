"""Sampled logs: the fitted log disturbed by its own standard errors, and what a plan still yields on them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from pithline.plan.execute.grade import grade_plates, plates_to_grade
from pithline.plan.execute.ledger import Plate
from pithline.plan.problem.log_frame import PlanLog
from pithline.plan.problem.parts import SawnPart
from pithline.wood.field import WoodField, disturbed, tables
from pithline.wood.fit_errors import ErrorShapes, error_shapes, pith_parts

Array = NDArray[np.float64]
SAMPLE_PITCH = 20.0
"""Grid of a sampled grade: fields are smooth, and the grid's edges are the plate's. [mm]"""
WAVE = 800.0
"""Length of the waves by which a crooked log's pith may lie off the fitted one. [mm]"""


def sampled_field(
    field: WoodField, rng: np.random.Generator, slope: float = 0.0, shapes: ErrorShapes | None = None
) -> WoodField:
    """One log that the fit cannot tell from the fitted one: surface and pith moved by about one standard error.

    Parameters
    ----------
    field : WoodField
        Of the fitted log.
    rng : Generator
        The draws.
    slope : float
        The doubt of the pith's slope where a log is crooked: waves along it that turn the fibres so much. [rad]
    shapes : ErrorShapes, optional
        Of this field; None makes them.
    """
    shapes = error_shapes(field) if shapes is None else shapes
    parts = pith_parts(shapes, field.doubt, field.pith_doubt)
    surface = shapes.surface(rng.standard_normal(shapes.size)) * field.doubt
    shift = parts.bow[:, None] * shapes.bow(surface) + parts.line @ rng.standard_normal((2, 2))
    if slope > 0.0:
        phase, way = rng.uniform(0.0, 2 * np.pi, 2)
        x = np.arange(len(field.pith)) * field.dx
        wave = np.sqrt(2.0) * slope * WAVE / (2 * np.pi) * np.sin(2 * np.pi * x / WAVE + phase)
        shift = shift + np.outer(wave, [-np.sin(way), np.cos(way)])
    return disturbed(field, surface, shift)


def sampled_logs(log: PlanLog, samples: int, seed: int) -> tuple[PlanLog, ...]:
    """Logs that the fit cannot tell from the fitted one; their wood is sampled anew, ends, trims and defects stay."""
    rng, shapes = np.random.default_rng(seed), error_shapes(log.field)
    fields = [sampled_field(log.field, rng, log.crook_doubt, shapes) for _ in range(samples)]
    return tuple(replace(log, field=field, exact=tables(field, 0.0, 0.0)) for field in fields)


@dataclass(slots=True)
class SampledPlates:
    """Plates judged on sampled logs; what was judged once is kept, for plans that differ little have most plates in common."""

    logs: tuple[PlanLog, ...]
    parts: tuple[SawnPart, ...]
    known: dict[bytes, NDArray[np.bool_]] = field(default_factory=dict)

    def passing(self, plates: Sequence[Plate]) -> NDArray[np.bool_]:
        """On which logs plates pass, (logs, plates); those that fail on the fitted log pass nowhere."""
        keys = [
            bytes([plate.part]) + np.concatenate([plate.corner, *plate.edges]).tobytes() if plate.passes else None
            for plate in plates
        ]
        met = {key: plate for key, plate in zip(keys, plates, strict=True) if key is not None and key not in self.known}
        if met:
            limits = [self.parts[plate.part].limits for plate in met.values()]
            asked = plates_to_grade([(plate.corner, plate.edges) for plate in met.values()], limits, SAMPLE_PITCH)
            judged = np.array([grade_plates(log, asked).passes for log in self.logs])
            self.known |= dict(zip(met, judged.T, strict=True))
        nowhere = np.zeros(len(self.logs), bool)
        return (
            np.array([nowhere if key is None else self.known[key] for key in keys], bool)
            .reshape(len(plates), len(self.logs))
            .T
        )
