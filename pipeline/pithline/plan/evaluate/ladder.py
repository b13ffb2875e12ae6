"""A ladder of plans: from few settings and bolts left to the best that was found, each carried out, none that a shorter one betters."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pithline.plan.evaluate.judge import Judge, judge_on_samples
from pithline.plan.evaluate.refine import RefineSteps, refine
from pithline.plan.evaluate.spare_cuts import CarriedOut, spare_cuts
from pithline.plan.execute.bucked_log import LogLayout
from pithline.plan.execute.ledger import Ledger
from pithline.plan.execute.simulate import SawnToSlabs
from pithline.plan.execute.slab_fill import FillRequest, FillStyle, PlacesCache
from pithline.plan.execute.workshop import Caches, Workshop
from pithline.plan.problem.context import SearchContext
from pithline.plan.problem.economics import Objective
from pithline.plan.problem.layout import settings_of
from pithline.plan.problem.log_frame import PlanLog
from pithline.plan.problem.monitor import SILENT, Monitor
from pithline.plan.search import Candidate

Array = NDArray[np.float64]
MOST_RUNGS = 5
STYLES = (FillStyle(), FillStyle((0.93, 1.08)), FillStyle(spares=2.0))
"""Ways to look for fills of a plan that is to be sawn."""
ALIKE = 0.01
"""Litres in sets that differ by less than this share are alike to whoever sells them."""


@dataclass(frozen=True, slots=True)
class PlanCase:
    """One log that is planned: itself, what is asked, the machines it is carried out on."""

    log: PlanLog
    context: SearchContext
    workshop: Workshop

    def execute(self, log_layout: LogLayout, prices: Array, fine: float, caches: Caches = None) -> Ledger:
        """A layout carried out on the real machines, its slabs filled from prices of the pools (Q,) on.

        Parameters
        ----------
        log_layout : LogLayout
            How it is sawn.
        prices : (Q,) array
            To begin with.
        fine : float
            Multiplies the steps at which places are looked at.
        caches : sequence, optional
            What was seen in each log's slabs at these steps.
        """
        return self.workshop.execute(log_layout, self.context.task, self.fill(prices, fine), caches)

    def fill(self, prices: Array, fine: float) -> FillRequest:
        """How slabs are filled, as for `execute`."""
        return FillRequest(self.context.economics, prices, True, fine)


@dataclass(frozen=True, slots=True)
class ExecutedPlan:
    """A way to saw the log, what comes of it on the machines, and what that is likely to be worth, and to earn, net of charges.

    `earnings` is None where nothing has a price. `fill` is how its slabs were filled; None: they stay as they are. `compared` is the plan
    as it was compared with others, before it was filled more finely and spared cuts; None: it is that one.
    """

    candidate: Candidate
    ledger: Ledger
    likely: float
    earnings: float | None = None
    fill: FillRequest | None = None
    compared: ExecutedPlan | None = None

    @property
    def origin(self) -> ExecutedPlan:
        """The plan as it was compared."""
        return self if self.compared is None else self.compared

    @property
    def set_ups(self) -> int:
        """Distinct set-ups."""
        return self.ledger.set_ups


@dataclass(frozen=True, slots=True)
class Ladder:
    """Plans by rising work, each likely to be worth more than those before; `paying` is the number of the one that still pays.

    `refused` says what the machines could not do, where no plan gives a plate that passes.
    """

    rungs: tuple[ExecutedPlan, ...]
    paying: int
    others: tuple[ExecutedPlan, ...]  # carried out, but no rung; the best first
    refused: str = ""


def climb(case: PlanCase, candidates: Sequence[Candidate], monitor: Monitor = SILENT) -> Ladder:
    """Carry candidates out, refine the best, and order them as a ladder."""
    judge = judge_on_samples(case.log, case.context)
    plans: list[ExecutedPlan] = []
    refused = ""
    # the most promising first: what they come to may spare others
    candidates = sorted(candidates, key=lambda one: -one.value)
    for number, one in enumerate(candidates):
        monitor.report("carrying plans out", 0.5 * number / len(candidates))
        if _bettered(one, plans):
            continue
        fine = 1.0 if one.searched is False else case.context.effort.fine
        plan = _judged(judge, one, case.execute(one.log_layout, one.prices, fine), case.fill(one.prices, fine))
        if np.isfinite(plan.likely) and plan.ledger.passing:
            plans.append(plan)
            monitor.found(plan.likely)
            if plan.likely >= max(one.likely for one in plans):
                _show(case, plan, monitor)
        refused = refused or next(iter(plan.ledger.cautions), "")
    plans.sort(key=lambda plan: -plan.likely)
    if plans:
        plans[0] = _refined(case, judge, plans[0], monitor.within(0.5, 0.9))
        _show(case, plans[0], monitor)
        return ladder_of(case, judge, plans)
    return Ladder((), 0, (), refused)


def _show(case: PlanCase, plan: ExecutedPlan, monitor: Monitor) -> None:
    """Let whoever watches see the best plan so far."""
    parts = case.context.parts
    boxes = [
        (f"{parts[one.part].product}, {parts[one.part].part.name}", one.corner, np.array(one.edges))
        for one in plan.ledger.passing
    ]
    monitor.carried_out(case.log.model, boxes)


SURELY = 1.03
"""A plan carried out that is likely to be worth so many times what another promises, with no more settings, is the better one."""


def _bettered(candidate: Candidate, plans: Sequence[ExecutedPlan]) -> bool:
    """Whether a plan with no more settings is surely worth more than a search found a candidate to be."""
    settings = _settings(candidate)
    return candidate.searched and any(
        plan.likely > SURELY * abs(candidate.value) and _settings(plan.candidate) <= settings for plan in plans
    )


def _settings(candidate: Candidate) -> int:
    layouts = candidate.log_layout.layouts
    return len(candidate.log_layout.places) + sum(len(settings_of(one)) for one in layouts if one is not None)


def _judged(judge: Judge, candidate: Candidate, ledger: Ledger, fill: FillRequest | None) -> ExecutedPlan:
    return ExecutedPlan(candidate, ledger, judge.worth(ledger), judge.earnings(ledger), fill)


def _refined(case: PlanCase, judge: Judge, plan: ExecutedPlan, monitor: Monitor) -> ExecutedPlan:
    """The plan refined where the effort says so; what came from elsewhere stays as it is."""
    effort, mill = case.context.effort, case.workshop.machines.mill
    candidate = plan.candidate
    if not effort.trials or not candidate.searched or monitor.stopped():
        return plan

    def execute(log_layout: LogLayout, caches: Caches) -> Ledger:
        return case.execute(log_layout, candidate.prices, effort.fine, caches)

    steps = RefineSteps(effort.trials, mill.roll_step, mill.height_step, case.context.locks.roll is None)
    log_layout, ledger = refine(candidate.log_layout, execute, judge.worth, steps, monitor)
    fill = case.fill(candidate.prices, effort.fine)
    return _judged(judge, replace(candidate, log_layout=log_layout), ledger, fill)


def ladder_of(case: PlanCase, judge: Judge, plans: Sequence[ExecutedPlan]) -> Ladder:
    """The plans that no other with as few set-ups is worth as much as, filled as finely as they are sawn, by rising work."""
    rungs: list[ExecutedPlan] = []
    for plan in sorted(plans, key=lambda one: (one.set_ups, -one.likely)):
        if not rungs or plan.likely > rungs[-1].likely:
            rungs.append(plan)
    while len(rungs) > MOST_RUNGS:
        steps = [rungs[i + 1].likely - rungs[i].likely for i in range(len(rungs) - 1)]
        rungs.pop(int(np.argmin(steps[:-1])) + 1 if len(steps) > 1 else 1)
    fine = [_as_it_is_sawn(case, judge, plan) for plan in rungs]
    kept = unbettered(fine)
    rungs, fine = [rungs[k] for k in kept], [fine[k] for k in kept]
    kept = worth_a_rung([plan.earnings for plan in fine])
    rungs, fine = [rungs[k] for k in kept], [fine[k] for k in kept]
    others = sorted((plan for plan in plans if all(plan is not rung for rung in rungs)), key=lambda one: -one.likely)
    return Ladder(tuple(fine), paying_rung([plan.earnings for plan in fine]), tuple(others))


def _as_it_is_sawn(case: PlanCase, judge: Judge, plan: ExecutedPlan) -> ExecutedPlan:
    """The plan filled as finely as it is sawn, without cuts of which nothing comes; the same one where it is so already."""
    found = _without_idle_cuts(case, judge, _filled_finely(case, judge, plan))
    return plan if found is plan else replace(found, compared=plan.origin)


def unbettered(plans: Sequence[ExecutedPlan]) -> list[int]:
    """The numbers of plans by rising set-ups, without those that one of as few set-ups is worth as much as and earns as much as.

    Set-ups that a plan is spared once it is carried out finely may bring it before others.
    """
    kept: list[int] = []
    for k in sorted(range(len(plans)), key=lambda k: (plans[k].set_ups, -plans[k].likely)):
        if not any(_as_good(plans[other], plans[k]) for other in kept):
            kept.append(k)
    return kept


def _as_good(one: ExecutedPlan, other: ExecutedPlan) -> bool:
    earns = (one.earnings or 0.0) >= (other.earnings or 0.0)
    return one.likely >= other.likely and earns


def worth_a_rung(earnings: Sequence[float | None]) -> list[int]:
    """Of plans by rising work, the numbers of those that anybody would climb to: the first, the best, and between them what earns more.

    The best by sets or litres stays whatever it earns.
    """
    kept, most = [0], earnings[0]
    for k in range(1, len(earnings)):
        now = earnings[k]
        if k == len(earnings) - 1 or now is None or most is None or now > most:
            kept.append(k)
            most = now if most is None or now is None else max(now, most)
    return kept


def ladder_without(case: PlanCase, ladder: Ladder, fails: Sequence[ExecutedPlan]) -> Ladder:
    """The ladder of all plans that were carried out but those that turned out to fail: what these kept out may be rungs now.

    Its plans are the ones of the earlier ladder, so that what was proven of them stays proven, but where a new rung is filled
    more finely.
    """
    left = [one for one in (*ladder.rungs, *ladder.others) if all(one.origin is not failed.origin for failed in fails)]
    if not left:
        return Ladder((), 0, (), ladder.refused)
    return ladder_of(case, judge_on_samples(case.log, case.context), left)


def _filled_finely(case: PlanCase, judge: Judge, plan: ExecutedPlan) -> ExecutedPlan:
    """The plan with its slabs looked at as finely as they are sawn and filled in several ways: the one that is likely to be worth most.

    Whole sets make worths jump, so ways to fill that promise alike on the fitted log differ by some per cent on sampled ones.
    By sets, of those that are nearly worth as much the one that earns most is taken.
    """
    if case.context.effort.fine == 1.0:
        return plan
    ways = [plan, *_in_each_style(case, judge, plan.candidate)]
    most = max(one.likely for one in ways)
    if case.context.objective is not Objective.SETS:
        return next(one for one in ways if one.likely == most)
    alike = [one for one in ways if one.likely >= most - ALIKE * abs(most)]
    return max(alike, key=lambda one: (one.earnings or 0.0, one.likely))


def _in_each_style(case: PlanCase, judge: Judge, candidate: Candidate) -> Iterator[ExecutedPlan]:
    """A layout carried out as finely as it is sawn, its slabs filled in each style; up to these all are the same."""
    context = case.context
    caches: list[PlacesCache] = [{} for _ in candidate.log_layout.layouts]
    slabs = case.workshop.saw(candidate.log_layout, context.task, caches)
    for style in STYLES:
        fill = FillRequest(context.economics, candidate.prices, style=style)
        yield _judged(judge, candidate, slabs.filled(context.task, fill), fill)


def _without_idle_cuts(case: PlanCase, judge: Judge, plan: ExecutedPlan) -> ExecutedPlan:
    """The plan without cuts of which nothing comes."""
    if plan.fill is None:
        return plan
    task, before = case.context.task, CarriedOut(plan.candidate.log_layout, plan.ledger, plan.fill)

    def saw(log_layout: LogLayout, caches: Caches) -> SawnToSlabs:
        return case.workshop.saw(log_layout, task, caches)

    after = spare_cuts(before, saw, judge, task)
    if after is before:
        return plan
    return _judged(judge, replace(plan.candidate, log_layout=after.log_layout), after.ledger, None)


def paying_rung(earnings: Sequence[float | None]) -> int:
    """The rung up to which every step pays, of what each is likely to earn; None where nothing has a price.

    Rungs gain net of what their settings are charged; where things have prices, a step must also earn more an hour than an hour
    costs, so that earnings rise.
    """
    chosen = 0
    for k in range(1, len(earnings)):
        now, then = earnings[k], earnings[chosen]
        if now is not None and then is not None and now <= then:
            continue
        chosen = k
    return chosen
