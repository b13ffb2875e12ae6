"""Ways to saw a log, carried out on the real machines and compared by what they are likely to yield.

A plate counts as often as it passes on sampled logs, which the fit cannot tell from the fitted one.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pithline.mill.products import Products
from pithline.plan.evaluate.sampling import pass_probabilities, sampled_logs
from pithline.plan.execute.bucked_log import LogLayout
from pithline.plan.execute.ledger import Ledger
from pithline.plan.execute.sets import gather_sets
from pithline.plan.problem.context import SearchContext
from pithline.plan.problem.layout import LayoutSetting
from pithline.plan.problem.log_frame import PlanLog
from pithline.plan.problem.objective import Objective
from pithline.plan.problem.task import SawingTask
from pithline.plan.search import Candidate, SearchResult

Array = NDArray[np.float64]
PassProbability = Callable[[Ledger], Array]
"""How likely each plate of a carried-out plan is to pass, 0 to 1."""
RANKING_SAMPLES = 16
"""Sampled logs on which carried-out layouts are compared; others than those that a script's percentiles come from."""


def kept_candidate(log_layout: LogLayout, found: SearchResult, status: str) -> Candidate:
    """A layout that no search found, beside those of a search; `status` says in the proof what was kept."""
    return Candidate(log_layout, found, len(found.answers), status)


def practice_candidate(
    log: PlanLog, places: tuple[float, ...], layouts: Sequence[LayoutSetting], found: SearchResult
) -> Candidate:
    """The practice layout as a way to saw the log."""
    log_layout = LogLayout(log, places, (log,) * len(layouts), tuple(layouts))
    return kept_candidate(log_layout, found, "practice layout kept")


@dataclass(frozen=True, slots=True)
class Judge:
    """Compares carried-out plans by what they are likely to yield, net of charges.

    Attributes
    ----------
    context : SearchContext
        What was asked.
    products : Products, optional
        Whose sets are gathered, where complete sets come first; None counts plates alone.
    probability : callable
        How likely each plate is to pass.
    """

    context: SearchContext
    products: Products | None
    probability: PassProbability

    def worth(self, ledger: Ledger) -> float:
        """What was carried out counts, net of charges; −inf with more settings than are allowed."""
        task, most = self.context.task, self.context.locks.settings_max
        if most is not None and ledger.charged > most:
            return -np.inf
        mill = task.machines.mill
        if self.context.objective.in_money:
            charges = ledger.minutes * mill.hour_rate / 60.0
        else:
            charges = mill.least_gain_per_setting / self.context.objective.unit * ledger.charged
        value = counted_worth(ledger, task, self.probability) - charges
        if self.context.objective is not Objective.SETS or self.products is None:
            return value
        sets = gather_sets(ledger.plates, task.parts, self.products).sets
        return value * TIE_SHARE + sets_worth(sets, task)

    def rank(
        self, candidates: Sequence[Candidate], execute: Callable[[LogLayout], Ledger]
    ) -> list[tuple[Ledger, Candidate]]:
        """The candidates carried out on the real machines, best first; those with too many settings are left out."""
        tried: list[tuple[float, int, Ledger]] = []
        for number, one in enumerate(candidates):
            ledger = execute(one.log_layout)
            value = self.worth(ledger)
            if np.isfinite(value):
                tried.append((-round(value, 9), number, ledger))
        return [(ledger, candidates[number]) for _, number, ledger in sorted(tried, key=lambda one: one[:2])]


TIE_SHARE = 1e-3
"""Where complete sets come first, all else counts so little of itself."""


def judge_on_samples(log: PlanLog, context: SearchContext, products: Products | None) -> Judge:
    """A judge whose sampled logs stay the same from plan to plan."""
    logs = sampled_logs(log, RANKING_SAMPLES, context.seed + 1)
    known: dict[bytes, float] = {}

    def probability(ledger: Ledger) -> Array:
        return pass_probabilities(logs, ledger.plates, context.parts, known)

    return Judge(context, products, probability)


def as_fitted(ledger: Ledger) -> Array:
    """Every plate that passes on the fitted log counts whole."""
    return np.array([float(plate.passes) for plate in ledger.plates])


def counted_worth(ledger: Ledger, task: SawingTask, probability: PassProbability = as_fitted) -> float:
    """What a ledger's passing plates count, each as it is likely to pass, up to the demand."""
    have = np.zeros(len(task.parts))
    for plate, share in zip(ledger.plates, probability(ledger), strict=True):
        have[plate.part] += share
    return float(np.minimum(have, task.left) @ task.worth)


def sets_worth(sets: Mapping[str, int], task: SawingTask) -> float:
    """What the plates of complete sets count together."""
    return float(sum(w * p.part.count * sets.get(p.product, 0) for w, p in zip(task.worth, task.parts, strict=True)))
