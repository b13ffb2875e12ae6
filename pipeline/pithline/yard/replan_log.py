"""An earlier cut script and what was found in the opened log to a new script: history kept, the rest planned anew."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from pithline.errors import InputError, ScriptError, about
from pithline.files.mills import mill_from
from pithline.files.practice import read_practice
from pithline.files.products import products_from
from pithline.logmodel.document import model_from_json, model_to_json
from pithline.plan.api import (
    SILENT,
    ExecutedPlan,
    Monitor,
    RemainingWork,
    Sampling,
    SawnState,
    SplitScript,
    evaluate,
    must_have_cut,
    operations_to_json,
    pieces_made,
    remaining_work,
    replans_in_order,
    sawn_state,
    split_script,
    worth_gone_on,
)
from pithline.script.check import replay_valid
from pithline.script.replay import piece_volumes
from pithline.script.schema import validate
from pithline.yard.finalise import FinishedPlan, must_hold, plain, script_from_plan, set_aside, settle_by_replay
from pithline.yard.found_facts import FoundFacts, apply_found
from pithline.yard.prepared_log import PreparedLog, prepare_log
from pithline.yard.request import Inputs, Request
from pithline.yard.watch import PlanWatch

WORTH_TELLING = 0.01
"""An earlier plan that is worth more than the new one by this share is told of."""
HOLDS_CLOCKS = 72
"""Whether a piece holds any wood needs no finer solid than this many sides."""


def replan_log(
    script: Mapping[str, Any],
    after: str,
    found: Mapping[str, Any],
    request: Request,
    monitor: Monitor = SILENT,
    names: tuple[str | None, str | None] = (None, None),
) -> dict[str, Any]:
    """Plan the rest of an opened log anew.

    Parameters
    ----------
    script : mapping
        The earlier cut script.
    after : str
        The last cut that was sawn, by id or by its number on the sheet.
    found : mapping
        What was found, as `files.found.found_as_read` gives it.
    request : Request
        What is asked of the search.
    monitor : Monitor
        Hears how far it is.
    names : (str, str), optional
        The files of script and finds, for what is wrong with them.

    Raises
    ------
    ScriptError
        Where the earlier script does not hold.
    InputError
        Where what was found cannot be put to it.
    """
    watch = PlanWatch(monitor, "in money" if request.objective.in_money else "L")
    with about(other=names[0]):
        validate(script)
        must_have_cut(script, after)  # told at once: the replay takes a while
        watch.tell("replaying the earlier script", 0.02)
        _holds(script)
        past = split_script(script, after)
    with about(other=names[1]):
        facts = apply_found(script, past, model_from_json(dict(script["model"])), found)
    own = prepare_log(facts.model, _inputs(script, facts))
    state = sawn_state(script, facts.moved, own.log, own.parts)
    model = model_to_json(facts.model) if facts.model_changed else dict(script["model"])
    with about(other=names[1]):
        _all_hold_wood(script, state, model)
    watch.tell("pieces in hand", 0.05)
    work = remaining_work(state, own.task(request.objective))
    return _Replanning(script, facts, found, request, own, work, model).script(watch)


def _holds(script: Mapping[str, Any]) -> None:
    """The earlier script must hold on replay."""
    report = replay_valid(script)
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


def _all_hold_wood(script: Mapping[str, Any], state: SawnState, model: Mapping[str, Any]) -> None:
    """Refuse heights that leave nothing of a piece that was to hold wood."""
    if not state.changed:
        return
    sawn = operations_to_json(state.history.sawn)
    volumes = piece_volumes({"model": model, "operations": sawn, "pieces": []}, HOLDS_CLOCKS)
    for one in script["pieces"]:
        if one["volume"] > 0.0 and one["kind"] != "offcut" and volumes.get(one["id"], 1.0) <= 0.0:
            raise InputError(
                f"after what is said of {', '.join(sorted(state.changed))} nothing would be left of {one['mark']} ({one['id']}); "
                "measure again."
            )


@dataclass(frozen=True, slots=True)
class _Replanning:
    """An opened log on its way to a new script."""

    earlier: Mapping[str, Any]
    facts: FoundFacts
    found: Mapping[str, Any]
    request: Request
    own: PreparedLog
    work: RemainingWork
    model: dict[str, Any]

    def script(self, watch: PlanWatch) -> dict[str, Any]:
        """Search, carry out, choose, write."""
        context = self.own.case(self.request).context
        monitor = watch.monitor.within(0.08, 0.78)
        fault: ScriptError | None = None
        for plan in replans_in_order(self.work, context, self.own.workshop, monitor):
            new = self._of_plan(plan, watch)
            if fault is not None:
                new["cautions"].append(set_aside(fault))
            watch.tell("replaying the script", 0.95)
            try:
                must_hold(new)
            except ScriptError as one:
                fault = fault or one
                continue
            new["cautions"] += self._gone_on(plan)
            return new
        assert fault is not None
        raise fault

    def _gone_on(self, plan: ExecutedPlan) -> list[str]:
        """A caution where the earlier plan, sawn on as written, is likely to be worth more than any that was found."""
        objective = self.request.objective
        before = worth_gone_on(self.work, self.own.case(self.request).context)
        if before <= plan.likely + WORTH_TELLING * abs(plan.likely):
            return []
        worth, mine = (f"{one:.0f} in money" if objective.in_money else f"{one:.1f} L" for one in (before, plan.likely))
        return [
            f"sawn on by the earlier sheet the log is likely to give {worth}, work charged, where this plan gives {mine}; saw on by "
            "the earlier sheet, or search with more effort"
        ]

    def _of_plan(self, plan: ExecutedPlan, watch: PlanWatch) -> dict[str, Any]:
        """The script of one plan, with what it says of its history."""
        own, request = self.own, self.request
        sums = settle_by_replay(plan.ledger, self.model, own.parts, own.inputs).with_wood()
        watch.tell("what is not known", 0.9)
        pairs = self.work.of_pieces(plan.candidate.log_layout.layouts)
        evaluation = evaluate(
            own.log, pairs, sums, self.own.case(request).context, Sampling(request.samples, request.seed)
        )
        beside = {key: self.earlier["practice"][key] for key in ("slabs", "with_bolts")}
        held = {one["id"]: one["mark"] for one in self.earlier["pieces"]}
        finished = FinishedPlan(own, own.case(request).context, plan, sums, beside, evaluation, self.model, held)
        new = script_from_plan(finished)
        new["replan"] = _replanned(self.earlier, new, self.facts, self.work.state, self.found)
        watch.mark(new)
        return new


def _replanned(
    script: Mapping[str, Any], new: Mapping[str, Any], facts: FoundFacts, state: SawnState, found: Mapping[str, Any]
) -> dict[str, Any]:
    """What the new script says of its history."""
    moved = _plates_changed(script, new, facts)
    return {
        "after": state.history.last_cut.id,
        "kept": list(state.history.kept),
        "found": plain(found),
        "changed": [*facts.sentences, *still_to_crosscut(facts.moved.history), *moved.values()],
        "relabelled": list(moved),
    }


def still_to_crosscut(history: SplitScript) -> list[str]:
    """A sentence on crosscuts of the log that were not made yet: they count as made, so no new sheet tells of them."""
    later = operations_to_json(history.later)
    left = [one["id"].removeprefix("cut-") for one in later if one["op"] == "cut" and one["tool"] == "buck"]
    if not left:
        return []
    them, stands = ("crosscuts", "they stand") if len(left) > 1 else ("crosscut", "it stands")
    return [f"first make {them} {', '.join(left)} of the log as {stands} on the earlier sheet: this plan counts on it"]


def _plates_changed(script: Mapping[str, Any], new: Mapping[str, Any], facts: FoundFacts) -> dict[str, str]:
    """Plates that were sawn already and now fail, or belong elsewhere: a sentence by plate."""
    existing = pieces_made(facts.moved.history.sawn)
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
