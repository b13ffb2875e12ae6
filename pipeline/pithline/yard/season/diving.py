"""A plan from the linear relaxation: columns are fixed a few at a time, nearly whole ones first, and the rest priced and solved anew.

With all columns fixed, sets flow from logs through a running stock to orders, a network whose vertices are whole
(Ahuja, Magnanti, Orlin, Network Flows, 1993, theorem 11.5).
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pithline.yard.season.column_pool import ColumnPool, SeasonPlan, Weighing
from pithline.yard.season.options import Ints
from pithline.yard.season.relaxation import Relaxation

Array = NDArray[np.float64]

WHOLE = 1.0 - 1e-6
STEPS = 400
PRICED = 2
"""Rounds of new columns after each fixing."""
AT_ONCE = 0.1
KEPT = ((0.4, 0.95), (0.0, 0.4))
"""Share of a plan that a further dive starts from, drawn anew each time: much of it or little."""
PROMISING = 0.3
"""Columns whose loss against the best of their log is more than this share of what the plan in hand lacks are forgotten; at 1 no
better plan holds one of the others (reduced-cost fixing), and fewer make quicker dives."""
WINDOW = 0.25
"""Or all but this share of the periods, of which nothing is kept, and of the others nine columns in ten."""


@dataclass(frozen=True, slots=True)
class Dives:
    """How many at most, and the profit at which no more is looked for, 1/100."""

    times: int
    enough: float


def dive(columns: ColumnPool, weigh: Weighing, fixed: Sequence[int] = ()) -> SeasonPlan:
    """Fix columns (numbers in `columns.list`) until all are whole; new ones are added to `columns` on the way."""
    taken, barred = list(fixed), list[int]()
    for _ in range(STEPS):
        x = _priced(columns, weigh, taken, barred)
        known = set(taken)
        taken += [int(c) for c in np.flatnonzero(x >= WHOLE) if int(c) not in known]
        part = np.flatnonzero((x > 1e-6) & (x < WHOLE))
        if not len(part):
            break
        more, none = _fitting(columns, taken, part[np.argsort(-x[part], kind="stable")])
        taken += more
        barred += none
    sold = np.round(columns.solve(taken, only=True).free).astype(np.int64)
    chosen = tuple(columns.list[c] for c in sorted(taken))
    return SeasonPlan(chosen, sold, columns.counted(chosen, sold))


def _priced(columns: ColumnPool, weigh: Weighing, taken: list[int], barred: list[int]) -> Array:
    for _ in range(PRICED):
        now = columns.solve(taken, barred)
        if not columns.add(weigh.better(weigh(now.point), now)):
            return now.x
    return columns.solve(taken, barred).x


def _fitting(columns: ColumnPool, taken: list[int], part: Ints) -> tuple[list[int], list[int]]:
    """The first of these that rows still have room for, a tenth of them at most; and those seen that have none."""
    options = columns.options
    room, logs, served = options.room.copy(), set[int](), set[int]()

    def take(c: int) -> bool:
        """Whether the column fits; then it is taken."""
        j, pattern = columns.list[c]
        log, period, own = int(options.log[j]), options.period[j], {o for o, _ in pattern}
        if log in logs or own & served or options.minutes[j] > room[period]:
            return False
        room[period] -= options.minutes[j]
        logs.add(log)
        served.update(own)
        return True

    for c in taken:
        take(c)
    out: list[int] = []
    none: list[int] = []
    for c in part.tolist():
        (out if take(c) else none).append(c)
        if len(out) >= max(1, int(AT_ONCE * len(part))):
            break
    return out, none


def dive_again(
    columns: ColumnPool,
    weigh: Weighing,
    relaxed: Relaxation,
    plan: SeasonPlan,
    effort: Dives,
    tell: Callable[[int], None],
) -> SeasonPlan:
    """A better plan: part of the best one's columns is kept, drawn at random with a fixed seed, and the rest is dived for anew.

    Parameters
    ----------
    columns : Columns
        Those far from the relaxation's best are forgotten.
    weigh : Weighing
    relaxed : Relaxation
    plan : Plan
    effort : Dives
    tell : callable
        Told the profit of each better plan, 1/100.
    """
    rng = np.random.default_rng(1)
    for number in range(effort.times):
        if plan.objective >= effort.enough:
            break
        columns.purge(relaxed.point, relaxed.best, PROMISING * (relaxed.bound - plan.objective))
        columns.add(plan.columns)
        period = columns.options.period[[j for j, _ in plan.columns]]
        turn = number % (len(KEPT) + 1)
        if turn == len(KEPT):
            first, wide = rng.integers(len(columns.options.room)), max(3, int(WINDOW * len(columns.options.room)))
            share = np.where((period >= first) & (period < first + wide), 0.0, 0.9)
        else:
            share = np.full(len(period), rng.uniform(*KEPT[turn]))
        kept = rng.random(len(period)) < share
        other = dive(columns, weigh, columns.numbers(itertools.compress(plan.columns, kept)))
        if other.objective > plan.objective:
            plan = other
            tell(plan.objective)
    return plan
