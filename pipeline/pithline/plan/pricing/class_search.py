"""One class of layouts of one log, or of the shorter logs crosscut from it, searched by prices."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from pithline.plan.pricing.cutting_planes import affordable
from pithline.plan.pricing.fills import GridFills
from pithline.plan.pricing.log_grid import GridSlab, LogGrid
from pithline.plan.pricing.log_oracle import (
    BoltClass,
    PricedLog,
    Way,
    best_ways,
    numbers_of_best,
    price_log,
    promises_by_halves,
    solve_log,
    way_of_first,
)
from pithline.plan.pricing.price_search import NEAR, Priced, SeenLayout, Sold, Until, search_prices, worth_at
from pithline.plan.problem.economics import Economics
from pithline.plan.problem.monitor import SILENT, Monitor

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class ClassTask:
    """What a search of one class is asked.

    angles : by log, how far a half may be turned, roll steps
    held_roll, first_slab : what is locked of every first setting; the slab's thickness in mm
    base_charge : of the whole, such as crosscutting
    firsts, halves : ways kept at each look
    box, hopeless : the first step of prices, and the bound under which the class is of no use; see `Until`
    apart : whether looks keep what each first setting promises; of one log alone
    """

    economics: Economics
    kerfs: tuple[float, float]  # mill and shop [mm]
    angles: tuple[NDArray[np.int64], ...]
    held_roll: bool = False
    first_slab: float | None = None
    base_charge: float = 0.0
    firsts: int = 3
    halves: int = 2
    rounds: int = 8
    box: float = NEAR
    hopeless: float = -np.inf
    apart: bool = False


@dataclass(frozen=True, slots=True)
class Look:
    """One look at prices: the bound there, and the best ways to saw each log there.

    `worths` are what layouts with each first setting are worth at most at these prices, where first settings are told apart: those that
    leave the same halves as one, see `promises_by_halves`. What is unsold is not in them. `firsts` are the numbers of those that the
    ways of the one log have.
    """

    prices: Array
    bound: float
    ways: tuple[tuple[Way[GridSlab], ...], ...]
    worths: Array | None = None
    firsts: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class ClassFound:
    """What the search of a class found: its looks, the best bound first; no layout of the class is worth more than that, or `proven`."""

    bolts: BoltClass
    looks: tuple[Look, ...]
    proven: float = np.inf

    @property
    def bound(self) -> float:
        """Of every layout of the class on the grid, net of charges.

        That of a look holds for every layout; where plans were told apart, what was proven of all of them.
        """
        return min(self.looks[0].bound, self.proven)

    @property
    def prices(self) -> Array:
        """Of the pools, where the bound is least (Q,)."""
        return self.looks[0].prices

    def with_looks(self, looks: Sequence[Look], proven: float = np.inf) -> ClassFound:
        """With more looks of the class, and what they prove."""
        every = tuple(sorted((*self.looks, *looks), key=lambda one: one.bound))
        return replace(self, looks=every, proven=min(self.proven, proven))


@dataclass(slots=True)
class ValuedLogs:
    """Slab values of some logs, kept for the prices asked last: classes of bolts asked of the same prices share them."""

    grids: Sequence[LogGrid]
    task: ClassTask
    kept: dict[bytes, tuple[PricedLog, ...]] = field(default_factory=dict)
    highest: float = 0.0  # what the best single slab was worth at any prices

    def at(self, prices: Array) -> tuple[PricedLog, ...]:
        """The logs valued at prices (Q,) of the pools."""
        key = np.round(prices, 9).tobytes()
        if key not in self.kept:
            worth = worth_at(self.task.economics.market, prices, self.task.economics.costs)
            self.kept.clear()
            self.kept[key] = tuple(price_log(grid, worth, *self.task.kerfs) for grid in self.grids)
            self.highest = max(self.highest, *(float(one.mill.values.max()) for one in self.kept[key]))
        return self.kept[key]


def look_at(task: ClassTask, valued: ValuedLogs, bolts: BoltClass, prices: Array, first: int | None = None) -> Look:
    """The best ways of a class at given prices, and what no layout of it can be worth more than.

    Parameters
    ----------
    task : ClassTask
        What is asked.
    valued : ValuedLogs
        The logs.
    bolts : BoltClass
        The class.
    prices : (Q,) array
        Of the pools.
    first : int, optional
        The number of a first setting among `promises_by_halves`: its way comes last, whatever it is worth.
    """
    locked = (task.held_roll, task.first_slab)
    best, ways, worths = 0.0, [], None
    firsts: tuple[int, ...] = ()
    unsold = task.economics.market.unsold_bound(prices)
    for priced, angles in zip(valued.at(prices), task.angles, strict=True):
        solved = solve_log(priced, bolts, (task.economics.mill, task.economics.shop), angles, locked)
        best += solved.bound
        ways.append(best_ways(solved, task.firsts, task.halves, locked))
        if task.apart:
            worths = promises_by_halves(solved) - task.base_charge
            firsts = numbers_of_best(solved, task.firsts)
        if first is not None:
            ways[-1] += (way_of_first(solved, first, task.halves),)
            firsts += (first,)
    return Look(prices, max(best - task.base_charge, 0.0) + unsold, tuple(ways), worths, firsts)


SEEN = 3
"""Layouts of each look that foretell what other prices give."""


def seen_layouts(task: ClassTask, look: Look, fills: GridFills) -> tuple[SeenLayout, ...]:
    """The best layouts of a look by their first settings, all logs together, the very best first."""
    ranks = range(min(max((len(ways) for ways in look.ways), default=0), SEEN))
    return tuple(layout_of(task, look, fills, rank) for rank in ranks) or (SeenLayout((), task.base_charge),)


def layout_of(task: ClassTask, look: Look, fills: GridFills, rank: int) -> SeenLayout:
    """The best layout by first settings of one rank among each log's ways, or by their last where a log has fewer."""
    slabs, charge = [], task.base_charge
    for number, ways in enumerate(look.ways):
        for component in ways[min(rank, len(ways) - 1)].best if ways else ():
            slabs += [fills.slab(number, slab) for slab in component.slabs]
            charge += component.charge
    return SeenLayout(tuple(slabs), charge)


def search_class(
    valued: ValuedLogs,
    fills: GridFills,
    bolts: BoltClass,
    start: Array | Look,
    monitor: Monitor = SILENT,
    known: Sequence[SeenLayout] = (),
) -> ClassFound:
    """Search one class by prices.

    Parameters
    ----------
    valued : ValuedLogs
        The logs, and what is asked of them.
    fills : GridFills
        Slabs met before, and those that are met; filled.
    bolts : BoltClass
        The class.
    start : (Q,) array or Look
        Prices of the pools to begin with, or what was seen at those already.
    monitor : Monitor
        Hears how far it is.
    known : sequence of SeenLayout
        Layouts that tell where to go from there.
    """
    task, looks = valued.task, list[Look]()
    had, prices = (start, start.prices) if isinstance(start, Look) else (None, start)

    def look(prices: Array) -> Priced:
        monitor.report(f"searching, {bolts.name}", len(looks) / task.rounds)
        found = look_at(task, valued, bolts, prices) if looks or had is None else had
        looks.append(found)
        return Priced(prices, found.bound, seen_layouts(task, found, fills))

    sold = Sold(task.economics.market, task.economics.costs)
    until = Until(task.rounds, monitor.stopped, box=task.box, hopeless=task.hopeless)
    search_prices(sold, look, prices, until, known)
    return ClassFound(bolts, tuple(sorted(looks, key=lambda one: one.bound)))


MOVED = 1.35
"""Prices of looks nearby are the best ones times, or over, as much as this. Nearer ones show the same layouts again, further ones worse
ones; see docs/benchmarks.md."""
MORE_WAYS = 2
"""How many times the ways of another look each look nearby gives: few set-ups and sets leave many layouts nearly as good."""


def looks_nearby(valued: ValuedLogs, found: ClassFound, moves: Array) -> tuple[Look, ...]:
    """Looks near the prices that the search of a class came to: more ways there, and others that are nearly as good there.

    At the best prices many layouts are worth nearly the same, and what makes the bound is a mixture of them. A plan is one of them, and
    of those that a few looks show none need sell well in whole sets. Prices moved a little let others come first. Every look is one of
    the class, so its bound holds as that of any.

    Parameters
    ----------
    valued : ValuedLogs
        The logs, and what is asked of them.
    found : ClassFound
        What the search found.
    moves : (n, Q) array
        By look and pool, from −1 to 1: how far its price is moved, down or up, in powers of `MOVED`.

    Returns
    -------
    tuple of Look
        n of them.
    """
    task, market = valued.task, valued.task.economics.market
    asked = replace(task, firsts=MORE_WAYS * task.firsts, halves=MORE_WAYS * task.halves)
    return tuple(look_at(asked, valued, found.bolts, affordable(market, found.prices * MOVED**move)) for move in moves)
