"""Which of the layouts found is the plan: each carried out, ranked by what it is likely to yield, the best refined."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from pithline.mill.products import Products
from pithline.plan.evaluate.ranking import Judge, judge_on_samples
from pithline.plan.evaluate.refine import RefineSteps, refine
from pithline.plan.execute.bucked_log import LogLayout
from pithline.plan.execute.ledger import Ledger
from pithline.plan.execute.workshop import Caches, Workshop
from pithline.plan.problem.context import SearchContext
from pithline.plan.problem.layout import NO_LOCKS
from pithline.plan.problem.log_frame import PlanLog
from pithline.plan.problem.monitor import SILENT, Monitor
from pithline.plan.problem.objective import Objective
from pithline.plan.search import Candidate


@dataclass(frozen=True, slots=True)
class PlanCase:
    """One log that is planned: itself, what is asked, the machines it is carried out on, the products it is sawn into."""

    log: PlanLog
    context: SearchContext
    workshop: Workshop
    products: Products

    def execute(self, log_layout: LogLayout, caches: Caches = None) -> Ledger:
        """A layout carried out on the real machines."""
        return self.workshop.execute(log_layout, self.context.task, caches)


@dataclass(frozen=True, slots=True)
class ExecutedPlan:
    """A way to saw the log, and what comes of it on the machines."""

    candidate: Candidate
    ledger: Ledger


def plans_in_order(
    case: PlanCase, candidates: Sequence[Candidate], practice: Candidate, monitor: Monitor = SILENT
) -> Iterator[ExecutedPlan]:
    """The candidates carried out, best first, and the practice layout after them where it is not among them.

    Before the best comes what refinement makes of it.
    """
    judge = judge_on_samples(case.log, case.context, case.products)
    ranked = judge.rank(candidates, case.execute)
    if ranked:
        ledger, candidate = ranked[0]
        better = _refined(case, judge, ExecutedPlan(candidate, ledger), monitor)
        if better.candidate.log_layout is not candidate.log_layout:
            yield better
    for ledger, candidate in ranked:
        yield ExecutedPlan(candidate, ledger)
    if case.context.locks == NO_LOCKS and not any(one is practice for one in candidates):
        yield ExecutedPlan(practice, case.execute(practice.log_layout))


def _refined(case: PlanCase, judge: Judge, plan: ExecutedPlan, monitor: Monitor) -> ExecutedPlan:
    """The plan refined where the effort says so; what came from elsewhere stays as it is."""
    trials, mill = case.context.effort.trials, case.workshop.machines.mill
    if not trials or plan.candidate.status or monitor.stopped():
        return plan
    if case.context.objective is Objective.SETS:  # its values rank, but count nothing that could be told
        monitor = replace(monitor, found=SILENT.found)
    steps = RefineSteps(trials, mill.roll_step, mill.height_step, case.context.locks.roll is None)
    log_layout, ledger = refine(plan.candidate.log_layout, case.execute, judge.worth, steps, monitor)
    return ExecutedPlan(replace(plan.candidate, log_layout=log_layout), ledger)
