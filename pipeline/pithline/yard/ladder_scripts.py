"""The cut scripts of a ladder of plans: each proven by replay, the one that pays the plan, the others beside it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import partial
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
from pithline.script.replay import Sawing
from pithline.yard.aside import IN_TURN, Aside
from pithline.yard.finalise import (
    FinishedPlan,
    left_out,
    must_hold,
    script_from_plan,
    set_aside,
    settled_sawing,
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


Tell = Callable[[dict[str, Any], ExecutedPlan], None]
"""Adds what is told of the plan alone to its script; also given the plan of most work on the ladder."""


def _nothing_more(_script: dict[str, Any], _most: ExecutedPlan) -> None:
    """Nothing is told of the plan alone."""


@dataclass(frozen=True, slots=True)
class LadderScripts:
    """One log on its way from a ladder of plans to scripts.

    Attributes
    ----------
    own, case, request, ways
        The log, as a case for the planner, what is asked, and the ways to saw it.
    document : mapping
        The log model as JSON.
    beside : mapping
        Totals of the practice layouts.
    """

    own: PreparedLog
    case: PlanCase
    request: Request
    ways: WaysToSaw
    document: dict[str, Any]
    beside: Mapping[str, Any]

    def scripts(
        self, ladder: Ladder, watch: PlanWatch, aside: Aside = IN_TURN, tell: Tell = _nothing_more
    ) -> PlanScripts:
        """The plan's script and those of the ladder, each proven.

        A plan that fails its replay is set aside, and the ladder is that of the others: what the failing one had kept out may be the
        best of them.
        """
        first, bench = ladder, _ScriptBench(self, watch, aside)
        fails: list[ExecutedPlan] = []
        said: list[str] = []
        while ladder.rungs:
            ranked = _rung(ladder, self.request)
            own = ladder.rungs[ranked]
            try:
                scripts = bench.written(_by_likely(ladder, ranked))
                main, rungs = self._chosen([scripts[id(plan)] for plan in ladder.rungs], ranked)
                main["cautions"] += [one for one in said if one not in main["cautions"]]
                tell(main, ladder.rungs[-1])
                own = next(plan for plan in ladder.rungs if scripts[id(plan)] is main)
                kept = [plan for plan in ladder.rungs if any(scripts[id(plan)] is one for one in rungs)]
                bench.prove(_first(own, kept), partial(aside.ready, main))
            except _FailedPlan as failed:
                fails.append(failed.plan)
                said.append((set_aside if failed.plan is own else left_out)(bench.faults[-1]))
                ladder = ladder_without(self.case, first, fails)
                continue
            rows = main["proof"]["ladder"]
            beside = {row["script"]: one for row, one in zip(rows, rungs, strict=True) if one is not main}
            return PlanScripts(main, beside)
        raise bench.faults[0]

    def _chosen(self, scripts: list[dict[str, Any]], ranked: int) -> tuple[dict[str, Any], list[dict[str, Any]]]:
        """The plan's script of those by rising work, and those that stay on the ladder, the rows of the ladder in each.

        Of rungs that pay it is chosen by what the scripts tell, which is drawn from more logs than plans were ranked on; else it is the
        one `ranked`.
        """
        earnings = [_likely_earnings(script) for script in scripts]
        main = scripts[paying_rung(earnings) if self.request.rung == "paying" else ranked]
        if self.request.objective.in_money:
            scripts = [script for k, script in enumerate(scripts) if script is main or _earns_more(earnings, k)]
        for k, script in enumerate(scripts):
            script["proof"]["ladder"] = self._rows(scripts, k)
        return main, scripts

    def script_of(self, plan: ExecutedPlan, watch: PlanWatch) -> tuple[dict[str, Any], Sawing]:
        """The script of one plan, with all that is told of it, and the sawing of its cuts; not yet proven.

        Raises
        ------
        ScriptError
            Where the model makes no closed solid.
        """
        case, request, layout = self.case, self.request, plan.candidate.log_layout
        sums, sawing = settled_sawing(plan.ledger, self.document, self.own.parts, self.own.inputs)
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
        return script, sawing

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


class _FailedPlan(Exception):
    """A plan whose script cannot be written, or does not hold."""

    def __init__(self, plan: ExecutedPlan) -> None:
        super().__init__("a plan does not hold")
        self.plan = plan


@dataclass(frozen=True, slots=True)
class _ScriptBench:
    """Writes and proves the scripts of plans, each once; the late half of them in the other process, where there is one.

    `held`, `sawn` and `proven` are by identity of the plan, which the ladder keeps alive; `faults` are those of plans that fail, in
    turn. A sawing is let go once its script is proven.
    """

    of_log: LadderScripts
    watch: PlanWatch
    aside: Aside
    held: dict[int, dict[str, Any]] = field(default_factory=dict)
    sawn: dict[int, Sawing] = field(default_factory=dict)
    proven: set[int] = field(default_factory=set)
    faults: list[ScriptError] = field(default_factory=list)

    def written(self, plans: Sequence[ExecutedPlan]) -> dict[int, dict[str, Any]]:
        """The scripts of plans, and of those met before, by identity of the plan."""
        left = [plan for plan in plans if id(plan) not in self.held]
        quiet = PlanWatch(SILENT, "", heard=self.watch.stopped())
        begun = {id(plan): self.aside.begin(self.of_log.script_of, plan, quiet) for plan in self._late(left)}
        for number, plan in enumerate(left):
            self.watch.tell("writing plans", 0.88 + 0.05 * number / len(left))
            write = begun.get(id(plan)) or partial(self.of_log.script_of, plan, self.watch)
            with self._fault_of(plan):
                self.held[id(plan)], self.sawn[id(plan)] = write()
        return self.held

    def prove(self, plans: Sequence[ExecutedPlan], begin_meanwhile: Callable[[], None]) -> None:
        """Prove the scripts of plans; other work may begin once those of the other process are begun."""
        left = [plan for plan in plans if id(plan) not in self.proven]
        late = [(id(plan), self.held[id(plan)], self.sawn.pop(id(plan), None)) for plan in self._late(left)]
        begun = {name: self.aside.begin(must_hold, script, sawing) for name, script, sawing in late}
        begin_meanwhile()
        for number, plan in enumerate(left):
            self.watch.tell("replaying plans", 0.93 + 0.05 * number / len(left))
            proof = begun.get(id(plan)) or partial(must_hold, self.held[id(plan)], self.sawn.pop(id(plan), None))
            with self._fault_of(plan):
                proof()
            self.proven.add(id(plan))

    def _late(self, plans: Sequence[ExecutedPlan]) -> Sequence[ExecutedPlan]:
        """Those of some plans that are the other process's."""
        return plans[(len(plans) + 1) // 2 :] if self.aside.apart else ()

    @contextmanager
    def _fault_of(self, plan: ExecutedPlan) -> Iterator[None]:
        """Note a fault, and tell whose it is."""
        try:
            yield
        except ScriptError as fault:
            self.faults.append(fault)
            raise _FailedPlan(plan) from fault


def _earns_more(earnings: Sequence[float | None], k: int) -> bool:
    """Whether a rung is likely to earn more than each with fewer set-ups."""
    own = earnings[k]
    return own is None or all(one is None or own > one for one in earnings[:k])


def _likely_earnings(script: Mapping[str, Any]) -> float | None:
    """What a plan is likely to earn; None where nothing has a price."""
    likely: float | None = script["uncertainty"].get("earnings", {}).get("p50")
    return likely


def _by_likely(ladder: Ladder, chosen: int) -> list[ExecutedPlan]:
    """The rungs in the order in which they are written: the chosen one, then those likely to be worth most."""
    return _first(ladder.rungs[chosen], sorted(ladder.rungs, key=lambda one: -one.likely))


def _first(own: ExecutedPlan, plans: Sequence[ExecutedPlan]) -> list[ExecutedPlan]:
    """Some plans, one of them first."""
    return [own, *(one for one in plans if one is not own)]


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
