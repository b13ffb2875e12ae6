"""Plans of one log for a season: seen once, valued at several prices, chosen for complete sets, carried out plate by plate.

A season wants whole sets for minutes, at prices that change from ask to ask. What a slab holds does not change with prices: the
log is looked at once (`plan.looking.passing`), and only the tables of values are made anew. All columns found serve all asks.
Nothing is compared with practice, sampled or replayed here: that is done for the plans that are chosen (`scripts.py`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pithline.errors import PlanError
from pithline.logmodel.model import LogModel
from pithline.mill.machine import Machines
from pithline.plan.columns.bucking import crosscut_candidates
from pithline.plan.columns.laid_columns import ColumnEvaluator, FirstSettingChoice
from pithline.plan.columns.log_columns import balanced_prices, columns_of_view, shared_prices
from pithline.plan.columns.master import MasterAnswer, solve_joint_master
from pithline.plan.evaluate.ranking import counted_worth
from pithline.plan.execute.bucked_log import LogLayout, crosscut_log, execute_log_layout
from pithline.plan.execute.ledger import Ledger
from pithline.plan.execute.sets import gather_sets
from pithline.plan.problem.effort import Effort, bolts_on_mill
from pithline.plan.problem.infeasible import no_part_fits
from pithline.plan.problem.layout import LayoutSetting, LayoutSlab
from pithline.plan.problem.log_frame import PlanLog
from pithline.plan.problem.objective import ObjectiveWeights, setting_cost
from pithline.plan.problem.parts import SawnPart, sawn_parts
from pithline.plan.problem.task import SawingTask
from pithline.plan.programmes.tables import PassingPlaces, find_passing_places
from pithline.plan.search import search_words
from pithline.yard.prepared_log import PreparedLog, prepare_log
from pithline.yard.request import Inputs
from pithline.yard.season.asks import Ask, asked, billet_thickness
from pithline.yard.season.plan_bounds import ProvenBound

Array = NDArray[np.float64]
Progress = Callable[[str, float], None]
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
    parts: tuple[SawnPart, ...]

    @property
    def log(self) -> PlanLog:
        """The whole log."""
        return self.own.log

    @property
    def machines(self) -> Machines:
        """What it is sawn with."""
        return self.own.inputs.machines

    def carry(self, log_layout: LogLayout, task: SawingTask) -> Ledger:
        """A sawing carried out on the real machines."""
        return execute_log_layout(log_layout, task, self.own.poser, self.own.weight)


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
    card, machines = inputs.card, inputs.machines
    own = prepare_log(model, inputs)
    own.check(crosscut=True)
    log = own.log
    parts = sawn_parts(inputs.products, card.species)
    if log.clear < min(part.length for part in parts):
        raise PlanError(f"{card.id}: {no_part_fits(log, parts)}")
    if places is None:
        weights = ObjectiveWeights(
            np.array([part.price for part in parts]), setting_cost(machines, log.reach, machines.mill.hour_rate)
        )
        ways = crosscut_candidates(
            log, tuple(replace(p, demand=None) for p in parts), machines, weights, lambda: False, _quiet
        )
        if not ways:
            own.check()
        places = ways[0][1] if ways else ()
    return SeasonLog(own, tuple(places), crosscut_log(log, places, machines.buck.kerf, 0.0)[1], parts)


def least_minutes(one: SeasonLog) -> float:
    """No charged setting of a log takes less. [min]"""
    resaw = one.machines.resaw.minutes_per_setting
    return min(one.machines.mill.minutes_per_setting, 0.0 if resaw is None else resaw)


def plans_of(
    model: LogModel, inputs: Inputs, asks: Sequence[Ask], progress: Progress, places: Sequence[float] | None = None
) -> tuple[tuple[LogPlan, ...], tuple[ProvenBound, ...], SeasonLog]:
    """Plans that no other of them betters in sets and minutes, bounds on all plans of the log, and the log as it was seen.

    `inputs` name every product that any ask may want; `places` are those of `lying`.

    Raises
    ------
    MillError, PlanError
        As `lying` does.
    """
    one = season_log(model, inputs, places)
    looks = [find_passing_places(log, one.parts, one.machines, SEASON_EFFORT, _quiet) for log in one.logs]
    pools: list[list[FirstSettingChoice]] = [[] for _ in one.logs]
    seen: list[dict] = [{} for _ in one.logs]
    plans: list[LogPlan] = []
    facts: list[ProvenBound] = []
    shares = np.array([part.volume for part in one.parts])
    for number, ask in enumerate(asks):
        progress(ask.name, number / len(asks))
        made, known, shares = _asked(one, ask, inputs, looks, pools, seen, shares)
        plans += [plan for plan in made if plan.sets]
        facts += known
    return _best(plans), tuple(facts), one


def _asked(
    one: SeasonLog,
    ask: Ask,
    inputs: Inputs,
    looks: Sequence[PassingPlaces],
    pools: list[list[FirstSettingChoice]],
    seen: list[dict],
    shares: Array,
) -> tuple[list[LogPlan], list[ProvenBound], Array]:
    """The plans of one ask, what it proves, and the shares it ends with; its columns join the pools of the log's pieces."""
    products = asked(inputs, ask).products
    own = {part.key: part for part in sawn_parts(products, inputs.card.species)}
    worth = np.array([own[part.key].price if part.key in own else 0.0 for part in one.parts])
    left = left_of(one.parts)
    rate = one.machines.mill.hour_rate if ask.hour_rate is None else ask.hour_rate
    reach = max(log.reach for log in one.logs)
    charge = setting_cost(one.machines, reach, rate)
    # sets less minutes first, then what other plates are worth: the charge is scaled as the master scales sets
    weights = ObjectiveWeights(worth, SETS_FACTOR * charge, sets_first=True)
    prices = start = shared_prices(one.parts, shares, worth)
    plans: list[LogPlan] = []
    facts: list[ProvenBound] = []
    carried: set[tuple] = set()
    for turn in range(TURNS if len(ask.prices) > 1 or not any(pools) else 1):
        view = tuple(part for part, w in zip(one.parts, prices, strict=True) if w > 0.0)
        rows = np.array([w for w in prices if w > 0.0])
        if not view:
            break
        task = SawingTask(one.machines, one.parts, prices, left)
        most, considered, grid = 0.0, 0, None
        for log, known, pool, memory in zip(one.logs, looks, pools, seen, strict=True):
            evaluator = ColumnEvaluator(
                log,
                task,
                one.machines.mill.kerf,
                2.0,
                tuple(float(w) for w in prices),
                bolts_on_mill(log, one.machines),
                memory,
            )
            got = columns_of_view(
                log, view, ObjectiveWeights(rows, charge), evaluator, SEASON_EFFORT, (), _quiet, known=known
            )
            pool += got.choices
            most, considered, grid = most + got.promise, considered + got.considered, got.grid
        extra = charge if one.places else 0.0
        facts.append(ProvenBound(tuple(float(w) for w in prices), charge, most - extra))
        answer = solve_joint_master(pools, one.parts, weights, SEASON_EFFORT.master, SEED)
        if answer is None or not any(answer.layouts):
            break
        if answer.layouts not in carried:
            carried.add(answer.layouts)
            words = search_words(grid, SEASON_EFFORT, one.machines, True, one.logs)
            plans.append(
                _carried(
                    one,
                    ask,
                    turn,
                    answer,
                    SawingTask(one.machines, one.parts, start, left),
                    facts,
                    considered,
                    words,
                    charge,
                )
            )
        some = np.flatnonzero(prices > 0.0)
        moved = balanced_prices(view, prices[some], tuple(answer.plates[i] for i in some))
        shares = shares.copy()
        shares[some] = moved
        prices = np.zeros(len(prices))
        prices[some] = moved
        prices[np.array(answer.plates) >= left] = 0.0  # all that is wanted was found
    return plans, facts, shares


SETS_FACTOR = 1000.0
"""`plan.master` counts what complete sets hold this many times."""


def left_of(parts: tuple[SawnPart, ...]) -> Array:
    """Plates of each part that are ordered, infinite without a demand."""
    return np.array([np.inf if part.demand is None else float(part.demand) for part in parts])


def _carried(
    one: SeasonLog,
    ask: Ask,
    turn: int,
    answer: MasterAnswer,
    task: SawingTask,
    facts: Sequence[ProvenBound],
    considered: int,
    words: str,
    charge: float,
) -> LogPlan:
    log_layout = LogLayout(one.log, one.places, one.logs, answer.layouts)
    ledger = one.carry(log_layout, task)
    gathered = gather_sets(ledger.plates, one.parts, one.own.inputs.products)
    sets = {name: n for name, n in gathered.sets.items() if n}
    value = counted_worth(ledger, task) - charge * ledger.charged
    worth = tuple(float(w) for w in task.worth)
    return LogPlan(
        ask.name, turn, sets, ledger.minutes, log_layout, worth, value, facts[0].most, considered, words, ledger
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


def _quiet(what: str, part: float) -> None:
    """Progress of one log's parts is not told."""


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
