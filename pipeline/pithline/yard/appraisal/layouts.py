"""The plan that an appraisal counts on: what `pithline plan` with the same products, objective and effort saws the log by.

Where its search finds nothing that holds, the practice layout stands in its place, and the row says so: a search that fails makes no
log worthless.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pithline.errors import PlanError
from pithline.geometry.pieces import Piece
from pithline.mill.limits import log_fits, widest_across
from pithline.mill.machine import Machines
from pithline.mill.sections import log_sections, piece_shape
from pithline.plan.api import (
    NO_LOCKS,
    SILENT,
    BoltClass,
    Economics,
    Effort,
    FillRequest,
    Judge,
    Ledger,
    LogLayout,
    Monitor,
    PlanCase,
    PlanLog,
    SawnPart,
    climb,
    crosscut_log,
    execute_as_drawn,
    practice,
    price_start,
    priced_logs,
)
from pithline.yard.one_log import refuse_hopeless, ways_to_saw
from pithline.yard.prepared_log import PreparedLog
from pithline.yard.request import Request
from pithline.yard.watch import PlanWatch

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class AppraisalShop:
    """What a log is sawn with and into, and what is asked of its plans.

    Attributes
    ----------
    own : PreparedLog
        The log as it is most likely, its machines and parts.
    case : PlanCase
        What is asked of a plan of it.
    """

    own: PreparedLog
    case: PlanCase

    @property
    def priced(self) -> bool:
        """Whether any product has a price; without one litres are all there is to go by."""
        return self.case.context.money is not None

    @property
    def sold(self) -> Economics:
        """What outcomes are counted by: money, or litres by the objective where nothing has a price."""
        return self.case.context.money or self.case.context.economics

    @property
    def machines(self) -> Machines:
        """Mill and saws."""
        return self.own.machines

    @property
    def parts(self) -> tuple[SawnPart, ...]:
        """All that may be sawn."""
        return self.own.parts

    def minutes(self, ledger: Ledger) -> float:
        """All that a plan takes, with what every log takes. [min]"""
        return ledger.minutes + self.machines.mill.minutes_per_log


@dataclass(frozen=True, slots=True)
class AppraisedPlan:
    """A plan carried out on the log as it is known.

    Attributes
    ----------
    log_layout : LogLayout
        How it is sawn.
    prices : (Q,) array
        Of the pools of plates, at which its slabs are filled.
    ledger : Ledger
        What comes of it.
    minutes : float
        All that it takes.
    bolts : BoltClass, optional
        The class of layouts it was found in; None where no search found it.
    way : str
        Its class in words.
    rungs : int
        Plans on the ladder that it stands on.
    note : str
        Why no search's plan stands here; empty where one does.
    """

    log_layout: LogLayout
    prices: Array
    ledger: Ledger
    minutes: float
    bolts: BoltClass | None = None
    way: str = ""
    rungs: int = 1
    note: str = ""


def fits(log: PlanLog, basis: str, machines: Machines, name: str) -> tuple[str, ...]:
    """Cautions about a log the mill may not hold.

    Parameters
    ----------
    log : PlanLog
        The log.
    basis : str
        "scan", "one flank" or "tape".
    machines : Machines
        What it is to be sawn with.
    name : str
        Its id.

    Raises
    ------
    MillError
        Names the limit.
    """
    model, mill = log.model, machines.mill
    whole, plain = (
        piece_shape(log_sections(one), Piece("log", "log"), bark=True)
        for one in (model, replace(model, envelope=model.radius_over_bark))
    )
    longest = replace(mill, log_length_max=max(mill.log_length_max, model.length))  # a longer one is crosscut first
    across, most = widest_across(plain)[0], widest_across(whole)[0]
    if basis != "tape":
        log_fits(whole, across, model.length, longest, name)
        return ()
    # the envelope of a taped log holds no stub that was seen, only the doubt of its section
    log_fits(plain, across, model.length, longest, name)
    if most <= mill.log_diameter_max:
        return ()
    return (
        f"by its girths it is {across:.0f} mm across, but where it is not round it may reach {most:.0f} mm, and the largest log "
        f"the mill takes is {mill.log_diameter_max:.0f} mm: measure its widest place before you bid.",
    )


def plan_now(shop: AppraisalShop, request: Request, monitor: Monitor = SILENT) -> AppraisedPlan:
    """The plan of the log that pays, as `pithline plan` finds it; the practice layout where no search's plan holds.

    Raises
    ------
    InputError
        Where nothing is wanted of it.
    PlanError
        Where not even the practice layout gives a passing plate.
    """
    case = shop.case
    refuse_hopeless(case.log, case.context, shop.own.inputs.card.id)
    watch = PlanWatch(monitor, "in money" if request.objective.in_money else "L")
    try:
        ways = ways_to_saw(shop.own, case, request, watch)
        ladder = climb(case, ways.candidates, watch.monitor.within(0.7, 1.0))
    except PlanError as error:
        return _practised(shop, str(error))
    if not ladder.rungs:
        return _practised(shop, "no layout that was found can be held on this mill")
    plan = ladder.rungs[ladder.paying]
    candidate = plan.candidate
    return AppraisedPlan(
        candidate.log_layout,
        candidate.prices,
        plan.ledger,
        shop.minutes(plan.ledger),
        candidate.bolts,
        candidate.title,
        len(ladder.rungs),
    )


def _practised(shop: AppraisalShop, why: str) -> AppraisedPlan:
    """The practice layout in the place of a plan that was not found."""
    case, context = shop.case, shop.case.context.with_locks(NO_LOCKS)
    prices = price_start(context.economics)
    done = practice(case.log, context, shop.own.inputs.practice, prices)
    best = max((done.with_bolts, done.slabs), key=Judge(context).worth)
    if not best.passing:
        raise PlanError(why)
    return AppraisedPlan(
        done.log_layout, prices, best, shop.minutes(best), way="practice layout", note=why.removesuffix(".")
    )


QUICK = Effort("quick", 12, 25.0, rounds=1, answers=1, master=2.0, firsts=2, halves=2)
"""Of a plan made anew for a drawn log: one look at the prices of the plan that it starts from."""


def laid_again(log: PlanLog, plan: AppraisedPlan, shop: AppraisalShop) -> AppraisedPlan:
    """The same settings on a log known better: faces stay where they are about the pith, plates are packed anew."""
    places = plan.log_layout.places
    logs = crosscut_log(log, places, shop.machines.buck.kerf, 0.0)[1]
    return _drawn(LogLayout(log, places, logs, plan.log_layout.layouts), plan, shop)


def planned_anew(log: PlanLog, plan: AppraisedPlan, shop: AppraisalShop, seed: int) -> AppraisedPlan:
    """The best plan of the same class for a log known far better, crosscut where it was; the old settings where those are better."""
    out = [laid_again(log, plan, shop)]
    if plan.bolts is not None:
        context = replace(shop.case.context.with_effort(QUICK), seed=seed)
        priced = priced_logs(log, plan.log_layout.places, context)
        for found in priced.layouts(context, plan.prices, [plan.bolts]):
            out.append(_drawn(found.log_layout, plan, shop))
    judge = Judge(shop.case.context)
    return max(out, key=lambda one: judge.worth(one.ledger))


FINE = 1.5
"""How finely slabs are looked at where plans are compared; as the planner's coarse effort."""


def _drawn(log_layout: LogLayout, plan: AppraisedPlan, shop: AppraisalShop) -> AppraisedPlan:
    """A layout carried out as drawn, filled at the prices of a plan; on how it lies on the mill little depends here."""
    context = shop.case.context
    ledger = execute_as_drawn(log_layout, context.task, FillRequest(context.economics, plan.prices, True, FINE))
    return replace(plan, log_layout=log_layout, ledger=ledger, minutes=shop.minutes(ledger))
