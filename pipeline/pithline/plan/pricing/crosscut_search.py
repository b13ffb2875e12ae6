"""Where to crosscut a log first, if anywhere: ways compared by price searches on a rough grid.

A bent log sawn whole wastes what its pith bows off the blade plane, and the bolts of a long log may be more than the shop's saw can
take. Where to cut follows from the parts: a shorter log should hold whole parts end to end.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pithline.mill.machine import Machines
from pithline.plan.execute.bucked_log import crosscut_log
from pithline.plan.pricing.class_search import ClassTask, ValuedLogs, search_class
from pithline.plan.pricing.fills import GridFills
from pithline.plan.pricing.log_grid import LogGrid, log_grid
from pithline.plan.pricing.log_oracle import BoltClass
from pithline.plan.problem.economics import Economics
from pithline.plan.problem.effort import Effort, bolts_on_mill
from pithline.plan.problem.log_frame import BUCK_CLEAR, PlanLog, pith_bow
from pithline.plan.problem.parts import SawnPart
from pithline.plan.problem.report import Stop

Array = NDArray[np.float64]
BENT = 8.0
"""A log whose pith bows less than this off its chord is not worth crosscutting for its bend. [mm]"""
ROUGH = Effort("rough", 6, 40.0, 1, 1, 1, 1, 1.0, depth_step=5.0, face_step=20.0)
ROUGH_CRADLES_DEG = (30.0,)
"""The rough grid's rolls are 30° apart; whatever cradles a shop has, it can saw a bolt about as well as by one of these."""
ROUNDS = 4
"""Looks at prices of the log whole; ways to crosscut it are seen at the best of those prices, and the best few looked at more."""
ROUNDS_OF_BEST = 2
BEST_WAYS = 2
ALIKE = 30.0
"""Places nearer than this to each other are one. [mm]"""
MOST_PLACES = 8
MOST_PLACES_STRAIGHT = 4
"""Places compared in one log: it matters more where a bent one is cut."""
MOST_LOGS = 4
SQUARE_SPARE = 10.0
"""What a shorter log has beyond the parts it is to hold, for ends that are not square. [mm]"""


@dataclass(frozen=True, slots=True)
class CrosscutWay:
    """A way to crosscut a log (no places: whole), the logs from butt to top, its bound on the rough grid, and prices there."""

    places: tuple[float, ...]
    logs: tuple[PlanLog, ...]
    bound: float
    prices: Array


@dataclass(frozen=True, slots=True)
class CrosscutTask:
    """What a search for places to crosscut is asked."""

    log: PlanLog
    parts: tuple[SawnPart, ...]
    machines: Machines
    economics: Economics
    start: Array  # prices of the pools to begin with (Q,)

    @property
    def too_long(self) -> bool:
        """Whether the mill cannot take the log whole."""
        return self.log.reach > self.machines.mill.log_length_max

    @property
    def may_pay(self) -> bool:
        """Whether crosscutting may bring anything: a bend, or pieces that the shop's saw could otherwise not take."""
        return self.too_long or pith_bow(self.log) >= BENT or bolts_on_mill(self.log, self.machines)


def crosscut_ways(task: CrosscutTask, progress: Callable[[float], None], stop: Stop) -> list[CrosscutWay]:
    """The log whole where the mill takes it, and the ways to crosscut it that may pay; the best on the rough grid first."""
    known: dict[tuple[float, float], LogGrid] = {}
    whole = _valued(task, (), known, task.start, stop, ROUNDS)
    out = [] if task.too_long else [whole]
    best = whole
    while task.may_pay and len(best.logs) < MOST_LOGS and not stop():
        tried = _one_cut_more(task, best.places)
        found = []
        for i, places in enumerate(tried):
            progress(i / len(tried))
            found.append(_valued(task, places, known, best.prices, stop, 1))
            if stop():
                break
        found.sort(key=lambda way: -way.bound)
        found[:BEST_WAYS] = [
            _valued(task, way.places, known, way.prices, stop, ROUNDS_OF_BEST) for way in found[:BEST_WAYS]
        ]
        fits = [way for way in found if _longest(task, way.places) <= task.machines.mill.log_length_max]
        out += fits
        better = max(fits or found, key=lambda way: way.bound, default=best)
        grown = better.bound > best.bound or _longest(task, best.places) > task.machines.mill.log_length_max
        if better is best or not grown:
            break
        best = better
    return sorted(out, key=lambda way: (-round(way.bound, 9), way.places))


def _longest(task: CrosscutTask, places: Sequence[float]) -> float:
    return float(np.max(np.diff((0.0, *places, task.log.reach))))


def _valued(
    task: CrosscutTask,
    places: tuple[float, ...],
    known: dict[tuple[float, float], LogGrid],
    start: Array,
    stop: Stop,
    rounds: int,
) -> CrosscutWay:
    """A way to crosscut searched roughly; `known` holds the grids of shorter logs that other ways have too."""
    machines = task.machines
    logs = crosscut_log(task.log, places, machines.buck.kerf, 0.0)[1]
    marks = [round(one, 3) for one in (0.0, *places, task.log.reach)]
    grids = []
    for log, span in zip(logs, itertools.pairwise(marks), strict=True):
        if span not in known:
            known[span] = log_grid(log, task.parts, machines, ROUGH, lambda what, part: None)
        grids.append(known[span])
    on_mill = any(bolts_on_mill(log, machines) for log in logs)
    search = ClassTask(
        task.economics,
        (machines.mill.kerf, machines.resaw.kerf),
        (np.array([ROUGH.rolls // 2]),) * len(grids),
        base_charge=task.economics.mill.setting if places else 0.0,
        firsts=1,
        halves=1,
        rounds=rounds,
    )
    bolts = BoltClass("rough", ROUGH_CRADLES_DEG, on_mill=on_mill)
    found = search_class(search, ValuedLogs(grids, search), GridFills(grids), bolts, start, lambda part: None, stop)
    return CrosscutWay(places, logs, found.bound, found.prices)


def _one_cut_more(task: CrosscutTask, places: tuple[float, ...]) -> list[tuple[float, ...]]:
    """The places with one more: in the log that is too long, too heavy for the shop's saw, or bows most."""
    machines = task.machines
    logs = crosscut_log(task.log, places, machines.buck.kerf, 0.0)[1]
    marks = (0.0, *places, task.log.reach)
    long = [b - a for a, b in itertools.pairwise(marks)]

    def need(i: int) -> tuple[bool, bool, float]:
        return long[i] > machines.mill.log_length_max, bolts_on_mill(logs[i], machines), pith_bow(logs[i])

    worst = max(range(len(logs)), key=lambda i: (*need(i), -i))
    too_long, heavy, bow = need(worst)
    if not too_long and not heavy and bow < BENT:
        return []
    return [tuple(sorted((*places, marks[worst] + one))) for one in _places(logs[worst], task.parts, machines)]


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
    least = max(machines.mill.log_length_min, shortest + 2 * half)
    out: list[float] = []
    for place in sorted(found, key=lambda p: abs(p - log.reach / 2)):
        if least <= place <= log.reach - least and all(abs(place - other) >= ALIKE for other in out):
            out.append(float(place))
    return out[: MOST_PLACES if pith_bow(log) >= BENT else MOST_PLACES_STRAIGHT]
