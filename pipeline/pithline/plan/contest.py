"""Ways to saw a log, carried out on the real machines and compared by what they are likely to yield.

A plate counts as often as it passes on sampled logs, which the fit cannot tell from the fitted one.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pithline.plan.aims import EFFORTS, LITRE, Effort, aim_of
from pithline.plan.bucking import Sawing, bucked, places_worth
from pithline.plan.carry import Shop
from pithline.plan.doubt import chances, sampled_logs
from pithline.plan.frame import PlanLog
from pithline.plan.layout import FREE, Locks, Setting
from pithline.plan.ledger import Ledger
from pithline.plan.parts import SawnPart
from pithline.plan.solve import Found, find_each

Array = NDArray[np.float64]
Chance = Callable[[Ledger], Array]
"""How likely each plate of a carried-out plan is to pass, 0 to 1."""
Progress = Callable[[str, float], None]
Late = Callable[[], bool]
TRIED = 16
"""Sampled logs on which carried-out layouts are compared; others than those that a script's percentiles come from."""
ALSO = 0.07
"""Ways to crosscut a log that promise less than the best by no more than this share of it are searched too."""


@dataclass(frozen=True, slots=True)
class Contender:
    """A way to saw a log, the search it came from, and its place among that search's answers.

    Beyond them stands what came from elsewhere; `status` then says in the proof what was kept.
    """

    sawing: Sawing
    found: Found
    number: int
    status: str = ""


@dataclass(frozen=True, slots=True)
class Wish:
    """What is asked of a search."""

    objective: str
    effort: str
    seed: int
    bucking: bool = True
    locks: Locks = FREE


def contenders(
    log: PlanLog,
    parts: tuple[SawnPart, ...],
    shop: Shop,
    wish: Wish,
    progress: Progress,
    late: Late,
    held: Callable[[float, float], None] = lambda value, bound: None,
) -> list[Contender]:
    """Search the log whole, and crosscut where that may pay; `held` is told the best value and the bound of each way.

    Raises
    ------
    PlanError
        Where no plate of any part passes, whichever way.
    """
    effort = EFFORTS[wish.effort]
    ways = _ways(log, parts, shop, wish, effort, progress, late)
    out: list[Contender] = []
    for k, places in enumerate(ways):

        def told(what: str, part: float, k: int = k) -> None:
            progress(what, 0.1 + 0.9 * (k + part) / len(ways))

        logs = bucked(log, places, shop.machines.buck.kerf, 0.0)[1]
        found = find_each(logs, parts, shop, wish.objective, effort, wish.seed, told, late, wish.locks)
        out += [
            Contender(Sawing(log, places, logs, answer.layouts), found, number)
            for number, answer in enumerate(found.answers)
        ]
        held(found.answers[0].value, found.bound)
        if late():
            break
    return out


def _ways(
    log: PlanLog,
    parts: tuple[SawnPart, ...],
    shop: Shop,
    wish: Wish,
    effort: Effort,
    progress: Progress,
    late: Late,
) -> list[tuple[float, ...]]:
    """Where to crosscut: the ways worth a search, the most promising first; () leaves the log whole."""
    if not wish.bucking:
        return [()]
    aim = aim_of(wish.objective, parts, shop.machines, log.reach)
    rough = places_worth(log, parts, shop.machines, aim, late, lambda what, part: progress(what, 0.1 * part))
    if not rough:
        return []
    best = rough[0][0]
    return [places for value, places in rough[: effort.sawings] if value >= best - ALSO * abs(best)]


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


def cost_of_locks(
    log: PlanLog,
    parts: tuple[SawnPart, ...],
    shop: Shop,
    wish: Wish,
    held: Sequence[Contender],
    progress: Progress,
    late: Late,
) -> float:
    """What the locks cost: the best value of a search of equal effort without them, less that with them.

    Litres, or money by value. Where the locked search happens to find more, nothing.
    """
    free = contenders(log, parts, shop, replace(wish, locks=FREE, bucking=True), progress, late)
    best = max(one.found.answers[0].value for one in free)
    return max(best - max(one.found.answers[0].value for one in held), 0.0)


__all__ = [
    "LITRE",
    "Contender",
    "Wish",
    "chance_on_samples",
    "contenders",
    "cost_of_locks",
    "counted",
    "practice_contender",
    "ranked",
    "worth_of",
]
