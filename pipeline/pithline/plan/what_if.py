"""A log turned by hand: the wood is looked at once for many rolls, and what follows from a roll is told at once.

The tables hold, for fixed prices, the best way to go on from every roll of the grid. A roll between two of them is sawn as the nearest,
turned by the rest; what comes of it is carried out on the machines and graded on the wood as it truly lies.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from pithline.plan.evaluate.glance import GLANCE
from pithline.plan.evaluate.ladder import PlanCase
from pithline.plan.execute.bucked_log import LogLayout
from pithline.plan.execute.ledger import Ledger
from pithline.plan.priced_logs import PricedLogs, priced_logs
from pithline.plan.pricing.class_search import ClassTask, ValuedLogs, look_at
from pithline.plan.pricing.log_grid import GridSlab
from pithline.plan.pricing.log_oracle import BoltClass, SolvedLog, Way, best_ways, solve_log
from pithline.plan.problem.context import SearchContext
from pithline.plan.problem.layout import NO_LOCKS, LayoutSetting, LayoutSlab
from pithline.plan.problem.monitor import SILENT, Monitor
from pithline.plan.search import bolt_classes, price_start

Array = NDArray[np.float64]
ROLLS = 36
"""Over half a turn: one each 5°."""
LOOK = replace(GLANCE, name="by hand", rolls=ROLLS)
"""As rough as a glance, at more rolls."""
FINE = 3.0
"""Multiplies the steps at which slabs are looked at, so that an answer comes at once."""


@dataclass(frozen=True, slots=True)
class HandChoice:
    """What the sawyer chooses.

    Attributes
    ----------
    roll : float
        The clock angle up at the first setting of every log. [rad]
    first_slab : float, optional
        The thickness of the one slab of this setting, one of the tables' own; as pays where None. [mm]
    bolts : bool
        Whether bolts are sawn.
    """

    roll: float
    first_slab: float | None = None
    bolts: bool = True


@dataclass(frozen=True, slots=True)
class HandAnswer:
    """What follows: the layout, and the ledger of it carried out; None where nothing at this roll pays."""

    log_layout: LogLayout
    ledger: Ledger


@dataclass(slots=True)
class HandTables:
    """The tables of one log.

    Attributes
    ----------
    case : PlanCase
        The log and what is asked; its locks do not count.
    priced : PricedLogs
        Its wood as it was looked at.
    prices : (Q,) array
        Of the pools, where a quick search ended.
    sawn, left : BoltClass
        How bolts are sawn, and that they are left whole.
    """

    case: PlanCase
    priced: PricedLogs
    prices: Array
    sawn: BoltClass
    left: BoltClass
    task: ClassTask
    valued: ValuedLogs
    solved: dict[tuple[float | None, bool], tuple[SolvedLog, ...]] = field(default_factory=dict)

    @property
    def thicknesses(self) -> tuple[float, ...]:
        """First slabs that can be chosen, rising. [mm]"""
        return self.priced.seen.grids[0].grid.thicknesses

    def promises(self, first_slab: float | None = None, bolts: bool = True) -> tuple[Array, Array]:
        """The rolls of the tables (r,) [rad], and what the best way from each promises on the grid (r,), net of charges.

        Litres, or money by value; nothing where none pays.
        """
        grid = self.priced.seen.grids[0].grid
        total = np.full(grid.rolls, -self.task.base_charge)
        for solved in self._solved(first_slab, bolts):
            best = np.zeros(grid.rolls)
            for one in solved.firsts:
                best[one.roll] = max(best[one.roll], one.promise)
            total += best
        unsold = self.task.economics.market.unsold_bound(self.prices)
        return np.array([grid.roll(k) for k in range(grid.rolls)]), np.maximum(total, 0.0) + unsold

    def answer(self, choice: HandChoice) -> HandAnswer | None:
        """What follows from a choice; None where nothing pays."""
        roll, rest, flipped = self._nearest(choice.roll)
        layouts = [self._layout(solved, roll, choice) for solved in self._solved(choice.first_slab, choice.bolts)]
        if not any(layouts):
            return None
        turned = tuple(None if one is None else _turned(_flipped(one) if flipped else one, rest) for one in layouts)
        log_layout = LogLayout(self.case.log, self.priced.places, self.priced.logs, turned)
        return HandAnswer(log_layout, self.case.execute(log_layout, self.prices, FINE))

    def _nearest(self, clock: float) -> tuple[int, float, bool]:
        """The roll of the tables that is nearest, what remains to be turned, and whether the log then lies upside down."""
        grid = self.priced.seen.grids[0].grid
        step = np.pi / grid.rolls
        place = float(np.mod(clock - grid.start, 2.0 * np.pi)) / step
        nearest = round(place)
        return nearest % grid.rolls, (place - nearest) * step, nearest // grid.rolls == 1

    def _solved(self, first_slab: float | None, bolts: bool) -> tuple[SolvedLog, ...]:
        """The programmes of every log under a choice, run once."""
        key = first_slab, bolts
        if key not in self.solved:
            charges = self.task.economics.mill, self.task.economics.shop
            self.solved[key] = tuple(
                solve_log(priced, self.sawn if bolts else self.left, charges, angles, (False, first_slab))
                for priced, angles in zip(self.valued.at(self.prices), self.task.angles, strict=True)
            )
        return self.solved[key]

    def _layout(self, solved: SolvedLog, roll: int, choice: HandChoice) -> LayoutSetting | None:
        """The best way from one roll as a layout."""
        of_roll = replace(solved, firsts=tuple(one for one in solved.firsts if one.roll == roll))
        ways = best_ways(of_roll, 1, 1, (False, choice.first_slab))
        return layout_of(ways[0]) if ways else None


def layout_of(way: Way[GridSlab]) -> LayoutSetting:
    """A way, going on as is best, as a layout."""
    above, below = (layout_of(side[0]) if side else None for side in (way.above, way.below))
    return replace(way.own.setting, above=above, below=below)


def _flipped(setting: LayoutSetting) -> LayoutSetting:
    """The same cuts of a log that lies upside down."""
    slabs = tuple(LayoutSlab(-slab.top, slab.thickness) for slab in reversed(setting.slabs))
    return replace(setting, clock=setting.clock + np.pi, slabs=slabs, above=setting.below, below=setting.above)


def _turned(setting: LayoutSetting, by: float) -> LayoutSetting:
    """A layout turned about the pith's chord, with all that follows. [rad]"""
    above, below = (None if one is None else _turned(one, by) for one in (setting.above, setting.below))
    return replace(setting, clock=float(np.mod(setting.clock + by, 2.0 * np.pi)), above=above, below=below)


def hand_tables(case: PlanCase, places: tuple[float, ...], roll: float, monitor: Monitor = SILENT) -> HandTables:
    """Look at a log, crosscut at `places`, for turning it by hand.

    Parameters
    ----------
    case : PlanCase
        The log and what is asked.
    places : tuple of float
        Kerf centres of the crosscuts. [mm]
    roll : float
        The tables reach a quarter turn to either side of this clock angle. [rad]
    monitor : Monitor
        Hears how far it is.

    Raises
    ------
    PlanError
        Where no plate passes, or no setting pays.
    """
    start = float(np.mod(roll - np.pi / 2.0, 2.0 * np.pi))
    held = replace(NO_LOCKS, roll=start)  # where the grid begins; no setting is held to it
    looked = replace(case.context.with_locks(held), effort=LOOK)
    priced = priced_logs(case.log, places, looked, monitor.within(0.0, 0.3))
    context = replace(case.context.with_locks(NO_LOCKS), effort=LOOK)
    task = _task(context, priced)
    valued = ValuedLogs(priced.seen.grids, task)
    classes = bolt_classes(context, priced.seen.on_mill)
    start_prices = price_start(context.economics.market, context.parts)
    sawn = [one for one in classes if one.sawn] or list(classes)
    best = max(sawn, key=lambda one: look_at(task, valued, one, start_prices).bound)
    found = priced.layouts(context, classes=[best], monitor=monitor.within(0.4, 1.0))
    prices = found[0].prices if found else start_prices
    left = next((one for one in classes if not one.sawn), BoltClass("bolts left", sawn=False))
    own = replace(case, context=context)
    return HandTables(own, priced, prices, best, left, task, valued)


def _task(context: SearchContext, priced: PricedLogs) -> ClassTask:
    """What the programmes are asked: halves turned by a quarter, no roll held."""
    machines, seen = context.machines, priced.seen
    return ClassTask(
        context.economics,
        (machines.mill.kerf, machines.resaw.kerf),
        (np.array([seen.rolls // 2]),) * len(seen.grids),
        base_charge=context.economics.mill.setting if seen.way.places else 0.0,
    )
