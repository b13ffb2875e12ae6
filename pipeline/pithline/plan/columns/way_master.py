"""The master: CP-SAT chooses one way to saw each log, and how each of its slabs is filled, by what is sold in the end.

Its columns come from the price search: first settings, ways to saw the halves, fans of the bolts, and for every slab a few fills at
prices near the best ones. Sets are whole numbers here, and a set-up is paid for once however many bolts use it.
Deterministic: one worker, a fixed seed and a deterministic time limit; the best single layout seen is the hint.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Generic, Protocol, TypeVar

import numpy as np
from numpy.typing import NDArray
from ortools.sat.python import cp_model

from pithline.plan.columns.market_model import MarketModel, fills_at, solve_model
from pithline.plan.pricing.fills import Fill, Fillable
from pithline.plan.pricing.log_oracle import Slab, Way
from pithline.plan.problem.economics import CutCosts
from pithline.plan.problem.layout import LayoutSetting
from pithline.plan.problem.market import Market

Array = NDArray[np.float64]
Counts = NDArray[np.int64]
Named = TypeVar("Named", contravariant=True)


class SlabFills(Protocol[Named]):
    """The slabs of some logs, by what they are known by."""

    def slab(self, log: int, slab: Named) -> Fillable:
        """One slab of the log with this number."""
        ...


@dataclass(frozen=True, slots=True)
class MasterAnswer:
    """What a master chose: a layout a log (None leaves it), its worth net of charges, the bound of these columns, sets by recipe."""

    layouts: tuple[LayoutSetting | None, ...]
    value: float
    bound: float
    status: str
    sets: Counts
    opened: tuple[int, ...]  # cradles used, roll steps


@dataclass(frozen=True, slots=True)
class MasterTask(Generic[Slab]):
    """What a master is asked.

    ways : by log, ways to saw it; one may be left
    opening : what the first run of a cradle is charged more than each further one
    family : prices (Q,) at which slabs are filled
    """

    market: Market
    fills: SlabFills[Slab]
    ways: tuple[tuple[Way[Slab], ...], ...]
    opening: float
    family: Sequence[Array]
    costs: CutCosts
    settings_max: int | None = None  # most charged settings
    sawn: Counts | None = None  # (P, 2) mated and single plates that count beside those of the ways


@dataclass(frozen=True, slots=True)
class _Node:
    """A way's own setting with its variable; ways to go on, each with theirs."""

    setting: LayoutSetting
    var: cp_model.IntVar
    above: tuple[_Node, ...]
    below: tuple[_Node, ...]


def merged(ways: Sequence[Way[Slab]]) -> tuple[Way[Slab], ...]:
    """Ways of one piece, those with the same own setting made one that has the alternatives of both."""
    found: dict[tuple[object, ...], Way[Slab]] = {}
    for way in ways:
        key = (way.own.setting.clock, way.own.setting.slabs, way.own.slabs)
        other = found.get(key)
        found[key] = way if other is None else replace(
            other, above=merged((*other.above, *way.above)), below=merged((*other.below, *way.below))
        )  # fmt: skip
    return tuple(found.values())


def choose_ways(task: MasterTask[Slab], effort: float, seed: int) -> MasterAnswer | None:
    """Solve the master; None where no column pays."""
    model = MarketModel(task.market)
    cradles: dict[int, cp_model.IntVar] = {}
    roots: list[tuple[_Node, ...]] = []
    slabs = _all_fills(task)
    for number, ways in enumerate(task.ways):
        nodes = tuple(_add(model, way, number, slabs, cradles, i == 0) for i, way in enumerate(merged(ways)))
        roots.append(nodes)
        if nodes:
            model.model.add(sum(node.var for node in nodes) <= 1)
    if task.settings_max is not None:
        model.model.add(sum(var for charge, var in model.charges if charge > 0.0) <= task.settings_max)
    for var in cradles.values():
        model.charges.append((task.opening, var))
    model.maximise(task.sawn)
    found = solve_model(model, effort, seed)
    if found is None:
        return None
    solver, status = found
    layouts = tuple(_read(nodes, solver) for nodes in roots)
    return MasterAnswer(
        layouts,
        model.worth(solver.objective_value),
        model.worth(solver.best_objective_bound),
        status,
        np.array([solver.value(n) for n in model.sets], np.int64),
        tuple(sorted(angle for angle, var in cradles.items() if solver.boolean_value(var))),
    )


def _all_fills(task: MasterTask[Slab]) -> Mapping[tuple[int, object], list[Fill]]:
    """The fills of every slab of every way, by log and slab."""
    keys: dict[tuple[int, object], Fillable] = {}

    def gather(number: int, way: Way[Slab]) -> None:
        for slab in way.own.slabs:
            keys[number, slab] = task.fills.slab(number, slab)
        for one in (*way.above, *way.below):
            gather(number, one)

    for number, ways in enumerate(task.ways):
        for way in ways:
            gather(number, way)
    found = fills_at(list(keys.values()), task.market, task.family, task.costs)
    return dict(zip(keys, found, strict=True))


def _add(
    model: MarketModel,
    way: Way[Slab],
    number: int,
    fills: Mapping[tuple[int, object], list[Fill]],
    cradles: dict[int, cp_model.IntVar],
    best: bool,
) -> _Node:
    """Add a way with all that may follow; `best` where it is part of the best way seen, which is the hint."""
    var = model.model.new_bool_var("")
    model.model.add_hint(var, int(best))
    model.charges.append((way.own.charge, var))
    for angle in way.own.cradles:
        if angle not in cradles:
            cradles[angle] = model.model.new_bool_var("")
        model.model.add(var <= cradles[angle])
    for slab in way.own.slabs:
        model.add_fills(var, fills[number, slab])
    sides = []
    for options in (way.above, way.below):
        nodes = tuple(_add(model, one, number, fills, cradles, best and i == 0) for i, one in enumerate(options))
        if nodes:
            model.model.add(sum(node.var for node in nodes) <= var)
        sides.append(nodes)
    return _Node(way.own.setting, var, *sides)


def _read(nodes: Sequence[_Node], solver: cp_model.CpSolver) -> LayoutSetting | None:
    """The layout of the way chosen among some."""
    for node in nodes:
        if solver.boolean_value(node.var):
            return replace(node.setting, above=_read(node.above, solver), below=_read(node.below, solver))
    return None
