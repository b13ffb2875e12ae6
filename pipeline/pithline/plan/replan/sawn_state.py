"""What of a log was sawn already, and which log its pieces belong to."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from pithline.plan.execute.ledger import Ledger
from pithline.plan.problem.log_frame import PlanLog, shorter_log
from pithline.plan.problem.operations import Cut, Operation, Setting, Stage, Tool
from pithline.plan.problem.parts import SawnPart
from pithline.plan.replan.found_cuts import MovedHistory
from pithline.plan.replan.script_history import (
    Operations,
    SplitScript,
    ancestry_of,
    cuts_of,
    highest_numbers,
    ledger_of,
    parents_of,
)
from pithline.plan.replan.script_layouts import bucking_cuts


@dataclass(frozen=True, slots=True)
class SawnState:
    """A log as it lies there: what was sawn, and what of the earlier plan is kept because it is in the shop already.

    Attributes
    ----------
    history : SplitScript
        Made and to come.
    kinds : mapping of str to str
        Kind of every piece; spoilt ones are offcuts.
    counts : mapping of str to int
        Highest numbers in use, by prefix.
    plates : tuple of mapping
        As the earlier script has them, of pieces that are still sound.
    changed : frozenset of str
        Cuts that are not where they were planned.
    whole, logs : PlanLog, mapping of str to PlanLog
        The log, and the shorter logs by piece where it was crosscut.
    """

    history: SplitScript
    kinds: Mapping[str, str]
    counts: Mapping[str, int]
    plates: tuple[Mapping[str, Any], ...]
    changed: frozenset[str]
    whole: PlanLog
    parts: tuple[SawnPart, ...]
    logs: Mapping[str, PlanLog]

    @property
    def dried(self) -> bool:
        """Whether billets were resawn dried already: nothing green is sawn after that."""
        return any(isinstance(each, Setting) and each.stage is Stage.DRIED for each in self.history.sawn)

    def ledger(self) -> Ledger:
        """A ledger of what was sawn, plates left out; ids go on after the highest in use."""
        out = ledger_of(self.history.sawn, self.kinds)
        out.counts.update(self.counts)
        return out

    def log_of(self, ledger: Ledger, name: str) -> PlanLog:
        """The log, whole or bucked, that a piece belongs to."""
        line = ancestry_of(parents_of(ledger.operations), name)
        return next((self.logs[piece] for piece in line if piece in self.logs), self.whole)


def sawn_state(script: Mapping[str, Any], moved: MovedHistory, log: PlanLog, parts: tuple[SawnPart, ...]) -> SawnState:
    """The state of a log by its earlier script, cuts where they were made.

    Parameters
    ----------
    script : mapping
        The earlier cut script.
    moved : MovedHistory
        Its history with what was found of cuts and pieces.
    log : PlanLog
        The whole log as it is known now.
    parts : tuple of SawnPart
        The script's.
    """
    kinds = {**moved.history.kinds, **dict.fromkeys(moved.spoilt, "offcut")}
    plates = tuple(plate for plate in script["plates"] if plate["id"] not in moved.spoilt)
    changed = frozenset(moved.by)
    return with_bucked_logs(SawnState(moved.history, kinds, highest_numbers(script), plates, changed, log, parts, {}))


def with_bucked_logs(state: SawnState) -> SawnState:
    """The state with the shorter logs that crosscuts have made; crosscuts broken off count as done as planned."""
    history = state.history
    if bucking_cuts(history.later):
        ledger = state.ledger()
        bucking = [each for each in history.later if each.tool is Tool.BUCK]
        more = with_reopened_settings(bucking, history, ledger)
        later = tuple(each for each in history.later if each.tool is not Tool.BUCK)
        history = SplitScript((*history.sawn, *more), later, history.kinds)
        state = replace(state, history=history, counts=dict(ledger.counts))
    ledger = state.ledger()
    bucks = {cut.id for cut in bucking_cuts(ledger.operations)}
    logs = {
        name: shorter_log(state.whole, piece) for name, piece in ledger.pieces.items() if ledger.made_by[name] in bucks
    }
    return replace(state, logs=logs)


def operations_following(history: SplitScript, leaf: str) -> list[Operation]:
    """The operations that were to follow on a piece and all that is made of it, in their order."""
    family, out = {leaf}, []
    for each in history.later:
        if each.piece in family:
            out.append(each)
            if isinstance(each, Cut):
                family |= set(each.sides)
    return out


def with_reopened_settings(operations: Operations, history: SplitScript, ledger: Ledger) -> list[Operation]:
    """The operations with a setting of their own before cuts whose setting was broken off."""
    out: list[Operation] = []
    begun = {each.id: each for each in history.sawn if isinstance(each, Setting)}
    new: dict[str, str] = {}
    for each in operations:
        if isinstance(each, Cut) and each.setting in begun:
            old = begun[each.setting]
            if old.id not in new:
                new[old.id] = ledger.fresh("set-")
                out.append(_reopened(old, new[old.id], each.piece, _share(operations, history, old)))
            each = replace(each, setting=new[old.id])
        out.append(each)
    return out


def _share(operations: Operations, history: SplitScript, setting: Setting) -> float:
    """The share of a setting's cuts that is among the operations."""
    cuts = cuts_of(history.whole, setting.id)
    return sum(cut in operations for cut in cuts) / len(cuts)


def _reopened(old: Setting, name: str, piece: str, share: float) -> Setting:
    weight = old.weight_kg if old.tool.takes_setting_up else 0.0
    return replace(old, id=name, piece=piece, minutes=old.minutes * share, weight_kg=weight)
