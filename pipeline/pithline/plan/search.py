"""From a log to the best layouts found: tables, exact programmes, columns, master."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pithline.mill.machine import Machines
from pithline.plan.columns.bucking import crosscut_candidates
from pithline.plan.columns.laid_columns import FirstSettingChoice
from pithline.plan.columns.log_columns import LogColumns, log_columns
from pithline.plan.columns.master import MasterAnswer, solve_joint_master
from pithline.plan.execute.bucked_log import LogLayout, crosscut_log
from pithline.plan.problem.effort import (
    EFFORTS,
    Effort,
    corner_step,
    half_angles,
    is_small,
    settings_per_bolt,
)
from pithline.plan.problem.infeasible import no_part_fits, no_setting_pays
from pithline.plan.problem.layout import NO_LOCKS, LayoutSetting, Locks
from pithline.plan.problem.log_frame import PlanLog
from pithline.plan.problem.objective import LITRE, objective_weights
from pithline.plan.problem.parts import SawnPart
from pithline.plan.problem.report import Progress, Stop
from pithline.plan.problem.task import SawingTask
from pithline.plan.programmes.fans import FACE_CELLS, FAN_REACH
from pithline.plan.programmes.grid import Grid

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class SearchResult:
    """Layouts worth sawing, best first, and what is proven of them on the grid."""

    answers: tuple[MasterAnswer, ...]
    bound: float  # best value of any layout of the class on the grid, net of charges
    unit: float  # what one unit of value is: 1e6 mm³ for volumes, 1 for money
    considered: int
    words: str
    trade_off: tuple[tuple[int, MasterAnswer], ...] = ()  # the best layouts with at most so many charged settings


def search_log(
    log: PlanLog,
    parts: tuple[SawnPart, ...],
    task: SawingTask,
    objective: str,
    effort: Effort,
    seed: int,
    progress: Progress,
    stopped: Callable[[], bool] | None = None,
    locks: Locks = NO_LOCKS,
) -> SearchResult:
    """Search one log.

    Raises
    ------
    PlanError
        Where no plate of any part passes.
    """
    return search_logs((log,), parts, task, objective, effort, seed, progress, stopped, locks)


def search_logs(
    logs: Sequence[PlanLog],
    parts: tuple[SawnPart, ...],
    task: SawingTask,
    objective: str,
    effort: Effort,
    seed: int,
    progress: Progress,
    stopped: Callable[[], bool] | None = None,
    locks: Locks = NO_LOCKS,
) -> SearchResult:
    """Search the logs crosscut from one, each by itself, then choose for all together; crosscutting is one charged setting.

    Raises
    ------
    PlanError
        Where no plate of any part passes in any of them.
    """
    machines = task.machines
    bucked = len(logs) > 1
    weights = objective_weights(objective, parts, machines, max(log.reach for log in logs), locks.settings_max)
    found: list[LogColumns] = []
    for number, log in enumerate(logs):

        def report_part(what: str, part: float, number: int = number) -> None:
            progress(what if not bucked else f"{what}, log {number + 1}", (number + part) / len(logs))

        found.append(log_columns(log, parts, task, objective, effort, seed, report_part, stopped, locks))
    if not any(one.choices for one in found):
        seen = max(one.seen for one in found)
        raise no_setting_pays(weights, seen, objective) if seen > 0.0 else no_part_fits(logs[0], parts)
    extra = weights.charge if bucked else 0.0
    if locks.settings_max is not None and bucked:
        weights = replace(weights, settings_max=max(locks.settings_max - 1, 0))
    answers: list[MasterAnswer] = []
    left = [list(one.choices) for one in found]
    for _ in range(effort.answers + (2 if any(is_small(log) for log in logs) else 0)):
        answer = solve_joint_master(left, parts, replace(weights, sets_within=effort.sets_within), effort.master, seed)
        if answer is None or not any(answer.layouts):
            break
        answers.append(
            replace(
                answer,
                value=answer.value - extra,
                grid_value=answer.grid_value - extra,
                settings=answer.settings + int(bucked),
            )
        )
        if stopped is not None and stopped():
            break
        left = [_others(choices, layout) for choices, layout in zip(left, answer.layouts, strict=True)]
        if not any(left) or (not bucked and not left[0]):
            break
    if not answers:
        raise no_part_fits(logs[0], parts)
    bound = sum(one.bound for one in found) - extra
    unit = LITRE if objective != "value" else 1.0
    first = next(one for one in found if one.grid is not None)
    words = search_words(first.grid, effort, machines, any(p.demand is not None for p in parts), logs)
    considered = sum(one.considered for one in found)
    fewer = []
    for most in effort.trade_off if len(answers) and (stopped is None or not stopped()) else ():
        if most >= answers[0].settings or most <= int(bucked):
            continue
        capped = replace(weights, settings_max=most - int(bucked))
        answer = solve_joint_master([list(one.choices) for one in found], parts, capped, effort.master, seed)
        if answer is not None and any(answer.layouts):
            fewer.append((most, answer))
    return SearchResult(tuple(answers), float(bound), unit, considered, words, tuple(fewer))


def _others(choices: list[FirstSettingChoice], layout: LayoutSetting | None) -> list[FirstSettingChoice]:
    """The choices with another first setting than a layout has."""
    if layout is None:
        return choices
    first = (layout.clock, layout.slabs)
    return [c for c in choices if (c.column.setting.clock, c.column.setting.slabs) != first]


def search_words(grid: Grid, effort: Effort, machines: Machines, demanded: bool, logs: Sequence[PlanLog]) -> str:
    """The stated grid and class of a search of these logs."""
    most = settings_per_bolt(machines)
    corners = " and ".join(f"{step:g}" for step in sorted({corner_step(effort, log) for log in logs}))
    text = (
        f"rolls every {180 / effort.rolls:g}°, slab faces every {grid.depth_step:g} mm, thicknesses "
        + " ".join(f"{t:g}" for t in grid.thicknesses)
        + f" mm, across {grid.across_step:g} mm, along {grid.along_step:g} mm; class: slabs of one roll, halves turned "
        f"{_turns(effort, logs)}, each bolt fanned in up to {most} charged directions every "
        f"{180 / effort.rolls * effort.fan_spread:g}°, their first faces every {FACE_CELLS * grid.depth_step:g} mm within "
        f"{FAN_REACH:g} mm of the pith, bolt corners rounded outwards to {corners} mm"
    )
    if demanded:
        text += "; of parts with a demand the bound counts all that is wanted"
    return text


def _turns(effort: Effort, logs: Sequence[PlanLog]) -> str:
    step, angles = 180 / effort.rolls, sorted({int(a) for log in logs for a in half_angles(effort, log)})
    others = " ".join(f"{a * step:g}" for a in angles if 2 * a != effort.rolls)
    return f"90° or, where bent and from rolls every {step * effort.lean_step:g}°, {others}°" if others else "90°"


NEARLY_AS_GOOD = 0.07
"""Ways to crosscut a log that promise less than the best by no more than this share of it are searched too."""


@dataclass(frozen=True, slots=True)
class Candidate:
    """A way to saw a log, the search it came from, and its place among that search's answers.

    Beyond them stands what came from elsewhere; `status` then says in the proof what was kept.
    """

    log_layout: LogLayout
    found: SearchResult
    number: int
    status: str = ""


@dataclass(frozen=True, slots=True)
class SearchRequest:
    """What is asked of a search."""

    objective: str
    effort: str
    seed: int
    bucking: bool = True
    locks: Locks = NO_LOCKS


def search_candidates(
    log: PlanLog,
    parts: tuple[SawnPart, ...],
    task: SawingTask,
    request: SearchRequest,
    progress: Progress,
    stopped: Stop,
    held: Callable[[float, float], None] = lambda value, bound: None,
) -> list[Candidate]:
    """Search the log whole, and crosscut where that may pay; `held` is told the best value and the bound of each way.

    Raises
    ------
    PlanError
        Where no plate of any part passes, whichever way.
    """
    effort = EFFORTS[request.effort]
    ways = _ways(log, parts, task, request, effort, progress, stopped)
    out: list[Candidate] = []
    for k, places in enumerate(ways):

        def report_part(what: str, part: float, k: int = k) -> None:
            progress(what, 0.1 + 0.9 * (k + part) / len(ways))

        logs = crosscut_log(log, places, task.machines.buck.kerf, 0.0)[1]
        found = search_logs(
            logs, parts, task, request.objective, effort, request.seed, report_part, stopped, request.locks
        )
        out += [
            Candidate(LogLayout(log, places, logs, answer.layouts), found, number)
            for number, answer in enumerate(found.answers)
        ]
        held(found.answers[0].value, found.bound)
        if stopped():
            break
    return out


def _ways(
    log: PlanLog,
    parts: tuple[SawnPart, ...],
    task: SawingTask,
    request: SearchRequest,
    effort: Effort,
    progress: Progress,
    stopped: Stop,
) -> list[tuple[float, ...]]:
    """Where to crosscut: the ways worth a search, the most promising first; () leaves the log whole."""
    if not request.bucking:
        return [()]
    weights = objective_weights(request.objective, parts, task.machines, log.reach)
    rough = crosscut_candidates(
        log, parts, task.machines, weights, stopped, lambda what, part: progress(what, 0.1 * part)
    )
    if not rough:
        return []
    best = rough[0][0]
    return [places for value, places in rough[: effort.sawings] if value >= best - NEARLY_AS_GOOD * abs(best)]


def cost_of_locks(
    log: PlanLog,
    parts: tuple[SawnPart, ...],
    task: SawingTask,
    request: SearchRequest,
    held: Sequence[Candidate],
    progress: Progress,
    stopped: Stop,
) -> float:
    """What the locks cost: the best value of a search of equal effort without them, less that with them.

    Litres, or money by value. Where the locked search happens to find more, nothing.
    """
    free = search_candidates(log, parts, task, replace(request, locks=NO_LOCKS, bucking=True), progress, stopped)
    best = max(one.found.answers[0].value for one in free)
    return max(best - max(one.found.answers[0].value for one in held), 0.0)
