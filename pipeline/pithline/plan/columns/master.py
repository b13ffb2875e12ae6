"""The master: CP-SAT chooses roll, first setting, both halves and every bolt together, with demand and charges.

Deterministic: one worker, a fixed seed and a deterministic time limit; the exact programmes' best layout is the hint.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from ortools.sat.python import cp_model

from pithline.plan.columns.laid_columns import FirstSettingChoice, HalfChoice, LaidColumn, with_children
from pithline.plan.problem.layout import LayoutSetting
from pithline.plan.problem.objective import ObjectiveWeights
from pithline.plan.problem.parts import SawnPart

Array = NDArray[np.float64]
OBJECTIVE_UNITS = 1e4
"""Objective grid: 1/10 000 litre (or of the currency), so rounding costs less than a plate's thousandth."""


@dataclass(frozen=True, slots=True)
class MasterAnswer:
    """The layouts chosen, one for each log, their value over these columns net of charges, the columns' bound, and the
    solver's status.
    """

    layouts: tuple[LayoutSetting | None, ...]
    value: float
    bound: float
    status: str
    settings: int
    grid_value: float
    plates: tuple[int, ...]

    @property
    def layout(self) -> LayoutSetting:
        """The layout of the one log looked at."""
        (only,) = self.layouts
        assert only is not None
        return only


Made = list[tuple[LaidColumn, cp_model.IntVar]]
"""Columns with their variables."""
HalfRow = tuple[cp_model.IntVar, list[list[cp_model.IntVar]]]
"""A half's variable, and those of its bolts' choices."""
Rows = list[tuple[cp_model.IntVar, list[HalfRow]]]
"""Of each first setting its variable, and its halves."""
SETS_MOST = 10000
"""Sets of one product that nobody saws of a log."""
SETS_FIRST = 1000.0
"""Where complete sets come first, what they hold counts so many times."""


def solve_master(
    choices: Sequence[FirstSettingChoice],
    parts: tuple[SawnPart, ...],
    weights: ObjectiveWeights,
    effort: float,
    seed: int = 1,
) -> MasterAnswer | None:
    """Solve the master over one log's columns; None where no column sets a plate free. Parameters as for `solve_joint_master`."""
    return solve_joint_master((choices,), parts, weights, effort, seed)


def solve_joint_master(
    logs: Sequence[Sequence[FirstSettingChoice]],
    parts: tuple[SawnPart, ...],
    weights: ObjectiveWeights,
    effort: float,
    seed: int = 1,
) -> MasterAnswer | None:
    """Solve the master over the columns of several logs that share demand and settings; of many, some may be left.

    Parameters
    ----------
    logs : sequence of sequences of FirstSettingChoice
        Each log's columns.
    parts : tuple of SawnPart
        The p parts that columns count plates of.
    weights : ObjectiveWeights
        What is maximised.
    effort : float
        CP-SAT's deterministic seconds.
    seed : int
        CP-SAT's.

    Returns
    -------
    MasterAnswer or None
        None where no column sets a plate free.
    """
    if not any(logs):
        return None
    model = cp_model.CpModel()
    made: Made = []
    groups = [_first_settings(model, made, choices, f"{g}.") for g, choices in enumerate(logs)]
    for rows in groups:
        firsts = sum(row[0] for row in rows)
        if len(logs) == 1:
            model.add(firsts == 1)
        elif rows:
            model.add(firsts <= 1)
    charged = sum(column.charged * var for column, var in made)
    if weights.settings_max is not None:
        model.add(charged <= weights.settings_max)
    counted = _counted(model, made, parts)
    sets = _sets(model, counted, parts)
    value = _value(made, counted, charged, weights)
    objective = value
    if weights.sets_first:
        objective = value + sum(
            round(SETS_FIRST * OBJECTIVE_UNITS * _held(product, parts, weights.worth)) * n
            for product, n in sets.items()
        )
    model.maximize(objective)
    on = {index for choices, rows in zip(logs, groups, strict=True) for index in _hint(choices, rows)}
    for _, var in made:
        model.add_hint(var, int(var.index in on))
    solver = _solver(effort, seed)
    status = solver.solve(model)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return None
    bound = solver.best_objective_bound / OBJECTIVE_UNITS
    if weights.sets_within > 0.0 and not weights.sets_first:
        held = {product: _held(product, parts, weights.worth) for product in sets}
        sets_held = sum(round(held[product] * OBJECTIVE_UNITS) * n for product, n in sets.items())
        solver = _fullest_sets(model, solver, made, value, sets_held, weights.sets_within)
    layouts = tuple(_read(choices, rows, solver) for choices, rows in zip(logs, groups, strict=True))
    used = [column for column, var in made if solver.boolean_value(var)]
    name = "optimal" if status == cp_model.OPTIMAL else "feasible"
    return _answer(layouts, used, parts, weights, float(bound), name)


def _value(made: Made, counted: list[cp_model.IntVar], charged: Any, weights: ObjectiveWeights) -> Any:
    """What plates count, net of charges, in units of the objective grid."""
    return (
        sum(round(w * OBJECTIVE_UNITS) * n for w, n in zip(weights.worth, counted, strict=True))
        - round(weights.charge * OBJECTIVE_UNITS) * charged
        - sum(round(column.extra * OBJECTIVE_UNITS) * var for column, var in made if column.extra)
    )


def _solver(effort: float, seed: int) -> cp_model.CpSolver:
    """One worker, a fixed seed and a deterministic limit: the same columns give the same answer."""
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = seed
    solver.parameters.catch_sigint_signal = False  # it would leave Ctrl-C to kill the process
    solver.parameters.max_deterministic_time = effort
    solver.parameters.relative_gap_limit = 1e-6
    return solver


def _fullest_sets(
    model: cp_model.CpModel, solver: cp_model.CpSolver, made: Made, value: Any, sets_held: Any, within: float
) -> cp_model.CpSolver:
    """Of the answers worth no less than the share `within` below the best, the one whose complete sets hold most."""
    best = solver.value(value)
    model.clear_hints()
    for _, var in made:
        model.add_hint(var, solver.value(var))
    model.add(value >= best - round(within * abs(best)))
    model.maximize(sets_held + value)
    again = cp_model.CpSolver()
    again.parameters.copy_from(solver.parameters)
    return again if again.solve(model) in (cp_model.OPTIMAL, cp_model.FEASIBLE) else solver


def _held(product: str, parts: tuple[SawnPart, ...], worth: Array) -> float:
    """What the plates of one set count together."""
    return float(sum(w * p.part.count for w, p in zip(worth, parts, strict=True) if p.product == product))


def _first_settings(model: cp_model.CpModel, made: Made, choices: Sequence[FirstSettingChoice], name: str) -> Rows:
    """Variables of one log's first settings, each with those of its halves above and below."""
    rows = []
    for c, choice in enumerate(choices):
        first = model.new_bool_var(f"first{name}{c}")
        made.append((choice.column, first))
        sides = []
        for side, halves in (("a", choice.above), ("b", choice.below)):
            own = [_half(model, made, first, half, f"{name}{c}{side}{h}") for h, half in enumerate(halves)]
            if own:
                model.add(sum(var for var, _ in own) <= first)
            sides += own
        rows.append((first, sides))
    return rows


def _half(model: cp_model.CpModel, made: Made, first: cp_model.IntVar, half: HalfChoice, name: str) -> HalfRow:
    var = model.new_bool_var(f"half{name}")
    made.append((half.column, var))
    bolts = []
    for side, group in (("a", half.above), ("b", half.below)):
        options = [model.new_bool_var(f"bolt{name}{side}{i}") for i in range(len(group.columns))]
        made.extend(zip(group.columns, options, strict=True))
        if options:
            model.add(sum(options) <= var)
        bolts.append(options)
    model.add(var <= first)
    return var, bolts


def _counted(model: cp_model.CpModel, made: Made, parts: tuple[SawnPart, ...]) -> list[cp_model.IntVar]:
    """Plates of each part that count: all sawn, up to the demand."""
    out = []
    for p, part in enumerate(parts):
        total = sum(column.plates[p] * var for column, var in made if column.plates[p])
        most = sum(column.plates[p] for column, _ in made)
        cap = most if part.demand is None else min(most, part.demand)
        n = model.new_int_var(0, max(cap, 0), f"count{p}")
        model.add(n <= total)
        out.append(n)
    return out


def _sets(
    model: cp_model.CpModel, counted: list[cp_model.IntVar], parts: tuple[SawnPart, ...]
) -> dict[str, cp_model.IntVar]:
    """Complete sets of each product that the counted plates allow."""
    out = {}
    for product in dict.fromkeys(p.product for p in parts):
        n = model.new_int_var(0, SETS_MOST, f"sets{product}")
        for count, part in zip(counted, parts, strict=True):
            if part.product == product:
                model.add(part.part.count * n <= count)
        out[product] = n
    return out


def _hint(choices: Sequence[FirstSettingChoice], rows: Rows) -> set[int]:
    """The exact programmes' best layout: the first choice, its first halves, the fullest fan of each bolt."""
    if not rows:
        return set()
    on: set[int] = {rows[0][0].index}
    first = choices[0]
    halves = iter(rows[0][1])
    for group in (first.above, first.below):
        for i, _ in enumerate(group):
            var, bolts = next(halves)
            if i == 0:
                on.add(var.index)
                on.update(options[-1].index for options in bolts if options)
    return on


def _read(choices: Sequence[FirstSettingChoice], rows: Rows, solver: cp_model.CpSolver) -> LayoutSetting | None:
    """The layout of one log."""
    c = next((i for i, (first, _) in enumerate(rows) if solver.boolean_value(first)), None)
    if c is None:
        return None
    choice, halves = choices[c], iter(rows[c][1])
    picked: list[LayoutSetting | None] = []
    for group in (choice.above, choice.below):
        found = None
        for half in group:
            var, bolts = next(halves)
            if solver.boolean_value(var):
                sides = [
                    next((g.columns[i].setting for i, o in enumerate(options) if solver.boolean_value(o)), None)
                    for g, options in zip((half.above, half.below), bolts, strict=True)
                ]
                found = with_children(half.column.setting, *sides) if any(bolts) else half.column.setting
        picked.append(found)
    # a column that nothing is chosen with says itself what follows
    return with_children(choice.column.setting, *picked) if choice.above or choice.below else choice.column.setting


def _answer(
    layouts: tuple[LayoutSetting | None, ...],
    used: list[LaidColumn],
    parts: tuple[SawnPart, ...],
    weights: ObjectiveWeights,
    bound: float,
    status: str,
) -> MasterAnswer:
    """What the columns used come to."""
    plates = tuple(sum(column.plates[p] for column in used) for p in range(len(parts)))
    settings = sum(column.charged for column in used)
    counted = [min(n, part.demand) if part.demand is not None else n for n, part in zip(plates, parts, strict=True)]
    charges = weights.charge * settings
    value = float(np.dot(counted, weights.worth)) - charges - sum(column.extra for column in used)
    grid = sum(column.grid_value for column in used) - charges
    return MasterAnswer(layouts, value, bound, status, settings, grid, plates)
