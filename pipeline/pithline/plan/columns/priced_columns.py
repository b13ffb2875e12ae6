"""Columns of a log's pieces that are asked for again and again at other prices: all columns found serve all prices.

What a slab holds does not change with prices: the wood is looked at once, and only the tables of values are made anew.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pithline.plan.columns.laid_columns import FirstSettingChoice
from pithline.plan.columns.log_columns import LogSearch, begin_search
from pithline.plan.columns.master import MasterAnswer, solve_joint_master
from pithline.plan.problem.context import SearchContext
from pithline.plan.problem.log_frame import PlanLog
from pithline.plan.problem.monitor import SILENT, Monitor
from pithline.plan.problem.objective import ObjectiveWeights
from pithline.plan.programmes.grid import Grid

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class PricedView:
    """What one set of prices found and proved.

    Attributes
    ----------
    promise : float
        No layout of the pieces is worth more at these prices on the grid.
    considered : int
        Layouts that the programmes weighed.
    grid : Grid
        The stated grid.
    """

    promise: float
    considered: int
    grid: Grid


@dataclass(frozen=True, slots=True)
class PricedColumns:
    """The pieces of a log, looked at; `pools` hold the columns of each and grow.

    Attributes
    ----------
    context : SearchContext
        What is asked, whatever the prices.
    searches : tuple of LogSearch
        Of each piece.
    pools : tuple of list of FirstSettingChoice
        Columns found so far, by piece.
    """

    context: SearchContext
    searches: tuple[LogSearch, ...]
    pools: tuple[list[FirstSettingChoice], ...]

    @property
    def found(self) -> bool:
        """Whether there is any column yet."""
        return any(self.pools)

    def add(self, prices: Array, charge: float, monitor: Monitor = SILENT) -> PricedView:
        """Search every piece at prices of all parts (p,) and a charge of each setting; parts at 0 are left out.

        Raises
        ------
        ValueError
            Where no part has a price.
        """
        parts = self.context.parts
        view = tuple(part for part, price in zip(parts, prices, strict=True) if price > 0.0)
        if not view:
            raise ValueError("no part has a price")
        weights = ObjectiveWeights(np.array([price for price in prices if price > 0.0]), charge)
        promise, considered = 0.0, 0
        grid: Grid | None = None
        for search, pool in zip(self.searches, self.pools, strict=True):
            priced = search.at_prices(tuple(float(price) for price in prices))
            got = priced.columns(view, weights, (), monitor)
            pool.extend(got.choices)
            promise, considered, grid = promise + got.promise, considered + got.considered, got.grid
        assert grid is not None
        return PricedView(promise, considered, grid)

    def choose(self, weights: ObjectiveWeights) -> MasterAnswer | None:
        """The best layouts of all pieces together, of all columns found so far; None where they give nothing."""
        context = self.context
        answer = solve_joint_master(self.pools, context.parts, weights, context.effort.master, context.seed)
        return answer if answer is not None and any(answer.layouts) else None


def priced_columns(logs: Sequence[PlanLog], context: SearchContext, fine: float) -> PricedColumns:
    """Look at the wood of a log's pieces; `fine` says how finely columns are laid out, as for `lay_out`."""
    searches = []
    for log in logs:
        search = begin_search(log, context)
        searches.append(replace(search, evaluator=replace(search.evaluator, fine=fine)))
    return PricedColumns(context, tuple(searches), tuple([] for _ in logs))
