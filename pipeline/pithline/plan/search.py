"""A log, whole and crosscut, to the best layouts found and what is proven of them: tables, exact programmes, columns, master."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from pithline.plan.columns.bucking import Places, crosscut_candidates
from pithline.plan.columns.laid_columns import FirstSettingChoice
from pithline.plan.columns.log_columns import LogColumns, log_columns
from pithline.plan.columns.master import MasterAnswer, solve_joint_master
from pithline.plan.execute.bucked_log import LogLayout, crosscut_log
from pithline.plan.problem.context import SearchContext
from pithline.plan.problem.effort import corner_step, half_angles, is_small, settings_per_bolt
from pithline.plan.problem.infeasible import no_part_fits, no_setting_pays
from pithline.plan.problem.layout import NO_LOCKS, LayoutSetting
from pithline.plan.problem.log_frame import PlanLog
from pithline.plan.problem.monitor import SILENT, Monitor
from pithline.plan.problem.objective import ObjectiveWeights
from pithline.plan.programmes.fans import FACE_CELLS, FAN_REACH
from pithline.plan.programmes.grid import Grid

NEARLY_AS_GOOD = 0.07
"""Ways to crosscut a log that promise less than the best by no more than this share of it are searched too."""
SMALL_ANSWERS = 2
"""More answers that are carried out where few plates hang on a log."""


@dataclass(frozen=True, slots=True)
class SearchResult:
    """Layouts worth sawing, best first, and what is proven of them on the grid.

    Attributes
    ----------
    answers : tuple of MasterAnswer
        Each differs from the others in a first setting.
    bound : float
        Best value of any layout of the class on the grid, net of charges.
    unit : float
        What one unit of value is: 1e6 mm³ for volumes, 1 for money.
    considered : int
        Layouts that the programmes weighed.
    words : str
        The stated grid and class.
    trade_off : tuple of (most charged settings, MasterAnswer)
        The best layouts under caps.
    """

    answers: tuple[MasterAnswer, ...]
    bound: float
    unit: float
    considered: int
    words: str
    trade_off: tuple[tuple[int, MasterAnswer], ...] = ()


def search_log(log: PlanLog, context: SearchContext, monitor: Monitor = SILENT) -> SearchResult:
    """Search one log.

    Raises
    ------
    PlanError
        Where no plate of any part passes.
    """
    return search_logs((log,), context, monitor)


def search_logs(logs: Sequence[PlanLog], context: SearchContext, monitor: Monitor = SILENT) -> SearchResult:
    """Search the logs crosscut from one, each by itself, then choose for all together; crosscutting is one charged setting.

    Raises
    ------
    PlanError
        Where no plate of any part passes in any of them.
    """
    bucked = len(logs) > 1
    found = [
        log_columns(log, context, monitor.share(number, len(logs), f", log {number + 1}" if bucked else ""))
        for number, log in enumerate(logs)
    ]
    weights = context.weights(max(log.reach for log in logs))
    highest = max(one.highest for one in found)
    if highest > 0.0 and not any(one.choices for one in found):
        raise no_setting_pays(weights, highest, context.objective)
    crosscutting = int(bucked)
    most = context.locks.settings_max
    capped = replace(weights, settings_max=None if most is None else max(most - crosscutting, 0))
    answers = _answers(logs, found, context, capped, monitor)
    if not answers:
        raise no_part_fits(logs[0], context.parts)
    extra = weights.charge if bucked else 0.0
    grid = next(one.grid for one in found if one.grid is not None)
    most_settings = answers[0].settings + crosscutting
    fewer = () if monitor.stopped() else _fewer_settings(found, context, weights, most_settings, crosscutting)
    return SearchResult(
        tuple(_with_crosscutting(answer, extra, crosscutting) for answer in answers),
        float(sum(one.bound for one in found) - extra),
        context.objective.unit,
        sum(one.considered for one in found),
        search_words(grid, context, logs),
        fewer,
    )


def _answers(
    logs: Sequence[PlanLog],
    found: Sequence[LogColumns],
    context: SearchContext,
    weights: ObjectiveWeights,
    monitor: Monitor,
) -> list[MasterAnswer]:
    """The master's best answers, each with other first settings than those before."""
    effort = context.effort
    answers: list[MasterAnswer] = []
    left = [list(one.choices) for one in found]
    within = replace(weights, sets_within=effort.sets_within)
    for _ in range(effort.answers + (SMALL_ANSWERS if any(is_small(log) for log in logs) else 0)):
        answer = solve_joint_master(left, context.parts, within, effort.master, context.seed)
        if answer is None or not any(answer.layouts):
            break
        answers.append(answer)
        if monitor.stopped():
            break
        left = [_others(choices, layout) for choices, layout in zip(left, answer.layouts, strict=True)]
        if not any(left):
            break
    return answers


def _with_crosscutting(answer: MasterAnswer, extra: float, settings: int) -> MasterAnswer:
    """An answer charged for the setting that crosscuts the log."""
    return replace(
        answer,
        value=answer.value - extra,
        grid_value=answer.grid_value - extra,
        settings=answer.settings + settings,
    )


def _fewer_settings(
    found: Sequence[LogColumns], context: SearchContext, weights: ObjectiveWeights, most: int, crosscutting: int
) -> tuple[tuple[int, MasterAnswer], ...]:
    """The best layouts with at most so many charged settings, fewer than `most`."""
    out = []
    for cap in context.effort.trade_off:
        if not crosscutting < cap < most:
            continue
        capped = replace(weights, settings_max=cap - crosscutting)
        choices = [list(one.choices) for one in found]
        answer = solve_joint_master(choices, context.parts, capped, context.effort.master, context.seed)
        if answer is not None and any(answer.layouts):
            out.append((cap, answer))
    return tuple(out)


def _others(choices: list[FirstSettingChoice], layout: LayoutSetting | None) -> list[FirstSettingChoice]:
    """The choices with another first setting than a layout has."""
    if layout is None:
        return choices
    first = (layout.clock, layout.slabs)
    return [c for c in choices if (c.column.setting.clock, c.column.setting.slabs) != first]


def search_words(grid: Grid, context: SearchContext, logs: Sequence[PlanLog]) -> str:
    """The stated grid and class of a search of these logs."""
    effort = context.effort
    most = settings_per_bolt(context.machines)
    corners = " and ".join(f"{step:g}" for step in sorted({corner_step(effort, log) for log in logs}))
    text = (
        f"rolls every {180 / effort.rolls:g}°, slab faces every {grid.depth_step:g} mm, thicknesses "
        + " ".join(f"{t:g}" for t in grid.thicknesses)
        + f" mm, across {grid.across_step:g} mm, along {grid.along_step:g} mm; class: slabs of one roll, halves turned "
        f"{_turns(context, logs)}, each bolt fanned in up to {most} charged directions every "
        f"{180 / effort.rolls * effort.fan_spread:g}°, their first faces every {FACE_CELLS * grid.depth_step:g} mm within "
        f"{FAN_REACH:g} mm of the pith, bolt corners rounded outwards to {corners} mm"
    )
    if context.demanded:
        text += "; of parts with a demand the bound counts all that is wanted"
    return text


def _turns(context: SearchContext, logs: Sequence[PlanLog]) -> str:
    effort = context.effort
    step, angles = 180 / effort.rolls, sorted({int(a) for log in logs for a in half_angles(effort, log)})
    others = " ".join(f"{a * step:g}" for a in angles if 2 * a != effort.rolls)
    return f"90° or, where bent and from rolls every {step * effort.lean_step:g}°, {others}°" if others else "90°"


@dataclass(frozen=True, slots=True)
class Candidate:
    """A way to saw a log, the search it came from, and its place among that search's answers.

    Beyond them stands what came from elsewhere; `status` then says in the proof what was kept.
    """

    log_layout: LogLayout
    found: SearchResult
    number: int
    status: str = ""


def search_candidates(log: PlanLog, context: SearchContext, monitor: Monitor = SILENT) -> list[Candidate]:
    """Search the log whole, and crosscut where that may pay; the monitor hears the best value and the bound of each way.

    Raises
    ------
    PlanError
        Where no plate of any part passes, whichever way.
    """
    ways = _ways(log, context, monitor.within(0.0, 0.1))
    out: list[Candidate] = []
    for number, places in enumerate(ways):
        logs = crosscut_log(log, places, context.machines.buck.kerf, 0.0)[1]
        found = search_logs(logs, context, monitor.within(0.1, 1.0).share(number, len(ways)))
        out += [
            Candidate(LogLayout(log, places, logs, answer.layouts), found, place)
            for place, answer in enumerate(found.answers)
        ]
        monitor.found(found.answers[0].value, found.bound)
        if monitor.stopped():
            break
    return out


def _ways(log: PlanLog, context: SearchContext, monitor: Monitor) -> list[Places]:
    """Where to crosscut: the ways worth a search, the most promising first; () leaves the log whole."""
    if not context.bucking:
        return [()]
    rough = crosscut_candidates(log, context, context.weights(log.reach), monitor)
    if not rough:
        return []
    best = rough[0][0]
    kept = rough[: context.effort.sawings]
    return [places for value, places in kept if value >= best - NEARLY_AS_GOOD * abs(best)]


def cost_of_locks(
    log: PlanLog, context: SearchContext, locked: Sequence[Candidate], monitor: Monitor = SILENT
) -> float:
    """What the locks cost: the best value of a search of equal effort without them, less that with them.

    Litres, or money by value. Where the locked search happens to find more, nothing.
    """
    free = search_candidates(log, replace(context, locks=NO_LOCKS, bucking=True), replace(monitor, found=SILENT.found))
    best = max(one.found.answers[0].value for one in free)
    return max(best - max(one.found.answers[0].value for one in locked), 0.0)
