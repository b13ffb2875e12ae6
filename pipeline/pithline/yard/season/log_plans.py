"""Plans of one log for a season: seen once, searched at several prices, carried out plate by plate, chosen for complete sets.

A season wants whole sets for minutes, at prices that change from ask to ask. What a slab holds does not change with prices: the wood is
looked at once (`PricedLogs`), and every ask is a search by prices over it, by money. Each search gives the best layout of every class of
bolts, from few set-ups to many, so that the season may choose between wood and hours.
Nothing is compared with practice, sampled or replayed here: that is done for the plans that are chosen (`plan_script`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pithline.errors import PlanError
from pithline.logmodel.model import LogModel
from pithline.plan.api import (
    SILENT,
    Candidate,
    Effort,
    LayoutSetting,
    LayoutSlab,
    Ledger,
    LogLayout,
    Monitor,
    Objective,
    PlanCase,
    PlanLog,
    SawingTask,
    SawnPart,
    SearchContext,
    crosscut_log,
    crosscut_places,
    economics_of,
    gather_sets,
    no_part_fits,
    plates_wanted,
    priced_logs,
    proven_prices,
    sawn_parts,
)
from pithline.yard.drying_times import billet_thickness
from pithline.yard.prepared_log import PreparedLog, prepare_log
from pithline.yard.request import Inputs
from pithline.yard.season.asks import Ask, sold_by
from pithline.yard.season.plan_bounds import ProvenBound

Array = NDArray[np.float64]
SEASON_EFFORT = Effort("season", 12, 25.0, rounds=4, answers=1, master=2.0)
"""As the planner's coarse effort, with fewer looks at prices: several asks of a log begin where those before left off."""
SEED = 1
FINE = 1.5
"""How finely slabs are looked at; as the planner's coarse effort."""


@dataclass(frozen=True, slots=True)
class SeasonLog:
    """One log ready to be planned, and where it is crosscut."""

    own: PreparedLog
    places: tuple[float, ...]
    logs: tuple[PlanLog, ...]  # crosscut at `places`

    trim: float = 0.0  # of each end, beside the card's; `logs` have it [mm]

    @property
    def log(self) -> PlanLog:
        """The whole log, as long as it is now."""
        return _trimmed(self.own.log, self.trim)

    def waited(self, trim: float) -> SeasonLog:
        """The log once so much is trimmed off each end, beside the card's trims. [mm]"""
        log = _trimmed(self.own.log, trim)
        return replace(self, logs=crosscut_log(log, self.places, self.own.machines.buck.kerf, 0.0)[1], trim=trim)

    @property
    def parts(self) -> tuple[SawnPart, ...]:
        """All that are ordered."""
        return self.own.parts

    def layout(self, layouts: Sequence[LayoutSetting | None]) -> LogLayout:
        """A layout of each of its logs, as one."""
        return LogLayout(self.log, self.places, self.logs, tuple(layouts))

    def execute(self, log_layout: LogLayout, context: SearchContext, prices: Array) -> Ledger:
        """A layout carried out on the real machines, its slabs filled from prices of the pools (Q,) on."""
        return self.case(context).execute(log_layout, prices, FINE)

    def case(self, context: SearchContext) -> PlanCase:
        """The log as a case for the planner, as long as it is now."""
        return PlanCase(self.log, context, self.own.workshop)


def _trimmed(log: PlanLog, trim: float) -> PlanLog:
    return replace(log, trim_butt=log.trim_butt + trim, trim_top=log.trim_top + trim)


@dataclass(frozen=True, slots=True)
class LogPlan:
    """One way to saw a log that was carried out: complete sets, minutes, the layout as it was found, what comes of it.

    `trim` is what was trimmed off each end for having waited. [mm]
    """

    ask: Ask
    sets: Mapping[str, int]
    minutes: float
    found: Candidate
    ledger: Ledger
    trim: float = 0.0


def ask_context(own: PreparedLog, ask: Ask) -> SearchContext:
    """What an ask wants of a log: its sets at its prices up to its demand, less minutes; every other part counts nothing."""
    inputs = sold_by(own.inputs, ask)
    parts = sawn_parts(inputs.products, inputs.card.species)
    economics = economics_of(Objective.VALUE, parts, inputs.products, inputs.machines)
    task = SawingTask(inputs.machines, parts, economics, plates_wanted(parts))
    return SearchContext(task, SEASON_EFFORT, SEED, bucking=False, money=economics)


def season_log(model: LogModel, inputs: Inputs, ask: Ask, places: Sequence[float] | None = None) -> SeasonLog:
    """The log on the planner's frame, crosscut at `places`, or where that pays for what `ask` wants.

    Raises
    ------
    MillError, PlanError
        Where the mill cannot hold the log, or no part is shorter than it.
    """
    own = prepare_log(model, inputs)
    own.check(crosscut=True)
    log = own.log
    if log.clear < min(part.length for part in own.parts):
        raise PlanError(f"{inputs.card.id}: {no_part_fits(log, own.parts)}")
    at = crosscut_places(log, ask_context(own, ask)) if places is None else tuple(places)
    return SeasonLog(own, at, crosscut_log(log, at, own.machines.buck.kerf, 0.0)[1])


def plans_of(
    model: LogModel,
    inputs: Inputs,
    asks: Sequence[Ask],
    monitor: Monitor = SILENT,
    places: Sequence[float] | None = None,
    trims: Sequence[float] = (0.0,),
) -> tuple[tuple[LogPlan, ...], tuple[ProvenBound, ...], SeasonLog]:
    """Plans that no other of them betters in sets and minutes, bounds on all plans of the log, and the log as it was seen.

    Parameters
    ----------
    model, inputs : LogModel, Inputs
        The fitted log, and what was read for it: every product that any ask may want.
    asks : sequence of Ask
        What plans are to make most of; where the log is crosscut follows from the first.
    monitor : Monitor
        Hears how far it is.
    places : sequence of float, optional
        Where the log is crosscut. [mm]
    trims : sequence of float
        What each end is trimmed by, rising; the plans that are kept are carried out for each. [mm]

    Raises
    ------
    MillError, PlanError
        As `season_log` does.
    """
    one = season_log(model, inputs, asks[0], places)
    first = ask_context(one.own, asks[0])
    priced = priced_logs(one.log, one.places, first, monitor.within(0.0, 0.2))
    plans: list[LogPlan] = []
    bounds: list[ProvenBound] = []
    for number, ask in enumerate(asks):
        context = ask_context(one.own, ask)
        asking = monitor.within(0.2, 1.0).share(number, len(asks))
        asking.report(ask.name, 0.0)
        found = priced.layouts(context, monitor=asking)
        if found:  # the last class is the widest: it holds the layouts of the others
            proven = proven_prices(found[-1], context)
            bounds.append(ProvenBound(tuple(float(price) for price in proven.prices), proven.minute, proven.most))
        plans += [_carried_out(one.waited(trims[0]), ask, each) for each in found]
    best = _best([plan for plan in plans if plan.sets])
    later = [_best([_carried_out(one.waited(trim), plan.ask, plan.found) for plan in best]) for trim in trims[1:]]
    return (*best, *(plan for each in later for plan in each if plan.sets)), tuple(bounds), one


def _carried_out(one: SeasonLog, ask: Ask, found: Candidate) -> LogPlan:
    ledger = one.execute(one.layout(found.log_layout.layouts), ask_context(one.own, ask), found.prices)
    sets = gather_sets(ledger.plates, one.parts, one.own.inputs.products).sets
    minutes = ledger.minutes + one.own.machines.mill.minutes_per_log
    return LogPlan(ask, {name: n for name, n in sets.items() if n}, minutes, found, ledger, one.trim)


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


def plan_data(plan: LogPlan, one: SeasonLog) -> dict[str, Any]:
    """A plan as plain data: what the master needs of it, and what it takes to carry it out again."""
    found, parts = plan.found, one.parts
    return {
        "ask": asdict(plan.ask),
        "name": f"{plan.ask.name}: {found.bolts.name}" + (f", ends {plan.trim:g} mm shorter" if plan.trim else ""),
        "sets": dict(plan.sets),
        "trim": plan.trim,
        "minutes": plan.minutes,
        "billets": [[*key, size] for key, size in sorted(billet_thickness(plan.ledger, parts).items())],
        "layouts": [None if each is None else asdict(each) for each in found.log_layout.layouts],
        "places": list(found.log_layout.places),
        "prices": [float(price) for price in found.prices],
        "class": found.bolts.name,
        "value": found.value,
        "bound": found.bound,
        "status": found.status,
        "considered": found.considered,
        "words": found.words,
    }


def ask_from(data: Mapping[str, Any]) -> Ask:
    """An ask from the plain data of `plan_data`."""
    prices = tuple((str(name), float(price)) for name, price in data["prices"])
    demand = tuple((str(name), int(sets)) for name, sets in data["demand"])
    return Ask(data["name"], prices, demand, data["hour_rate"])


def layout_from(data: Mapping[str, Any] | None) -> LayoutSetting | None:
    """A layout from the plain data of `plan_data`."""
    if data is None:
        return None
    slabs = tuple(LayoutSlab(one["low"], one["thickness"]) for one in data["slabs"])
    prices = None if data["prices"] is None else tuple(data["prices"])
    return LayoutSetting(
        data["clock"], slabs, layout_from(data["above"]), layout_from(data["below"]), data["role"], prices, data["lean"]
    )
