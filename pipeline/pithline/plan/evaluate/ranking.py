"""Ways to saw a log, carried out on the real machines and compared by what they are likely to yield.

A plate counts as often as it passes on sampled logs, which the fit cannot tell from the fitted one.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from pithline.plan.evaluate.sampling import chances, sampled_logs
from pithline.plan.execute.bucked_log import Sawing
from pithline.plan.execute.ledger import Ledger
from pithline.plan.execute.simulate import Shop
from pithline.plan.problem.layout import Setting
from pithline.plan.problem.log_frame import PlanLog
from pithline.plan.problem.objective import LITRE
from pithline.plan.search import Contender, Found

Array = NDArray[np.float64]
Chance = Callable[[Ledger], Array]
"""How likely each plate of a carried-out plan is to pass, 0 to 1."""
TRIED = 16
"""Sampled logs on which carried-out layouts are compared; others than those that a script's percentiles come from."""


def practice_contender(log: PlanLog, places: tuple[float, ...], layouts: Sequence[Setting], found: Found) -> Contender:
    """The practice layout as a way to saw the log."""
    sawing = Sawing(log, places, (log,) * len(layouts), tuple(layouts))
    return Contender(sawing, found, len(found.answers), "practice layout kept")


def ranked(
    ways: Sequence[Contender],
    shop: Shop,
    carry: Callable[[Sawing], Ledger],
    chance: Chance,
    settings_max: int | None = None,
    sets_of: Callable[[Ledger], Mapping[str, int]] | None = None,
) -> list[tuple[Ledger, Contender]]:
    """The contenders carried out on the real machines, by what they are likely to yield net of charges (`worth_of`)."""
    tried: list[tuple[float, int, Ledger]] = []
    for number, one in enumerate(ways):
        ledger = carry(one.sawing)
        value = worth_of(ledger, one.found.unit, shop, settings_max, sets_of, chance)
        if not np.isfinite(value):
            continue
        tried.append((-round(value, 9), number, ledger))
    return [(ledger, ways[number]) for _, number, ledger in sorted(tried, key=lambda one: one[:2])]


def chance_on_samples(log: PlanLog, shop: Shop, seed: int) -> Chance:
    """How likely each plate of a carried-out plan is to pass, on sampled logs that stay the same from plan to plan."""
    logs = sampled_logs(log, TRIED, seed + 1)
    known: dict[bytes, float] = {}
    return lambda ledger: chances(logs, ledger, shop.parts, known)


def certain(ledger: Ledger) -> Array:
    """Every plate that passes on the fitted log counts whole."""
    return np.array([float(plate.grade.passes) for plate in ledger.plates])


def worth_of(
    ledger: Ledger,
    unit: float,
    shop: Shop,
    settings_max: int | None = None,
    sets_of: Callable[[Ledger], Mapping[str, int]] | None = None,
    chance: Chance = certain,
) -> float:
    """What was carried out counts, net of charges; −inf with more settings than `settings_max`.

    `unit` is that of the search (`Found`); `sets_of` counts complete sets where they come first; `chance` says how likely
    each plate is to pass.
    """
    if settings_max is not None and ledger.charged > settings_max:
        return -np.inf
    mill = shop.machines.mill
    volume, money = mill.least_gain_per_setting / unit * ledger.charged, ledger.minutes * mill.hour_rate / 60.0
    value = counted(ledger, shop, chance) - (volume if unit > 1 else money)
    return value if sets_of is None else value * 1e-3 + held(sets_of(ledger), shop)


def counted(ledger: Ledger, shop: Shop, chance: Chance = certain) -> float:
    """What a ledger's passing plates count, each as it is likely to pass, up to the demand."""
    have = np.zeros(len(shop.parts))
    for plate, share in zip(ledger.plates, chance(ledger), strict=True):
        have[plate.part] += share
    return float(np.minimum(have, shop.left) @ shop.worth)


def held(sets: Mapping[str, int], shop: Shop) -> float:
    """What the plates of complete sets count together."""
    return float(sum(w * p.part.count * sets.get(p.product, 0) for w, p in zip(shop.worth, shop.parts, strict=True)))


__all__ = [
    "LITRE",
    "chance_on_samples",
    "counted",
    "practice_contender",
    "ranked",
    "worth_of",
]
