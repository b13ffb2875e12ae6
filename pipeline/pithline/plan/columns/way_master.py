"""The master: CP-SAT chooses one way to saw each log, and how each of its slabs is filled, by what is sold in the end.

Its columns come from the price search: first settings, ways to saw the halves, fans of the bolts, and for every slab a few fills at
prices near the best ones. Sets are whole numbers here, and a set-up is paid for once however many bolts use it.
Deterministic: one worker, a fixed seed and a deterministic time limit; the best single layout seen is the hint.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray
from ortools.sat.python import cp_model

from pithline.plan.columns.market_model import MarketModel, solve_model
from pithline.plan.columns.near_columns import Columns, MasterTask, NoSlabs, near_columns
from pithline.plan.pricing.fills import Fill
from pithline.plan.pricing.log_oracle import Slab, Way
from pithline.plan.pricing.price_search import worth_at
from pithline.plan.problem.layout import LayoutSetting, LayoutSlab
from pithline.plan.problem.monitor import Begin, in_turn

Array = NDArray[np.float64]
Counts = NDArray[np.int64]
Named = TypeVar("Named", contravariant=True)


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
class _Node:
    """A way's own setting with its variable; ways to go on, each with theirs."""

    setting: LayoutSetting
    charge: float
    cradles: tuple[int, ...]
    fills: tuple[tuple[cp_model.IntVar, Fill], ...]
    var: cp_model.IntVar
    above: tuple[_Node, ...]
    below: tuple[_Node, ...]


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
        Answers from fewer columns: they stand where nothing better is found. Where several logs are asked together, these are
        bettered log by log in place of a search of all together.
    """
    return begin_to_choose(task, in_turn, effort, seed, most, starts)()


def _choose_among(
    task: MasterTask[Slab], near: Columns[Slab], effort: float, seed: int, most: int, starts: Sequence[MasterAnswer]
) -> list[MasterAnswer]:
    """As `choose_different_ways`, of columns that are at hand; of the task neither slabs nor ways are asked."""
    if len(near.ways) > 1:
        found = list(starts) or _by_first_settings(task, near, effort, seed, most)
        found = [_by_turns(task, near, one, effort * SHARE_OF_ONE, seed) for one in found]
        best = max((one.value for one in found), default=0.0)
        if not starts and best < (1.0 - task.near) * near.bound:
            # combinations of first settings were left out, or columns that may matter: all together are asked for what is better
            all_together = near.narrowed(near.ways, near.bound - best)
            more = _solve(task, all_together, effort * SHARE_OF_ALL, seed, most, best + WORTH_A_TURN)
            found += [_by_turns(task, near, one, effort * SHARE_OF_ONE, seed) for one in more]
        return sorted(found, key=lambda one: -one.value)[:most]
    # one log has one first setting: the best of each, and as good as that of all together
    out = _by_first_settings(task, near, effort, seed, most, starts)
    return out if any(any(one.layouts) for one in out) else out[:1]


def begin_to_choose(
    task: MasterTask[Slab], begin: Begin, effort: float, seed: int, most: int, starts: Sequence[MasterAnswer] = ()
) -> Callable[[], list[MasterAnswer]]:
    """As `choose_different_ways`, begun; what is returned waits for the answers.

    Parameters
    ----------
    task : MasterTask
        What is asked.
    begin : callable
        Begins work, in another process where there is one.
    effort : float
        Deterministic seconds of CP-SAT.
    seed : int
        Of CP-SAT.
    most : int
        Answers at most.
    starts : sequence of MasterAnswer
        Answers to better, as there.
    """
    if starts:
        # no column matters that a plan better than the least of these cannot hold
        task = replace(task, least=min(one.value for one in starts[:most]))
    near = near_columns(task)
    return begin(_choose_among, replace(task, fills=NoSlabs(), ways=()), near, effort, seed, most, tuple(starts))


SHARE_OF_ONE = 0.25
"""Of the deterministic time, for the master of one first setting alone."""
SHARE_OF_ALL = 0.6
"""Of the deterministic time, for the master of several logs with all their first settings."""
COMBINED = 16
"""Combinations of first settings of several logs that are tried, the most promising first."""
WORTH_A_TURN = 1e-3
"""A log is chosen anew for no less than this, in the objective's unit."""


def _by_first_settings(
    task: MasterTask[Slab],
    columns: Columns[Slab],
    effort: float,
    seed: int,
    most: int,
    starts: Sequence[MasterAnswer] = (),
) -> list[MasterAnswer]:
    """The best layouts, from masters of one first setting a log, the best first; `starts` are among what they must better.

    The master of all first settings together is large, and its relaxation mixes them. With one a log it is small, and one that cannot
    better what is found ends at once, or is not asked at all. Of one log every first setting is asked; several are bettered by turns
    afterwards, so little gains are left to that. What a plan better than those in hand cannot hold is not asked.
    """
    several = len(columns.ways) > 1
    out = sorted(starts, key=lambda one: -one.value)[:most]
    for number, (highest, ways) in enumerate(columns.combinations()):
        least = out[most - 1].value if len(out) >= most else -np.inf
        if (several and number == COMBINED) or highest <= least:
            break
        first = tuple(_first_of(own[0].own.setting) if own else None for own in ways)
        alike = [one for one in out if tuple(map(_first_of, one.layouts)) == first]
        # an answer that this first setting has already is to be bettered too
        least = max((least, *(one.value for one in alike))) + WORTH_A_TURN
        if highest < least:
            continue
        asked = replace(columns, ways=ways) if np.isinf(least) else columns.narrowed(ways, highest - least)
        if more := _solve(task, asked, effort * SHARE_OF_ONE, seed, 1, least):
            out = sorted([*(one for one in out if one not in alike), *more], key=lambda one: -one.value)[:most]
    return out


def _first_of(layout: LayoutSetting | None) -> tuple[float, tuple[LayoutSlab, ...]] | None:
    """What tells a log's first setting from others."""
    return None if layout is None else (layout.clock, layout.slabs)


def _by_turns(
    task: MasterTask[Slab], columns: Columns[Slab], answer: MasterAnswer, effort: float, seed: int
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
    task: MasterTask[Slab], columns: Columns[Slab], answer: MasterAnswer, number: int, effort: float, seed: int
) -> MasterAnswer:
    """The answer with one log chosen anew beside the others, or as it is where that is worth no more."""
    others = [one for k, one in enumerate(answer.logs) if k != number]
    standing = frozenset[int]().union(task.standing, *(one.cradles for one in others))
    there = np.sum([one.plates for one in others], axis=0) + (0 if task.sawn is None else task.sawn)
    spent = sum(one.charges for one in others) + task.opening * len(standing - task.standing)
    beside = replace(task, sawn=there, standing=standing)
    # what the others are worth at the best prices, and what a plan with them is worth at most besides its own way
    worth = worth_at(task.market, task.family[0], task.costs)
    held = [float(one.plates[:, 0] @ worth.mated + one.plates[:, 1] @ worth.single) - one.charges for one in others]
    besides = columns.unsold + sum(held)
    for way, most in zip(columns.ways[number], columns.worths[number], strict=True):
        if besides + most < answer.value + WORTH_A_TURN:
            continue
        alone = tuple((way,) if k == number else () for k in range(len(columns.ways)))
        asked = columns.narrowed(alone, besides + most - (answer.value + WORTH_A_TURN))
        found = _solve(beside, asked, effort, seed, 1, answer.value + spent + WORTH_A_TURN)
        for one in found:
            logs = tuple(one.logs[k] if k == number else other for k, other in enumerate(answer.logs))
            bound = max(answer.bound, one.value - spent)
            answer = replace(one, logs=logs, value=one.value - spent, bound=bound, status=answer.status)
    return answer


def _solve(
    task: MasterTask[Slab], columns: Columns[Slab], effort: float, seed: int, most: int, least: float = -np.inf
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
                if layout is not None and _first_of(node.setting) == _first_of(layout):
                    model.model.add(node.var == 0)
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
