"""The search once a log is open: choices for every piece in hand, and one master over all of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pithline.mill.sections import log_sections, piece_shape
from pithline.plan.columns.laid_columns import ColumnEvaluator, FirstSettingChoice, LaidColumn
from pithline.plan.columns.log_columns import bound_with_demand, demanded_worth, log_columns
from pithline.plan.columns.master import MasterAnswer, solve_joint_master
from pithline.plan.problem.effort import Effort, bolts_on_mill, is_small, thickness_max
from pithline.plan.problem.layout import LayoutSetting
from pithline.plan.problem.log_frame import PlanLog
from pithline.plan.problem.objective import LITRE, objective_weights
from pithline.plan.problem.parts import SawnPart
from pithline.plan.problem.report import Progress, Stop
from pithline.plan.problem.task import SawingTask
from pithline.plan.programmes.grid import Grid, make_grid
from pithline.plan.replan.remaining_pieces import PieceTables, RemainingPiece, as_choice, piece_choices
from pithline.plan.search import SearchResult, search_words

Array = NDArray[np.float64]
ALREADY_SAWN = LayoutSetting(0.0, ())
"""Stands for what is sawn already where the master counts plates."""


def search_remaining(
    pieces: Sequence[RemainingPiece],
    parts: tuple[SawnPart, ...],
    task: SawingTask,
    sawn: Sequence[int],
    objective: str,
    effort: Effort,
    seed: int,
    progress: Progress,
    stopped: Stop,
) -> SearchResult:
    """Search every piece in hand by itself, then choose for all together.

    Parameters
    ----------
    shop : its `left` is what is still wanted of each part
    sawn : passing plates of each part that are sawn already, or will be whatever is chosen here

    Returns
    -------
    Found
        Its answers' layouts are one for each of `rests`; values count plates sawn already too, but only charges still to
        come. There is always an answer: to leave all of them.
    """
    machines = task.machines
    reach = max((piece_in_hand.log.reach for piece_in_hand in pieces), default=0.0)
    weights = objective_weights(objective, parts, machines, reach)
    groups: list[list[FirstSettingChoice]] = []
    bound, considered = 0.0, 0
    grid: Grid | None = None
    by_log: dict[int, list[int]] = {}
    for i, piece_in_hand in enumerate(pieces):
        by_log.setdefault(id(piece_in_hand.log), []).append(i)
        groups.append([])
    done = 0
    for numbers in by_log.values():
        log = pieces[numbers[0]].log

        def report_part(what: str, part: float, done: int = done, of: int = len(numbers)) -> None:
            progress(what, (done + part * of) / len(pieces))

        one = _of_log(log, [pieces[i] for i in numbers], parts, task, objective, effort, seed, report_part, stopped)
        for i, choices in zip(numbers, one[0], strict=True):
            groups[i] = choices
        bound, considered, grid = bound + one[1], considered + one[2], grid or one[3]
        done += len(numbers)
    plates = tuple(int(n) for n in sawn)
    base = [FirstSettingChoice(LaidColumn(ALREADY_SAWN, plates, 0, 0.0), (), ())]
    counted = [n if p.demand is None else min(n, p.demand) for n, p in zip(plates, parts, strict=True)]
    have = float(np.dot(counted, weights.worth))
    nothing = MasterAnswer((None,) * len(pieces), have, have, "nothing more to choose", 0, have, plates)
    answers = []
    left = groups
    for _ in range(effort.answers):
        answer = solve_joint_master(
            [*left, base], parts, replace(weights, sets_within=effort.sets_within), effort.master, seed
        )
        if answer is None or not any(answer.layouts[:-1]):
            break
        answers.append(replace(answer, layouts=answer.layouts[:-1], grid_value=answer.value))
        if stopped():
            break
        left = _otherwise(left, answers[-1].layouts)
    if grid is None:
        log = pieces[0].log if pieces else None
        grid = (
            None
            if log is None
            else make_grid(
                log,
                parts,
                thickness_max(machines),
                effort.rolls,
                effort.depth_step,
                effort.along_step,
                machines.resaw.kerf,
            )
        )
    words = (
        "no piece was left to search"
        if grid is None
        else _words(grid, effort, task, [piece_in_hand.log for piece_in_hand in pieces])
    )
    best = max(have + bound, *(one.value for one in (*answers, nothing)))
    return SearchResult((*answers, nothing), float(best), LITRE if objective != "value" else 1.0, considered, words)


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


def _words(grid: Grid, effort: Effort, task: SawingTask, logs: Sequence[PlanLog]) -> str:
    demanded = bool(np.isfinite(task.left).any())
    return (
        "of plates sawn already, and of the pieces in hand, each from its own sawn faces, net of charges still to come: "
        + search_words(grid, effort, task.machines, demanded, logs)
    )


def _of_log(
    log: PlanLog,
    pieces: Sequence[RemainingPiece],
    parts: tuple[SawnPart, ...],
    task: SawingTask,
    objective: str,
    effort: Effort,
    seed: int,
    progress: Progress,
    stopped: Stop,
) -> tuple[list[list[FirstSettingChoice]], float, int, Grid | None]:
    """Choices for every piece of one log, their bound, layouts considered, a grid."""
    small = is_small(log)
    on_mill = bolts_on_mill(log, task.machines)
    evaluator = ColumnEvaluator(log, task, task.machines.mill.kerf, 1.0 if small else 2.0, on_mill=on_mill)
    groups: list[list[FirstSettingChoice]] = [[] for _ in pieces]
    bound, considered = 0.0, 0
    grid: Grid | None = None
    wanted = tuple(p for p, n in zip(parts, task.left, strict=True) if n > 0)
    free = tuple(p for p in wanted if p.demand is None)
    for i, piece_in_hand in enumerate(pieces):
        if piece_in_hand.before is not None:
            groups[i].append(as_choice(evaluator, piece_in_hand.before, piece_in_hand.piece))
        if piece_in_hand.piece.faces == log.piece.faces and wanted:
            one = log_columns(log, parts, task, objective, effort, seed, progress, stopped)
            groups[i] += one.choices
            bound, considered, grid = bound + (one.bound if one.choices else 0.0), considered + one.considered, one.grid
    opened = [i for i, piece_in_hand in enumerate(pieces) if piece_in_hand.piece.faces != log.piece.faces]
    if not opened:
        return groups, bound, considered, grid
    weights = objective_weights(objective, parts, task.machines, log.reach)
    views = [view for view in dict.fromkeys((free, wanted)) if view]
    best = np.inf
    # a piece cannot be worth more than its wood as plates of the dearest part
    dearest = max(w / p.volume for w, p in zip(weights.worth, parts, strict=True))
    sections = log_sections(log.model)
    most = {i: dearest * piece_shape(sections, pieces[i].piece, bark=False).volume for i in opened}
    for number, view in enumerate(views):
        view_aim = objective_weights(objective, view, task.machines, log.reach)

        def report_part(what: str, part: float, number: int = number) -> None:
            progress(what, (number + part) / len(views))

        grids = PieceTables(log, view, view_aim, effort, evaluator, report_part)
        total = 0.0
        for i in opened:
            found = piece_choices(pieces[i], grids)
            total += min(found.bound, most[i])
            groups[i] += found.choices
        best = min(best, bound_with_demand(total, view, parts, weights.worth))
        if grids.made:
            grid = grids.made[0].tables.grid
            considered += sum(len(group) for group in groups)
        if stopped() or (demanded_worth(parts, weights.worth) < 1e-9 and number == 0):
            break
    return groups, bound + (float(best) if np.isfinite(best) else 0.0), considered, grid
