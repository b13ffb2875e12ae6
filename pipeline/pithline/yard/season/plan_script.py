"""The cut script of a season's plan: carried out again for what orders take of it, beside practice, graded on sampled logs, replayed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from pithline.errors import ScriptError
from pithline.logmodel.document import model_to_json
from pithline.logmodel.model import LogModel
from pithline.mill.products import Products
from pithline.plan.api import (
    BoltClass,
    Candidate,
    Economics,
    Judge,
    Objective,
    Sampling,
    SawnPart,
    Workbench,
    economics_of,
    evaluate,
    judge_on_samples,
    judged,
    practice,
    price_start,
    without_idle_cuts,
)
from pithline.yard.finalise import FinishedPlan, must_hold, practice_beside, script_from_plan, settle_by_replay
from pithline.yard.request import Inputs, Request
from pithline.yard.season.log_plans import FINE, ask_context, ask_from, layout_from, season_log


def script_of_plan(model: LogModel, inputs: Inputs, plan: Mapping[str, Any], listed: Products) -> dict[str, Any]:
    """The cut script of a plan, without cuts of which nothing comes that is sold.

    Parameters
    ----------
    model : LogModel
        The fitted log.
    inputs : Inputs
        Those that the plan was made with.
    plan : mapping
        In the words of `log_plans.plan_data`; its `sold` are the sets of each product that orders take from this log.
    listed : Products
        The products as their file has them: plates left over that have a price there may be sold too, and are sawn.

    Raises
    ------
    ScriptError
        Where it does not hold on replay, or yields fewer sets than orders take.
    """
    ask, prices = ask_from(plan["ask"]), np.array(plan["prices"], float)
    one = season_log(model, inputs, ask, plan["places"]).waited(plan["trim"])
    log_layout = one.layout([layout_from(data) for data in plan["layouts"]])
    found = Candidate(
        log_layout,
        BoltClass(plan["class"]),
        plan["value"],
        plan["bound"],
        plan["status"],
        prices,
        plan["considered"],
        plan["words"],
    )
    asked = Request(Objective.VALUE)
    context = one.own.case(asked).context
    judge = judge_on_samples(one.log, context)
    task = context.task.selling(economics_sold(one.parts, inputs, listed, plan["sold"]))
    sold = Judge(replace(context, task=task, money=task.economics), judge.plates, promised=True)
    bench = Workbench(one.case(ask_context(one.own, ask)), sold)
    whole = judged(bench, found, bench.case.execute(log_layout, prices, FINE), bench.case.fill(prices, FINE))
    executed = without_idle_cuts(bench, whole) if plan["sold"] else whole  # else it is sawn for the log's own priority
    if executed.ledger.minutes > whole.ledger.minutes:  # the season's hours are those of the whole plan
        executed = whole
    document = model_to_json(model)
    sums = settle_by_replay(executed.ledger, document, one.parts, inputs)
    short = [name for name, n in plan["sold"].items() if sums.sets.get(name, 0) < n]
    if short:
        raise ScriptError(
            f"{inputs.card.id}: carried out again, the season's plan lacks sets of {', '.join(short)}: a defect."
        )
    custom = practice(one.log, context, inputs.practice, price_start(context.economics), one.places or None)
    pairs = list(zip(one.logs, executed.candidate.log_layout.layouts, strict=True))
    finished = FinishedPlan(
        one.own,
        context,
        replace(executed, likely=judge.worth(executed.ledger), earnings=judge.earnings(executed.ledger)),
        sums,
        practice_beside(custom, one.own, document),
        evaluate(one.log, pairs, sums, context, Sampling(asked.samples, asked.seed)),
        document,
    )
    script = script_from_plan(finished)
    must_hold(script)
    return script


def economics_sold(parts: Sequence[SawnPart], inputs: Inputs, listed: Products, sold: Mapping[str, int]) -> Economics:
    """What the plates of one log bring once orders are matched: so many sets of each product as these take, and plates left over.

    Parameters
    ----------
    parts : sequence of SawnPart
        All that are ordered.
    inputs : Inputs
        What was read for the log, sets at the prices of the orders.
    listed : Products
        The products as their file has them; plates left over bring their price there, as many as there are.
    sold : mapping of str to int
        Sets that orders take, by product.
    """
    loose = {(product.name, part.name): part.loose_price for product in listed.products for part in product.parts}
    own = [replace(one, part=replace(one.part, loose_price=loose[one.key]), demand=None) for one in parts]
    economics = economics_of(Objective.VALUE, own, inputs.products, inputs.machines)
    taken = [sold.get(name, 0) for name in dict.fromkeys(one.product for one in parts)]
    return replace(economics, market=replace(economics.market, demand=np.array(taken, float)))
