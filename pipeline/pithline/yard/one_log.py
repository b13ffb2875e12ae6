"""One log from card to cut script, as a command or a worker runs it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from pithline.errors import InputError, PlanError, ScriptError, about
from pithline.files.scans import read_scan
from pithline.logmodel.document import model_to_json
from pithline.logmodel.model import LogModel
from pithline.plan.api import (
    NO_LOCKS,
    SILENT,
    Candidate,
    ExecutedPlan,
    Judge,
    Locks,
    Monitor,
    PlanCase,
    PlanLog,
    PracticeResult,
    Sampling,
    SawingTask,
    as_fitted,
    cost_of_locks,
    counted_worth,
    crosscut_log,
    evaluate,
    no_part_fits,
    plans_in_order,
    practice,
    practice_candidate,
    search_candidates,
    settings_trade_off,
    upper_bound,
)
from pithline.yard.earlier_plan import check_same_scan, earlier_candidate
from pithline.yard.finalise import (
    FinishedPlan,
    must_hold,
    practice_beside,
    script_from_plan,
    settle_by_replay,
)
from pithline.yard.prepared_log import PreparedLog, prepare_log
from pithline.yard.request import Inputs, Request, read_inputs
from pithline.yard.watch import PlanWatch

PRACTICE_NEAR = 0.85
"""The practice layout is ranked with the search's answers where it is worth this share of the best's promise or more: on the
machines that may fall below it."""


def plan_card(
    card_path: str | Path,
    mill: str | Path | None,
    products: str | Path | None,
    request: Request,
    monitor: Monitor = SILENT,
) -> dict[str, Any]:
    """Card to cut script: read, fit, plan, replay.

    Parameters
    ----------
    card_path : str or Path
        The log card.
    mill, products : str, Path or None
        Their files; the bundled ones where None.
    request : Request
        What is asked.
    monitor : Monitor
        Hears how far it is.

    Raises
    ------
    PithlineError
        Where a file cannot be used, the scan shows no one log, or as `plan_model` does.
    """
    inputs = read_inputs(card_path, mill, products)
    if request.keep is not None:
        check_same_scan(request.keep, inputs)
    return plan_model(fit_scan(inputs, request.pick, monitor.within(0.0, 0.1)), inputs, request, monitor)


def fit_scan(inputs: Inputs, pick: int | None = None, monitor: Monitor = SILENT) -> LogModel:
    """Read the scan of a log and fit the log in it.

    Parameters
    ----------
    inputs : Inputs
        What was read for it.
    pick : int, optional
        Which log, where the scan shows several, 1 the largest.
    monitor : Monitor
        Hears how far it is.

    Raises
    ------
    InputError
        Where the scan cannot be read.
    FitError
        Where it shows no one log.
    """
    from pithline.logmodel.fit import fit_log

    if inputs.scan_file is None:
        raise InputError(f"{inputs.card.id}: these inputs name no scan; read them from a card that does.")
    monitor.report("reading the scan", 0.2)
    scan = read_scan(inputs.scan_file)
    monitor.report("fitting the log", 0.5)
    with about(fit=inputs.scan_file, other=inputs.card_file):
        return fit_log(scan.points, inputs.card, default_up=scan.default_up, pick=pick)


def plan_model(model: LogModel, inputs: Inputs, request: Request, monitor: Monitor = SILENT) -> dict[str, Any]:
    """Fitted log to cut script.

    Parameters
    ----------
    model : LogModel
        The fitted log.
    inputs : Inputs
        Card, mill and products.
    request : Request
        What is asked.
    monitor : Monitor
        Hears how far it is.

    Returns
    -------
    dict
        The cut script as JSON has it, proven by replay.

    Raises
    ------
    MillError, PlanError
        Where the mill cannot hold the log, or no part fits.
    ScriptError
        Where the replay finds the plan's own script wanting: a defect, said as such.
    """
    own = prepare_log(model, inputs)
    own.check(crosscut=request.bucking)
    case = own.case(request)
    _refuse_hopeless(case.log, case.context.task, inputs.card.id)
    watch = PlanWatch(monitor, "in money" if request.objective.in_money else "L")
    document = model_to_json(model)
    ways = _ways(own, case, request, watch)
    planning = _Planning(own, case, request, ways, document, practice_beside(ways.custom, own, document))
    watch.tell("carrying the plan out", 0.8)
    fault: ScriptError | None = None
    why: list[str] = []
    for plan in plans_in_order(case, ways.candidates, ways.practice, watch.monitor.within(0.8, 0.9)):
        why = why or plan.ledger.cautions
        if not plan.ledger.passing:
            continue
        script = planning.script(plan, watch)
        if fault is not None:
            script["cautions"].append("a better layout did not hold on replay and was set aside: a defect in pithline")
        watch.tell("replaying the script", 0.95)
        try:
            must_hold(script)
        except ScriptError as one:
            fault = fault or one
            continue
        return script
    if fault is not None:
        raise fault
    raise PlanError(
        f"{inputs.card.id}: no layout that this mill can hold gives a passing plate"
        + (f" ({why[0]})" if why else "")
        + "; name another mill or looser limits."
    )


@dataclass(frozen=True, slots=True)
class _Ways:
    """Ways to saw one log.

    Attributes
    ----------
    candidates : list of Candidate
        What was searched, and what may compete with it.
    practice : Candidate
        The practice layout.
    custom : PracticeResult
        It as it was carried out.
    locks_cost : float, optional
        What locks cost, where there are any: litres, or money.
    """

    candidates: list[Candidate]
    practice: Candidate
    custom: PracticeResult
    locks_cost: float | None


def _ways(own: PreparedLog, case: PlanCase, request: Request, watch: PlanWatch) -> _Ways:
    """Search the log, and set the practice layout and an earlier plan beside what is found."""
    log, context, sizes = case.log, case.context, own.inputs.practice
    too_long = log.reach > own.machines.mill.log_length_max
    custom: PracticeResult | None = None
    if not too_long:
        watch.tell("practice layout", 0.1)
        custom = practice(log, (), context.task, sizes)
        watch.found(Judge(context.with_locks(NO_LOCKS), None, as_fitted).worth(custom.with_bolts))
    with about(other=own.inputs.card.id):
        ways = search_candidates(log, context, watch.monitor.within(0.1, 0.7))
    if not ways:  # too long, and no crosscut leaves what the mill takes
        own.check()
    lost = None
    if request.locks != NO_LOCKS and not watch.stopped():
        lost = cost_of_locks(log, context, ways, watch.monitor.within(0.7, 0.7))
    places = ways[0].log_layout.places if too_long else ()
    if custom is None:
        watch.tell("practice layout", 0.72)
        custom = practice(log, places, context.task, sizes)
    found = ways[0].found
    last = practice_candidate(log, places, custom.layouts, found)
    near = counted_worth(custom.with_bolts, context.task) > PRACTICE_NEAR * found.answers[0].value
    if request.locks == NO_LOCKS and near:
        ways.append(last)
    if request.keep is not None:
        kept = earlier_candidate(request.keep, log, own.inputs, found)
        ways += [kept] if kept is not None else []
    return _Ways(ways, last, custom, lost)


@dataclass(frozen=True, slots=True)
class _Planning:
    """One log on its way from ways to saw it to a script."""

    own: PreparedLog
    case: PlanCase
    request: Request
    ways: _Ways
    document: dict[str, Any]
    beside: Mapping[str, Any]

    def script(self, plan: ExecutedPlan, watch: PlanWatch) -> dict[str, Any]:
        """The script of one plan, with all that is told of it."""
        case, request, log_layout = self.case, self.request, plan.candidate.log_layout
        parts, unit = self.own.parts, plan.candidate.found.unit
        sums = settle_by_replay(plan.ledger, self.document, parts, case.products)
        watch.tell("what is not known", 0.9)
        logs = crosscut_log(case.log, log_layout.places, self.own.machines.buck.kerf, 0.0)[1]
        pairs = list(zip(logs, log_layout.layouts, strict=True))
        evaluation = evaluate(case.log, pairs, sums, parts, Sampling(request.samples, request.seed))
        finished = FinishedPlan(self.own, request.objective, plan, sums, self.beside, evaluation, self.document)
        script = script_from_plan(finished)
        proof = script["proof"]
        if self.ways.locks_cost is not None:
            proof["locks"] = _locks(request.locks, self.ways.locks_cost * unit)
        rows = settings_trade_off(case, plan, sums)
        if rows:
            proof["trade_off"] = rows
        if request.effort.trials and not watch.stopped():
            proof["any_layout"] = upper_bound(case, logs)
        watch.mark(script)
        return script


def _refuse_hopeless(log: PlanLog, task: SawingTask, name: str) -> None:
    """Refuse at once what no search can mend: nothing wanted, or every part longer than the log."""
    if not (task.left > 0).any():
        raise InputError(f"{name}: nothing is wanted of it, since every product has demand = 0; raise a demand.")
    if not task.worth[task.left > 0].any():
        raise InputError(f"{name}: nothing wanted has a price, so no plan is of more value than another; add prices.")
    clear = log.model.length - log.trim_butt - log.trim_top
    if clear <= 0:
        raise InputError(
            f"{name}: the trims ({log.trim_butt:.0f} and {log.trim_top:.0f} mm) leave nothing of a log "
            f"{log.model.length:.0f} mm long; lessen them."
        )
    if log.pith_radius >= log.field.radius.max():
        raise InputError(
            f"{name}: the pith's radius on the card, {log.pith_radius:.0f} mm, leaves nothing of a log whose wood reaches "
            f"{log.field.radius.max():.0f} mm from the pith; correct it."
        )
    if min(part.length for part in task.parts) > clear:
        with about(other=name):
            raise no_part_fits(log, task.parts)


def _locks(locks: Locks, lost: float) -> dict[str, Any]:
    """What was locked, and what the locks cost on the grid: mm³, or money by value."""
    words = {
        "roll_deg": None if locks.roll is None else float(np.degrees(locks.roll)),
        "first_slab": locks.first_slab,
        "max_settings": locks.settings_max,
        "bolts": None if locks.bolts else "leave",
    }
    return {**{key: value for key, value in words.items() if value is not None}, "cost": lost}
