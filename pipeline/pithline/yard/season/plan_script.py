"""The cut script of a season's plan: carried out again, beside practice, graded on sampled logs, replayed."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pithline.errors import ScriptError
from pithline.logmodel.document import model_to_json
from pithline.logmodel.model import LogModel
from pithline.plan.api import (
    Candidate,
    ExecutedPlan,
    MasterAnswer,
    Objective,
    Sampling,
    SearchResult,
    evaluate,
    practice,
)
from pithline.yard.finalise import FinishedPlan, must_hold, practice_beside, script_from_plan, settle_by_replay
from pithline.yard.request import Inputs, Request
from pithline.yard.season.log_plans import layout_from, season_log


def script_of_plan(model: LogModel, inputs: Inputs, plan: Mapping[str, Any]) -> dict[str, Any]:
    """The cut script of a plan in the words of `log_plans.plan_data`; `inputs` are those it was made with.

    Raises
    ------
    ScriptError
        Where it does not hold on replay, or yields fewer sets than the season counts on.
    """
    one = season_log(model, inputs, plan["places"])
    task = one.own.task(Objective.VALUE)
    log_layout = one.layout([layout_from(data) for data in plan["layouts"]])
    ledger = one.execute(log_layout, task.worth)
    document = model_to_json(model)
    sums = settle_by_replay(ledger, document, one.parts, inputs.products)
    short = [name for name, n in plan["sets"].items() if sums.sets.get(name, 0) < n]
    if short:
        raise ScriptError(
            f"{inputs.card.id}: carried out again, the season's plan lacks sets of {', '.join(short)}: a defect."
        )
    value, bound = plan["value"], plan["bound"]
    answer = MasterAnswer(log_layout.layouts, value, bound, "feasible", ledger.charged, value, ())
    found = SearchResult((answer,), bound, Objective.VALUE.unit, plan["considered"], plan["words"])
    custom = practice(one.log, one.places, task, inputs.practice)
    asked = Request()
    pairs = list(zip(one.logs, log_layout.layouts, strict=True))
    finished = FinishedPlan(
        one.own,
        Objective.VALUE,
        ExecutedPlan(Candidate(log_layout, found, 0), ledger),
        sums,
        practice_beside(custom, one.own, document),
        evaluate(one.log, pairs, sums, one.parts, Sampling(asked.samples, asked.seed)),
        document,
    )
    script = script_from_plan(finished)
    must_hold(script)
    return script
