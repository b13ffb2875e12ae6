"""Plans of one log for a season: seen once, valued at several prices, chosen for complete sets, carried out plate by plate.

A season wants whole sets for minutes, at prices that change from ask to ask. What a slab holds does not change with prices: the
log is looked at once (`PricedColumns`), and only the tables of values are made anew. All columns found serve all asks.
Nothing is compared with practice, sampled or replayed here: that is done for the plans that are chosen (`plan_script`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pithline.errors import PlanError
from pithline.logmodel.model import LogModel
from pithline.mill.machine import Machines
from pithline.plan.api import (
    SETS_FIRST,
    SILENT,
    Effort,
    LayoutSetting,
    LayoutSlab,
    Ledger,
    LogLayout,
    MasterAnswer,
    Monitor,
    Objective,
    ObjectiveWeights,
    PlanLog,
    PricedColumns,
    PricedView,
    SawnPart,
    SearchContext,
    balanced_prices,
    counted_worth,
    crosscut_candidates,
    crosscut_log,
    gather_sets,
    no_part_fits,
    plates_wanted,
    priced_columns,
    sawn_parts,
    search_words,
    setting_cost,
    shared_prices,
)
from pithline.yard.prepared_log import PreparedLog, prepare_log
from pithline.yard.request import Inputs
from pithline.yard.season.asks import Ask, asked, billet_thickness
from pithline.yard.season.plan_bounds import ProvenBound

Array = NDArray[np.float64]
SEASON_EFFORT = Effort("season", 12, 25.0, 1, 2, 1, 1, 2.0, depth_step=2.5, face_step=20.0)
"""As the planner's coarse effort, on rolls every 15°, with fewer columns of each view: several views share them."""
TURNS = 2
"""Views of an ask of several products; each moves a set's worth to the parts of which too few were found. An ask of one product
begins where the asks before it left off, and is viewed once."""
SEED = 1


@dataclass(frozen=True, slots=True)
class SeasonLog:
    """One log ready to be planned, where it is crosscut, and the parts that are ordered."""

    own: PreparedLog
    places: tuple[float, ...]
    logs: tuple[PlanLog, ...]  # crosscut at `places`

    @property
    def log(self) -> PlanLog:
        """The whole log."""
        return self.own.log

    @property
    def parts(self) -> tuple[SawnPart, ...]:
        """All that are ordered."""
        return self.own.parts

    @property
    def machines(self) -> Machines:
        """What it is sawn with."""
        return self.own.machines

    def context(self) -> SearchContext:
        """What every ask has in common."""
        return SearchContext(self.own.task(Objective.VALUE), Objective.VALUE, SEASON_EFFORT, SEED)

    def layout(self, layouts: Sequence[LayoutSetting | None]) -> LogLayout:
        """A layout of each of its logs, as one."""
        return LogLayout(self.log, self.places, self.logs, tuple(layouts))

    def execute(self, log_layout: LogLayout, worth: Array) -> Ledger:
        """A layout carried out on the real machines, plates laid out for what they are worth, (p,)."""
        task = replace(self.own.task(Objective.VALUE), worth=worth)
        return self.own.workshop.execute(log_layout, task)


@dataclass(frozen=True, slots=True)
class LogPlan:
    """One way to saw a log that was carried out: complete sets, minutes, the layout, and what is proven of its view."""

    ask: str
    turn: int
    sets: Mapping[str, int]
    minutes: float
    log_layout: LogLayout
    worth: tuple[float, ...]  # of a plate of each part, as slabs were laid out
    value: float
    bound: float
    considered: int
    words: str
    ledger: Ledger


def season_log(model: LogModel, inputs: Inputs, places: Sequence[float] | None = None) -> SeasonLog:
    """The log on the planner's frame, crosscut at `places`, or where that pays for what is ordered.

    Raises
    ------
    MillError, PlanError
        Where the mill cannot hold the log, or no part is shorter than it.
    """
    own = prepare_log(model, inputs)
    own.check(crosscut=True)
    log, machines = own.log, own.machines
    if log.clear < min(part.length for part in own.parts):
        raise PlanError(f"{inputs.card.id}: {no_part_fits(log, own.parts)}")
    if places is None:
        ways = _crosscut_ways(own)
        if not ways:
            own.check()
        places = ways[0][1] if ways else ()
    return SeasonLog(own, tuple(places), crosscut_log(log, places, machines.buck.kerf, 0.0)[1])


def _crosscut_ways(own: PreparedLog) -> list[tuple[float, tuple[float, ...]]]:
    """Where the log may be crosscut, whatever number of sets is ordered."""
    log, machines = own.log, own.machines
    task = own.task(Objective.VALUE)
    parts = tuple(replace(part, demand=None) for part in own.parts)
    any_number = replace(task, parts=parts, left=plates_wanted(parts))
    weights = ObjectiveWeights(task.worth, setting_cost(machines, log.reach, machines.mill.hour_rate))
    return crosscut_candidates(log, SearchContext(any_number, Objective.VALUE, SEASON_EFFORT, SEED), weights)


def least_minutes(one: SeasonLog) -> float:
    """No charged setting of a log takes less. [min]"""
    resaw = one.machines.resaw.minutes_per_setting
    return min(one.machines.mill.minutes_per_setting, 0.0 if resaw is None else resaw)


def plans_of(
    model: LogModel,
    inputs: Inputs,
    asks: Sequence[Ask],
    monitor: Monitor = SILENT,
    places: Sequence[float] | None = None,
) -> tuple[tuple[LogPlan, ...], tuple[ProvenBound, ...], SeasonLog]:
    """Plans that no other of them betters in sets and minutes, bounds on all plans of the log, and the log as it was seen.

    Parameters
    ----------
    model, inputs : LogModel, Inputs
        The fitted log, and what was read for it: every product that any ask may want.
    asks : sequence of Ask
        What plans are to make most of.
    monitor : Monitor
        Hears how far it is.
    places : sequence of float, optional
        Where the log is crosscut. [mm]

    Raises
    ------
    MillError, PlanError
        As `season_log` does.
    """
    one = season_log(model, inputs, places)
    columns = priced_columns(one.logs, one.context(), FINE)
    plans: list[LogPlan] = []
    bounds: list[ProvenBound] = []
    shares = np.array([part.volume for part in one.parts])
    for number, ask in enumerate(asks):
        monitor.report(ask.name, number / len(asks))
        asking = _Asking(one, ask, asked(inputs, ask), columns)
        shares = asking.run(shares)
        plans += [plan for plan in asking.plans if plan.sets]
        bounds += asking.bounds
    return _best(plans), tuple(bounds), one


FINE = 2.0
"""How finely columns are laid out; as for `plan.execute.slab_layout.lay_out`."""


@dataclass(frozen=True, slots=True)
class _Asking:
    """One ask of a log: its plans, and what it proves; both are filled. Its columns join those of the asks before it."""

    one: SeasonLog
    ask: Ask
    inputs: Inputs
    columns: PricedColumns
    plans: list[LogPlan] = field(default_factory=list)
    bounds: list[ProvenBound] = field(default_factory=list)

    @property
    def charge(self) -> float:
        """Of a setting."""
        machines = self.one.machines
        rate = machines.mill.hour_rate if self.ask.hour_rate is None else self.ask.hour_rate
        return setting_cost(machines, max(log.reach for log in self.one.logs), rate)

    def worth(self) -> Array:
        """A share of its set's price for a plate of each part, 0 where the ask does not want it, (p,)."""
        own = {part.key: part for part in sawn_parts(self.inputs.products, self.inputs.card.species)}
        return np.array([own[part.key].price if part.key in own else 0.0 for part in self.one.parts])

    def run(self, shares: Array) -> Array:
        """Search at prices that move towards parts of which too few were found; the shares of each part it ends with, (p,)."""
        parts, worth, charge = self.one.parts, self.worth(), self.charge
        left = plates_wanted(parts)
        # sets less minutes first, then what other plates are worth: the charge is scaled as the master scales sets
        weights = ObjectiveWeights(worth, SETS_FIRST * charge, sets_first=True)
        prices = start = shared_prices(parts, shares, worth)
        turns = TURNS if len(self.ask.prices) > 1 or not self.columns.found else 1
        executed: set[tuple[LayoutSetting | None, ...]] = set()
        for turn in range(turns):
            if not (prices > 0.0).any():
                break
            view = self.columns.add(prices, charge)
            most = view.promise - (charge if self.one.places else 0.0)
            self.bounds.append(ProvenBound(tuple(float(price) for price in prices), charge, most))
            answer = self.columns.choose(weights)
            if answer is None:
                break
            if answer.layouts not in executed:
                executed.add(answer.layouts)
                self.plans.append(self._plan(turn, answer, start, view))
            some = np.flatnonzero(prices > 0.0)
            wanted = tuple(parts[i] for i in some)
            moved = balanced_prices(wanted, prices[some], tuple(answer.plates[i] for i in some))
            shares = shares.copy()
            shares[some] = moved
            prices = np.zeros(len(prices))
            prices[some] = moved
            prices[np.array(answer.plates) >= left] = 0.0  # all that is wanted was found
        return shares

    def _plan(self, turn: int, answer: MasterAnswer, worth: Array, view: PricedView) -> LogPlan:
        """An answer carried out, its plates laid out for what they were worth at first, (p,)."""
        one = self.one
        log_layout = one.layout(answer.layouts)
        ledger = one.execute(log_layout, worth)
        sets = gather_sets(ledger.plates, one.parts, one.own.inputs.products).sets
        task = replace(one.own.task(Objective.VALUE), worth=worth)
        return LogPlan(
            self.ask.name,
            turn,
            {name: n for name, n in sets.items() if n},
            ledger.minutes,
            log_layout,
            tuple(float(w) for w in worth),
            counted_worth(ledger, task) - self.charge * ledger.charged,
            self.bounds[0].most,
            view.considered,
            search_words(view.grid, one.context(), one.logs),
            ledger,
        )


def _best(plans: Sequence[LogPlan]) -> tuple[LogPlan, ...]:
    """Plans of which no other has as many of every set in as few minutes; the first of equals."""
    out = []
    for at, plan in enumerate(plans):
        if not any(_betters(other, plan, k < at) for k, other in enumerate(plans) if k != at):
            out.append(plan)
    return tuple(out)


def _betters(one: LogPlan, other: LogPlan, first: bool) -> bool:
    if one.minutes > other.minutes or any(one.sets.get(name, 0) < n for name, n in other.sets.items()):
        return False
    return first or one.minutes < other.minutes or one.sets != other.sets


def plan_data(plan: LogPlan, parts: tuple[SawnPart, ...]) -> dict[str, Any]:
    """A plan as plain data: what the master needs of it, and what it takes to carry it out again."""
    return {
        "ask": plan.ask,
        "name": plan.ask if plan.turn == 0 else f"{plan.ask}, sets evened out",
        "sets": dict(plan.sets),
        "minutes": plan.minutes,
        "billets": [[*key, size] for key, size in sorted(billet_thickness(plan.ledger, parts).items())],
        "layouts": [None if one is None else asdict(one) for one in plan.log_layout.layouts],
        "places": list(plan.log_layout.places),
        "value": plan.value,
        "bound": plan.bound,
        "considered": plan.considered,
        "words": plan.words,
    }


def layout_from(data: Mapping[str, Any] | None) -> LayoutSetting | None:
    """A layout from the plain data of `plan_data`."""
    if data is None:
        return None
    slabs = tuple(LayoutSlab(one["low"], one["thickness"]) for one in data["slabs"])
    prices = None if data["prices"] is None else tuple(data["prices"])
    return LayoutSetting(
        data["clock"], slabs, layout_from(data["above"]), layout_from(data["below"]), data["role"], prices
    )
