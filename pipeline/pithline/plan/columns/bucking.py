"""Crosscutting a log into shorter logs first: where, and whether it pays.

A bent log sawn whole wastes what its pith bows off the blade plane; two shorter logs each have a chord of their own. Where
to cut follows from the parts: a shorter log should hold whole parts end to end. Places are compared by the exact
programmes on a rough grid; the few best are then searched like any log.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field, replace

import numpy as np

from pithline.plan.columns.candidates import best_first_settings
from pithline.plan.execute.bucked_log import crosscut_log
from pithline.plan.problem.context import SearchContext
from pithline.plan.problem.effort import Effort
from pithline.plan.problem.layout import NO_LOCKS
from pithline.plan.problem.log_frame import BUCK_CLEAR, PlanLog, pith_bow
from pithline.plan.problem.monitor import SILENT, Monitor
from pithline.plan.problem.objective import ObjectiveWeights
from pithline.plan.programmes.tables import build_tables, find_passing_places, solve_tables

Places = tuple[float, ...]
"""Crosscuts' kerf centres along the pith's chord from the butt end, rising. [mm]"""
BENT_FROM = 8.0
"""A log whose pith bows less than this off its chord is not worth crosscutting. [mm]"""
ROUGH = Effort("rough", 6, 20.0, 1, 1, 1, 1, 1.0, depth_step=5.0, face_step=20.0)
SAME_PLACE = 30.0
"""Places nearer than this to each other are one. [mm]"""
PLACES_COMPARED = 10
"""Places compared in one log."""
PLACE_SPARE = 10.0
"""What a shorter log has beyond the parts it is to hold, for ends that are not square. [mm]"""
MOST_LOGS = 4
"""Logs that one is crosscut into at most."""
MOST_SUMS = 400
"""Lengths of parts end to end that are enough to choose places from."""


def crosscut_candidates(
    log: PlanLog, context: SearchContext, weights: ObjectiveWeights, monitor: Monitor = SILENT
) -> list[tuple[float, Places]]:
    """Ways to crosscut a log that may pay, best first: (rough value net of charges, places); () leaves it whole.

    A log too long for the mill is never left whole.

    Parameters
    ----------
    log : PlanLog
        The whole log.
    context : SearchContext
        Machines and parts; the search here is rougher than its effort.
    weights : ObjectiveWeights
        What a plate of each part counts, and what settings are charged.
    monitor : Monitor
        Hears how far it is.
    """
    longest = context.machines.mill.log_length_max
    too_long = log.reach > longest
    if not too_long and pith_bow(log) < BENT_FROM:
        return [(0.0, ())]
    view = context.free or context.parts
    worth = np.array([w for w, p in zip(weights.worth, context.parts, strict=True) if p in view])
    rough = _RoughValues(log, context.for_parts(view), replace(weights, worth=worth))
    best: tuple[float, Places] = (-np.inf, ())
    out: list[tuple[float, Places]] = []
    if not too_long:
        best = (rough.value(0.0, log.reach, log), ())
        out.append(best)
    pieces = 1
    while pieces < MOST_LOGS and not monitor.stopped():
        tried = _one_cut_more(log, best[1], rough.context)
        found: list[tuple[float, Places]] = []
        for number, places in enumerate(tried):
            monitor.report("where to crosscut", number / len(tried))
            found.append((rough.of_places(places), places))
            if monitor.stopped():
                break
        fits = [one for one in found if max(np.diff((0.0, *one[1], log.reach))) <= longest]
        out += fits
        better = max(fits or found, default=(-np.inf, ()))
        if better[0] <= best[0] + weights.charge:
            break
        best = better
        pieces += 1
    return sorted(out, key=lambda one: (-round(one[0], 9), one[1]))


@dataclass(frozen=True, slots=True)
class _RoughValues:
    """What lengths of a log are worth on the rough grid, each found once; `cache` is filled."""

    log: PlanLog
    context: SearchContext
    weights: ObjectiveWeights
    cache: dict[tuple[float, float], float] = field(default_factory=dict)

    def of_places(self, places: Places) -> float:
        """The log crosscut there, net of charges, that of crosscutting among them."""
        logs = crosscut_log(self.log, places, self.context.machines.buck.kerf, 0.0)[1]
        ends = itertools.pairwise((0.0, *places, self.log.reach))
        return (
            sum(self.value(low, high, one) for (low, high), one in zip(ends, logs, strict=True)) - self.weights.charge
        )

    def value(self, low: float, high: float, one: PlanLog) -> float:
        """The best layout's value of the log from `low` to `high` along the chord, net of charges."""
        key = (round(low, 3), round(high, 3))
        if key not in self.cache:
            self.cache[key] = self._best(one)
        return self.cache[key]

    def _best(self, one: PlanLog) -> float:
        parts = self.context.parts
        if one.clear < min(part.length for part in parts):
            return 0.0
        context = replace(self.context, effort=ROUGH, locks=NO_LOCKS)
        tables = build_tables(one, parts, self.weights, context, find_passing_places(one, context))
        if tables.highest <= 0.0:
            return 0.0
        best = best_first_settings(solve_tables(tables), list(range(ROUGH.rolls)), 1)
        return best[0].promise if best else 0.0


def _one_cut_more(log: PlanLog, places: Places, context: SearchContext) -> list[Places]:
    """The places with one more, in the log that bows most or is too long."""
    longest = context.machines.mill.log_length_max
    logs = crosscut_log(log, places, context.machines.buck.kerf, 0.0)[1]
    marks = (0.0, *places, log.reach)
    long = [b - a for a, b in itertools.pairwise(marks)]
    worst = max(range(len(logs)), key=lambda i: (long[i] > longest, pith_bow(logs[i]) * (long[i] > 0), -i))
    if long[worst] <= longest and pith_bow(logs[worst]) < BENT_FROM:
        return []
    return [tuple(sorted((*places, marks[worst] + more))) for more in _places(logs[worst], context)]


def _places(log: PlanLog, context: SearchContext) -> list[float]:
    """Places in one log where what is below or above just holds whole parts, and its middle; the most even cuts first."""
    machines, parts, cell = context.machines, context.parts, ROUGH.along_step
    lengths = sorted({np.ceil((p.length + machines.crosscut.kerf) / cell) * cell for p in parts})
    shortest = min(p.length for p in parts)
    sums: set[float] = set()
    for count in range(1, int(log.reach / lengths[0]) + 1):
        sums |= {sum(some) for some in itertools.combinations_with_replacement(lengths, count)}
        if len(sums) > MOST_SUMS:
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
