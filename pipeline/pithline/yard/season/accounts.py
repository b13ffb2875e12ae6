"""A season's books: what each log and order brings, to the cent, counted again from the choice and the season alone."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from pithline.yard.season.model import (
    Season,
    SeasonChoice,
    counted_gain,
    counted_price,
    sawing_cost,
    whole_minutes,
)


@dataclass(frozen=True, slots=True)
class Line:
    """One sawn log. Money in 1/100."""

    log: str
    column: str
    week: int
    value: int
    cost: int  # the log, its overhead and its minutes
    minutes: int


@dataclass(frozen=True, slots=True)
class Books:
    """A whole season. Money in 1/100; `counted` is profit with the shares that priorities add."""

    lines: tuple[Line, ...]
    value: int
    cost: int
    minutes: int
    sets: Mapping[str, int]
    counted: int

    @property
    def profit(self) -> int:
        """Value less cost. [1/100]"""
        return self.value - self.cost


def as_scripted(season: Season, choice: SeasonChoice, scripts: Mapping[str, Mapping[str, Any]]) -> Season:
    """The season with the plans that were chosen as their cut scripts have them: complete sets, and minutes.

    Parameters
    ----------
    season : Season
        With its plans as the master compared them.
    choice : SeasonChoice
        What it chose.
    scripts : mapping of str to mapping
        The cut script of each log that is sawn.
    """
    column = {one.log: one.column for one in choice.sawn}
    logs = []
    for log in season.logs:
        own = []
        for plan in log.columns:
            if column.get(log.id) == plan.name:
                totals = scripts[log.id]["totals"]
                sets = {name: n for name, n in totals["sets"].items() if n}
                plan = replace(plan, sets=sets, minutes=whole_minutes(totals["minutes"]))
            own.append(plan)
        logs.append(replace(log, columns=tuple(own)))
    return replace(season, logs=tuple(logs))


def account(season: Season, choice: SeasonChoice) -> Books:
    """The books of a choice.

    Raises
    ------
    ValueError
        If the choice breaks a rule of the season: a log sawn twice, a set sold twice or late, an order overfilled, a matched
        order from two logs, hours that do not suffice.
    """
    logs = {log.id: log for log in season.logs}
    sawn = {one.log: one for one in choice.sawn}
    if len(sawn) != len(choice.sawn):
        raise ValueError("a log is sawn twice")
    column = {name: next(c for c in logs[name].columns if c.name == one.column) for name, one in sawn.items()}
    left = {name: dict(column[name].sets) for name in sawn}
    value = dict.fromkeys(sawn, 0)
    counted = 0
    sets: dict[str, int] = {}
    for order, filled in zip(season.orders, choice.filled, strict=True):
        total = sum(filled.values())
        if total > order.quantity or any(n < 1 for n in filled.values()):
            raise ValueError(f"an order of {order.quantity} {order.product} is filled with {total}")
        if order.matched and len(filled) > 1:
            raise ValueError(f"a matched order of {order.product} is filled from {len(filled)} logs")
        for name, n in filled.items():
            left[name][order.product] -= n
            if left[name][order.product] < 0:
                raise ValueError(f"{name} sells more {order.product} than it has")
            if sawn[name].week > column[name].last_week:
                raise ValueError(f"{name} is sawn when its checks reach further in than its plan allows")
            if sawn[name].week + 1 + column[name].drying[order.product] > order.due:
                raise ValueError(f"{name} is not dry in time for an order of {order.product}")
            value[name] += n * order.price
        counted += total * counted_price(order, season.terms)
        if total:
            sets[order.product] = sets.get(order.product, 0) + total
    _hours(season, {name: (one.week, column[name].minutes, logs[name].first_week) for name, one in sawn.items()})
    lines = tuple(
        Line(
            name,
            one.column,
            one.week,
            value[name],
            sawing_cost(logs[name], column[name], season.terms),
            column[name].minutes,
        )
        for name, one in sawn.items()
    )
    cost = sum(line.cost for line in lines)
    counted -= cost - sum(counted_gain(logs[name], season.terms) for name in sawn)
    return Books(lines, sum(value.values()), cost, sum(line.minutes for line in lines), sets, counted)


def _hours(season: Season, work: Mapping[str, tuple[int, int, int]]) -> None:
    """Logs one after another, each ended by its week and begun no sooner than its first."""
    room = season.terms.minutes_per_week
    now = 0
    for name, (week, minutes, first) in sorted(work.items(), key=lambda one: (one[1][0], one[1][2], one[0])):
        if week < first or week >= season.terms.weeks:
            raise ValueError(f"{name} is sawn in week {week}, outside its weeks")
        now = max(now, first * room) + minutes
        if now > (week + 1) * room:
            raise ValueError(f"the hours up to week {week} do not suffice for {name}")
