"""The cut script of a season's plan: carried out again, beside practice, graded on sampled logs, replayed."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from pithline.errors import ScriptError
from pithline.logmodel.document import model_to_json
from pithline.logmodel.model import LogModel
from pithline.plan.columns.master import MasterAnswer
from pithline.plan.evaluate.practice import practice
from pithline.plan.evaluate.sampling import passing_on_samples
from pithline.plan.evaluate.sensitivity import cost_of
from pithline.plan.execute.bucked_log import LogLayout
from pithline.plan.problem.task import SawingTask
from pithline.plan.search import Candidate, SearchResult
from pithline.yard.finalise import check_script, practice_beside, script_from_plan, settle_by_replay
from pithline.yard.request import Inputs, Request
from pithline.yard.season.log_plans import layout_from, left_of, season_log


def script_of_plan(model: LogModel, inputs: Inputs, plan: Mapping[str, Any]) -> dict[str, Any]:
    """The cut script of a plan in the words of `coarse.plan_data`; `inputs` are those it was made with.

    Raises
    ------
    ScriptError
        Where it does not hold on replay, or yields fewer sets than the season counts on.
    """
    one = season_log(model, inputs, plan["places"])
    worth = np.array([part.price for part in one.parts])
    task = SawingTask(one.machines, one.parts, worth, left_of(one.parts))
    layouts = tuple(layout_from(data) for data in plan["layouts"])
    log_layout = LogLayout(one.log, one.places, one.logs, layouts)
    ledger = one.carry(log_layout, task)
    document = model_to_json(model)
    sums = settle_by_replay(ledger, document, one.parts, inputs.products)
    short = [name for name, n in plan["sets"].items() if sums.sets.get(name, 0) < n]
    if short:
        raise ScriptError(
            f"{inputs.card.id}: carried out again, the season's plan lacks sets of {', '.join(short)}: a defect."
        )
    answer = MasterAnswer(layouts, plan["value"], plan["bound"], "feasible", ledger.charged, plan["value"], ())
    way = Candidate(log_layout, SearchResult((answer,), plan["bound"], 1.0, plan["considered"], plan["words"]), 0)
    custom = practice(one.log, one.places, task, inputs.practice)
    beside = practice_beside(custom, inputs, document, one.parts)
    request = Request("value", "coarse")
    doubt = passing_on_samples(one.log, ledger.plates, one.parts, request.samples, request.seed)
    cost = cost_of(list(zip(one.logs, layouts, strict=True)), ledger.plates, one.parts)
    script = script_from_plan(
        model, inputs, request, way, sums, beside, doubt, cost, document, one.parts, one.own.density
    )
    check_script(script)
    return script
