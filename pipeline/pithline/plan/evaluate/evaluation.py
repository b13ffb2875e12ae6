"""What is told of a plan beside its totals: what is likely, what going wrong costs, what fewer settings give, what nothing exceeds."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pithline.plan.evaluate.choose import ExecutedPlan, PlanCase
from pithline.plan.evaluate.sampling import passing_on_samples
from pithline.plan.evaluate.sensitivity import cost_of
from pithline.plan.evaluate.totals import Sums
from pithline.plan.evaluate.trade_off import trade_off
from pithline.plan.problem.layout import LayoutSetting
from pithline.plan.problem.log_frame import PlanLog
from pithline.plan.problem.parts import SawnPart
from pithline.plan.programmes.upper_bound import upper_bound_of_logs

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Evaluation:
    """What is not known of a plan.

    Attributes
    ----------
    sampled : (samples,) array
        Passing volume on sampled logs. [mm³]
    cost_of : mapping of str to float
        Volume lost by 5° of roll, 5 mm of height and 5 mm of pith. [mm³]
    """

    sampled: Array
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
    parts: tuple[SawnPart, ...],
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
    parts : tuple of SawnPart
        What it is sawn into.
    sampling : Sampling
        The draws.
    """
    sampled = passing_on_samples(log, sums.plates, parts, sampling.samples, sampling.seed)
    return Evaluation(sampled, cost_of(logs, sums.plates, parts))


def settings_trade_off(case: PlanCase, plan: ExecutedPlan, sums: Sums) -> list[dict[str, Any]]:
    """What fewer settings still give, the plan itself last; empty where its search did not ask."""
    if not plan.candidate.found.trade_off:
        return []
    return trade_off(plan.candidate, sums, case.execute, case.context.parts, case.products)


def upper_bound(case: PlanCase, logs: Sequence[PlanLog]) -> float:
    """No layout of these logs, crosscut from the case's, is worth more: mm³, or money by value."""
    task, objective = case.context.task, case.context.objective
    return upper_bound_of_logs(logs, task.parts, task.worth, task.machines) * objective.unit
