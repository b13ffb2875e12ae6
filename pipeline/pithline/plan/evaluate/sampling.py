"""Sampled logs: the fitted log disturbed by its own standard errors, and what a plan still yields on them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from pithline.plan.execute.grade import grade_plate
from pithline.plan.execute.ledger import Plate
from pithline.plan.problem.log_frame import PlanLog
from pithline.plan.problem.parts import SawnPart
from pithline.wood.field import WoodField, disturbed, tables
from pithline.wood.kernels import CLOCKS

Array = NDArray[np.float64]
SAMPLE_PITCH = 20.0
"""Grid of a sampled grade: fields are smooth, and the grid's edges are the plate's. [mm]"""
HARMONICS = 6
"""Clock harmonics of a sampled surface error: errors of neighbouring points go together over about 30°."""


WAVE = 800.0
"""Length of the waves by which a crooked log's pith may lie off the fitted one. [mm]"""


def sampled_field(field: WoodField, rng: np.random.Generator, slope: float = 0.0) -> WoodField:
    """One log that the fit cannot tell from the fitted one: surface and pith moved by about one standard error.

    `slope` is the doubt of the pith's slope [rad]: waves along the log that turn the fibres so much.
    """
    k = len(field.pith)
    clock = np.arange(CLOCKS + 1, dtype=np.float64) * (2 * np.pi / CLOCKS)
    along = np.linspace(-1.0, 1.0, k)
    surface = np.zeros((k, CLOCKS + 1))
    for n in range(HARMONICS + 1):
        for wave in (np.cos(n * clock), np.sin(n * clock)) if n else (np.ones_like(clock),):
            a, b = rng.standard_normal(2)
            surface += np.outer(a + b * along, wave) / np.sqrt(1 + 1 / 3)
    surface /= np.sqrt(HARMONICS + 1)
    pith = rng.standard_normal(2) + np.outer(along, rng.standard_normal(2))
    shift = pith / np.sqrt(1 + 1 / 3) * field.pith_doubt[:, None]
    if slope > 0.0:
        phase, way = rng.uniform(0.0, 2 * np.pi, 2)
        x = np.arange(k) * field.dx
        wave = np.sqrt(2.0) * slope * WAVE / (2 * np.pi) * np.sin(2 * np.pi * x / WAVE + phase)
        shift = shift + np.outer(wave, [-np.sin(way), np.cos(way)])
    return disturbed(field, surface * field.doubt, shift)


def sampled_log(log: PlanLog, rng: np.random.Generator) -> PlanLog:
    """A plan's log with its wood sampled anew; ends, trims and defects stay."""
    field = sampled_field(log.field, rng, log.crook_doubt)
    return replace(log, field=field, exact=tables(field, 0.0, 0.0))


def sampled_logs(log: PlanLog, samples: int, seed: int) -> tuple[PlanLog, ...]:
    """Logs that the fit cannot tell from the fitted one."""
    rng = np.random.default_rng(seed)
    return tuple(sampled_log(log, rng) for _ in range(samples))


@dataclass(slots=True)
class SampledPlates:
    """Plates judged on sampled logs; what was judged once is kept, for plans that differ little have most plates in common."""

    logs: tuple[PlanLog, ...]
    parts: tuple[SawnPart, ...]
    known: dict[bytes, NDArray[np.bool_]] = field(default_factory=dict)

    def passing(self, plates: Sequence[Plate]) -> NDArray[np.bool_]:
        """On which logs plates pass, (logs, plates); those that fail on the fitted log pass nowhere."""
        out = np.zeros((len(self.logs), len(plates)), bool)
        for k, plate in enumerate(plates):
            if not plate.passes:
                continue
            key = bytes([plate.part]) + np.concatenate([plate.corner, *plate.edges]).tobytes()
            if key not in self.known:
                self.known[key] = np.array(self._judged(plate), bool)
            out[:, k] = self.known[key]
        return out

    def _judged(self, plate: Plate) -> list[bool]:
        limits = self.parts[plate.part].limits
        return [grade_plate(log, plate.corner, plate.edges, limits, SAMPLE_PITCH).passes for log in self.logs]
