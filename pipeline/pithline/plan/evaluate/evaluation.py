"""What is told of a plan beside its totals: what is likely, what going wrong costs, what fewer settings give, what nothing exceeds."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pithline.plan.evaluate.judge import plate_counts
from pithline.plan.evaluate.sampling import SampledPlates, sampled_logs
from pithline.plan.evaluate.sensitivity import cost_of
from pithline.plan.evaluate.totals import Sums
from pithline.plan.problem.context import SearchContext
from pithline.plan.problem.layout import LayoutSetting
from pithline.plan.problem.log_frame import PlanLog
from pithline.plan.programmes.upper_bound import upper_bound_of_logs

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Evaluation:
    """What is not known of a plan.

    Attributes
    ----------
    sampled : (samples,) array
        Passing volume on sampled logs. [mm³]
    sets : mapping of str to (samples,) array
        Complete sets by product.
    earnings : (samples,) array, optional
        Net of hours; None where nothing has a price.
    cost_of : mapping of str to float
        Volume lost by 5° of roll, 5 mm of height and 5 mm of pith. [mm³]
    """

    sampled: Array
    sets: Mapping[str, NDArray[np.int64]]
    earnings: Array | None
    cost_of: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Sampling:
    """How many logs are sampled, and of which draw."""

    samples: int
    seed: int


def evaluate(
    log: PlanLog,
    logs: Sequence[tuple[PlanLog, LayoutSetting | None]],
    sums: Sums,
    context: SearchContext,
    sampling: Sampling,
) -> Evaluation:
    """Grade a plan's plates on sampled logs, and where it is carried out a little wrong.

    Parameters
    ----------
    log : PlanLog
        The whole log.
    logs : sequence of (PlanLog, layout)
        It, the logs crosscut from it, or pieces of them, each with its layout.
    sums : Sums
        Of the plan.
    context : SearchContext
        What was asked.
    sampling : Sampling
        The draws.
    """
    parts, plates = context.parts, sums.plates
    passing = SampledPlates(sampled_logs(log, sampling.samples, sampling.seed), parts).passing(plates)
    volumes = np.array([plate.volume for plate in plates])
    products = list(dict.fromkeys(part.product for part in parts))
    sold, money = context.economics, context.money
    made = [sold.market.worth(*plate_counts(plates, sold.kinds, row).T)[1] for row in passing]
    sets = {
        name: np.array([int(one[sold.market.product == k].sum()) for one in made]) for k, name in enumerate(products)
    }
    earnings = None
    if money is not None:
        gross = [money.market.worth(*plate_counts(plates, money.kinds, row).T)[0] for row in passing]
        earnings = np.array(gross) - money.charged(sums.ledger.settings)
    return Evaluation(passing @ volumes, sets, earnings, cost_of(logs, plates, parts))


def upper_bound(context: SearchContext, logs: Sequence[PlanLog], prices: Array) -> float:
    """No layout of these logs, crosscut from one, is worth more, however it is cut; prices of the pools (Q,) to reckon at.

    mm³, or money by value.
    """
    market, kinds = context.economics.market, context.economics.kinds
    mated, _ = market.plate_prices(prices)
    dearest = np.array([mated[list(kinds.of_part(p))].max() for p in range(len(kinds.parts))])
    wood = upper_bound_of_logs(logs, context.parts, dearest, context.machines)
    return (wood + market.unsold_bound(prices)) * context.objective.unit
