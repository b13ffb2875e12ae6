"""Many plans of one log: the wood is looked at once, what is sold and its prices go in, layouts come out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pithline.errors import PlanError
from pithline.plan.class_answers import SeenWay
from pithline.plan.class_choice import bolt_classes
from pithline.plan.crosscut_search import CrosscutWay, crosscut_ways
from pithline.plan.execute.bucked_log import crosscut_log
from pithline.plan.pricing.log_oracle import BoltClass
from pithline.plan.problem.context import SearchContext
from pithline.plan.problem.log_frame import PlanLog
from pithline.plan.problem.monitor import SILENT, Monitor
from pithline.plan.search import Candidate, price_start, search_seen, see_way

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class ProvenPrices:
    """No plan of the class and grid has Σ price · plates − minutes × rate above `most`.

    Attributes
    ----------
    prices : (P,) array
        Of a plate of each kind.
    minute : float
        What a minute counts; 0 where the objective counts none.
    most : float
        In the objective's own unit.
    """

    prices: Array
    minute: float
    most: float


@dataclass(frozen=True, slots=True)
class PricedLogs:
    """A log, crosscut or whole, whose wood was looked at for some parts; grids and fills serve all that is asked of it.

    Attributes
    ----------
    log : PlanLog
        The whole log.
    seen : SeenWay
        The logs crosscut from it.
    """

    log: PlanLog
    seen: SeenWay

    @property
    def places(self) -> tuple[float, ...]:
        """Where it is crosscut, along the pith's chord. [mm]"""
        return self.seen.way.places

    @property
    def logs(self) -> tuple[PlanLog, ...]:
        """From butt to top."""
        return self.seen.way.logs

    def layouts(
        self,
        context: SearchContext,
        prices: Array | None = None,
        classes: Sequence[BoltClass] | None = None,
        monitor: Monitor = SILENT,
    ) -> list[Candidate]:
        """The best layouts for what a context sells, of each class of bolts, from few set-ups to many; none where nothing pays.

        Parameters
        ----------
        context : SearchContext
            What is asked; its parts are those that the wood was looked at for.
        prices : (Q,) array, optional
            Of the pools, to begin with.
        classes : sequence of BoltClass, optional
            Those that are searched, narrower ones first; None for all.
        monitor : Monitor
            Hears how far it is.
        """
        start = price_start(context.economics) if prices is None else prices
        seen = replace(self.seen, way=replace(self.seen.way, prices=start))
        asked = bolt_classes(context, seen.on_mill) if classes is None else classes
        own = context.with_effort(replace(context.effort, beside=0))
        return search_seen(self.log, seen, own, asked, monitor)[0]


def priced_logs(
    log: PlanLog, places: tuple[float, ...], context: SearchContext, monitor: Monitor = SILENT
) -> PricedLogs:
    """Look at a log crosscut at `places` [mm], as finely as a context says, for its parts."""
    logs = crosscut_log(log, places, context.machines.buck.kerf, 0.0)[1]
    start = price_start(context.economics)
    return PricedLogs(log, see_way(CrosscutWay(places, logs, 0.0, start), context, monitor))


def crosscut_places(log: PlanLog, context: SearchContext, monitor: Monitor = SILENT) -> tuple[float, ...]:
    """Where a log is best crosscut by the rough grid; () leaves it whole.

    Raises
    ------
    PlanError
        Where it is too long for the mill, and no crosscut leaves what that takes.
    """
    ways = crosscut_ways(log, context, price_start(context.economics), monitor)
    if not ways:
        raise PlanError("it is too long for the mill, and no crosscut leaves what that takes; name a longer mill.")
    return ways[0].places


def proven_prices(candidate: Candidate, context: SearchContext) -> ProvenPrices:
    """What the search that found a candidate proves of every layout of its class, by the prices it ended with.

    Charges are counted on the grid as the least that a plan may have, so the plan's own minutes are no fewer.
    """
    economics = context.economics
    most = candidate.bound - economics.market.unsold_bound(candidate.prices)
    minute = economics.hour_rate / 60.0 if economics.objective.in_money else 0.0
    return ProvenPrices(candidate.prices @ economics.market.holds, minute, max(most, 0.0))
