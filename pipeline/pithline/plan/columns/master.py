"""The master: CP-SAT chooses roll, first setting, both halves and every bolt together, with demand and charges.

Deterministic: one worker, a fixed seed and a deterministic time limit; the exact programmes' best layout is the hint.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

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


def solve_master(
    choices: list[FirstSettingChoice],
    parts: tuple[SawnPart, ...],
    weights: ObjectiveWeights,
    effort: float,
    seed: int = 1,
) -> MasterAnswer | None:
    """Solve the master over one log's columns; None where no column sets a plate free."""
    return solve_joint_master((choices,), parts, weights, effort, seed)


def solve_joint_master(
    logs: Sequence[list[FirstSettingChoice]],
    parts: tuple[SawnPart, ...],
    weights: ObjectiveWeights,
    effort: float,
    seed: int = 1,
) -> MasterAnswer | None:
    """Solve the master over the columns of several logs that share demand and settings; of many, some may be left."""
    if not any(logs):
        return None
    model = cp_model.CpModel()
    made: list[tuple[LaidColumn, cp_model.IntVar]] = []
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
    value = (
        sum(round(w * OBJECTIVE_UNITS) * n for w, n in zip(weights.worth, counted, strict=True))
        - round(weights.charge * OBJECTIVE_UNITS) * charged
        - sum(round(column.extra * OBJECTIVE_UNITS) * var for column, var in made if column.extra)
    )
    objective = value
    if weights.sets_first:
        objective = value + sum(
            round(1000 * OBJECTIVE_UNITS * _held(product, parts, weights.worth)) * n for product, n in sets.items()
        )
    model.maximize(objective)
    on: set[int] = set()
    for choices, rows in zip(logs, groups, strict=True):
        on |= _hint(choices, rows)
    for _, var in made:
        model.add_hint(var, int(var.index in on))
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = seed
    solver.parameters.catch_sigint_signal = False  # it would leave Ctrl-C to kill the process
    solver.parameters.max_deterministic_time = effort
    solver.parameters.relative_gap_limit = 1e-6
    status = solver.solve(model)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return None
    bound = solver.best_objective_bound / OBJECTIVE_UNITS
    if weights.sets_within > 0.0 and not weights.sets_first:
        best = solver.value(value)
        model.clear_hints()
        for _, var in made:
            model.add_hint(var, solver.value(var))
        model.add(value >= best - round(weights.sets_within * abs(best)))
        held = {product: _held(product, parts, weights.worth) for product in sets}
        model.maximize(sum(round(held[product] * OBJECTIVE_UNITS) * n for product, n in sets.items()) + value)
        again = cp_model.CpSolver()
        again.parameters.copy_from(solver.parameters)
        if again.solve(model) in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            solver = again
    layouts = tuple(_read(choices, rows, solver) for choices, rows in zip(logs, groups, strict=True))
    return _answer(layouts, made, solver, bound, status, parts, weights)


def _held(product: str, parts: tuple[SawnPart, ...], worth: Array) -> float:
    """What the plates of one set count together."""
    return float(sum(w * p.part.count for w, p in zip(worth, parts, strict=True) if p.product == product))


def _first_settings(model: cp_model.CpModel, made: list, choices: list[FirstSettingChoice], name: str) -> list[tuple]:
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


def _half(model: cp_model.CpModel, made: list, first: cp_model.IntVar, half: HalfChoice, name: str) -> tuple:
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


def _counted(model: cp_model.CpModel, made: list, parts: tuple[SawnPart, ...]) -> list:
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


def _sets(model: cp_model.CpModel, counted: list, parts: tuple[SawnPart, ...]) -> dict:
    """Complete sets of each product that the counted plates allow."""
    out = {}
    for product in dict.fromkeys(p.product for p in parts):
        n = model.new_int_var(0, 10000, f"sets{product}")
        for count, part in zip(counted, parts, strict=True):
            if part.product == product:
                model.add(part.part.count * n <= count)
        out[product] = n
    return out


def _hint(choices: list[FirstSettingChoice], rows: list) -> set[int]:
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


def _read(choices: list[FirstSettingChoice], rows: list, solver: cp_model.CpSolver) -> LayoutSetting | None:
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
    made: list,
    solver: cp_model.CpSolver,
    bound: float,
    status: int,
    parts: tuple[SawnPart, ...],
    weights: ObjectiveWeights,
) -> MasterAnswer:
    used = [column for column, var in made if solver.boolean_value(var)]
    plates = tuple(sum(column.plates[p] for column in used) for p in range(len(parts)))
    settings = sum(column.charged for column in used)
    counted = [min(n, part.demand) if part.demand is not None else n for n, part in zip(plates, parts, strict=True)]
    value = float(np.dot(counted, weights.worth)) - weights.charge * settings - sum(column.extra for column in used)
    grid = sum(column.grid_value for column in used) - weights.charge * settings
    name = "optimal" if status == cp_model.OPTIMAL else "feasible"
    return MasterAnswer(layouts, value, float(bound), name, settings, grid, plates)
