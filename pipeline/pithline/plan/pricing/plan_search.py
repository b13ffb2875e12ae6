"""All of a search: where to crosscut, classes of layouts from bolts left to bolts by any cradle, the best of each by the master."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pithline.mill.machine import Machines
from pithline.plan.columns.market_model import price_family
from pithline.plan.columns.way_master import MasterAnswer, MasterTask, choose_ways
from pithline.plan.execute.bucked_log import LogLayout
from pithline.plan.pricing.class_search import (
    ClassFound,
    ClassTask,
    Look,
    ValuedLogs,
    look_at,
    search_class,
    seen_layout,
)
from pithline.plan.pricing.crosscut_search import CrosscutTask, CrosscutWay, crosscut_ways
from pithline.plan.pricing.fills import GridFills
from pithline.plan.pricing.log_grid import LogGrid, log_grid
from pithline.plan.pricing.log_oracle import BoltClass, Way
from pithline.plan.pricing.price_search import SeenLayout
from pithline.plan.problem.economics import Economics
from pithline.plan.problem.effort import Effort, bolts_on_mill
from pithline.plan.problem.layout import LayoutSetting, Locks
from pithline.plan.problem.log_frame import PlanLog
from pithline.plan.problem.parts import SawnPart
from pithline.plan.problem.report import Progress, Stop

Array = NDArray[np.float64]
CLOSE_LOOKS = 0.06
"""Looks whose bound is this near to the least give the master its columns."""
ALSO = 0.07
"""Ways to crosscut that promise less than the best by no more than this share are searched too."""


@dataclass(frozen=True, slots=True)
class PlanTask:
    """What a search of one log is asked."""

    log: PlanLog
    parts: tuple[SawnPart, ...]
    machines: Machines
    economics: Economics
    effort: Effort
    seed: int
    locks: Locks
    crosscut: bool = True


@dataclass(frozen=True, slots=True)
class FoundLayout:
    """A layout worth carrying out, the class it is the best of, its worth on the grid and what none of its class can exceed."""

    log_layout: LogLayout
    bolts: BoltClass
    value: float
    bound: float
    status: str
    prices: Array
    place: int  # among the answers of its class


def bolt_classes(task: PlanTask, on_mill: bool) -> tuple[BoltClass, ...]:
    """Classes from the least work to the most: bolts left, one cradle alone (each of them), all cradles, any angle."""
    mill, resaw = task.machines.mill, task.machines.resaw
    cradles, any_angle = (mill if on_mill else resaw).cradles_deg, (mill if on_mill else resaw).cradle_any
    left = BoltClass("bolts left", sawn=False)
    if not task.locks.bolts:
        return (left,)
    least = max(mill.blade_min, mill.clamp_room) + mill.kerf / 2.0 if on_mill else 0.0

    def of(name: str, angles: tuple[float, ...], free: bool = False) -> BoltClass:
        return BoltClass(name, angles, free, on_mill=on_mill, least_flat=least)

    out = [left, *(of(f"cradle {angle:g}°", (angle,)) for angle in cradles)]
    if len(cradles) > 1 and task.effort.every_class:
        out.append(of("all cradles", cradles))
    if any_angle and (task.effort.every_class or not cradles):
        out.append(of("any angle", cradles, True))
    return tuple(out)


def search_plans(
    task: PlanTask, progress: Progress, stop: Stop, found: Callable[[float, float], None] = lambda value, bound: None
) -> list[FoundLayout]:
    """Layouts worth carrying out, of every class and way to crosscut; `found` is told values and bounds."""
    start = task.economics.market.loose + _shares(task)
    ways = _ways(task, start, lambda part: progress("where to crosscut", 0.15 * part), stop)
    out: list[FoundLayout] = []
    for k, way in enumerate(ways):
        here = (k / len(ways), 1.0 / len(ways))

        def told(what: str, part: float, here: tuple[float, float] = here) -> None:
            progress(what, 0.15 + 0.85 * (here[0] + here[1] * part))

        out += _search_way(task, way, told, stop, found)
        if stop() and out:
            break
    return out


def _shares(task: PlanTask) -> Array:
    """Prices of the pools to begin with: each part's share of its set by width, for wide plates are scarce."""
    market = task.economics.market
    width = market.holds @ np.array([part.width**2 for part in task.parts])
    out = np.zeros(len(market.loose))
    for r, need in enumerate(market.need):
        weight = need * width
        out = np.maximum(out, market.set_worth[r] * width / max(float(weight.sum()), 1e-9) * (need > 0))
    return out


def _ways(task: PlanTask, start: Array, progress: Callable[[float], None], stop: Stop) -> list[CrosscutWay]:
    search = CrosscutTask(task.log, task.parts, task.machines, task.economics, start)
    if not task.crosscut:
        return [CrosscutWay((), (task.log,), 0.0, start)]
    ways = crosscut_ways(search, progress, stop)
    best = ways[0].bound if ways else 0.0
    return [way for way in ways[: task.effort.sawings] if way.bound >= best - ALSO * abs(best)]


def _search_way(
    task: PlanTask, way: CrosscutWay, progress: Progress, stop: Stop, found: Callable[[float, float], None]
) -> list[FoundLayout]:
    """The classes of one way to crosscut, each searched by prices; the best layouts of each."""
    machines = task.machines
    on_mill = any(bolts_on_mill(log, machines) for log in way.logs)
    effort = replace(task.effort, rolls=rolls_for(task.effort.rolls, machines, on_mill))
    grids = []
    for i, log in enumerate(way.logs):
        progress("looking at the wood", 0.2 * i / len(way.logs))
        grids.append(log_grid(log, task.parts, machines, effort, lambda what, part: None, task.locks))
    search = ClassTask(
        task.economics,
        (machines.mill.kerf, machines.resaw.kerf),
        (np.array([effort.rolls // 2]),) * len(grids),
        held_roll=task.locks.roll is not None,
        first_slab=task.locks.first_slab,
        base_charge=task.economics.mill.setting if way.places else 0.0,
        rounds=effort.rounds,
    )
    valued, fills = ValuedLogs(grids, search), GridFills(grids)
    classes = _contending(search, valued, bolt_classes(task, on_mill), way.prices)
    out: list[FoundLayout] = []
    prices = way.prices
    columns: list[list[Way]] = [[] for _ in grids]
    known: list[SeenLayout] = []
    for k, bolts in enumerate(classes):
        here = 0.2 + 0.8 * k / len(classes)
        step = 0.8 / len(classes)

        def told(part: float, here: float = here, step: float = step, name: str = bolts.name) -> None:
            progress(f"searching, {name}", here + 0.7 * step * part)

        one = search_class(search, valued, fills, bolts, prices, told, stop, known)
        prices = one.prices
        known = [seen_layout(search, one.looks[0], fills)] if bolts.sawn else []
        progress(f"choosing, {bolts.name}", here + 0.7 * step)
        _gather(columns, one)
        answers = _answers(task, search, one, fills, columns)
        for place, answer in enumerate(answers):
            layout = LogLayout(task.log, way.places, way.logs, answer.layouts)
            value = answer.value - search.base_charge
            out.append(FoundLayout(layout, bolts, value, max(one.bound, value), answer.status, one.prices, place))
        if answers:
            found(answers[0].value - search.base_charge, one.bound)
        if stop() and out:
            break
    return out


def _contending(
    search: ClassTask, valued: ValuedLogs, classes: Sequence[BoltClass], prices: Array
) -> list[BoltClass]:
    """The classes worth a search: of those with one cradle alone only the one that promises most."""
    single = [one for one in classes if len(one.cradles_deg) == 1 and not one.any_angle]
    if len(single) < 2:
        return list(classes)
    best = max(single, key=lambda one: look_at(search, valued, one, prices).bound)
    return [one for one in classes if one not in single or one is best]


def _gather(columns: list[list[Way]], found: ClassFound) -> None:
    """Add the ways seen at prices near the best ones; ways of a narrower class serve a wider one too."""
    for look in found.looks:
        if look.bound <= found.bound + CLOSE_LOOKS * abs(found.bound):
            for own, ways in zip(columns, look.ways, strict=True):
                own += ways


def _answers(
    task: PlanTask, search: ClassTask, found: ClassFound, fills: GridFills, columns: Sequence[Sequence[Way]]
) -> list[MasterAnswer]:
    """The best layouts of one class by the master, different in their first settings."""
    economics = search.economics
    charges = economics.mill if found.bolts.on_mill else economics.shop
    family = price_family(economics.market, found.prices)
    ways = [tuple(own) for own in columns]
    out: list[MasterAnswer] = []
    for _ in range(task.effort.answers):
        asked = MasterTask(
            economics.market, fills, tuple(ways), len(ways) == 1, charges.opening, family, economics.costs
        )
        answer = choose_ways(asked, task.effort.master, task.seed) if any(ways) else None
        if answer is None or not any(answer.layouts):
            break
        out.append(answer)
        ways = [
            tuple(way for way in own if not _same(way, layout))
            for own, layout in zip(ways, answer.layouts, strict=True)
        ]
    return out


def _same(way: Way, layout: LayoutSetting | None) -> bool:
    """Whether a way begins as a layout does."""
    own = way.own.setting
    return layout is not None and (own.clock, own.slabs) == (layout.clock, layout.slabs)


def rolls_for(wanted: int, machines: Machines, on_mill: bool) -> int:
    """Rolls over half a turn among which a shop's cradles are, as few as wanted where that will do."""
    cradles = (machines.mill if on_mill else machines.resaw).cradles_deg
    for rolls in (wanted, 2 * wanted, 36, 72):
        step = 180.0 / rolls
        if all(abs(angle / step - round(angle / step)) * step < 1.0 for angle in cradles):
            return rolls
    return 72


__all__ = ["FoundLayout", "LogGrid", "Look", "PlanTask", "bolt_classes", "search_plans", "seen_layout"]
