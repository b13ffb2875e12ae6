"""The cut scripts of a ladder of plans: each proven by replay, the one that pays the plan, the others beside it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from pithline.errors import InputError, ScriptError
from pithline.plan.api import (
    SILENT,
    Candidate,
    ExecutedPlan,
    Ladder,
    Locks,
    PlanCase,
    PracticeResult,
    Sampling,
    crosscut_log,
    evaluate,
    ladder_without,
    paying_rung,
    upper_bound,
)
from pithline.yard.aside import IN_TURN, Aside
from pithline.yard.finalise import (
    FinishedPlan,
    must_hold,
    script_from_plan,
    set_aside,
    settle_by_replay,
)
from pithline.yard.prepared_log import PreparedLog
from pithline.yard.request import Request
from pithline.yard.watch import PlanWatch


@dataclass(frozen=True, slots=True)
class PlanScripts:
    """The cut script of a plan, and those of the other plans of its ladder by their path beside it."""

    script: dict[str, Any]
    ladder: Mapping[str, dict[str, Any]]


@dataclass(frozen=True, slots=True)
class WaysToSaw:
    """Ways to saw one log.

    Attributes
    ----------
    candidates : list of Candidate
        What was searched, and what competes with it.
    custom : PracticeResult
        The practice layout as it was carried out.
    locks_cost : float, optional
        What locks cost, where there are any: litres, or money.
    """

    candidates: list[Candidate]
    custom: PracticeResult
    locks_cost: float | None


def refuse_missing_rung(ladder: Ladder, request: Request, name: str) -> None:
    """Refuse a rung that the ladder does not have; `name` is the log's."""
    if request.rung not in ("paying", "best") and not 1 <= int(request.rung) <= len(ladder.rungs):
        raise InputError(
            f"{name}: its ladder has {len(ladder.rungs)} plans, so none of number {request.rung}; name 1 to {len(ladder.rungs)}."
        )


def _rung(ladder: Ladder, request: Request) -> int:
    """The number of the rung that is the plan, from 0; the last where the ladder has fewer than asked for."""
    if request.rung == "paying":
        return ladder.paying
    last = len(ladder.rungs) - 1
    return last if request.rung == "best" else min(int(request.rung) - 1, last)


@dataclass(frozen=True, slots=True)
class LadderScripts:
    """One log on its way from a ladder of plans to scripts."""

    own: PreparedLog
    case: PlanCase
    request: Request
    ways: WaysToSaw
    document: dict[str, Any]
    beside: Mapping[str, Any]

    def scripts(self, ladder: Ladder, watch: PlanWatch, aside: Aside = IN_TURN) -> PlanScripts:
        """The plan's script and those of the ladder, each proven.

        A plan that fails its replay is set aside, and the ladder is that of the others: what the failing one had kept out may be the
        best of them.
        """
        chosen = _rung(ladder, self.request)
        under_way: dict[int, Callable[[], dict[str, Any]]] = {}
        if aside.apart:
            order = _by_likely(ladder, chosen)
            for late in order[(len(order) + 1) // 2 :]:
                under_way[id(late)] = aside.begin(self._checked, late, PlanWatch(SILENT, "", heard=watch.stopped()))
        held: dict[int, dict[str, Any]] = {}  # by identity of the plan, which the ladder keeps alive
        fails: list[ExecutedPlan] = []
        fault: ScriptError | None = None
        first = ladder
        while ladder.rungs:
            plan = next((one for one in _by_likely(ladder, chosen) if id(one) not in held), None)
            if plan is None:
                break
            watch.tell("writing and replaying plans", 0.88 + 0.1 * len(held) / len(ladder.rungs))
            try:
                found = under_way.pop(id(plan), None)
                held[id(plan)] = self._checked(plan, watch) if found is None else found()
            except ScriptError as one:
                fault = fault or one
                fails.append(plan)
                ladder = ladder_without(self.case, first, fails)
                chosen = _rung(ladder, self.request)
        if not ladder.rungs:
            assert fault is not None
            raise fault
        scripts = [held[id(plan)] for plan in ladder.rungs]
        # by what the scripts tell, which is drawn from more logs than plans were ranked on
        earnings = [_likely_earnings(script) for script in scripts]
        if self.request.rung == "paying":
            chosen = paying_rung(earnings)
        main = scripts[chosen]
        if self.request.objective.in_money:
            scripts = [script for k, script in enumerate(scripts) if script is main or _earns_more(earnings, k)]
            chosen = next(k for k, script in enumerate(scripts) if script is main)
        if fault is not None:
            main["cautions"].append(set_aside(fault))
        for k, script in enumerate(scripts):
            script["proof"]["ladder"] = self._rows(scripts, k)
        rows = main["proof"]["ladder"]
        return PlanScripts(main, {rows[k]["script"]: script for k, script in enumerate(scripts) if k != chosen})

    def _checked(self, plan: ExecutedPlan, watch: PlanWatch) -> dict[str, Any]:
        """The script of one plan, with all that is told of it, once its replay holds.

        Raises
        ------
        ScriptError
            Where it does not.
        """
        case, request, layout = self.case, self.request, plan.candidate.log_layout
        sums = settle_by_replay(plan.ledger, self.document, self.own.parts, self.own.inputs)
        logs = crosscut_log(case.log, layout.places, self.own.machines.buck.kerf, 0.0)[1]
        pairs = list(zip(logs, layout.layouts, strict=True))
        evaluation = evaluate(case.log, pairs, sums, case.context, Sampling(request.samples, request.seed))
        script = script_from_plan(
            FinishedPlan(self.own, case.context, plan, sums, self.beside, evaluation, self.document)
        )
        proof = script["proof"]
        if self.ways.locks_cost is not None:
            proof["locks"] = _locks(request.locks, self.ways.locks_cost * request.objective.unit)
        if request.effort.trials and not watch.stopped():
            proof["any_layout"] = upper_bound(case.context, logs, plan.candidate.prices)
        watch.mark(script)
        must_hold(script)
        return script

    def _rows(self, scripts: Sequence[Mapping[str, Any]], chosen: int) -> list[dict[str, Any]]:
        """What each plan of the ladder comes to, by rising work, beside the practice layout at about as much work."""
        rows = []
        for k, script in enumerate(scripts):
            total = script["totals"]
            beside = self.beside["with_bolts" if total["set_ups"] > self.beside["slabs"]["set_ups"] else "slabs"]
            rows.append(
                {
                    "title": script["proof"]["class"],
                    "chosen": k == chosen,
                    "script": None if k == chosen else f"{LADDER}/plan-{k + 1}.json",
                    **total,
                    "likely_earnings": _likely_earnings(script),
                    "practice": beside,
                }
            )
        return rows


def _earns_more(earnings: Sequence[float | None], k: int) -> bool:
    """Whether a rung is likely to earn more than each with fewer set-ups."""
    own = earnings[k]
    return own is None or all(one is None or own > one for one in earnings[:k])


def _likely_earnings(script: Mapping[str, Any]) -> float | None:
    """What a plan is likely to earn; None where nothing has a price."""
    likely: float | None = script["uncertainty"].get("earnings", {}).get("p50")
    return likely


def _by_likely(ladder: Ladder, chosen: int) -> list[ExecutedPlan]:
    """The rungs in the order in which they are proven: the chosen one, then those likely to be worth most."""
    own = ladder.rungs[chosen]
    return [own, *sorted((one for one in ladder.rungs if one is not own), key=lambda one: -one.likely)]


LADDER = "ladder"
"""The folder of the shorter and longer plans, beside the cut script."""


def _locks(locks: Locks, lost: float) -> dict[str, Any]:
    """What was locked, and what the locks cost on the grid: mm³, or money by value."""
    words = {
        "roll_deg": None if locks.roll is None else float(np.degrees(locks.roll)),
        "first_slab": locks.first_slab,
        "max_settings": locks.settings_max,
        "bolts": None if locks.bolts else "leave",
    }
    return {**{key: value for key, value in words.items() if value is not None}, "cost": lost}
