"""The best layouts of one class that a search by prices went through: its columns, the master, looks anew where that lies far off."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from pithline.plan.class_choice import far_under, small
from pithline.plan.columns.market_model import price_family
from pithline.plan.columns.near_columns import NEAR, MasterTask
from pithline.plan.columns.way_master import MasterAnswer, begin_to_choose
from pithline.plan.crosscut_search import CrosscutWay
from pithline.plan.pricing.class_search import ClassFound, ClassTask, Look, ValuedLogs, looks_nearby
from pithline.plan.pricing.fills import GridFills
from pithline.plan.pricing.log_grid import GridSlab, LogGrid
from pithline.plan.pricing.log_oracle import Way
from pithline.plan.pricing.settings_apart import looks_told_apart
from pithline.plan.problem.context import SearchContext
from pithline.plan.problem.log_frame import PlanLog
from pithline.plan.problem.monitor import Begin, Monitor, in_turn

WayColumns = list[list[Way[GridSlab]]]
"""Ways by log, in the order in which looks showed them."""
CLOSE_LOOKS = 0.06
"""Looks whose bound is this near to the least give the master their columns."""
WIDE = 0.15
"""Where the master's best is further below the bound than the columns that it was given, it is asked again with these of every look."""


@dataclass(frozen=True, slots=True)
class SeenWay:
    """A way to crosscut whose wood was looked at once; prices and what is sold may differ from search to search.

    `fills` are of slabs met in any of them.
    """

    way: CrosscutWay
    grids: Sequence[LogGrid]
    fills: GridFills
    rolls: int
    on_mill: bool


@dataclass(frozen=True, slots=True)
class WaySearch:
    """A way to crosscut with all that its classes share."""

    log: PlanLog
    seen: SeenWay
    context: SearchContext
    task: ClassTask
    valued: ValuedLogs

    @property
    def way(self) -> CrosscutWay:
        """Where it is crosscut."""
        return self.seen.way

    @property
    def grids(self) -> Sequence[LogGrid]:
        """Of each log."""
        return self.seen.grids

    @property
    def fills(self) -> GridFills:
        """Slabs met so far."""
        return self.seen.fills


@dataclass(frozen=True, slots=True)
class ClassAnswers:
    """The best layouts of a class, best first; `every` has all ways that looks showed, where those near the best did not do."""

    found: list[MasterAnswer]
    every: WayColumns | None = None


def begin_answers(
    search: WaySearch, found: ClassFound, columns: WayColumns, begin: Begin
) -> Callable[[], ClassAnswers]:
    """Begin to choose the best layouts of a class; what is returned waits for them.

    Parameters
    ----------
    search : WaySearch
        The way to crosscut that is searched.
    found : ClassFound
        What looks at the class showed.
    columns : list of list of Way
        Those of looks near the best ones, of this class and narrower ones.
    begin : callable
        Begins work.
    """
    own = [list(ways) for ways in columns]  # as they are now
    waiting = _begun(search, found, own, NEAR, begin)

    def answers() -> ClassAnswers:
        first = waiting()
        if first and first[0].value - search.task.base_charge >= (1.0 - NEAR) * found.bound:
            return ClassAnswers(first)
        # looks far from the best prices hold layouts of which a part may be just what is wanted
        gather(own, found.looks, found.bound, np.inf)
        return ClassAnswers(_better(first, _begun(search, found, own, WIDE, in_turn, first)()), own)

    return answers


def _better(answers: list[MasterAnswer], more: list[MasterAnswer]) -> list[MasterAnswer]:
    """Those of two lists, best first, whose first is worth more; the former where neither's is."""
    return max(answers, more, key=lambda one: one[0].value if one else -np.inf)


TURNS = 2
"""Times that a class is looked at near its best prices, at most."""
APART, APART_LARGE = 4, 2
"""Looks at one log with its plans told apart, as many times as looks near the best prices: at a small log, and at any other."""


def looked_anew(
    search: WaySearch,
    found: ClassFound,
    every: list[list[Way[GridSlab]]],
    answers: list[MasterAnswer],
    monitor: Monitor,
) -> tuple[ClassFound, list[MasterAnswer]]:
    """A class with more looks, where the answer is far under its bound; and the best answers.

    Plans of one log are told apart; then, where that leaves the answer far off, looks are had near the best prices.

    Parameters
    ----------
    search : WaySearch
        The way to crosscut that is searched.
    found : ClassFound
        What looks at the class showed.
    every : list of list of Way
        All ways that looks showed; those of the new ones are added.
    answers : list of MasterAnswer
        The best layouts of these.
    monitor : Monitor
        May end it.
    """
    shape = TURNS, search.context.effort.nearby, len(found.prices)
    turns = np.random.default_rng(search.context.seed).uniform(-1.0, 1.0, shape)
    turns[0, :1] = 0.0  # more ways at the best prices themselves
    logs, log_cost = search.way.logs, search.task.economics.log_cost
    anew = [*([None] if search.task.apart else []), *turns] if shape[1] else []
    for moves in anew:  # none: plans are told apart
        if monitor.stopped():
            break
        value = max((one.value for one in answers), default=0.0) - search.task.base_charge
        if not far_under(logs, found.bound, value, log_cost, apart=moves is None):
            continue
        if moves is None:
            most = (APART if small(logs) else APART_LARGE) * shape[1]
            told = looks_told_apart(search.valued, search.fills, found, value, most, monitor.stopped)
            looks, proven = told.looks, told.proven
        else:
            looks, proven = looks_nearby(search.valued, found, moves), np.inf
        found = found.with_looks(looks, proven)
        gather(every, looks, found.bound, np.inf)
        answers = _better(answers, _begun(search, found, every, WIDE, in_turn, answers)())
    return found, answers


def gather(columns: list[list[Way[GridSlab]]], looks: Sequence[Look], bound: float, close: float) -> None:
    """Add the ways of looks whose bound is near the least one; ways of a narrower class serve a wider one too."""
    for look in looks:
        if look.bound <= bound + close * abs(bound):
            for own, ways in zip(columns, look.ways, strict=True):
                own += ways


def _begun(
    search: WaySearch,
    found: ClassFound,
    columns: WayColumns,
    near: float,
    begin: Begin,
    starts: Sequence[MasterAnswer] = (),
) -> Callable[[], list[MasterAnswer]]:
    """The best layouts of one class by the master, begun; different in their first settings; `near` and `starts` as the master has them."""
    effort = search.context.effort
    if not any(columns):
        return list
    asked = master_task(search, found, columns, near)
    waiting = begin_to_choose(asked, begin, effort.master, search.context.seed, effort.answers, starts)
    return lambda: [one for one in waiting() if any(one.layouts)]


def master_task(search: WaySearch, found: ClassFound, columns: WayColumns, near: float) -> MasterTask[GridSlab]:
    """What a master is asked of some ways of a class; `near` as the master has it."""
    economics = search.task.economics
    charges = economics.mill if found.bolts.on_mill else economics.shop
    most = search.context.locks.settings_max
    return MasterTask(
        economics.market,
        search.fills,
        tuple(tuple(own) for own in columns),
        charges.opening,
        price_family(economics.market, found.prices),
        economics.costs,
        None if most is None else max(most - bool(search.way.places), 0),
        near=near,
    )
