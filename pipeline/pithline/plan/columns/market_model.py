"""What is sold, as a CP-SAT model: fills of slabs are added, then sets, plates left over and charges are summed up."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from ortools.sat.python import cp_model

from pithline.plan.pricing.fills import Fill, Fillable, fill_at_each
from pithline.plan.pricing.price_search import worth_at
from pithline.plan.problem.economics import CutCosts
from pithline.plan.problem.market import Market

Array = NDArray[np.float64]
Counts = NDArray[np.int64]
UNIT = 1e4
"""Objective grid: 1/10 000 litre (or of the currency), so rounding costs less than a plate's thousandth."""
STEPS = (0.8, 1.25)
"""By what single prices are moved from the best ones, so that slabs are filled in ways among which whole sets can be made up."""
CHEAP = 0.02
"""A price of nothing is moved from this share of the dearest set."""


def price_family(market: Market, prices: Array, steps: Sequence[float] = STEPS) -> list[Array]:
    """Prices near the best ones, (Q,) each, the best ones first."""
    out = [prices]
    cheap = CHEAP * float(market.set_worth.max(initial=0.0))
    for pool in range(len(prices)):
        for step in steps:
            moved = prices.copy()
            moved[pool] = max(moved[pool], cheap) * step
            out.append(moved)
    for product in range(len(market.demand)):
        out += [np.where(market.pool_product == product, prices * step, prices) for step in steps]
    return out


def fills_at(slabs: Sequence[Fillable], market: Market, family: Sequence[Array], costs: CutCosts) -> list[list[Fill]]:
    """For each slab the different fills that prices of a family give."""
    out = []
    for each in fill_at_each(slabs, [worth_at(market, prices, costs) for prices in family]):
        found: dict[bytes, Fill] = {}
        for _, fill in each:
            if fill.counts.any():
                found.setdefault(fill.counts.tobytes(), fill)
        out.append(list(found.values()))
    return out


@dataclass(slots=True)
class MarketModel:
    """A CP-SAT model of what is sold; `charges` are (charge, variable) of settings, `cuts` those of the cuts of fills."""

    market: Market
    model: cp_model.CpModel = field(default_factory=cp_model.CpModel)
    charges: list[tuple[float, cp_model.IntVar]] = field(default_factory=list)
    cuts: list[tuple[float, cp_model.IntVar]] = field(default_factory=list)
    mated: list[list[tuple[int, cp_model.IntVar]]] = field(default_factory=list)
    single: list[list[tuple[int, cp_model.IntVar]]] = field(default_factory=list)
    sets: list[cp_model.IntVar] = field(default_factory=list)

    def __post_init__(self) -> None:
        kinds = self.market.holds.shape[1]
        self.mated = [[] for _ in range(kinds)]
        self.single = [[] for _ in range(kinds)]

    def add_fills(
        self, chosen: cp_model.LinearExprT, fills: Sequence[Fill], first: bool | None = None
    ) -> list[cp_model.IntVar]:
        """One of these fills, or none, where the slab is sawn; `first` hints whether that is the first of them."""
        taken = [self.model.new_bool_var("") for _ in fills]
        if taken:
            self.model.add(sum(taken) <= chosen)
        for number, (var, fill) in enumerate(zip(taken, fills, strict=True)):
            if first is not None:
                self.model.add_hint(var, int(first and number == 0))
            if fill.cost > 0.0:
                self.cuts.append((fill.cost, var))
            for kind in np.flatnonzero(fill.counts.any(axis=1)):
                mated, single = (int(v) for v in fill.counts[kind])
                if mated:
                    self.mated[kind].append((mated, var))
                if single:
                    self.single[kind].append((single, var))
        return taken

    def maximise(self, sawn: Counts | None = None, least: float = -np.inf) -> None:
        """Close the model: sets and plates left over, less charges; `sawn` (P, 2) mated and single plates count beside those added.

        Nothing worth less than `least` is asked for.
        """
        market, model = self.market, self.model
        fixed = np.zeros((len(self.mated), 2), np.int64) if sawn is None else sawn
        mated = [sum(n * v for n, v in own) + int(fixed[p, 0]) for p, own in enumerate(self.mated)]
        single = [sum(n * v for n, v in own) + int(fixed[p, 1]) for p, own in enumerate(self.single)]
        most = sum(n for own in (*self.mated, *self.single) for n, _ in own) + int(fixed.sum())
        for r in range(len(market.set_worth)):
            self.sets.append(model.new_int_var(0, int(min(market.demand[market.product[r]], most)), ""))
        for k in range(len(market.demand)):
            own = [self.sets[r] for r in np.flatnonzero(market.product == k)]
            if len(own) > 1 and np.isfinite(market.demand[k]):
                model.add(sum(own) <= int(market.demand[k]))
        value = sum(round(w * UNIT) * n for w, n in zip(market.set_worth, self.sets, strict=True))
        lone_worth = market.lone_worth
        left: list[cp_model.IntVar] = []
        for q in range(len(market.loose)):
            kinds = np.flatnonzero(market.holds[q] > 0)
            if not len(kinds):  # another pool holds its plates
                left.append(model.new_constant(0))
                continue
            uses = sum(int(market.need[r, q]) * self.sets[r] for r in range(len(self.sets)) if market.need[r, q])
            pooled = sum(mated[p] if market.mated[p] else mated[p] + single[p] for p in kinds)
            model.add(uses <= pooled)
            room = int(min(market.wanted[q], most))
            spare = model.new_int_var(0, room, "")
            model.add(spare <= pooled - uses)
            left.append(spare)
            lone = model.new_int_var(0, room if lone_worth[q] > 0.0 else 0, "")
            if lone_worth[q] > 0.0:
                model.add(lone <= sum(single[p] for p in kinds if market.mated[p]))
            if np.isfinite(market.wanted[q]):
                model.add(spare + lone + uses <= room)
            value += round(market.loose[q] * UNIT) * spare + round(lone_worth[q] * UNIT) * lone
        for narrow, wide in market.from_wide_to_narrow:
            model.add(left[narrow] <= left[wide])
        cost = sum(round(charge * UNIT) * var for charge, var in (*self.charges, *self.cuts))
        for p, each in enumerate(market.cost):
            if each > 0.0:
                cost += round(each * UNIT) * (mated[p] + single[p])
        if np.isfinite(least):
            model.add(value - cost >= round(least * UNIT))
        model.maximize(value - cost)

    @staticmethod
    def worth(objective: float) -> float:
        """A value of the model's objective in litres or money."""
        return objective / UNIT


def solve_model(model: MarketModel, effort: float, seed: int) -> tuple[cp_model.CpSolver, str] | None:
    """Solve a closed model in `effort` deterministic seconds; the solver and its status, None where nothing is found."""
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = seed
    solver.parameters.catch_sigint_signal = False  # it would leave Ctrl-C to kill the process
    solver.parameters.max_deterministic_time = effort
    solver.parameters.relative_gap_limit = 1e-4
    # the model is nearly a linear one: its relaxation does more than probing, by a factor of ten in time
    solver.parameters.linearization_level = 2
    solver.parameters.symmetry_level = 0
    solver.parameters.cp_model_probing_level = 0
    status = solver.solve(model.model)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return None
    return solver, "optimal" if status == cp_model.OPTIMAL else "feasible"
