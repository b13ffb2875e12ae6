"""Where to crosscut a log first, if anywhere: ways compared by price searches on a rough grid.

A bent log sawn whole wastes what its pith bows off the blade plane, and the bolts of a long log may be more than the shop's saw can
take. Where to cut follows from the parts: a shorter log should hold whole parts end to end.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from pithline.mill.machine import Machines
from pithline.mill.pose import least_length_on_bunks
from pithline.plan.execute.bucked_log import crosscut_log
from pithline.plan.pricing.class_search import ClassTask, Look, ValuedLogs, look_at, search_class
from pithline.plan.pricing.fills import GridFills
from pithline.plan.pricing.log_grid import LogGrid, log_grid
from pithline.plan.pricing.log_oracle import BoltClass
from pithline.plan.pricing.price_search import FAR, NEAR
from pithline.plan.problem.context import SearchContext
from pithline.plan.problem.effort import Effort, bolts_on_mill
from pithline.plan.problem.log_frame import BUCK_CLEAR, PlanLog, pith_bow
from pithline.plan.problem.monitor import SILENT, Monitor
from pithline.plan.problem.parts import SawnPart

Array = NDArray[np.float64]
BENT = 8.0
"""A log whose pith bows less than this off its chord is not worth crosscutting for its bend. [mm]"""
ROUGH = Effort("rough", 6, 40.0, rounds=6, answers=1, master=1.0, depth_step=5.0, across_step=10.0, corner_step=20.0)
ROUGH_CRADLES_DEG = (30.0,)
"""The rough grid's rolls are 30° apart; whatever cradles a shop has, it can saw a bolt about as well as by one of these."""
ROUNDS = ROUGH.rounds
"""Looks at prices of the log whole, and of the first way to crosscut it; other ways are looked at once at the best prices of that one,
and the best few of them more."""
ROUNDS_OF_EACH = 1
ROUNDS_OF_BEST = 3
BEST_WAYS = 2
MOST_CLOSELY = 4
"""The ways that promise most are looked at closely until so many of them have been, though no more than so many in all."""
ALIKE = 30.0
"""Places nearer than this to each other are one. [mm]"""
MOST_PLACES = 8
MOST_PLACES_STRAIGHT = 4
"""Places compared in one log: it matters more where a bent one is cut."""
MOST_LOGS = 4
NEARLY_AS_GOOD = 0.07
"""Ways to crosscut a log that promise less than the best by no more than this share of it are searched too."""
SQUARE_SPARE = 10.0
"""What a shorter log has beyond the parts it is to hold, for ends that are not square. [mm]"""


BUNKS_SPARE = 40.0
"""What a shorter log has beyond two bunks and the room at its ends: one that is not square leaves halves shorter, and nobody lays a log
down to the millimetre. [mm]"""


@dataclass(frozen=True, slots=True)
class CrosscutWay:
    """A way to crosscut a log (no places: whole), the logs from butt to top, its bound on the rough grid, and prices there.

    `left` is the bound with bolts left whole, where that was looked at.
    """

    places: tuple[float, ...]
    logs: tuple[PlanLog, ...]
    bound: float
    prices: Array
    left: float | None = None


def may_pay(log: PlanLog, machines: Machines) -> bool:
    """Whether crosscutting may bring anything: a bend, or a log or pieces of it that mill or shop could otherwise not take."""
    return log.reach > machines.mill.log_length_max or pith_bow(log) >= BENT or bolts_on_mill(log, machines)


def crosscut_ways(log: PlanLog, context: SearchContext, start: Array, monitor: Monitor = SILENT) -> list[CrosscutWay]:
    """The log whole where the mill takes it, and the ways to crosscut it that may pay; the best on the rough grid first.

    `start` are prices of the pools to begin with (Q,).
    """
    search = _Rough(log, context.with_effort(ROUGH), monitor)
    longest = context.machines.mill.log_length_max
    whole = search.value((), start, ROUNDS, FAR)
    out = [whole] if log.reach <= longest else []
    best = whole
    while may_pay(log, context.machines) and len(best.logs) < MOST_LOGS and not monitor.stopped():
        found: list[CrosscutWay] = []
        tried = search.one_cut_more(best)
        prices = best.prices
        for i, places in enumerate(tried):
            monitor.report("where to crosscut", i / len(tried))
            # what shorter logs sell may have little to do with what the longer one did: bounds compare only near their own least
            least = max((way.bound for way in (*out, *found) if search.longest(way.places) <= longest), default=-np.inf)
            hopeless = least - NEARLY_AS_GOOD * abs(least) if np.isfinite(least) else -np.inf
            rounds, box = (ROUNDS, FAR) if i == 0 else (ROUNDS_OF_EACH, NEAR)
            found.append(search.value(places, prices, rounds, box, hopeless))
            prices = found[0].prices
            if monitor.stopped():
                break
        closely = set(tried[:1])
        while len(closely) <= MOST_CLOSELY and not monitor.stopped():
            # one look promises too much: the best few are those that still are once they are looked at closely
            found.sort(key=lambda way: -way.bound)
            promising = [i for i, way in enumerate(found[:BEST_WAYS]) if way.bound >= hopeless]
            left = [i for i in promising if found[i].places not in closely]
            if not left:
                break
            i = left[0]
            closely.add(found[i].places)
            found[i] = search.value(found[i].places, found[i].prices, ROUNDS_OF_BEST, NEAR, hopeless)
        fits = [way for way in found if search.longest(way.places) <= longest]
        out += fits
        better = max(fits or found, key=lambda way: way.bound, default=best)
        if better is best or not (better.bound > best.bound or search.longest(best.places) > longest):
            break
        best = better
    out.sort(key=lambda way: (-round(way.bound, 9), way.places))
    if not out or not out[0].places or all(way.places for way in out):
        return out
    return [search.with_left(way) if way is out[0] or not way.places else way for way in out]


@dataclass(frozen=True, slots=True)
class _Rough:
    """A log looked at on the rough grid; `known` holds the grids of shorter logs that other ways have too, `best` looks by places."""

    log: PlanLog
    context: SearchContext
    monitor: Monitor
    known: dict[tuple[float, float], LogGrid] = field(default_factory=dict)
    best: dict[tuple[float, ...], Look] = field(default_factory=dict)

    def longest(self, places: Sequence[float]) -> float:
        """The longest of the logs that places leave. [mm]"""
        return float(np.max(np.diff((0.0, *places, self.log.reach))))

    def value(
        self, places: tuple[float, ...], start: Array, rounds: int, box: float, hopeless: float = -np.inf
    ) -> CrosscutWay:
        """A way to crosscut, in so many looks at prices, the first step from `start` within `box`; fewer where its bound is hopeless.

        A way looked at before goes on from the best look at it.
        """
        logs, grids, task = self._asked(places, rounds, box, hopeless)
        begin, quiet = self.best.get(places, start), replace(SILENT, stopped=self.monitor.stopped)
        found = search_class(
            ValuedLogs(grids, task), GridFills(grids), self._bolts(logs, self.context.locks.bolts), begin, quiet
        )
        self.best[places] = found.looks[0]
        return CrosscutWay(places, logs, found.bound, found.prices)

    def with_left(self, way: CrosscutWay) -> CrosscutWay:
        """A way with its bound where bolts are left whole, at the prices that it came to with them sawn."""
        logs, grids, task = self._asked(way.places, 1, NEAR, -np.inf)
        look = look_at(task, ValuedLogs(grids, task), self._bolts(logs, False), way.prices)
        return replace(way, left=look.bound)

    def _bolts(self, logs: Sequence[PlanLog], sawn: bool) -> BoltClass:
        """How bolts are sawn, or that they are left."""
        on_mill = any(bolts_on_mill(log, self.context.machines) for log in logs)
        return BoltClass("rough", ROUGH_CRADLES_DEG, sawn=sawn, on_mill=on_mill)

    def _asked(
        self, places: tuple[float, ...], rounds: int, box: float, hopeless: float
    ) -> tuple[tuple[PlanLog, ...], list[LogGrid], ClassTask]:
        """The logs of a way, what is known of them, and what is asked of a search."""
        machines, economics = self.context.machines, self.context.economics
        logs = crosscut_log(self.log, places, machines.buck.kerf, 0.0)[1]
        marks = [round(one, 3) for one in (0.0, *places, self.log.reach)]
        grids = []
        for log, span in zip(logs, itertools.pairwise(marks), strict=True):
            if span not in self.known:
                self.known[span] = log_grid(log, self.context, ROUGH.rolls, lambda part: None)
            grids.append(self.known[span])
        task = ClassTask(
            economics,
            (machines.mill.kerf, machines.resaw.kerf),
            (np.array([ROUGH.rolls // 2]),) * len(grids),
            base_charge=economics.mill.setting if places else 0.0,
            firsts=3,
            halves=1,
            rounds=rounds,
            box=box,
            hopeless=hopeless,
        )
        return logs, grids, task

    def one_cut_more(self, way: CrosscutWay) -> list[tuple[float, ...]]:
        """The places with one more: in the log that is too long, too heavy for the shop's saw, or bows most."""
        machines = self.context.machines
        marks = (0.0, *way.places, self.log.reach)
        long = [b - a for a, b in itertools.pairwise(marks)]

        def need(i: int) -> tuple[bool, bool, float]:
            return long[i] > machines.mill.log_length_max, bolts_on_mill(way.logs[i], machines), pith_bow(way.logs[i])

        worst = max(range(len(way.logs)), key=lambda i: (*need(i), -i))
        too_long, heavy, bow = need(worst)
        if not too_long and not heavy and bow < BENT:
            return []
        more = _places(way.logs[worst], self.context.parts, machines)
        return [tuple(sorted((*way.places, marks[worst] + place))) for place in more]


def _places(log: PlanLog, parts: tuple[SawnPart, ...], machines: Machines) -> list[float]:
    """Places in one log where what is below or above just holds whole parts, and its middle; the most even cuts first."""
    cell = ROUGH.along_step
    lengths = sorted({np.ceil((p.length + machines.crosscut.kerf) / cell) * cell for p in parts})
    shortest = min(p.length for p in parts)
    sums: set[float] = set()
    for count in range(1, int(log.reach / lengths[0]) + 1):
        sums |= {sum(some) for some in itertools.combinations_with_replacement(lengths, count)}
        if len(sums) > 400:
            break
    half = machines.buck.kerf / 2 + BUCK_CLEAR + SQUARE_SPARE
    found = [log.reach / 2]
    found += [log.trim_butt + one + half for one in sorted(sums)]
    found += [log.reach - log.trim_top - one - half for one in sorted(sums)]
    least = max(machines.mill.log_length_min, shortest + 2 * half, least_length_on_bunks(machines.mill) + BUNKS_SPARE)
    out: list[float] = []
    for place in sorted(found, key=lambda p: abs(p - log.reach / 2)):
        if least <= place <= log.reach - least and all(abs(place - other) >= ALIKE for other in out):
            out.append(float(place))
    return out[: MOST_PLACES if pith_bow(log) >= BENT else MOST_PLACES_STRAIGHT]
