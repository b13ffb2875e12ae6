"""The search once a log is open: choices for every piece in hand, and one master over all of them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pithline.mill.sections import log_sections, piece_shape
from pithline.plan.columns.laid_columns import ColumnEvaluator, FirstSettingChoice, LaidColumn
from pithline.plan.columns.log_columns import bound_with_demand, demanded_worth, log_columns
from pithline.plan.columns.master import MasterAnswer, solve_joint_master
from pithline.plan.evaluate.choose import ExecutedPlan
from pithline.plan.evaluate.ranking import judge_on_samples
from pithline.plan.execute.workshop import Workshop
from pithline.plan.problem.context import SearchContext
from pithline.plan.problem.effort import bolts_on_mill, is_small
from pithline.plan.problem.layout import LayoutSetting
from pithline.plan.problem.log_frame import PlanLog
from pithline.plan.problem.monitor import SILENT, Monitor
from pithline.plan.problem.objective import ObjectiveWeights
from pithline.plan.problem.parts import SawnPart
from pithline.plan.programmes.grid import Grid, make_grid
from pithline.plan.replan.piece_choices import PieceTables, as_choice, piece_choices
from pithline.plan.replan.remaining_pieces import RemainingPiece
from pithline.plan.replan.remaining_work import RemainingWork
from pithline.plan.search import Candidate, SearchResult, search_words

Array = NDArray[np.float64]
ALREADY_SAWN = LayoutSetting(0.0, ())
"""Stands for what is sawn already where the master counts plates."""


def search_remaining(
    pieces: Sequence[RemainingPiece], context: SearchContext, sawn: Sequence[int], monitor: Monitor = SILENT
) -> SearchResult:
    """Search every piece in hand by itself, then choose for all together.

    Parameters
    ----------
    pieces : sequence of RemainingPiece
        Those that mill or resaw may still take.
    context : SearchContext
        What is asked; its task's `left` is what is still wanted of each part.
    sawn : sequence of int
        Passing plates of each part that are sawn already, or will be whatever is chosen here.
    monitor : Monitor
        Hears how far it is.

    Returns
    -------
    SearchResult
        Its answers' layouts are one for each of `pieces`; values count plates sawn already too, but only charges still to
        come. There is always an answer: to leave all of them.
    """
    weights = context.weights(max((each.log.reach for each in pieces), default=0.0))
    groups: list[list[FirstSettingChoice]] = [[] for _ in pieces]
    bound, considered, done = 0.0, 0, 0
    grid: Grid | None = None
    for numbers in _by_log(pieces):
        own = [pieces[i] for i in numbers]
        inner = monitor.within(done / len(pieces), (done + len(numbers)) / len(pieces))
        found = _of_log(own[0].log, own, context, inner)
        for i, choices in zip(numbers, found.groups, strict=True):
            groups[i] = choices
        bound, considered, grid = bound + found.bound, considered + found.considered, grid or found.grid
        done += len(numbers)
    plates = tuple(int(n) for n in sawn)
    counted = [n if p.demand is None else min(n, p.demand) for n, p in zip(plates, context.parts, strict=True)]
    have = float(np.dot(counted, weights.worth))
    nothing = MasterAnswer((None,) * len(pieces), have, have, "nothing more to choose", 0, have, plates)
    answers = [*_answers(groups, plates, context, weights, monitor), nothing]
    if grid is None and pieces:
        grid = make_grid(pieces[0].log, context.parts, context)
    words = "no piece was left to search" if grid is None else _words(grid, context, [each.log for each in pieces])
    best = max(have + bound, *(answer.value for answer in answers))
    return SearchResult(tuple(answers), float(best), context.objective.unit, considered, words)


def _by_log(pieces: Sequence[RemainingPiece]) -> list[list[int]]:
    """The numbers of the pieces of each log."""
    out: dict[int, list[int]] = {}
    for i, each in enumerate(pieces):
        out.setdefault(id(each.log), []).append(i)
    return list(out.values())


def _answers(
    groups: Sequence[list[FirstSettingChoice]],
    plates: tuple[int, ...],
    context: SearchContext,
    weights: ObjectiveWeights,
    monitor: Monitor,
) -> list[MasterAnswer]:
    """The master's best answers; `plates` are sawn already."""
    base = [FirstSettingChoice(LaidColumn(ALREADY_SAWN, plates, 0, 0.0), (), ())]
    effort = context.effort
    within = replace(weights, sets_within=effort.sets_within)
    answers: list[MasterAnswer] = []
    left = list(groups)
    for _ in range(effort.answers):
        answer = solve_joint_master([*left, base], context.parts, within, effort.master, context.seed)
        if answer is None or not any(answer.layouts[:-1]):
            break
        answers.append(replace(answer, layouts=answer.layouts[:-1], grid_value=answer.value))
        if monitor.stopped():
            break
        left = _otherwise(left, answers[-1].layouts)
    return answers


def _otherwise(
    groups: Sequence[list[FirstSettingChoice]], layouts: Sequence[LayoutSetting | None]
) -> list[list[FirstSettingChoice]]:
    """The choices with another setting for the piece that has most of them; the others keep theirs."""
    most = max(
        (i for i, layout in enumerate(layouts) if layout is not None), key=lambda i: (len(groups[i]), -i), default=None
    )
    if most is None:
        return list(groups)
    layout = layouts[most]
    assert layout is not None
    others = [
        c for c in groups[most] if (c.column.setting.clock, c.column.setting.slabs) != (layout.clock, layout.slabs)
    ]
    return [others if i == most else list(group) for i, group in enumerate(groups)]


def _words(grid: Grid, context: SearchContext, logs: Sequence[PlanLog]) -> str:
    return (
        "of plates sawn already, and of the pieces in hand, each from its own sawn faces, net of charges still to come: "
        + search_words(grid, context, logs)
    )


def replans_in_order(
    work: RemainingWork, context: SearchContext, workshop: Workshop, monitor: Monitor = SILENT
) -> Iterator[ExecutedPlan]:
    """Ways to saw on, carried out, best first: what a search of the pieces in hand finds, and the earlier plan's own way."""
    nothing = work.execute((None,) * len(work.pieces), workshop.poser)
    have = Counter(plate.part for plate in nothing.passing)
    sawn = [have[i] for i in range(len(context.parts))]
    wanted = replace(context.task, left=np.maximum(context.task.left - np.array(sawn), 0.0))
    found = search_remaining(work.pieces, replace(context, task=wanted), sawn, monitor)
    ways = [Candidate(work.layout(one.layouts), found, number) for number, one in enumerate(found.answers)]
    if any(work.before):
        ways.append(Candidate(work.layout(work.before), found, len(found.answers), "earlier plan kept"))
    judge = judge_on_samples(work.state.whole, context, None)
    ranked = judge.rank(ways, lambda log_layout: work.execute(log_layout.layouts, workshop.poser))
    return (ExecutedPlan(candidate, ledger) for ledger, candidate in ranked)


@dataclass(frozen=True, slots=True)
class _OfLog:
    """Choices for every piece of one log, their bound, layouts considered, a grid."""

    groups: list[list[FirstSettingChoice]]
    bound: float
    considered: int
    grid: Grid | None


def _of_log(log: PlanLog, pieces: Sequence[RemainingPiece], context: SearchContext, monitor: Monitor) -> _OfLog:
    """Choices for every piece of one log: whole ones searched like any log, opened ones from their faces."""
    task = context.task
    evaluator = ColumnEvaluator(log, task, 1.0 if is_small(log) else 2.0, on_mill=bolts_on_mill(log, context.machines))
    groups: list[list[FirstSettingChoice]] = [[] for _ in pieces]
    bound, considered = 0.0, 0
    grid: Grid | None = None
    wanted = tuple(p for p, n in zip(context.parts, task.left, strict=True) if n > 0)
    for i, each in enumerate(pieces):
        if each.before is not None:
            groups[i].append(as_choice(evaluator, each.before, each.piece))
        if each.piece.faces == log.piece.faces and wanted:
            whole = log_columns(log, context, monitor)
            groups[i] += whole.choices
            bound += whole.bound if whole.choices else 0.0
            considered, grid = considered + whole.considered, whole.grid
    opened = {i: each for i, each in enumerate(pieces) if each.piece.faces != log.piece.faces}
    if not opened:
        return _OfLog(groups, bound, considered, grid)
    best, more, seen = _search_opened(opened, groups, wanted, evaluator, context, monitor)
    return _OfLog(groups, bound + best, considered + more, seen or grid)


def _search_opened(
    opened: dict[int, RemainingPiece],
    groups: list[list[FirstSettingChoice]],
    wanted: tuple[SawnPart, ...],
    evaluator: ColumnEvaluator,
    context: SearchContext,
    monitor: Monitor,
) -> tuple[float, int, Grid | None]:
    """Add the choices of opened pieces of one log to their `groups`; their bound, layouts considered, a grid."""
    log, parts = evaluator.log, context.parts
    weights = context.weights(log.reach)
    # a piece cannot be worth more than its wood as plates of the dearest part
    dearest = max(w / p.volume for w, p in zip(weights.worth, parts, strict=True))
    sections = log_sections(log.model)
    most = {i: dearest * piece_shape(sections, each.piece, bark=False).volume for i, each in opened.items()}
    free = tuple(p for p in wanted if p.demand is None)
    views = [view for view in dict.fromkeys((free, wanted)) if view]
    best, considered = np.inf, 0
    grid: Grid | None = None
    for number, view in enumerate(views):
        tables = PieceTables(evaluator, context, view, monitor.share(number, len(views)))
        total = 0.0
        for i, each in opened.items():
            found = piece_choices(each, tables)
            total += min(found.bound, most[i])
            groups[i] += found.choices
        best = min(best, bound_with_demand(total, view, parts, weights.worth))
        if tables.made:
            grid = tables.made[0].tables.grid
            considered += sum(len(group) for group in groups)
        if monitor.stopped() or (demanded_worth(parts, weights.worth) < LITTLE and number == 0):
            break
    return float(best) if np.isfinite(best) else 0.0, considered, grid


LITTLE = 1e-9
"""Where parts with a demand count less, there is nothing to look at beside the others."""
