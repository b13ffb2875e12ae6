"""What a carried-out plan is likely to be worth: its plates judged on sampled logs, sets made up anew on each."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pithline.plan.evaluate.sampling import SampledPlates, sampled_logs
from pithline.plan.execute.ledger import Ledger, Plate
from pithline.plan.problem.context import SearchContext
from pithline.plan.problem.economics import Economics
from pithline.plan.problem.kinds import PlateKinds
from pithline.plan.problem.log_frame import PlanLog

Array = NDArray[np.float64]
Counts = NDArray[np.int64]
RANKING_SAMPLES = 16
"""Sampled logs on which carried-out layouts are compared; others than those that a script's percentiles come from."""


def plate_counts(plates: Sequence[Plate], kinds: PlateKinds, passing: NDArray[np.bool_]) -> Counts:
    """Mated and single plates by kind (P, 2) of those that pass: neighbours of one billet are mates, in pairs.

    Plates of one billet lie at the same stations, so they are of one kind: the lesser, where a slab's tilt parts them.
    """
    out = np.zeros((len(kinds.part), 2), np.int64)
    billets: dict[tuple[str, int], list[int]] = defaultdict(list)
    kind_of: dict[tuple[str, int], int] = {}
    apart = kinds.apart
    for plate, passes in zip(plates, passing, strict=True):
        if passes:
            key = plate.billet, plate.part
            billets[key].append(plate.layer)
            if apart:
                own = int(kinds.at(plate.part, *(np.array(end) for end in plate.stations)))
                kind_of[key] = min(own, kind_of.get(key, own))  # kinds of a part are numbered by rising factor
    for key, layers in billets.items():
        part = kind_of.get(key, key[1])
        layers.sort()
        i = 0
        while i < len(layers):
            mated = i + 1 < len(layers) and layers[i + 1] == layers[i] + 1
            out[part, 0 if mated else 1] += 2 if mated else 1
            i += 2 if mated else 1
    return out


@dataclass(slots=True)
class Judge:
    """Compares carried-out plans by what they are likely to be worth, net of what their settings or minutes are charged.

    Attributes
    ----------
    context : SearchContext
        What was asked.
    plates : SampledPlates, optional
        Sampled logs, the same for all plans; without them every plate that passes on the fitted log counts.
    promised : bool
        Whether every set that is wanted is promised of the fitted log: it then counts as one more log, and a plan that lacks one of
        these sets there is worth −inf.
    """

    context: SearchContext
    plates: SampledPlates | None = None
    promised: bool = False

    def worth(self, ledger: Ledger) -> float:
        """What was carried out counts, net of charges; −inf with more settings than are allowed."""
        most = self.context.locks.settings_max
        if most is not None and ledger.charged > most:
            return -np.inf
        if self.promised and not self._keeps_promise(ledger.plates):
            return -np.inf
        return float(self.worths(ledger).mean()) - self.context.economics.charged(ledger.settings)

    def earnings(self, ledger: Ledger) -> float | None:
        """What it is likely to earn net of hours; None where nothing has a price."""
        money = self.context.money
        if money is None:
            return None
        return float(self.worths(ledger, money).mean()) - money.charged(ledger.settings)

    def worths(self, ledger: Ledger, economics: Economics | None = None) -> Array:
        """What its plates are worth on each log that counts before charges, (logs,): by the objective, or other economics."""
        sold = economics or self.context.economics
        out = []
        for row in self.passing(ledger.plates):
            counts = plate_counts(ledger.plates, sold.kinds, row)
            out.append(sold.market.worth(counts[:, 0], counts[:, 1])[0])
        return np.array(out)

    def passing(self, plates: Sequence[Plate]) -> NDArray[np.bool_]:
        """On which of the logs that count plates pass, (logs, plates): the sampled ones; the fitted one where it counts, last."""
        fitted = np.array([[plate.passes for plate in plates]], bool).reshape(1, -1)
        if self.plates is None:
            return fitted
        sampled = self.plates.passing(plates)
        return np.concatenate([sampled, fitted]) if self.promised else sampled

    def _keeps_promise(self, plates: Sequence[Plate]) -> bool:
        """Whether the fitted log gives every set that is wanted."""
        market, kinds = self.context.economics.market, self.context.economics.kinds
        counts = plate_counts(plates, kinds, np.array([plate.passes for plate in plates], bool))
        sets = market.worth(counts[:, 0], counts[:, 1])[1]
        return bool(np.all(np.bincount(market.product, sets, len(market.demand)) >= market.demand))


def judge_on_samples(log: PlanLog, context: SearchContext) -> Judge:
    """A judge whose sampled logs stay the same from plan to plan."""
    logs = sampled_logs(log, RANKING_SAMPLES, context.seed + 1)
    return Judge(context, SampledPlates(logs, context.parts))
