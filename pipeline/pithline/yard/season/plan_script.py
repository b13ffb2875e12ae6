"""The cut script of a season's plan: carried out again, beside practice, graded on sampled logs, replayed."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from pithline.errors import ScriptError
from pithline.logmodel.document import model_to_json
from pithline.logmodel.model import LogModel
from pithline.plan.api import (
    BoltClass,
    Candidate,
    ExecutedPlan,
    Objective,
    Sampling,
    evaluate,
    judge_on_samples,
    practice,
    price_start,
)
from pithline.yard.finalise import FinishedPlan, must_hold, practice_beside, script_from_plan, settle_by_replay
from pithline.yard.request import Inputs, Request
from pithline.yard.season.log_plans import ask_context, ask_from, layout_from, season_log


def script_of_plan(model: LogModel, inputs: Inputs, plan: Mapping[str, Any]) -> dict[str, Any]:
    """The cut script of a plan in the words of `log_plans.plan_data`; `inputs` are those it was made with.

    Raises
    ------
    ScriptError
        Where it does not hold on replay, or yields fewer sets than the season counts on.
    """
    ask, prices = ask_from(plan["ask"]), np.array(plan["prices"], float)
    one = season_log(model, inputs, ask, plan["places"]).waited(plan["trim"])
    log_layout = one.layout([layout_from(data) for data in plan["layouts"]])
    ledger = one.execute(log_layout, ask_context(one.own, ask), prices)
    document = model_to_json(model)
    sums = settle_by_replay(ledger, document, one.parts, inputs)
    short = [name for name, n in plan["sets"].items() if sums.sets.get(name, 0) < n]
    if short:
        raise ScriptError(
            f"{inputs.card.id}: carried out again, the season's plan lacks sets of {', '.join(short)}: a defect."
        )
    asked = Request(Objective.VALUE)
    context = one.own.case(asked).context
    judge = judge_on_samples(one.log, context)
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
    start = price_start(context.economics)
    custom = practice(one.log, context, inputs.practice, start, one.places or None)
    pairs = list(zip(one.logs, log_layout.layouts, strict=True))
    finished = FinishedPlan(
        one.own,
        context,
        ExecutedPlan(found, ledger, judge.worth(ledger), judge.earnings(ledger)),
        sums,
        practice_beside(custom, one.own, document),
        evaluate(one.log, pairs, sums, context, Sampling(asked.samples, asked.seed)),
        document,
    )
    script = script_from_plan(finished)
    must_hold(script)
    return script
