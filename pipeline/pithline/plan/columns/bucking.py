"""Crosscutting a log into shorter logs first: where, and whether it pays.

A bent log sawn whole wastes what its pith bows off the blade plane; two shorter logs each have a chord of their own. Where
to cut follows from the parts: a shorter log should hold whole parts end to end. Places are compared by the exact
programmes on a rough grid; the few best are then searched like any log.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pithline.mill.machine import Machines
from pithline.plan.columns.candidates import best_first_settings
from pithline.plan.execute.bucked_log import crosscut_log
from pithline.plan.problem.effort import Effort
from pithline.plan.problem.log_frame import BUCK_CLEAR, PlanLog, pith_bow
from pithline.plan.problem.objective import ObjectiveWeights
from pithline.plan.problem.parts import SawnPart
from pithline.plan.programmes.tables import build_tables, solve_tables

Array = NDArray[np.float64]
BENT_FROM = 8.0
"""A log whose pith bows less than this off its chord is not worth crosscutting. [mm]"""
ROUGH = Effort("rough", 6, 20.0, 1, 1, 1, 1, 1.0, depth_step=5.0, face_step=20.0)
SAME_PLACE = 30.0
"""Places nearer than this to each other are one. [mm]"""
PLACES_COMPARED = 10
"""Places compared in one log."""
PLACE_SPARE = 10.0
"""What a shorter log has beyond the parts it is to hold, for ends that are not square. [mm]"""


def crosscut_candidates(
    log: PlanLog,
    parts: tuple[SawnPart, ...],
    machines: Machines,
    weights: ObjectiveWeights,
    stopped: Callable[[], bool],
    progress: Callable[[str, float], None],
) -> list[tuple[float, tuple[float, ...]]]:
    """Ways to crosscut a log that may pay, best first: (rough value net of charges, places); () leaves it whole.

    A log too long for the mill is never left whole.
    """
    too_long = log.reach > machines.mill.log_length_max
    if not too_long and pith_bow(log) < BENT_FROM:
        return [(0.0, ())]
    free = tuple(p for p in parts if p.demand is None) or parts
    worth = np.array([w for w, p in zip(weights.worth, parts, strict=True) if p in free])
    weights = replace(weights, worth=worth)
    kerf, most = machines.buck.kerf, machines.mill.log_length_max
    valued: dict[tuple[float, float], float] = {}

    def value(low: float, high: float, one: PlanLog) -> float:
        key = (round(low, 3), round(high, 3))
        if key not in valued:
            valued[key] = _rough(one, free, machines, weights)
        return valued[key]

    out: list[tuple[float, tuple[float, ...]]] = []
    whole = (value(0.0, log.reach, log), ())
    if not too_long:
        out.append(whole)
    best = whole if not too_long else (-np.inf, ())
    pieces = 1
    while pieces < MOST_LOGS and not stopped():
        tried = _one_cut_more(log, best[1] if best[0] > -np.inf else (), free, machines, kerf)
        found: list[tuple[float, tuple[float, ...]]] = []
        for i, places in enumerate(tried):
            progress("where to crosscut", i / len(tried))
            _, logs = crosscut_log(log, places, kerf, 0.0)
            marks = (0.0, *places, log.reach)
            total = sum(value(a, b, one) for (a, b), one in zip(itertools.pairwise(marks), logs, strict=True))
            total -= weights.charge
            found.append((total, places))
            if stopped():
                break
        fits = [one for one in found if max(np.diff((0.0, *one[1], log.reach))) <= most]
        out += fits
        better = max(fits or found, default=(-np.inf, ()))
        if better[0] <= best[0] + weights.charge:
            break
        best = better
        pieces += 1
    return sorted(out, key=lambda one: (-round(one[0], 9), one[1]))


MOST_LOGS = 4


def _one_cut_more(
    log: PlanLog, places: tuple[float, ...], parts: tuple[SawnPart, ...], machines: Machines, kerf: float
) -> list[tuple[float, ...]]:
    """The places with one more, in the log that bows most or is too long."""
    _, logs = crosscut_log(log, places, kerf, 0.0)
    marks = (0.0, *places, log.reach)
    long = [b - a for a, b in itertools.pairwise(marks)]
    worst = max(
        range(len(logs)), key=lambda i: (long[i] > machines.mill.log_length_max, pith_bow(logs[i]) * (long[i] > 0), -i)
    )
    if long[worst] <= machines.mill.log_length_max and pith_bow(logs[worst]) < BENT_FROM:
        return []
    more = _places(logs[worst], parts, machines)
    return [tuple(sorted((*places, marks[worst] + one))) for one in more]


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
    half = machines.buck.kerf / 2 + BUCK_CLEAR + PLACE_SPARE
    found = [log.reach / 2]
    found += [log.trim_butt + one + half for one in sorted(sums)]
    found += [log.reach - log.trim_top - one - half for one in sorted(sums)]
    least = max(machines.mill.log_length_min, shortest + 2 * half)
    out: list[float] = []
    for place in sorted(found, key=lambda p: abs(p - log.reach / 2)):
        if least <= place <= log.reach - least and all(abs(place - other) >= SAME_PLACE for other in out):
            out.append(float(place))
    return out[:PLACES_COMPARED]


def _rough(log: PlanLog, parts: tuple[SawnPart, ...], machines: Machines, weights: ObjectiveWeights) -> float:
    """The best layout's value on the rough grid, net of charges."""
    if log.clear < min(p.length for p in parts):
        return 0.0
    tables = build_tables(log, parts, weights, machines, ROUGH, lambda what, part: None)
    if not tables.values.any():
        return 0.0
    best = best_first_settings(solve_tables(tables), list(range(ROUGH.rolls)), 1)
    return best[0].promise if best else 0.0
