"""What a carried-out plan is likely to be worth: its plates judged on sampled logs, sets made up anew on each."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from pithline.plan.evaluate.sampling import SAMPLE_PITCH, sampled_logs
from pithline.plan.execute.grade import grade_plate
from pithline.plan.execute.ledger import Ledger, Plate
from pithline.plan.problem.economics import Economics, Spent
from pithline.plan.problem.log_frame import PlanLog
from pithline.plan.problem.operations import Setting
from pithline.plan.problem.parts import SawnPart

Array = NDArray[np.float64]
Counts = NDArray[np.int64]


def plate_counts(plates: Sequence[Plate], parts: Sequence[SawnPart], passing: NDArray[np.bool_]) -> Counts:
    """Mated and single plates by part (P, 2) of those that pass: neighbours of one billet are mates, in pairs."""
    out = np.zeros((len(parts), 2), np.int64)
    billets: dict[tuple[str, int], list[int]] = defaultdict(list)
    for plate, passes in zip(plates, passing, strict=True):
        if passes:
            billets[plate.billet, plate.part].append(plate.layer)
    for (_, part), layers in billets.items():
        layers.sort()
        i = 0
        while i < len(layers):
            mated = i + 1 < len(layers) and layers[i + 1] == layers[i] + 1
            out[part, 0 if mated else 1] += 2 if mated else 1
            i += 2 if mated else 1
    return out


def spent_on(settings: Sequence[Setting], minutes_per_log: float, hour_rate: float) -> Spent:
    """Work of some settings: new set-ups, further settings of one, and what all minutes cost."""
    charged = [setting for setting in settings if setting.charged]
    new = len({setting.set_up or setting.id for setting in charged})
    minutes = sum(setting.minutes for setting in settings) + minutes_per_log
    return Spent(new, len(charged) - new, minutes * hour_rate / 60.0)


@dataclass(slots=True)
class Sampler:
    """Logs that the fit cannot tell from the fitted one, the same for all plans that are compared; plates seen are kept."""

    log: PlanLog
    parts: tuple[SawnPart, ...]
    economics: Economics
    samples: int
    seed: int
    logs: tuple[PlanLog, ...] = ()
    known: dict[bytes, NDArray[np.bool_]] = field(default_factory=dict)

    def passing(self, plates: Sequence[Plate]) -> NDArray[np.bool_]:
        """On which sampled logs plates pass, (samples, plates); those that fail on the fitted log pass nowhere."""
        if not self.logs:
            self.logs = sampled_logs(self.log, self.samples, self.seed)
        out = np.zeros((self.samples, len(plates)), bool)
        for k, plate in enumerate(plates):
            if not plate.passes:
                continue
            key = bytes([plate.part]) + np.concatenate([plate.corner, *plate.edges]).tobytes()
            if key not in self.known:
                limits = self.parts[plate.part].limits
                self.known[key] = np.array(
                    [grade_plate(log, plate.corner, plate.edges, limits, SAMPLE_PITCH).passes for log in self.logs]
                )
            out[:, k] = self.known[key]
        return out

    def worths(self, ledger: Ledger) -> Array:
        """What a plan's plates are worth on each sampled log, before charges, (samples,)."""
        passing = self.passing(ledger.plates)
        out = np.zeros(self.samples)
        for s in range(self.samples):
            counts = plate_counts(ledger.plates, self.parts, passing[s])
            out[s] = self.economics.market.worth(counts[:, 0], counts[:, 1])[0]
        return out
