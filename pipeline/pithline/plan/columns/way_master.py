"""The master: CP-SAT chooses one way to saw each log, and how each of its slabs is filled, by what is sold in the end.

Its columns come from the price search: first settings, ways to saw the halves, fans of the bolts, and for every slab a few fills at
prices near the best ones. Sets are whole numbers here, and a set-up is paid for once however many bolts use it.
Deterministic: one worker, a fixed seed and a deterministic time limit; the best single layout seen is the hint.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Generic, Protocol, TypeVar

import numpy as np
from numpy.typing import NDArray
from ortools.sat.python import cp_model

from pithline.plan.columns.market_model import MarketModel, fills_at, solve_model
from pithline.plan.pricing.fills import Fill, Fillable, fill_all
from pithline.plan.pricing.log_oracle import Slab, Way
from pithline.plan.pricing.price_search import worth_at
from pithline.plan.problem.economics import CutCosts
from pithline.plan.problem.layout import LayoutSetting
from pithline.plan.problem.market import Market

Array = NDArray[np.float64]
Counts = NDArray[np.int64]
Named = TypeVar("Named", contravariant=True)


NEAR = 0.03
"""The prices bound every plan: one that holds a column worth so much less than the best at these prices has no more than the bound
less that. So where the master's answer lies nearer to the bound than this, nothing was lost."""


class SlabFills(Protocol[Named]):
    """The slabs of some logs, by what they are known by."""

    def slab(self, log: int, slab: Named) -> Fillable:
        """One slab of the log with this number."""
        ...


@dataclass(frozen=True, slots=True)
class LogChoice:
    """What a master chose of one log: its layout (None leaves it), what that gives and is charged, and the cradles that it uses.

    `plates` (P, 2) are mated and single plates by kind; `charges` those of settings and cuts, but not of opening a cradle.
    """

    layout: LayoutSetting | None
    plates: Counts
    charges: float = 0.0
    cradles: frozenset[int] = frozenset()  # angles, roll steps


@dataclass(frozen=True, slots=True)
class MasterAnswer:
    """What a master chose: of each log, its worth net of charges, the bound of these columns, sets by recipe."""

    logs: tuple[LogChoice, ...]
    value: float
    bound: float
    status: str
    sets: Counts

    @property
    def layouts(self) -> tuple[LayoutSetting | None, ...]:
        """By log; None leaves it."""
        return tuple(one.layout for one in self.logs)

    @property
    def opened(self) -> tuple[int, ...]:
        """Cradles used, roll steps."""
        return tuple(sorted(frozenset[int]().union(*(one.cradles for one in self.logs))))


@dataclass(frozen=True, slots=True)
class MasterTask(Generic[Slab]):
    """What a master is asked.

    ways : by log, ways to saw it; one may be left
    near : columns that cost a plan more than this share of the best at the best prices are left out
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
    near: float = NEAR
    sawn: Counts | None = None  # (P, 2) mated and single plates that count beside those of the ways
    standing: frozenset[int] = frozenset()  # cradles that are opened already, roll steps


@dataclass(frozen=True, slots=True)
class _Node:
    """A way's own setting with its variable; ways to go on, each with theirs."""

    setting: LayoutSetting
    charge: float
    cradles: tuple[int, ...]
    fills: tuple[tuple[cp_model.IntVar, Fill], ...]
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
    return next(iter(choose_different_ways(task, effort, seed, 1)), None)


def choose_different_ways(
    task: MasterTask[Slab], effort: float, seed: int, most: int, starts: Sequence[MasterAnswer] = ()
) -> list[MasterAnswer]:
    """The best layouts, best first, at most so many, none with a log's first setting that one before it has.

    Where it is best to leave every log, that alone is the answer. Of several logs, bettered one by one, two answers may come to the same.

    Parameters
    ----------
    task : MasterTask
        What is asked.
    effort : float
        Deterministic seconds of CP-SAT.
    seed : int
        Of CP-SAT.
    most : int
        Answers at most.
    starts : sequence of MasterAnswer
        Answers from fewer columns. Where several logs are asked together, these are bettered log by log in place of a search
        of all together.
    """
    near = _near_columns(task)
    if len(near.ways) > 1:
        found = list(starts) or _by_first_settings(task, near, effort, seed, most)
        found = [_by_turns(task, near, one, effort * SHARE_OF_ONE, seed) for one in found]
        best = max((one.value for one in found), default=0.0)
        if not starts and best < (1.0 - task.near) * near.bound:
            # combinations of first settings were left out, or columns that may matter: all together are asked for what is better
            more = _solve(task, near, effort * SHARE_OF_ALL, seed, most, best + WORTH_A_TURN)
            found += [_by_turns(task, near, one, effort * SHARE_OF_ONE, seed) for one in more]
        return sorted(found, key=lambda one: -one.value)[:most]
    # one log has one first setting: the best of each, and as good as that of all together
    out: list[MasterAnswer] = []
    for number, way in enumerate(near.ways[0]):
        out.sort(key=lambda one: -one.value)
        least = out[most - 1].value if len(out) >= most else -np.inf
        if number >= most and near.most(((way,),)) <= least:
            break
        out += _solve(task, replace(near, ways=((way,),)), effort * SHARE_OF_ONE, seed, 1, least)
    out.sort(key=lambda one: -one.value)
    return out[:most] if any(any(one.layouts) for one in out) else out[:1]


SHARE_OF_ONE = 0.25
"""Of the deterministic time, for the master of one first setting alone."""
SHARE_OF_ALL = 0.6
"""Of the deterministic time, for the master of several logs with all their first settings."""
COMBINED = 40
"""Combinations of first settings of several logs that are tried, the most promising first."""
WORTH_A_TURN = 1e-3
"""A log is chosen anew for no less than this, in the objective's unit."""


def _by_first_settings(
    task: MasterTask[Slab], columns: _Columns[Slab], effort: float, seed: int, most: int
) -> list[MasterAnswer]:
    """The best layouts of several logs, from masters of one first setting a log, the best first.

    The master of all first settings together is large, and its relaxation mixes them. With one a log it is small, and one that cannot
    better what is found ends at once, or is not asked at all.
    """
    out: list[MasterAnswer] = []
    for number, ways in enumerate(_combinations(columns)):
        out = sorted(out, key=lambda one: -one.value)[:most]
        least = out[most - 1].value + WORTH_A_TURN if len(out) >= most else -np.inf
        if number == COMBINED or (number >= most and columns.most(ways) <= least):
            break
        out += _solve(task, replace(columns, ways=ways), effort * SHARE_OF_ONE, seed, 1, least)
    return sorted(out, key=lambda one: -one.value)[:most]


def _combinations(columns: _Columns[Slab]) -> Iterator[tuple[tuple[Way[Slab], ...], ...]]:
    """One way of each log that has any, in the order of what a plan that holds them may be worth, the most first."""

    def chosen(numbers: tuple[int, ...]) -> tuple[tuple[Way[Slab], ...], ...]:
        return tuple(ways[i : i + 1] for ways, i in zip(columns.ways, numbers, strict=True))

    first = (0,) * len(columns.ways)
    waiting, met = [(-columns.most(chosen(first)), first)], {first}
    while waiting:
        _, numbers = heapq.heappop(waiting)
        yield chosen(numbers)
        for k, ways in enumerate(columns.ways):
            after = (*numbers[:k], numbers[k] + 1, *numbers[k + 1 :])
            if after[k] < len(ways) and after not in met:
                met.add(after)
                heapq.heappush(waiting, (-columns.most(chosen(after)), after))


def _by_turns(
    task: MasterTask[Slab], columns: _Columns[Slab], answer: MasterAnswer, effort: float, seed: int
) -> MasterAnswer:
    """An answer with one log after the other chosen anew beside what the others give, as long as that is worth more.

    The master of several logs is large; that of one log beside plates that are there already is solved within moments.
    """
    if task.settings_max is not None or not any(answer.layouts):
        return answer
    since, number = 0, 0
    while since < len(columns.ways):
        better = _one_anew(task, columns, answer, number, effort, seed)
        # a log that was just chosen anew needs no second turn until another one was
        since = 1 if better is not answer else since + 1
        answer, number = better, (number + 1) % len(columns.ways)
    return answer


def _one_anew(
    task: MasterTask[Slab], columns: _Columns[Slab], answer: MasterAnswer, number: int, effort: float, seed: int
) -> MasterAnswer:
    """The answer with one log chosen anew beside the others, or as it is where that is worth no more."""
    others = [one for k, one in enumerate(answer.logs) if k != number]
    standing = frozenset[int]().union(task.standing, *(one.cradles for one in others))
    there = np.sum([one.plates for one in others], axis=0) + (0 if task.sawn is None else task.sawn)
    spent = sum(one.charges for one in others) + task.opening * len(standing - task.standing)
    beside = replace(task, sawn=there, standing=standing)
    for way in columns.ways[number]:
        alone = tuple((way,) if k == number else () for k in range(len(columns.ways)))
        found = _solve(beside, replace(columns, ways=alone), effort, seed, 1, answer.value + spent + WORTH_A_TURN)
        for one in found:
            logs = tuple(one.logs[k] if k == number else other for k, other in enumerate(answer.logs))
            bound = max(answer.bound, one.value - spent)
            answer = replace(one, logs=logs, value=one.value - spent, bound=bound, status=answer.status)
    return answer


def _solve(
    task: MasterTask[Slab], columns: _Columns[Slab], effort: float, seed: int, most: int, least: float = -np.inf
) -> list[MasterAnswer]:
    """The best layouts of some columns, none worth less than `least`."""
    model = MarketModel(task.market)
    cradles: dict[int, cp_model.IntVar] = {}
    roots: list[tuple[_Node, ...]] = []
    for number, ways in enumerate(columns.ways):
        nodes = tuple(_add(model, way, number, columns.fills, cradles, i == 0) for i, way in enumerate(ways))
        roots.append(nodes)
        if nodes:
            model.model.add(sum(node.var for node in nodes) <= 1)
    if task.settings_max is not None:
        model.model.add(sum(var for charge, var in model.charges if charge > 0.0) <= task.settings_max)
    for angle, var in cradles.items():
        if angle not in task.standing:
            model.charges.append((task.opening, var))
    model.maximise(task.sawn, least)
    out: list[MasterAnswer] = []
    while len(out) < most:
        found = solve_model(model, effort, seed)
        if found is None:
            break
        solver, status = found
        logs = tuple(_choice(nodes, solver, len(task.market.mated)) for nodes in roots)
        chosen = [one.layout for one in logs]
        if out and not any(chosen):
            break
        sets = np.array([solver.value(n) for n in model.sets], np.int64)
        value, bound = (model.worth(one) for one in (solver.objective_value, solver.best_objective_bound))
        out.append(MasterAnswer(logs, value, bound, status, sets))
        if not any(chosen):
            break
        for nodes, layout in zip(roots, chosen, strict=True):
            for node in nodes:
                if layout is not None and (node.setting.clock, node.setting.slabs) == (layout.clock, layout.slabs):
                    model.model.add(node.var == 0)
    return out


@dataclass(frozen=True, slots=True)
class _Columns(Generic[Slab]):
    """Ways by log, best first at the best prices, and the fills of their slabs by log and slab, that at the best prices first.

    `most` is what no plan of some ways by log, one of each that has any, is worth more than, `bound` what none is at the best prices.
    """

    ways: tuple[tuple[Way[Slab], ...], ...]
    fills: Mapping[tuple[int, object], list[Fill]]
    most: Callable[[Sequence[Sequence[Way[Slab]]]], float]
    bound: float


def _near_columns(task: MasterTask[Slab]) -> _Columns[Slab]:
    """The columns without those that are too far from the best at the best prices."""
    merged_ways = tuple(merged(ways) for ways in task.ways)
    every = _slabs_of(task, merged_ways)
    worth = worth_at(task.market, task.family[0], task.costs)
    best = {key: value for key, (value, _) in zip(every, fill_all(every.values(), worth), strict=True)}
    room: dict[tuple[int, object], float] = {}  # what a plan by the best way that has the slab may still lose

    def value(number: int, way: Way[Slab]) -> float:
        sides = (max((value(number, one) for one in side), default=0.0) for side in (way.above, way.below))
        own = sum(max(best[number, slab], 0.0) for slab in way.own.slabs) - way.own.charge
        return float(own + sum(max(one, 0.0) for one in sides))

    def near_ones(number: int, ways: Sequence[Way[Slab]], spare: float, least: float) -> tuple[Way[Slab], ...]:
        """Those of some alternatives that lose no more than `spare` against the best of them, or against `least`."""
        ranked = sorted(((value(number, way), -i) for i, way in enumerate(ways)), reverse=True)
        top = max((ranked[0][0], least)) if ranked else least
        out = []
        for own, i in ranked:
            left, way = spare - (top - own), ways[-i]
            if left < 0.0:
                continue
            for slab in way.own.slabs:
                room[number, slab] = max(room.get((number, slab), 0.0), left)
            above, below = (near_ones(number, side, left, 0.0) for side in (way.above, way.below))
            out.append(replace(way, above=above, below=below))
        return tuple(out)

    unsold = task.market.unsold_bound(task.family[0])
    if task.sawn is not None:
        unsold += float(task.sawn[:, 0] @ worth.mated + task.sawn[:, 1] @ worth.single)

    def most(ways: Sequence[Sequence[Way[Slab]]]) -> float:
        return unsold + sum(max((value(n, way) for way in own), default=0.0) for n, own in enumerate(ways))

    total = max(most(merged_ways), 0.0)
    spare = task.near * total if np.isfinite(task.near) else np.inf
    ways = tuple(near_ones(n, own, spare, -np.inf) for n, own in enumerate(merged_ways))
    slabs = {key: every[key] for key in room}
    found = fills_at(list(slabs.values()), task.market, task.family, task.costs)
    fills = {}
    for key, own in zip(slabs, found, strict=True):
        values = [float(one.counts[:, 0] @ worth.mated + one.counts[:, 1] @ worth.single) - one.cost for one in own]
        fills[key] = [one for one, v in zip(own, values, strict=True) if best[key] - v <= room[key]]
    return _Columns(ways, fills, most, total)


def _slabs_of(task: MasterTask[Slab], ways: Sequence[Sequence[Way[Slab]]]) -> dict[tuple[int, object], Fillable]:
    """Every slab of every way, by log and slab."""
    out: dict[tuple[int, object], Fillable] = {}

    def gather(number: int, way: Way[Slab]) -> None:
        for slab in way.own.slabs:
            out[number, slab] = task.fills.slab(number, slab)
        for one in (*way.above, *way.below):
            gather(number, one)

    for number, own in enumerate(ways):
        for way in own:
            gather(number, way)
    return out


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
    filled: list[tuple[cp_model.IntVar, Fill]] = []
    for slab in way.own.slabs:
        own = fills[number, slab]
        filled += zip(model.add_fills(var, own, best), own, strict=True)
    sides = []
    for options in (way.above, way.below):
        nodes = tuple(_add(model, one, number, fills, cradles, best and i == 0) for i, one in enumerate(options))
        if nodes:
            model.model.add(sum(node.var for node in nodes) <= var)
        sides.append(nodes)
    return _Node(way.own.setting, way.own.charge, way.own.cradles, tuple(filled), var, *sides)


def _choice(nodes: Sequence[_Node], solver: cp_model.CpSolver, kinds: int) -> LogChoice:
    """What was chosen of one log among some ways; plates are of so many kinds."""
    for node in nodes:
        if solver.boolean_value(node.var):
            above, below = (_choice(side, solver, kinds) for side in (node.above, node.below))
            fills = [fill for var, fill in node.fills if solver.boolean_value(var)]
            return LogChoice(
                replace(node.setting, above=above.layout, below=below.layout),
                above.plates + below.plates + sum((fill.counts for fill in fills), np.zeros((kinds, 2), np.int64)),
                above.charges + below.charges + node.charge + sum(fill.cost for fill in fills),
                above.cradles | below.cradles | frozenset(node.cradles),
            )
    return LogChoice(None, np.zeros((kinds, 2), np.int64))
