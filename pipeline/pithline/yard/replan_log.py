"""An earlier cut script and what was found in the opened log to a new script: history kept, the rest planned anew."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pithline.errors import InputError, ScriptError, about
from pithline.files.mills import mill_from
from pithline.files.practice import read_practice
from pithline.files.products import products_from
from pithline.logmodel.document import model_from_json, model_to_json
from pithline.logmodel.species import species_of
from pithline.mill.sections import log_sections
from pithline.plan.evaluate.ranking import rank_candidates, sampled_pass_probability
from pithline.plan.evaluate.sampling import passing_on_samples
from pithline.plan.evaluate.sensitivity import cost_of
from pithline.plan.execute.bucked_log import LogLayout
from pithline.plan.execute.ledger import Ledger
from pithline.plan.execute.machine_setups import MachinePoser
from pithline.plan.execute.operation_json import operations_to_json
from pithline.plan.problem.effort import EFFORTS
from pithline.plan.problem.log_frame import PlanLog, plan_log
from pithline.plan.problem.parts import SawnPart, sawn_parts
from pithline.plan.problem.task import SawingTask
from pithline.plan.replan.remaining_pieces import RemainingPiece
from pithline.plan.replan.script_history import highest_numbers, pieces_made, split_script
from pithline.plan.replan.script_layouts import script_layouts
from pithline.plan.replan.search import search_remaining
from pithline.plan.replan.state import (
    SawnState,
    ShopWork,
    execute_remaining,
    plan_shop_work,
    remaining_pieces,
    with_bucked_logs,
)
from pithline.plan.search import Candidate
from pithline.script.replay import piece_volumes, replay
from pithline.script.schema import validate
from pithline.yard.finalise import check_script, plain, script_from_plan, settle_by_replay
from pithline.yard.found_facts import FoundFacts, apply_found
from pithline.yard.request import Inputs, Request
from pithline.yard.stop import StopSignal

Array = NDArray[np.float64]
Progress = Callable[[str, float], None]
Late = Callable[[], bool]


def replan(
    script: Mapping[str, Any],
    after: str,
    found: Mapping[str, Any],
    request: Request,
    progress: Progress,
    stopped: Late | None = None,
    names: tuple[str, str] | None = None,
) -> dict[str, Any]:
    """Plan the rest of an opened log anew.

    Parameters
    ----------
    script : the earlier cut script
    after : the last cut that was sawn, by id or by its number on the sheet
    found : what was found, as `files.found.found_as_read` gives it
    names : the files of both, for what is wrong with them

    Raises
    ------
    ScriptError
        Where the earlier script does not hold.
    InputError
        Where what was found cannot be put to it.
    """
    stopped = StopSignal(stopped)
    progress("replaying the earlier script", 0.02)
    with about(other=names and names[0]):
        _holds(script)
        past = split_script(script, after)
    with about(other=names and names[1]):
        facts = apply_found(script, past, model_from_json(dict(script["model"])), found)
    inputs = _inputs(script, facts)
    log = plan_log(
        facts.model, inputs.card.pith_radius, inputs.card.trim_butt, inputs.card.trim_top, inputs.card.defects
    )
    parts = sawn_parts(inputs.products, inputs.card.species)
    state = _state(script, facts, log, parts)
    model = model_to_json(facts.model) if facts.model_changed else dict(script["model"])
    with about(other=names and names[1]):
        _all_hold_wood(script, state, model)
    worth = np.array([p.price if request.objective == "value" else p.volume / 1e6 for p in parts])
    task = SawingTask(
        inputs.machines, parts, worth, np.array([np.inf if p.demand is None else float(p.demand) for p in parts])
    )
    dried = state.dried
    progress("pieces in hand", 0.05)
    bench = plan_shop_work(state, task, not dried)
    before = script_layouts(state.history.whole, state.kinds)
    rests = () if dried else remaining_pieces(state, before)
    return _planned(script, facts, found, inputs, request, state, bench, rests, task, model, progress, stopped)


def _holds(script: Mapping[str, Any]) -> None:
    """The earlier script must keep its schema and hold on replay."""
    try:
        validate(script)
        report = replay(dict(script))
    except (KeyError, IndexError, TypeError, ValueError) as error:
        raise ScriptError(
            f"a part of the script is missing or misshapen ({type(error).__name__}: {error}); name the script as `pithline plan` "
            "wrote it."
        ) from error
    if not report.holds:
        more = len(report.findings) - 1
        raise ScriptError(
            f"the earlier script does not hold, so nothing can be built on it: {report.findings[0].sentence}"
            + (f" ({more} more)" if more else "")
            + "; name the script as `pithline plan` wrote it."
        )


def _inputs(script: Mapping[str, Any], facts: FoundFacts) -> Inputs:
    read, log = script["inputs"], script["log"]
    return Inputs(
        facts.card,
        mill_from(read["mill"]),
        products_from(read["products"]),
        read_practice(None),
        facts.card_read,
        read["mill"],
        read["products"],
        log["card_sha256"],
        log["scan_sha256"],
    )


def _state(script: Mapping[str, Any], facts: FoundFacts, log: PlanLog, parts: tuple[SawnPart, ...]) -> SawnState:
    kinds = {**facts.history.kinds, **dict.fromkeys(facts.spoilt, "offcut")}
    plates = tuple(one for one in script["plates"] if one["id"] not in facts.spoilt)
    state = SawnState(facts.history, kinds, highest_numbers(script), plates, frozenset(facts.by), log, parts, {})
    return with_bucked_logs(state)


def _all_hold_wood(script: Mapping[str, Any], state: SawnState, model: Mapping[str, Any]) -> None:
    """Refuse heights that leave nothing of a piece that was to hold wood."""
    if not state.changed:
        return
    volumes = piece_volumes({"model": model, "operations": operations_to_json(state.history.sawn), "pieces": []}, 72)
    for one in script["pieces"]:
        if one["volume"] > 0.0 and one["kind"] != "offcut" and volumes.get(one["id"], 1.0) <= 0.0:
            raise InputError(
                f"after what is said of {', '.join(sorted(state.changed))} nothing would be left of {one['mark']} ({one['id']}); "
                "measure again."
            )


def _planned(
    script: Mapping[str, Any],
    facts: FoundFacts,
    found_there: Mapping[str, Any],
    inputs: Inputs,
    request: Request,
    state: SawnState,
    bench: ShopWork,
    rests: Sequence[RemainingPiece],
    task: SawingTask,
    model: dict[str, Any],
    progress: Progress,
    stopped: StopSignal,
) -> dict[str, Any]:
    """Search, carry out, choose, write."""
    parts, log = state.parts, state.whole
    species = species_of(inputs.card.species)
    sections = log_sections(facts.model)

    def poser(one: PlanLog) -> MachinePoser:
        return MachinePoser(one, sections, inputs.machines, species.green_density)

    def carry(log_layout: LogLayout) -> Ledger:
        return execute_remaining(state, bench, rests, log_layout.layouts, task, poser)

    nothing = carry(LogLayout(log, (), (), (None,) * len(rests)))
    sawn = _count(nothing, parts)
    wanted = replace(task, left=np.maximum(task.left - np.array(sawn), 0.0))
    found = search_remaining(
        rests,
        parts,
        wanted,
        sawn,
        request.objective,
        EFFORTS[request.effort],
        request.seed,
        lambda what, part: progress(what, 0.08 + 0.7 * part),
        stopped,
    )
    logs = tuple(rest.log for rest in rests)
    ways = [Candidate(LogLayout(log, (), logs, answer.layouts), found, n) for n, answer in enumerate(found.answers)]
    if any(rest.before is not None for rest in rests):
        layouts = tuple(rest.before for rest in rests)
        ways.append(Candidate(LogLayout(log, (), logs, layouts), found, len(found.answers), "earlier plan kept"))
    progress("carrying the rest out", 0.8)
    fault: ScriptError | None = None
    for best, way in rank_candidates(ways, task, carry, sampled_pass_probability(log, task, request.seed)):
        sums = settle_by_replay(best, model, parts, inputs.products).with_wood()
        progress("what is not known", 0.9)
        doubt = passing_on_samples(log, sums.plates, parts, request.samples, request.seed)
        pairs = [
            (replace(rest.log, piece=rest.piece), lay) for rest, lay in zip(rests, way.log_layout.layouts, strict=True)
        ]
        held = {one["id"]: one["mark"] for one in script["pieces"]}
        new = script_from_plan(
            facts.model,
            inputs,
            request,
            way,
            sums,
            {key: script["practice"][key] for key in ("slabs", "with_bolts")},
            doubt,
            cost_of(pairs, sums.plates, parts),
            model,
            parts,
            species.green_density,
            held,
        )
        new["replan"] = _replanned(script, new, facts, state, found_there)
        stopped.mark(new)
        if fault is not None:
            new["cautions"].append("a better layout did not hold on replay and was set aside: a defect in pithline")
        progress("replaying the script", 0.95)
        try:
            check_script(new)
        except ScriptError as one:
            fault = fault or one
            continue
        return new
    assert fault is not None
    raise fault


def _count(ledger: Ledger, parts: tuple[SawnPart, ...]) -> tuple[int, ...]:
    """Passing plates of each part."""
    have = Counter(plate.part for plate in ledger.passing)
    return tuple(have[i] for i in range(len(parts)))


def _replanned(
    script: Mapping[str, Any], new: Mapping[str, Any], facts: FoundFacts, state: SawnState, found: Mapping[str, Any]
) -> dict[str, Any]:
    """What the new script says of its history."""
    moved = _plates_changed(script, new, facts)
    return {
        "after": state.history.last_cut.id,
        "kept": list(state.history.kept),
        "found": plain(found),
        "changed": [*facts.sentences, *moved.values()],
        "relabelled": list(moved),
    }


def _plates_changed(script: Mapping[str, Any], new: Mapping[str, Any], facts: FoundFacts) -> dict[str, str]:
    """Plates that were sawn already and now fail, or belong elsewhere: a sentence by plate."""
    existing = pieces_made(facts.history.sawn)
    was = {one["id"]: one for one in script["plates"] if one["id"] in existing}
    marks = {one["id"]: one["mark"] for one in new["pieces"]}
    out: dict[str, str] = {}
    for one in new["plates"]:
        old = was.get(one["id"])
        if old is None:
            continue
        if old["passes"] and not one["passes"]:
            out[one["id"]] = f"plate {marks[one['id']]} does not pass any more"
        elif (old["set_id"], old["mate"]) != (one["set_id"], one["mate"]):
            mate = marks.get(one["mate"] or "", "none")
            out[one["id"]] = (
                f"plate {marks[one['id']]} now belongs to set {one['set_id'] or 'none'}, its mate is {mate}"
            )
    return out
