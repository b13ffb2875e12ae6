"""What an objective makes of plates, sets, settings and minutes: litres, or money."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from pithline.mill.machine import Machines
from pithline.mill.products import Products
from pithline.plan.problem.kinds import PlateKinds, plate_kinds
from pithline.plan.problem.market import Market, market_of
from pithline.plan.problem.operations import Setting, Tool
from pithline.plan.problem.parts import SawnPart

Array = NDArray[np.float64]
LITRE = 1e6


class Objective(StrEnum):
    """What is made most of."""

    SETS = "sets"  # litres in complete sets, and a share of those of other plates
    VALUE = "value"  # money of sets and other plates, less that of hours
    VOLUME = "volume"  # litres of all plates alike

    @property
    def in_money(self) -> bool:
        """Whether it counts money; else litres."""
        return self is Objective.VALUE

    @property
    def unit(self) -> float:
        """What one unit of its values is: mm³ of a litre, or 1 of the currency."""
        return 1.0 if self.in_money else LITRE


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

    `kinds` are the kinds of plates that the market tells apart. `mill` and `shop` are the charges of settings on the band mill and of
    bolts' runs on the shop's saw; `hour_rate` is what an hour costs, and `minutes_per_log` what a log takes beside its settings.
    """

    objective: Objective
    kinds: PlateKinds
    market: Market
    mill: Charges
    shop: Charges
    costs: CutCosts
    hour_rate: float = 0.0
    minutes_per_log: float = 0.0

    @property
    def unit(self) -> float:
        """mm³ of a litre, or one of the currency."""
        return self.objective.unit

    @property
    def log_cost(self) -> float:
        """What a log's own minutes cost, whatever is sawn of it: nothing where no minutes are counted."""
        return self.minutes_per_log * self.hour_rate / 60.0 if self.objective.in_money else 0.0

    def charged(self, settings: Iterable[Setting]) -> float:
        """What settings are charged, in the objective's unit: all minutes by money, else charged settings, repeats for less."""
        if self.objective.in_money:
            return sum(setting.minutes for setting in settings) * self.hour_rate / 60.0 + self.log_cost
        seen: set[str] = set()
        total = 0.0
        for setting in settings:
            if setting.charged:
                charges = self.shop if setting.tool is Tool.RESAW else self.mill
                name = setting.set_up or setting.id
                total += charges.repeat if name in seen else charges.setting
                seen.add(name)
        return total


def economics_of(
    objective: Objective,
    parts: Sequence[SawnPart],
    products: Products,
    machines: Machines,
    kinds: PlateKinds | None = None,
) -> Economics:
    """What an objective makes of parts, of some products, and machines.

    Parameters
    ----------
    objective : Objective
        What is made most of.
    parts : sequence of SawnPart
        What may be sawn.
    products : Products
        Whose parts they are, with prices and the share that loose litres count.
    machines : Machines
        Which charge for settings, or minutes.
    kinds : PlateKinds, optional
        What figure makes of the parts: plates are of these kinds by money. By litres, and with None, each part is one kind.
    """
    volume = np.array([part.volume for part in parts]) / LITRE
    mill, resaw = machines.mill, machines.resaw
    if objective is Objective.VALUE:
        prices = {product.name: product.price for product in products.products}
        return _by_money(kinds or plate_kinds(parts), prices, machines)
    held: dict[str, float] = {}
    for part, one in zip(parts, volume, strict=True):
        held[part.product] = held.get(part.product, 0.0) + float(one) * part.part.count
    loose = volume * (1.0 if objective is Objective.VOLUME else products.loose_share)
    plain = plate_kinds(parts)
    market = market_of(plain, held, loose, loose, np.zeros(len(parts)))
    full, repeat = mill.least_gain_per_setting / LITRE, mill.repeat_gain / LITRE
    again = repeat if resaw.least_gain_per_repeat is None else resaw.least_gain_per_repeat / LITRE
    on_mill, in_shop = Charges(full, repeat, repeat), Charges(full, again, 0.0)
    return Economics(objective, plain, market, on_mill, in_shop, CutCosts(), mill.hour_rate, mill.minutes_per_log)


def _by_money(kinds: PlateKinds, prices: Mapping[str, float], machines: Machines) -> Economics:
    """Money: sets at their price, plates left over at theirs, each times its figure, minutes at the mill's rate.

    Cuts are counted as few as any plan may have: a slab one, a strip one, a billet one, a billet of n plates n − 1.
    """
    mill, resaw, rip, crosscut = machines.mill, machines.resaw, machines.rip, machines.crosscut
    rate, parts = mill.hour_rate / 60.0, kinds.sawn
    shortest = min(part.length for part in parts)
    sawing = np.array([_minutes(part.length, resaw.feed, resaw.minutes_per_cut) for part in parts]) * rate
    crossing = (crosscut.minutes_per_cut or 0.0) * rate
    # a billet's cuts are one fewer than its plates: what that saves at most is taken off the crosscut, or off the plates
    spared = float(sawing.max(initial=0.0))
    loose = np.array([part.part.loose_price / (2.0 if part.part.bookmatched else 1.0) for part in parts])
    loose = loose * np.array(kinds.factor)
    single = np.where([part.part.bookmatched for part in parts], 0.0, loose)
    market = market_of(kinds, prices, loose, single, np.minimum(sawing, crossing))
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
    return Economics(Objective.VALUE, kinds, market, on_mill, in_shop, costs, mill.hour_rate, mill.minutes_per_log)


def _minutes(length: float, feed: float | None, per_cut: float) -> float:
    """Minutes of one cut of this length. [mm]"""
    return per_cut + (length / feed if feed else 0.0)
