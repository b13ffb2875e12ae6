"""The season as data: logs with their plans, orders, hours, money. Money is whole cents, time whole weeks and minutes."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

NEVER = 1 << 20
"""The week in which an order without a day is due, or a plan that does not age may no longer be sawn."""


@dataclass(frozen=True, slots=True)
class PlanColumn:
    """One plan of one log, as the season sees it.

    Parameters
    ----------
    name : str
        Tells the plans of a log apart.
    sets : mapping of str to int
        Complete sets by product, 1 or more.
    drying : mapping of str to int
        Weeks from the saw to delivery, by product of `sets`.
    minutes : int
        At the mill and its saws.
    last_week : int
        The last week in which the log is still as long as the plan takes it to be; end checks grow.
    """

    name: str
    sets: Mapping[str, int]
    drying: Mapping[str, int]
    minutes: int
    last_week: int = NEVER


@dataclass(frozen=True, slots=True)
class YardLog:
    """One log: what it cost, from which week on it may be sawn, and its plans."""

    id: str
    cost: int
    columns: tuple[PlanColumn, ...]
    priority: int = 0
    first_week: int = 0


@dataclass(frozen=True, slots=True)
class Order:
    """Sets asked for: `price` is that of one set; `due` counts whole weeks from the start."""

    product: str
    quantity: int
    price: int
    due: int = NEVER
    priority: int = 0
    matched: bool = False


@dataclass(frozen=True, slots=True)
class SeasonTerms:
    """Hours and money of the yard."""

    minutes_per_week: int
    weeks: int
    overhead: int = 0  # a sawn log
    hour_rate: int = 0
    order_share: float = 0.0
    log_share: float = 0.0


@dataclass(frozen=True, slots=True)
class Season:
    """All that the master chooses from."""

    logs: tuple[YardLog, ...]
    orders: tuple[Order, ...]
    terms: SeasonTerms


def whole_minutes(minutes: float) -> int:
    """Minutes as the season counts them: begun ones whole."""
    return math.ceil(minutes - 1e-6)


def sawing_cost(log: YardLog, column: PlanColumn, terms: SeasonTerms) -> int:
    """What a log costs sawn by one of its plans: the log, its overhead, its minutes. [1/100]"""
    return log.cost + terms.overhead + mill_cost(column.minutes, terms)


def mill_cost(minutes: int, terms: SeasonTerms) -> int:
    """Minutes at the hour's rate, halves of a cent rounded up. [1/100]"""
    return (minutes * terms.hour_rate + 30) // 60


def counted_price(order: Order, terms: SeasonTerms) -> int:
    """What one set of an order counts in the choice: its price and the share its priority adds. [1/100]"""
    return order.price + round(order.price * terms.order_share * order.priority)


def counted_gain(log: YardLog, terms: SeasonTerms) -> int:
    """What sawing a log counts for its priority, beside its sets. [1/100]"""
    return round(log.cost * terms.log_share * log.priority)


@dataclass(frozen=True, slots=True)
class SawnLog:
    """A log that is sawn: by which plan, and done in which week."""

    log: str
    column: str
    week: int


@dataclass(frozen=True, slots=True)
class SeasonChoice:
    """What the master answers. Counted values hold the priorities' shares; all money in 1/100."""

    sawn: tuple[SawnLog, ...]
    filled: tuple[Mapping[str, int], ...]  # of each order: sets by log
    objective: int
    bound: float
    status: str  # "optimal" | "within the limit"
    prices: Prices = field(default_factory=lambda: Prices({}, {}, 0.0))

    @property
    def gap(self) -> float:
        """(bound − objective) / bound; 0 where nothing pays."""
        return (self.bound - self.objective) / self.bound if self.bound > 0 else 0.0


def sets_sold(season: Season, choice: SeasonChoice) -> dict[str, dict[str, int]]:
    """Of each log that is sawn, the sets of each product that orders take from it; products of which they take none are left out."""
    out: dict[str, dict[str, int]] = {one.log: {} for one in choice.sawn}
    for order, filled in zip(season.orders, choice.filled, strict=True):
        for log, sets in filled.items():
            out[log][order.product] = out[log].get(order.product, 0) + sets
    return out


@dataclass(frozen=True, slots=True)
class Prices:
    """What the linear relaxation pays.

    Parameters
    ----------
    sets : mapping
        (product, weeks of drying) -> what one more set is worth at best, over all weeks it could be sawn in. [1/100]
    logs : mapping of str to float
        What each log earns at these prices by the best plan it has, over its own cost. [1/100]
    minute : float
        What a minute at the mill is worth, over its rate, in the cheapest week. [1/100]
    periods : tuple of (mapping, float)
        Of each period of weeks: what a set of each product sawn then is worth, and a minute over its rate. [1/100]
    bound : float
        No choice of the plans made is worth more, at these prices. [1/100]
    """

    sets: Mapping[str, float]
    logs: Mapping[str, float]
    minute: float
    periods: tuple[tuple[Mapping[str, float], float], ...] = ()
    bound: float = 0.0
