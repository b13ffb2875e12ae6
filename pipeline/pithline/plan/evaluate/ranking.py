"""Ways to saw a log, carried out on the real machines and compared by what they are likely to yield.

A plate counts as often as it passes on sampled logs, which the fit cannot tell from the fitted one.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from pithline.plan.evaluate.sampling import pass_probabilities, sampled_logs
from pithline.plan.execute.bucked_log import LogLayout
from pithline.plan.execute.ledger import Ledger
from pithline.plan.problem.layout import LayoutSetting
from pithline.plan.problem.log_frame import PlanLog
from pithline.plan.problem.task import SawingTask
from pithline.plan.search import Candidate, SearchResult

Array = NDArray[np.float64]
PassProbability = Callable[[Ledger], Array]
"""How likely each plate of a carried-out plan is to pass, 0 to 1."""
RANKING_SAMPLES = 16
"""Sampled logs on which carried-out layouts are compared; others than those that a script's percentiles come from."""


def practice_candidate(
    log: PlanLog, places: tuple[float, ...], layouts: Sequence[LayoutSetting], found: SearchResult
) -> Candidate:
    """The practice layout as a way to saw the log."""
    log_layout = LogLayout(log, places, (log,) * len(layouts), tuple(layouts))
    return Candidate(log_layout, found, len(found.answers), "practice layout kept")


def rank_candidates(
    ways: Sequence[Candidate],
    task: SawingTask,
    carry: Callable[[LogLayout], Ledger],
    chance: PassProbability,
    settings_max: int | None = None,
    sets_of: Callable[[Ledger], Mapping[str, int]] | None = None,
) -> list[tuple[Ledger, Candidate]]:
    """The contenders carried out on the real machines, by what they are likely to yield net of charges (`worth_of`)."""
    tried: list[tuple[float, int, Ledger]] = []
    for number, one in enumerate(ways):
        ledger = carry(one.log_layout)
        value = net_worth(ledger, one.found.unit, task, settings_max, sets_of, chance)
        if not np.isfinite(value):
            continue
        tried.append((-round(value, 9), number, ledger))
    return [(ledger, ways[number]) for _, number, ledger in sorted(tried, key=lambda one: one[:2])]


def sampled_pass_probability(log: PlanLog, task: SawingTask, seed: int) -> PassProbability:
    """How likely each plate of a carried-out plan is to pass, on sampled logs that stay the same from plan to plan."""
    logs = sampled_logs(log, RANKING_SAMPLES, seed + 1)
    known: dict[bytes, float] = {}
    return lambda ledger: pass_probabilities(logs, ledger.plates, task.parts, known)


def as_fitted(ledger: Ledger) -> Array:
    """Every plate that passes on the fitted log counts whole."""
    return np.array([float(plate.passes) for plate in ledger.plates])


def net_worth(
    ledger: Ledger,
    unit: float,
    task: SawingTask,
    settings_max: int | None = None,
    sets_of: Callable[[Ledger], Mapping[str, int]] | None = None,
    chance: PassProbability = as_fitted,
) -> float:
    """What was carried out counts, net of charges; −inf with more settings than `settings_max`.

    `unit` is that of the search (`Found`); `sets_of` counts complete sets where they come first; `chance` says how likely
    each plate is to pass.
    """
    if settings_max is not None and ledger.charged > settings_max:
        return -np.inf
    mill = task.machines.mill
    volume, money = mill.least_gain_per_setting / unit * ledger.charged, ledger.minutes * mill.hour_rate / 60.0
    value = counted_worth(ledger, task, chance) - (volume if unit > 1 else money)
    return value if sets_of is None else value * 1e-3 + sets_worth(sets_of(ledger), task)


def counted_worth(ledger: Ledger, task: SawingTask, chance: PassProbability = as_fitted) -> float:
    """What a ledger's passing plates count, each as it is likely to pass, up to the demand."""
    have = np.zeros(len(task.parts))
    for plate, share in zip(ledger.plates, chance(ledger), strict=True):
        have[plate.part] += share
    return float(np.minimum(have, task.left) @ task.worth)


def sets_worth(sets: Mapping[str, int], task: SawingTask) -> float:
    """What the plates of complete sets count together."""
    return float(sum(w * p.part.count * sets.get(p.product, 0) for w, p in zip(task.worth, task.parts, strict=True)))
