"""A log turned by hand: the wood is looked at once for many rolls, and what follows from a roll is told at once.

Two things may follow. The plan's own cuts stay, and the log is turned under them; or cuts are chosen anew from the tables, which hold
the best ways to go on from every roll of the grid, at a few prices. A roll between two of them is sawn as the nearest, turned by the
rest. What comes of either is carried out on the machines and graded on the wood as it truly lies.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from pithline.plan.class_choice import bolt_classes
from pithline.plan.columns.market_model import price_family
from pithline.plan.columns.near_columns import MasterTask
from pithline.plan.columns.way_master import choose_ways
from pithline.plan.evaluate.glance import GLANCE
from pithline.plan.evaluate.judge import Judge
from pithline.plan.evaluate.workbench import PlanCase
from pithline.plan.execute.bucked_log import LogLayout
from pithline.plan.execute.ledger import Ledger
from pithline.plan.priced_logs import PricedLogs, priced_logs
from pithline.plan.pricing.class_search import ClassTask, ValuedLogs, look_at, search_class
from pithline.plan.pricing.log_grid import GridSlab
from pithline.plan.pricing.log_oracle import BoltClass, PricedLog, SolvedLog, Way, best_ways, solve_log
from pithline.plan.problem.context import SearchContext
from pithline.plan.problem.infeasible import no_setting_pays
from pithline.plan.problem.layout import NO_LOCKS, LayoutSetting, LayoutSlab
from pithline.plan.problem.monitor import SILENT, Monitor
from pithline.plan.search import price_start

Array = NDArray[np.float64]
ROLLS = 36
"""Over half a turn: one each 5°."""
LOOK = replace(GLANCE, name="by hand", rolls=ROLLS)
"""As rough as a glance, at more rolls."""
PRICES = 3
"""Looks at prices whose ways are kept."""
WAYS = 2
"""First settings of a roll, and ways to saw each half, that each look gives."""
MASTER = 0.3
"""Deterministic seconds of the choice among them."""
AT_ONCE, CLOSELY = 2.0, 1.0
"""Multiply the steps at which slabs are looked at: for an answer at once, and as finely as they are sawn."""


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
    """What follows: the layout, the ledger of it carried out, and what that is worth, net of charges, in the objective's unit."""

    log_layout: LogLayout
    ledger: Ledger
    worth: float


@dataclass(frozen=True, slots=True)
class PricesSeen:
    """Prices (Q,) of the pools, and the logs valued at them."""

    prices: Array
    logs: tuple[PricedLog, ...]


@dataclass(slots=True)
class HandTables:
    """The tables of one log.

    Attributes
    ----------
    case : PlanCase
        The log and what is asked; its locks do not count.
    plan : LogLayout
        The plan that is turned.
    roll : float
        Its clock angle up at the first setting. [rad]
    priced : PricedLogs
        The wood as it was looked at.
    seen : tuple of PricesSeen
        Prices that a quick search saw, the best bound first.
    sawn, left : BoltClass
        How bolts are sawn, and that they are left whole.
    task : ClassTask
        What the programmes are asked.
    """

    case: PlanCase
    plan: LogLayout
    roll: float
    priced: PricedLogs
    seen: tuple[PricesSeen, ...]
    sawn: BoltClass
    left: BoltClass
    task: ClassTask
    solved: dict[tuple[int, float | None, bool], tuple[SolvedLog, ...]] = field(default_factory=dict)

    @property
    def thicknesses(self) -> tuple[float, ...]:
        """First slabs that can be chosen, rising. [mm]"""
        return self.priced.seen.grids[0].grid.thicknesses

    def promises(self, first_slab: float | None = None, bolts: bool = True) -> tuple[Array, Array]:
        """The rolls of the tables (r,) [rad], and what no way from each exceeds on the grid (r,), net of charges.

        Litres, or money by value.
        """
        grid = self.priced.seen.grids[0].grid
        total = np.full(grid.rolls, -self.task.base_charge)
        for solved in self._solved(0, first_slab, bolts):
            best = np.zeros(grid.rolls)
            for one in solved.firsts:
                best[one.roll] = max(best[one.roll], one.promise)
            total += best
        unsold = self.task.economics.market.unsold_bound(self.seen[0].prices)
        return np.array([grid.roll(k) for k in range(grid.rolls)]), np.maximum(total, 0.0) + unsold

    def as_planned(self, choice: HandChoice, fine: float = AT_ONCE) -> HandAnswer | None:
        """The plan's own cuts on the log so turned, slabs looked at so finely; None where another first slab is chosen."""
        if choice.first_slab is not None:
            return None
        by = choice.roll - self.roll
        layouts = [None if one is None else _turned(one, by) for one in self.plan.layouts]
        if not choice.bolts:
            layouts = [None if one is None else _without_bolts(one) for one in layouts]
        return self._carried_out(tuple(layouts), fine)

    def chosen_anew(self, choice: HandChoice, fine: float = AT_ONCE) -> HandAnswer | None:
        """Cuts chosen from the tables, slabs looked at so finely; None where nothing pays."""
        roll, rest, flipped = self._nearest(choice.roll)
        looks = 1 if fine > CLOSELY else len(self.seen)
        bolts = self.sawn if choice.bolts else self.left
        market, economics = self.task.economics.market, self.task.economics
        master = MasterTask(
            market,
            self.priced.seen.fills,
            tuple(self._ways(number, roll, choice, looks) for number in range(len(self.priced.logs))),
            (economics.mill if bolts.on_mill else economics.shop).opening,
            price_family(market, self.seen[0].prices),
            economics.costs,
        )
        found = choose_ways(master, MASTER, self.case.context.seed) if any(master.ways) else None
        if found is None or not any(found.layouts):
            return None
        layouts = (None if one is None else _flipped(one) if flipped else one for one in found.layouts)
        return self._carried_out(tuple(None if one is None else _turned(one, rest) for one in layouts), fine)

    def _carried_out(self, layouts: tuple[LayoutSetting | None, ...], fine: float) -> HandAnswer:
        log_layout = LogLayout(self.case.log, self.priced.places, self.priced.logs, layouts)
        ledger = self.case.execute(log_layout, self.seen[0].prices, fine)
        return HandAnswer(log_layout, ledger, Judge(self.case.context).worth(ledger))

    def _nearest(self, clock: float) -> tuple[int, float, bool]:
        """The roll of the tables that is nearest, what remains to be turned, and whether the log then lies upside down."""
        grid = self.priced.seen.grids[0].grid
        step = np.pi / grid.rolls
        place = float(np.mod(clock - grid.start, 2.0 * np.pi)) / step
        nearest = round(place)
        return nearest % grid.rolls, (place - nearest) * step, nearest // grid.rolls == 1

    def _ways(self, log: int, roll: int, choice: HandChoice, looks: int) -> tuple[Way[GridSlab], ...]:
        """The best ways from one roll at the first few prices seen."""
        out: list[Way[GridSlab]] = []
        for number in range(looks):
            solved = self._solved(number, choice.first_slab, choice.bolts)[log]
            of_roll = replace(solved, firsts=tuple(one for one in solved.firsts if one.roll == roll))
            out += best_ways(of_roll, WAYS, WAYS, (False, choice.first_slab))
        return tuple(out)

    def _solved(self, number: int, first_slab: float | None, bolts: bool) -> tuple[SolvedLog, ...]:
        """The programmes of every log at one of the prices seen, under a choice, run once."""
        key = number, first_slab, bolts
        if key not in self.solved:
            charges = self.task.economics.mill, self.task.economics.shop
            self.solved[key] = tuple(
                solve_log(priced, self.sawn if bolts else self.left, charges, angles, (False, first_slab))
                for priced, angles in zip(self.seen[number].logs, self.task.angles, strict=True)
            )
        return self.solved[key]


def _flipped(setting: LayoutSetting) -> LayoutSetting:
    """The same cuts of a log that lies upside down."""
    slabs = tuple(LayoutSlab(-slab.top, slab.thickness) for slab in reversed(setting.slabs))
    return replace(setting, clock=setting.clock + np.pi, slabs=slabs, above=setting.below, below=setting.above)


def _turned(setting: LayoutSetting, by: float) -> LayoutSetting:
    """A layout turned about the pith's chord, with all that follows. [rad]"""
    above, below = (None if one is None else _turned(one, by) for one in (setting.above, setting.below))
    return replace(setting, clock=float(np.mod(setting.clock + by, 2.0 * np.pi)), above=above, below=below)


def _without_bolts(setting: LayoutSetting) -> LayoutSetting:
    """A layout that leaves every bolt whole."""
    above, below = (
        None if one is None or one.role == "bolt" else _without_bolts(one) for one in (setting.above, setting.below)
    )
    return replace(setting, above=above, below=below)


def hand_tables(case: PlanCase, plan: LogLayout, monitor: Monitor = SILENT) -> HandTables:
    """Look at a planned log for turning it by hand, a quarter turn to either side of the plan's roll.

    Parameters
    ----------
    case : PlanCase
        The log and what is asked.
    plan : LogLayout
        The plan that is turned.
    monitor : Monitor
        Hears how far it is.

    Raises
    ------
    PlanError
        Where no setting pays.
    """
    roll = next(one.clock for one in plan.layouts if one is not None)
    start = replace(
        NO_LOCKS, roll=float(np.mod(roll - np.pi / 2.0, 2.0 * np.pi))
    )  # where the grid begins; nothing is held to it
    priced = priced_logs(
        case.log, plan.places, replace(case.context, effort=LOOK, locks=start), monitor.within(0.0, 0.3)
    )
    context = replace(case.context, effort=LOOK, locks=NO_LOCKS)
    task = _task(context, priced)
    valued = ValuedLogs(priced.seen.grids, task)
    classes = bolt_classes(context, priced.seen.on_mill)
    prices = price_start(context.economics)
    best = max(classes[1:] or classes, key=lambda one: look_at(task, valued, one, prices).bound)
    found = search_class(valued, priced.seen.fills, best, prices, monitor.within(0.3, 0.9))
    if found.bound <= 0.0:
        raise no_setting_pays(context.economics, valued.highest)
    seen = tuple(PricesSeen(look.prices, valued.at(look.prices)) for look in found.looks[:PRICES])
    return HandTables(replace(case, context=context), plan, roll, priced, seen, best, classes[0], task)


def _task(context: SearchContext, priced: PricedLogs) -> ClassTask:
    """What the programmes are asked: halves turned by a quarter, no roll held."""
    machines, seen = context.machines, priced.seen
    return ClassTask(
        context.economics,
        (machines.mill.kerf, machines.resaw.kerf),
        (np.array([seen.rolls // 2]),) * len(seen.grids),
        base_charge=context.economics.mill.setting if seen.way.places else 0.0,
        rounds=LOOK.rounds,
    )
