"""One log from card to cut script, as a command or a worker runs it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from pithline.errors import InputError, PlanError, ScriptError, about
from pithline.files.scans import read_scan
from pithline.logmodel.document import model_to_json
from pithline.logmodel.model import LogModel
from pithline.plan.evaluate.practice import practice
from pithline.plan.evaluate.ranking import (
    PassProbability,
    counted_worth,
    net_worth,
    practice_candidate,
    rank_candidates,
    sampled_pass_probability,
)
from pithline.plan.evaluate.refine import refine
from pithline.plan.evaluate.sampling import passing_on_samples
from pithline.plan.evaluate.sensitivity import cost_of
from pithline.plan.evaluate.trade_off import trade_off
from pithline.plan.execute.bucked_log import LogLayout, crosscut_log, execute_log_layout
from pithline.plan.execute.ledger import Ledger
from pithline.plan.execute.sets import gather_sets
from pithline.plan.execute.slab_layout import SlabCache
from pithline.plan.problem.effort import EFFORTS
from pithline.plan.problem.infeasible import no_part_fits
from pithline.plan.problem.layout import NO_LOCKS, Locks
from pithline.plan.problem.log_frame import PlanLog
from pithline.plan.problem.objective import LITRE
from pithline.plan.problem.parts import sawn_parts
from pithline.plan.problem.task import SawingTask
from pithline.plan.programmes.upper_bound import upper_bound_of_logs
from pithline.plan.search import Candidate, SearchRequest, cost_of_locks, search_candidates
from pithline.yard.best_so_far import BestSoFar
from pithline.yard.earlier_plan import check_same_scan, earlier_candidate
from pithline.yard.finalise import check_script, practice_beside, script_from_plan, settle_by_replay
from pithline.yard.prepared_log import prepare_log
from pithline.yard.request import Inputs, Request, read_inputs
from pithline.yard.stop import StopSignal

Progress = Callable[[str, float], None]
Late = Callable[[], bool]
"""Says whether a time limit has run out; the search then goes on with what it has."""


def plan_card(
    card_path: str | Path,
    mill: str | None,
    products: str | None,
    request: Request,
    progress: Progress,
    stopped: Late | None = None,
) -> dict[str, Any]:
    """Card to cut script: read, fit, plan, replay."""
    from pithline.logmodel.fit import fit_log

    inputs, scan_file = read_inputs(card_path, mill, products)
    if request.keep is not None:
        check_same_scan(request.keep, inputs)
    progress("reading the scan", 0.02)
    scan = read_scan(scan_file)
    progress("fitting the log", 0.05)
    with about(fit=scan_file, other=card_path):
        model = fit_log(scan.points, inputs.card, default_up=scan.default_up, pick=request.pick)
    return plan_model(model, inputs, request, progress, stopped)


def plan_model(
    model: LogModel, inputs: Inputs, request: Request, progress: Progress, stopped: Late | None = None
) -> dict[str, Any]:
    """Fitted log to cut script.

    Raises
    ------
    MillError, PlanError
        Where the mill cannot hold the log, or no part fits.
    ScriptError
        Where the replay finds the plan's own script wanting: a defect, said as such.
    """
    card, machines = inputs.card, inputs.machines
    own = prepare_log(model, inputs)
    own.check(crosscut=request.bucking)
    log = own.log
    parts = sawn_parts(inputs.products, card.species)
    worth = np.array([p.price if request.objective == "value" else p.volume / 1e6 for p in parts])
    task = SawingTask(machines, parts, worth, np.array([np.inf if p.demand is None else p.demand for p in parts]))
    _worth_looking(log, task, card.id)
    stopped = StopSignal(stopped)
    money = request.objective == "value"
    progress = BestSoFar(progress, "in money" if money else "L")
    document_model = model_to_json(model)
    too_long = log.reach > machines.mill.log_length_max
    custom = None
    if not too_long:
        progress("practice layout", 0.1)
        custom = practice(log, (), task, inputs.practice)
        progress.found(net_worth(custom.with_bolts, 1.0 if money else LITRE, task))
    asked = SearchRequest(request.objective, request.effort, request.seed, request.bucking, request.locks)
    with about(other=card.id):
        ways = search_candidates(
            log, parts, task, asked, lambda w, part: progress(w, 0.1 + 0.6 * part), stopped, progress.found
        )
    if not ways:  # too long, and no crosscut leaves what the mill takes
        own.check()
    lost = None
    if request.locks != NO_LOCKS and not stopped():
        lost = cost_of_locks(log, parts, task, asked, ways, lambda w, part: progress(w, 0.7), stopped)
    places = ways[0].log_layout.places if too_long else ()
    if custom is None:
        progress("practice layout", 0.72)
        custom = practice(log, places, task, inputs.practice)
    beside = practice_beside(custom, inputs, document_model, parts)
    last = practice_candidate(log, places, custom.layouts, ways[0].found)
    progress("carrying the plan out", 0.8)

    def carry(log_layout: LogLayout, memories: list[SlabCache] | None = None) -> Ledger:
        return execute_log_layout(log_layout, task, own.poser, own.weight, caches=memories)

    def complete(ledger: Ledger) -> Mapping[str, int]:
        return gather_sets(ledger.plates, parts, inputs.products).sets

    sets_of = complete if request.objective == "sets" else None
    if request.locks == NO_LOCKS and counted_worth(custom.with_bolts, task) > 0.85 * ways[0].found.answers[0].value:
        ways.append(last)
    if request.keep is not None:
        kept = earlier_candidate(request.keep, log, inputs, ways[0].found)
        ways += [kept] if kept is not None else []
    chance = sampled_pass_probability(log, task, request.seed)
    fault: ScriptError | None = None
    why: list[str] = []

    def better(ledger: Ledger, way: Candidate) -> tuple[Ledger, Candidate]:
        """The best way, refined where the effort says so."""
        trials = EFFORTS[request.effort].trials
        if not trials or way.status or stopped():
            return ledger, way
        most, mill = request.locks.settings_max, machines.mill

        def value(ledger: Ledger) -> float:
            return net_worth(ledger, way.found.unit, task, most, sets_of, chance)

        def report_part(part: float, best: float) -> None:
            if sets_of is None:
                progress.found(best)
            progress("refining", 0.8 + 0.1 * part)

        turn = request.locks.roll is None
        steps = mill.roll_step, mill.height_step
        log_layout, ledger = refine(way.log_layout, carry, value, trials, *steps, stopped, report_part, turn)
        return ledger, replace(way, log_layout=log_layout)

    for best, way in _attempts(ways, last, task, carry, chance, request, sets_of, better):
        why = why or best.cautions
        if not best.passing:
            continue
        sums = settle_by_replay(best, document_model, parts, inputs.products)
        progress("what is not known", 0.9)
        logs = crosscut_log(log, way.log_layout.places, machines.buck.kerf, 0.0)[1]
        doubt = passing_on_samples(log, sums.plates, parts, request.samples, request.seed)
        cost = cost_of(list(zip(logs, way.log_layout.layouts, strict=True)), sums.plates, parts)
        script = script_from_plan(
            model, inputs, request, way, sums, beside, doubt, cost, document_model, parts, own.density
        )
        if lost is not None:
            script["proof"]["locks"] = _locks(request.locks, lost * way.found.unit)
        if way.found.trade_off:
            script["proof"]["trade_off"] = trade_off(way, sums, carry, parts, inputs.products)
        if EFFORTS[request.effort].trials and not stopped():
            script["proof"]["any_layout"] = upper_bound_of_logs(logs, parts, worth, machines) * way.found.unit
        stopped.mark(script)
        if fault is not None:
            script["cautions"].append("a better layout did not hold on replay and was set aside: a defect in pithline")
        progress("replaying the script", 0.95)
        try:
            check_script(script)
        except ScriptError as one:
            fault = fault or one
            continue
        return script
    if fault is not None:
        raise fault
    raise PlanError(
        f"{card.id}: no layout that this mill can hold gives a passing plate"
        + (f" ({why[0]})" if why else "")
        + "; name another mill or looser limits."
    )


def _worth_looking(log: PlanLog, task: SawingTask, name: str) -> None:
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


def _attempts(
    ways: Sequence[Candidate],
    last: Candidate,
    task: SawingTask,
    carry: Callable[[LogLayout], Ledger],
    chance: PassProbability,
    request: Request,
    sets_of: Callable[[Ledger], Mapping[str, int]] | None,
    better: Callable[[Ledger, Candidate], tuple[Ledger, Candidate]],
) -> Iterator[tuple[Ledger, Candidate]]:
    """Ways to saw, carried out, best first, and the practice layout after them where it is not among them.

    Before the best comes what `better` makes of it.
    """
    found = rank_candidates(ways, task, carry, chance, request.locks.settings_max, sets_of)
    if found:
        refined_first = better(*found[0])
        if refined_first[1].log_layout is not found[0][1].log_layout:
            yield refined_first
    yield from found
    if last not in ways and request.locks == NO_LOCKS:
        yield carry(last.log_layout), last


def _locks(locks: Locks, lost: float) -> dict[str, Any]:
    """What was locked, and what the locks cost on the grid: mm³, or money by value."""
    words = {
        "roll_deg": None if locks.roll is None else float(np.degrees(locks.roll)),
        "first_slab": locks.first_slab,
        "max_settings": locks.settings_max,
        "bolts": None if locks.bolts else "leave",
    }
    return {**{key: value for key, value in words.items() if value is not None}, "cost": lost}
