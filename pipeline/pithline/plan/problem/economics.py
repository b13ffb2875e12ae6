"""What an objective makes of plates, sets, settings and minutes: litres, or money."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from pithline.mill.machine import Machines
from pithline.plan.problem.market import Market, market_of
from pithline.plan.problem.parts import SawnPart

Array = NDArray[np.float64]
LITRE = 1e6


class Objective(StrEnum):
    """What a plan makes most of."""

    SETS = "sets"
    VALUE = "value"
    VOLUME = "volume"


@dataclass(frozen=True, slots=True)
class Charges:
    """What settings are charged, in the objective's unit: a new one, a further run of a set-up, a run flat on a sawn face."""

    setting: float
    repeat: float
    flat: float
    off_square: float = 0.0

    @property
    def opening(self) -> float:
        """What the first run of a set-up is charged more than each further one."""
        return self.setting - self.repeat


@dataclass(frozen=True, slots=True)
class CutCosts:
    """What cuts cost at least, in the objective's unit."""

    billet: float = 0.0
    strip: float = 0.0
    slab: float = 0.0


@dataclass(frozen=True, slots=True)
class Economics:
    """What is sold and what work costs, under one objective.

    `unit` is what one unit of it is: mm³ of a litre for volumes, 1 for money. `mill` and `shop` are the charges of settings on the
    band mill and of bolts' runs on the shop's saw.
    """

    objective: Objective
    market: Market
    mill: Charges
    shop: Charges
    costs: CutCosts

    @property
    def unit(self) -> float:
        """mm³, or one of the currency."""
        return 1.0 if self.objective is Objective.VALUE else LITRE

    def net(self, mated: Array, single: Array, spent: Spent) -> float:
        """What plates by kind (P,) are worth after charges, in the objective's unit."""
        return self.market.worth(mated, single)[0] - self.charged(spent)

    def charged(self, spent: Spent) -> float:
        """What settings or minutes are charged, in the objective's unit."""
        if self.objective is Objective.VALUE:
            return spent.money
        return self.mill.setting * spent.first_settings + self.mill.repeat * spent.repeats


@dataclass(frozen=True, slots=True)
class Spent:
    """Work of a plan: set-ups that were new, further settings of one, and what all its minutes cost."""

    first_settings: int
    repeats: int
    money: float


def economics(
    objective: Objective, parts: Sequence[SawnPart], loose_share: float, prices: Mapping[str, float], machines: Machines
) -> Economics:
    """What an objective makes of parts and machines.

    Parameters
    ----------
    loose_share : what a litre of plates in no set counts, to one in sets
    prices : of a set, by product
    """
    volume = np.array([part.volume for part in parts]) / LITRE
    mill, resaw = machines.mill, machines.resaw
    if objective is Objective.VALUE:
        return _by_money(parts, prices, machines)
    held: dict[str, float] = {}
    for part, one in zip(parts, volume, strict=True):
        held[part.product] = held.get(part.product, 0.0) + float(one) * part.part.count
    loose = volume * (1.0 if objective is Objective.VOLUME else loose_share)
    market = market_of(parts, held, loose, loose, np.zeros(len(parts)))
    full, repeat = mill.least_gain_per_setting / LITRE, mill.repeat_gain / LITRE
    again = repeat if resaw.least_gain_per_repeat is None else resaw.least_gain_per_repeat / LITRE
    return Economics(objective, market, Charges(full, repeat, repeat), Charges(full, again, 0.0), CutCosts())


def _by_money(parts: Sequence[SawnPart], prices: Mapping[str, float], machines: Machines) -> Economics:
    """Money: sets at their price, plates left over at theirs, minutes at the mill's rate.

    Cuts are counted as few as any plan may have: a slab one, a strip one, a billet one, a billet of n plates n − 1.
    """
    mill, resaw, rip, crosscut = machines.mill, machines.resaw, machines.rip, machines.crosscut
    rate = mill.hour_rate / 60.0
    shortest = min(part.length for part in parts)
    sawing = np.array([_minutes(part.length, resaw.feed, resaw.minutes_per_cut) for part in parts]) * rate
    crossing = (crosscut.minutes_per_cut or 0.0) * rate
    # a billet's cuts are one fewer than its plates: what that saves is taken off the crosscut, or off the plates
    spared = float(sawing.min(initial=0.0))
    loose = np.array([part.part.loose_price / (2.0 if part.part.bookmatched else 1.0) for part in parts])
    single = np.where([part.part.bookmatched for part in parts], 0.0, loose)
    market = market_of(parts, prices, loose, single, sawing if crossing >= spared else sawing / 2.0)
    costs = CutCosts(
        billet=max(crossing - spared, 0.0),
        strip=_minutes(shortest, rip.feed, rip.minutes_per_cut) * rate,
        slab=min(
            _minutes(shortest, mill.feed, mill.minutes_per_cut), _minutes(shortest, resaw.feed, resaw.minutes_per_cut)
        )
        * rate,
    )
    on_mill = Charges(
        mill.minutes_per_setting * rate,
        mill.repeat_minutes * rate,
        mill.repeat_minutes * rate,
        mill.minutes_off_square * rate,
    )
    in_shop = Charges((resaw.minutes_per_setting or 0.0) * rate, resaw.repeat_minutes * rate, 0.0)
    return Economics(Objective.VALUE, market, on_mill, in_shop, costs)


def _minutes(length: float, feed: float | None, per_cut: float) -> float:
    """Minutes of one cut of this length. [mm]"""
    return per_cut + (length / feed if feed else 0.0)
