"""A ladder of plans: from few settings and bolts left to the best that was found, each carried out, none that a shorter one betters."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from pithline.plan.class_choice import small
from pithline.plan.evaluate.refine import RefineSteps, refine
from pithline.plan.evaluate.workbench import (
    ExecutedPlan,
    PlanCase,
    Workbenches,
    benches_of,
    carried_out,
    finished,
    judged,
    tried,
)
from pithline.plan.problem.layout import settings_of
from pithline.plan.problem.monitor import SILENT, Begin, Monitor
from pithline.plan.search import Candidate

MOST_RUNGS = 5


@dataclass(frozen=True, slots=True)
class Ladder:
    """Plans by rising work, each likely to be worth more than those before; `paying` is the number of the one that still pays.

    `refused` says what the machines could not do, where no plan gives a plate that passes.
    """

    rungs: tuple[ExecutedPlan, ...]
    paying: int
    others: tuple[ExecutedPlan, ...]  # carried out, but no rung; the best first
    refused: str = ""


def climb(
    case: PlanCase, candidates: Sequence[Candidate], monitor: Monitor = SILENT, begin: Begin | None = None
) -> Ladder:
    """Carry candidates out, refine the best, and order them as a ladder.

    Parameters
    ----------
    case : PlanCase
        The log, what is asked of it, and the machines.
    candidates : sequence of Candidate
        Ways to saw it.
    monitor : Monitor
        Hears how far it is, and of the best plan so far.
    begin : callable, optional
        Begins work in another process, and returns what waits for it.
    """
    benches = benches_of(case, begin)
    plans: list[ExecutedPlan] = []
    refused = ""
    # the most promising first: what they come to may spare others
    waiting = sorted(candidates, key=lambda one: -one.value)
    ahead: dict[int, Callable[[], ExecutedPlan]] = {}
    for number, one in enumerate(waiting):
        monitor.report("carrying plans out", 0.5 * number / len(waiting))
        if _bettered(one, plans):
            continue
        if number in ahead:
            plan = replace(ahead[number](), candidate=one)
        else:
            if benches.two and number + 1 < len(waiting) and not _bettered(waiting[number + 1], plans):
                ahead[number + 1] = benches.ahead(carried_out, waiting[number + 1])
            plan = carried_out(benches.own, one)
        if np.isfinite(plan.likely) and plan.ledger.passing:
            plans.append(plan)
            monitor.found(plan.likely)
            if plan.likely >= max(one.likely for one in plans):
                _show(case, plan, monitor)
        refused = refused or next(iter(plan.ledger.cautions), "")
    plans.sort(key=lambda plan: -plan.likely)
    if plans:
        plans[0] = _refined(benches, plans[0], monitor.within(0.5, 0.9))
        _show(case, plans[0], monitor)
        return ladder_of(benches, plans)
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


def _refined(benches: Workbenches, plan: ExecutedPlan, monitor: Monitor) -> ExecutedPlan:
    """The plan refined where the effort says so; what came from elsewhere stays as it is."""
    own, candidate = benches.own, plan.candidate
    case, effort = own.case, own.case.context.effort
    if not effort.trials or not candidate.searched or monitor.stopped():
        return plan
    mill, prices = case.workshop.machines.mill, candidate.prices
    steps = RefineSteps(effort.trials, mill.roll_step, mill.height_step, case.context.locks.roll is None)
    log_layout, ledger = refine(
        candidate.log_layout,
        partial(tried, own, prices),
        steps,
        monitor,
        (lambda layout: benches.ahead(tried, prices, layout)) if benches.two else None,
    )
    return judged(own, replace(candidate, log_layout=log_layout), ledger, case.fill(prices, effort.fine))


def ladder_of(benches: Workbenches, plans: Sequence[ExecutedPlan]) -> Ladder:
    """The plans that no other with as few set-ups is worth as much as, filled as finely as they are sawn, by rising work."""
    plans, done = _the_best_closely(benches, plans)
    rungs: list[ExecutedPlan] = []
    for plan in sorted(plans, key=lambda one: (one.set_ups, -one.likely)):
        if not rungs or plan.likely > rungs[-1].likely:
            rungs.append(plan)
    while len(rungs) > MOST_RUNGS:
        steps = [rungs[i + 1].likely - rungs[i].likely for i in range(len(rungs) - 1)]
        rungs.pop(int(np.argmin(steps[:-1])) + 1 if len(steps) > 1 else 1)
    left = [plan for plan in rungs if id(plan) not in done]
    finely = {id(plan): found for plan, found in zip(left, _finished(benches, left), strict=True)}
    fine = [finely.get(id(plan), plan) for plan in rungs]
    kept = unbettered(fine)
    rungs, fine = [rungs[k] for k in kept], [fine[k] for k in kept]
    kept = worth_a_rung([plan.earnings for plan in fine])
    rungs, fine = [rungs[k] for k in kept], [fine[k] for k in kept]
    others = sorted((plan for plan in plans if all(plan is not rung for rung in rungs)), key=lambda one: -one.likely)
    return Ladder(tuple(fine), paying_rung([plan.earnings for plan in fine]), tuple(others))


def _finished(benches: Workbenches, plans: Sequence[ExecutedPlan]) -> list[ExecutedPlan]:
    """Plans filled as finely as they are sawn, the same ones where they are so already."""
    return [
        # what comes from the other bench unchanged is a copy
        plan if found is plan or found.compared is None else replace(found, compared=plan.origin)
        for plan, found in zip(plans, benches.each(finished, plans), strict=True)
    ]


def _the_best_closely(
    benches: Workbenches, plans: Sequence[ExecutedPlan]
) -> tuple[Sequence[ExecutedPlan], frozenset[int]]:
    """Plans of a small log, the most promising of them filled as finely as they are sawn; and the identities of these.

    Seen coarsely a place for a plate is found or missed, and of few sets one more or less puts plans into another order.
    """
    case = benches.own.case
    most = case.context.effort.closely
    if not most or not small([case.log]):
        return plans, frozenset()
    ranked = sorted(range(len(plans)), key=lambda k: -plans[k].likely)[:most]
    out = list(plans)
    for k, found in zip(ranked, _finished(benches, [plans[k] for k in ranked]), strict=True):
        out[k] = found
    return out, frozenset(id(out[k]) for k in ranked)


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
    return ladder_of(benches_of(case), left)


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
