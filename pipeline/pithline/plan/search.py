"""A log, whole and crosscut, to the best layouts of every class and what is proven of them: prices, exact programmes, the master."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from pithline.plan.class_answers import (
    CLOSE_LOOKS,
    ClassAnswers,
    SeenWay,
    WaySearch,
    begin_answers,
    gather,
    looked_anew,
)
from pithline.plan.class_choice import bolt_classes, contending, may_promise_more, promising_more, small
from pithline.plan.columns.way_master import MasterAnswer
from pithline.plan.crosscut_search import NEARLY_AS_GOOD, CrosscutWay, crosscut_ways
from pithline.plan.execute.bucked_log import LogLayout
from pithline.plan.looked_layouts import looked_layouts
from pithline.plan.pricing.class_search import (
    ClassFound,
    ClassTask,
    ValuedLogs,
    search_class,
    seen_layouts,
)
from pithline.plan.pricing.fills import GridFills
from pithline.plan.pricing.log_grid import GridSlab, log_grid
from pithline.plan.pricing.log_oracle import BoltClass, Way
from pithline.plan.pricing.price_search import SeenLayout
from pithline.plan.problem.context import SearchContext
from pithline.plan.problem.economics import Economics
from pithline.plan.problem.effort import HURRIED, bolts_on_mill, rolls_for
from pithline.plan.problem.infeasible import no_part_fits, no_setting_pays
from pithline.plan.problem.layout import NO_LOCKS
from pithline.plan.problem.log_frame import PlanLog
from pithline.plan.problem.monitor import SILENT, Monitor, in_turn
from pithline.plan.search_stated import layouts_considered, search_words

Array = NDArray[np.float64]
NOTHING_FOUND: Mapping[bool, float] = MappingProxyType({})


@dataclass(frozen=True, slots=True)
class Candidate:
    """A way to saw a log, and what is proven of it on the search grid.

    Attributes
    ----------
    log_layout : LogLayout
        How it is sawn.
    bolts : BoltClass
        The class of layouts that it is among the best of.
    value, bound : float
        On the grid, net of charges and of the log's own minutes: its own, and what no layout of the class exceeds; litres, or money.
    status : str
        Of the master, or what was kept from elsewhere.
    prices : (Q,) array
        Of the pools of plates, at which slabs are filled.
    considered : int
        Layouts that the programmes weighed.
    words : str
        The stated grid and class.
    searched : bool
        Whether this search found it; else it stands beside what one found.
    named : str
        What it is called, where not by its class.
    """

    log_layout: LogLayout
    bolts: BoltClass
    value: float
    bound: float
    status: str
    prices: Array
    considered: int
    words: str
    searched: bool = True
    named: str = ""

    @property
    def title(self) -> str:
        """What it is called: its class of bolts, or what else it is."""
        return self.named or self.bolts.name


def kept_candidate(log_layout: LogLayout, beside: Candidate, status: str) -> Candidate:
    """A layout that no search found, beside one that a search did; `status` says in the proof what was kept."""
    return replace(beside, log_layout=log_layout, status=status, value=0.0, searched=False, named=status)


def price_start(economics: Economics) -> Array:
    """Prices of the pools to begin with (Q,): a set's worth shared by the squares of its plates' widths, for wide ones are scarce.

    What a figured set is worth beyond a plain one is shared by the pools that it alone takes plates of.
    """
    market, parts = economics.market, economics.kinds.sawn
    width = market.holds @ np.array([part.width**2 for part in parts]) / np.maximum(market.holds.sum(axis=1), 1.0)
    out, shared_out = market.loose.copy(), np.zeros(len(market.loose), bool)
    for r, need in enumerate(market.need):
        own = np.where(shared_out, 0, need)
        left = market.set_worth[r] - float((need - own) @ out)
        shared = left * width / max(float(own @ width), 1e-9)
        out = np.where(own > 0, np.maximum(out, shared), out)
        shared_out |= need > 0
    return out


FAR_LESS = 0.2
"""With its bolts left the log whole is passed over where one rough look promises it this share less than the best way to crosscut it."""
HOPELESS = 0.03
"""A class of another way to crosscut is not searched where its bound lies this share under what was found: carried out, as much is lost."""


def search_candidates(log: PlanLog, context: SearchContext, monitor: Monitor = SILENT) -> list[Candidate]:
    """Layouts worth carrying out, of every class and way to crosscut; the monitor hears the best value and the bound of each.

    Raises
    ------
    PlanError
        Where no plate of any part passes, or no setting pays.
    """
    ways = _ways(log, context, monitor.within(0.0, 0.15))
    out: list[Candidate] = []
    highest = 0.0
    beaten: dict[bool, float] = {}  # by whether bolts are sawn, what another way must promise
    for number, (way, classes) in enumerate(ways):
        inner = monitor.within(0.15, 1.0).share(number, len(ways))
        if monitor.stopped():  # nothing is in hand yet: a hurried search is soon at its end, so it is not cut short
            context, inner = context.with_effort(HURRIED), inner.going_on()
        seen = see_way(way, context, inner.within(0.0, 0.2))
        asked = bolt_classes(context, seen.on_mill)
        # of ways beside the most promising one, the best layout of each class will do
        own = context if number == 0 else context.with_effort(replace(context.effort, answers=1))
        found, best_slab = search_seen(log, seen, own, asked[:classes], inner.within(0.2, 1.0), beaten)
        out += found
        for one in found:
            least = one.value - HOPELESS * abs(one.value)
            beaten[one.bolts.sawn] = max(beaten.get(one.bolts.sawn, -np.inf), least)
        highest = max(highest, best_slab)
        if monitor.stopped() and out:
            break
    if ways and not out:
        raise no_setting_pays(context.economics, highest) if highest > 0.0 else no_part_fits(log, context.parts)
    # classes find alike layouts, and each is carried out but once
    alike = {(one.log_layout.places, one.log_layout.layouts): one for one in reversed(out)}
    return [one for one in out if alike[one.log_layout.places, one.log_layout.layouts] is one]


def _ways(log: PlanLog, context: SearchContext, monitor: Monitor) -> list[tuple[CrosscutWay, int | None]]:
    """Ways to crosscut that are worth a search, the most promising first, each with how many of its classes are searched.

    The log whole is among them wherever the mill takes it, for the rough grid cannot tell small differences; where it promises much
    less, with its bolts left alone, the way of the least work, if that may come near what the best way gives so.
    """
    start = price_start(context.economics)
    if not context.bucking:
        return [(CrosscutWay((), (log,), 0.0, start), None)]
    ways = crosscut_ways(log, context, start, monitor)
    best = ways[0].bound if ways else 0.0
    near = [way for way in ways if way.bound >= best - NEARLY_AS_GOOD * abs(best)]
    whole = [way for way in ways if not way.places]
    cut = [way for way in near if way.places][: context.effort.crosscuts]
    if any(not way.places for way in near):
        # as many ways as the effort has, and the log whole besides one that is crosscut
        chosen = sorted([*cut[: max(context.effort.crosscuts - 1, 1)], *whole], key=lambda way: -way.bound)
        return [(way, None) for way in chosen]
    least = (1.0 - FAR_LESS) * max((way.left or 0.0 for way in cut), default=0.0)
    return [*((way, None) for way in cut), *((way, 1) for way in whole if way.left is None or way.left >= least)]


def see_way(way: CrosscutWay, context: SearchContext, monitor: Monitor = SILENT) -> SeenWay:
    """Look at the wood of the logs of one way to crosscut."""
    on_mill = any(bolts_on_mill(one, context.machines) for one in way.logs)
    rolls = rolls_for(context.effort, context.machines, on_mill)
    grids = [
        log_grid(one, context, rolls, partial(monitor.share(i, len(way.logs)).report, "looking at the wood"))
        for i, one in enumerate(way.logs)
    ]
    return SeenWay(way, grids, GridFills(grids), rolls, on_mill)


def search_seen(
    log: PlanLog,
    seen: SeenWay,
    context: SearchContext,
    classes: Sequence[BoltClass],
    monitor: Monitor = SILENT,
    beaten: Mapping[bool, float] = NOTHING_FOUND,
) -> tuple[list[Candidate], float]:
    """Some classes of a way that was looked at, searched by prices: their best layouts; and what the best single slab is worth.

    Of a small log those of looks follow, where the effort asks for any.

    Parameters
    ----------
    log : PlanLog
        The whole log.
    seen : SeenWay
        The logs crosscut from it, as they were looked at.
    context : SearchContext
        What is asked.
    classes : sequence of BoltClass
        Those to search, narrower ones first.
    monitor : Monitor
        Hears the best value and the bound of each class; may stop after one that gave a layout.
    beaten : mapping of bool to float
        By whether bolts are sawn, what a class must promise to be searched.
    """
    machines, locks, effort, grids, way = context.machines, context.locks, context.effort, seen.grids, seen.way
    task = ClassTask(
        context.economics,
        (machines.mill.kerf, machines.resaw.kerf),
        (np.array([seen.rolls // 2]),) * len(grids),
        held_roll=locks.roll is not None,
        first_slab=locks.first_slab,
        base_charge=context.economics.mill.setting if way.places else 0.0,
        firsts=effort.firsts,
        halves=effort.halves,
        rounds=effort.rounds,
        apart=len(way.logs) == 1 and locks.first_slab is None,
    )
    search = WaySearch(log, seen, context, task, ValuedLogs(grids, task))
    asked = classes
    classes, looked = contending(search.valued, asked, search.way.prices, beaten, monitor.within(0.0, 0.0))
    out: list[Candidate] = []
    columns: list[list[Way[GridSlab]]] = [[] for _ in grids]
    known: list[SeenLayout] = []
    prices, highest, log_cost = way.prices, 0.0, context.economics.log_cost
    bounds = {name: look.bound for name, look in looked.items()}  # the bound of any look holds
    waiting: tuple[ClassFound, Callable[[], ClassAnswers]] | None = None  # of the class before
    searched: list[ClassFound] = []

    def take(found: ClassFound, answers: Sequence[MasterAnswer]) -> None:
        """Note the best layouts of a class."""
        own = _candidates(search, found, answers)
        out.extend(own)
        searched.append(found)
        bounds[found.bolts.name] = found.bound
        if own:
            # no plan can exceed the greatest bound of the classes, once every one has one
            whole = {one.name for one in classes} <= set(bounds)
            monitor.found(own[0].value, max(bounds[one.name] for one in classes) - log_cost if whole else None)

    for k, bolts in enumerate(classes):
        inner = monitor.share(k, len(classes))
        start = looked.get(bolts.name, prices)
        found = search_class(search.valued, search.fills, bolts, start, inner.within(0.0, 0.7), known)
        prices = found.prices
        # a wider class holds the layouts of a narrower one
        known += [layout for one in found.looks for layout in seen_layouts(task, one, search.fills)]
        highest = max(highest, search.valued.highest)
        gather(columns, found.looks, found.bound, CLOSE_LOOKS)
        if waiting is not None:
            take(waiting[0], waiting[1]().found)
            waiting = None
        inner.report(f"choosing, {bolts.name}", 0.7)
        last = k == len(classes) - 1
        if not (last or monitor.stopped() or may_promise_more(bolts, asked, classes)):
            # what it comes to changes nothing of how the next class is searched
            waiting = found, begin_answers(search, found, columns, monitor.begin)
            continue
        chosen = begin_answers(search, found, columns, in_turn)()
        answers = chosen.found
        if last and chosen.every is not None:  # the widest so far, so the best plan is most likely one of it
            found, answers = looked_anew(search, found, chosen.every, answers, monitor)
            prices, highest = found.prices, max(highest, search.valued.highest)
        value = max((one.value - task.base_charge for one in answers), default=0.0)
        if (other := promising_more(search.valued, found, value, asked, classes, bounds)) is not None:
            classes.insert(k + 1, other.bolts)
            looked[other.bolts.name] = other.look
        take(found, answers)
        if monitor.stopped() and out:
            break
    if effort.beside and len(way.logs) == 1 and small(way.logs) and not monitor.stopped():
        met = {one.log_layout.layouts[0] for one in out}
        for found, answer in looked_layouts(search, searched, effort.beside, met):
            out += _candidates(search, found, [answer])
    return out, highest


def _candidates(search: WaySearch, found: ClassFound, answers: Sequence[MasterAnswer]) -> list[Candidate]:
    """The layouts that a master chose of one class, with what is proven of them."""
    task, way = search.task, search.way
    words = search_words(search.grids, found.bolts, search.context)
    considered = layouts_considered(search.grids, len(found.looks))
    out = []
    for answer in answers:
        log_cost = task.economics.log_cost
        value = answer.value - task.base_charge - log_cost
        layout = LogLayout(search.log, way.places, way.logs, answer.layouts)
        bound = max(found.bound - log_cost, value)
        out.append(Candidate(layout, found.bolts, value, bound, answer.status, found.prices, considered, words))
    return out


def cost_of_locks(
    log: PlanLog, context: SearchContext, locked: Sequence[Candidate], monitor: Monitor = SILENT
) -> float:
    """What the locks cost: the best value of a search of equal effort without them, less that with them.

    Litres, or money by value. Where the locked search happens to find more, nothing.
    """
    free = search_candidates(log, replace(context, locks=NO_LOCKS, bucking=True), replace(monitor, found=SILENT.found))
    return max(max(one.value for one in free) - max(one.value for one in locked), 0.0)
