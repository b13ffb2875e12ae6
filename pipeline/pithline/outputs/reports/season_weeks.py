"""A season by week: hours at the mill, the logs that are done, and the orders that become ready."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

DAYS = 7


@dataclass(frozen=True, slots=True)
class SeasonWeek:
    """One week.

    Attributes
    ----------
    begins : date
    hours, most : float
        At the mill, and what a week has.
    done : tuple of str
        Logs that are done in it.
    ready : tuple of str
        Orders whose last set is dry in it, in words.
    due : tuple of str
        Orders that are due in it, in words.
    """

    begins: datetime.date
    hours: float
    most: float
    done: tuple[str, ...]
    ready: tuple[str, ...]
    due: tuple[str, ...]


def season_weeks(document: Mapping[str, Any]) -> list[SeasonWeek]:
    """The weeks of a season (docs/schemas/season.schema.json) in which something is sawn, ready or due, beyond its last week too."""
    start = datetime.date.fromisoformat(document["start"])
    minutes = {week["week"]: week["minutes"] for week in document["weeks"]}
    days = [order[key] for order in document["orders"] for key in ("ready", "due") if order.get(key)]
    last = max([*minutes, *((datetime.date.fromisoformat(day) - start).days // DAYS for day in days)], default=0)
    weeks = []
    for number in range(last + 1):
        begins = start + datetime.timedelta(weeks=number)
        one = SeasonWeek(
            begins,
            minutes.get(number, 0) / 60.0,
            float(document["hours_per_week"]),
            tuple(log["id"] for log in document["logs"] if log["week"] == number and log["state"] == "planned"),
            tuple(_sets(order, "filled") for order in document["orders"] if _within(order.get("ready"), begins)),
            tuple(_sets(order, "quantity") for order in document["orders"] if _within(order["due"], begins)),
        )
        if one.hours > 0.0 or one.done or one.ready or one.due:
            weeks.append(one)
    return weeks


def _within(day: str | None, begins: datetime.date) -> bool:
    return day is not None and 0 <= (datetime.date.fromisoformat(day) - begins).days < DAYS


def _sets(order: Mapping[str, Any], count: str) -> str:
    return f"{order[count]} {order['product']}"
