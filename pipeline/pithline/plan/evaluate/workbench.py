"""A bench at which layouts are carried out on the machines and judged, and a second one in another process where there is one.

What comes of a layout is the same at either bench. So work is shared as suits, and results are taken in the order in which one bench
would have had them.
"""

from __future__ import annotations

import pickle
from collections import OrderedDict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache, partial
from threading import Lock
from typing import Any, Concatenate, ParamSpec, TypeVar

import numpy as np
from numpy.typing import NDArray

from pithline.plan.evaluate.judge import Judge, judge_on_samples
from pithline.plan.evaluate.spare_cuts import CarriedOut, FilledSlabs, spare_cuts
from pithline.plan.execute.bucked_log import LogLayout
from pithline.plan.execute.ledger import Ledger
from pithline.plan.execute.simulate import SawnToSlabs
from pithline.plan.execute.slab_fill import FillRequest, FillStyle, PlacesCache, SlabPlaces
from pithline.plan.execute.workshop import Caches, Workshop
from pithline.plan.problem.context import SearchContext
from pithline.plan.problem.economics import Objective
from pithline.plan.problem.layout import settings_of
from pithline.plan.problem.log_frame import PlanLog
from pithline.plan.problem.monitor import Begin
from pithline.plan.search import Candidate

Array = NDArray[np.float64]
Asked = ParamSpec("Asked")
Given = TypeVar("Given")
Item = TypeVar("Item")
STYLES = (FillStyle(), FillStyle((0.93, 1.08)), FillStyle(spares=2.0))
"""Ways to look for fills of a plan that is to be sawn."""
ALIKE = 0.01
"""Litres in sets that differ by less than this share are alike to whoever sells them."""


@dataclass(frozen=True, slots=True)
class PlanCase:
    """One log that is planned: itself, what is asked, the machines it is carried out on."""

    log: PlanLog
    context: SearchContext
    workshop: Workshop

    def execute(self, log_layout: LogLayout, prices: Array, fine: float, caches: Caches = None) -> Ledger:
        """A layout carried out on the real machines, its slabs filled from prices of the pools (Q,) on.

        Parameters
        ----------
        log_layout : LogLayout
            How it is sawn.
        prices : (Q,) array
            To begin with.
        fine : float
            Multiplies the steps at which places are looked at.
        caches : sequence, optional
            What was seen in each log's slabs at these steps.
        """
        return self.workshop.execute(log_layout, self.context.task, self.fill(prices, fine), caches)

    def fill(self, prices: Array, fine: float) -> FillRequest:
        """How slabs are filled, as for `execute`."""
        return FillRequest(self.context.economics, prices, True, fine)


@dataclass(frozen=True, slots=True)
class ExecutedPlan:
    """A way to saw the log, what comes of it on the machines, and what that is likely to be worth, and to earn, net of charges.

    `earnings` is None where nothing has a price. `fill` is how its slabs were filled; None: they stay as they are. `compared` is the plan
    as it was compared with others, before it was filled more finely and spared cuts; None: it is that one.
    """

    candidate: Candidate
    ledger: Ledger
    likely: float
    earnings: float | None = None
    fill: FillRequest | None = None
    compared: ExecutedPlan | None = None

    @property
    def origin(self) -> ExecutedPlan:
        """The plan as it was compared."""
        return self if self.compared is None else self.compared

    @property
    def set_ups(self) -> int:
        """Distinct set-ups."""
        return self.ledger.set_ups


@dataclass(frozen=True, slots=True)
class Workbench:
    """One log's case with its judge, and what was seen in the slabs of layouts that were tried of late, log by log."""

    case: PlanCase
    judge: Judge
    seen: dict[int, PlacesCache] = field(default_factory=dict)


def bench_of(case: PlanCase) -> Workbench:
    """A bench whose judge samples the same logs as any other of this case."""
    return Workbench(case, judge_on_samples(case.log, case.context))


def carried_out(bench: Workbench, candidate: Candidate) -> ExecutedPlan:
    """A candidate carried out as it is compared with others."""
    effort = bench.case.context.effort
    fine = effort.fine if candidate.searched else 1.0
    ledger = bench.case.execute(candidate.log_layout, candidate.prices, fine)
    return judged(bench, candidate, ledger, bench.case.fill(candidate.prices, fine))


def judged(bench: Workbench, candidate: Candidate, ledger: Ledger, fill: FillRequest | None) -> ExecutedPlan:
    """A plan that was carried out, with what it is likely to be worth."""
    return ExecutedPlan(candidate, ledger, bench.judge.worth(ledger), bench.judge.earnings(ledger), fill)


def tried(bench: Workbench, prices: Array, log_layout: LogLayout) -> tuple[float, Ledger]:
    """A layout carried out beside others that it shares most slabs with: what it is likely to be worth, and its ledger."""
    caches = [
        bench.seen.setdefault(number, RecentPlaces(KEPT_PLACES * sum(len(one.slabs) for one in settings_of(layout))))
        for number, layout in enumerate(log_layout.layouts)
    ]
    ledger = bench.case.execute(log_layout, prices, bench.case.context.effort.fine, caches)
    return bench.judge.worth(ledger), ledger


KEPT_PLACES = 3
"""Times the slabs of a layout: so many are remembered with what was seen in them."""


class RecentPlaces(OrderedDict[bytes, SlabPlaces | None]):
    """What was seen in slabs, `most` of them: those that were asked for last. Threads may share it."""

    def __init__(self, most: int) -> None:
        super().__init__()
        self.most, self.lock = most, Lock()

    def get(self, key: bytes, default: Any = None) -> Any:
        """What was seen in a slab, or `default`."""
        with self.lock:
            if key not in self:
                return default
            self.move_to_end(key)
            return super().__getitem__(key)

    def __setitem__(self, key: bytes, value: SlabPlaces | None) -> None:
        with self.lock:
            super().__setitem__(key, value)
            if len(self) > self.most:
                self.popitem(last=False)


def finished(bench: Workbench, plan: ExecutedPlan) -> ExecutedPlan:
    """A plan filled as finely as it is sawn, without cuts of which nothing comes; the same one where it is so already."""
    found = without_idle_cuts(bench, *_filled_finely(bench, plan))
    return plan if found is plan else replace(found, compared=plan.origin)


def _filled_finely(bench: Workbench, plan: ExecutedPlan) -> tuple[ExecutedPlan, FilledSlabs | None]:
    """The plan with its slabs looked at as finely as they are sawn and filled in several ways: the best of them.

    With it go its slabs, where it is another one.
    """
    context = bench.case.context
    if context.effort.fine == 1.0:
        return plan, None
    ways = [(plan, None), *_in_each_style(bench, plan.candidate)]
    return ways[best_filled([one for one, _ in ways], context.objective)]


def best_filled(plans: Sequence[ExecutedPlan], objective: Objective) -> int:
    """Which of several ways to fill the same slabs is taken: that which is likely to be worth most.

    Whole sets make worths jump, so ways to fill that promise alike on the fitted log differ by some per cent on sampled ones.
    By sets, of those that are nearly worth as much the one that earns most is taken.
    """
    most = max(one.likely for one in plans)
    if objective is not Objective.SETS:
        return next(i for i, one in enumerate(plans) if one.likely == most)
    alike = [i for i, one in enumerate(plans) if one.likely >= most - ALIKE * abs(most)]
    return max(alike, key=lambda i: (plans[i].earnings or 0.0, plans[i].likely))


def _in_each_style(bench: Workbench, candidate: Candidate) -> Iterator[tuple[ExecutedPlan, FilledSlabs]]:
    """A layout carried out as finely as it is sawn, its slabs filled in each style; up to these all are the same."""
    context = bench.case.context
    caches: list[PlacesCache] = [{} for _ in candidate.log_layout.layouts]
    slabs = bench.case.workshop.saw(candidate.log_layout, context.task, caches)
    for style in STYLES:
        fill = FillRequest(context.economics, candidate.prices, style=style)
        jobs = slabs.with_strips(context.task, fill)
        yield judged(bench, candidate, slabs.sawn_in_shop(context.task, jobs), fill), FilledSlabs(slabs, jobs, caches)


def without_idle_cuts(bench: Workbench, plan: ExecutedPlan, filled: FilledSlabs | None = None) -> ExecutedPlan:
    """The plan without cuts of which nothing comes by the judge of the bench; the same one where there are none, or it stays as it is.

    Parameters
    ----------
    bench : Workbench
        Where it was carried out.
    plan : ExecutedPlan
        The way to saw the log, and how its slabs were filled.
    filled : FilledSlabs, optional
        Its slabs, where they are at hand.
    """
    if plan.fill is None:
        return plan
    task, before = bench.case.context.task, CarriedOut(plan.candidate.log_layout, plan.ledger, plan.fill)

    def saw(log_layout: LogLayout, caches: Caches) -> SawnToSlabs:
        return bench.case.workshop.saw(log_layout, task, caches)

    after = spare_cuts(before, saw, bench.judge, task, filled)
    if after is before:
        return plan
    return judged(bench, replace(plan.candidate, log_layout=after.log_layout), after.ledger, None)


@dataclass(frozen=True, slots=True)
class Workbenches:
    """A bench here, and how work is begun at another one in a process of its own; without such a one all is done here.

    `packed` is the case, written once for the other bench.
    """

    own: Workbench
    begin: Begin | None = None
    packed: bytes = b""

    @property
    def two(self) -> bool:
        """Whether there is another bench."""
        return self.begin is not None

    def ahead(
        self, work: Callable[Concatenate[Workbench, Asked], Given], *about: Asked.args, **_none: Asked.kwargs
    ) -> Callable[[], Given]:
        """Work begun at the other bench; what is returned waits for what it gives."""
        if self.begin is None:
            return partial(work, self.own, *about)
        return self.begin(_at_other_bench, self.packed, work, *about)

    def each(self, work: Callable[[Workbench, Item], Given], items: Sequence[Item]) -> list[Given]:
        """Work done on each item, on every other one at the other bench, the last among them."""
        there = range(len(items) - 1, 0, -2) if self.two else range(0)
        begun = {k: self.ahead(work, items[k]) for k in there}
        here = {k: work(self.own, one) for k, one in enumerate(items) if k not in begun}
        return [here[k] if k in here else begun[k]() for k in range(len(items))]


def benches_of(case: PlanCase, begin: Begin | None = None) -> Workbenches:
    """The benches of a case; `begin` where another process takes work."""
    return Workbenches(bench_of(case), begin, b"" if begin is None else pickle.dumps(case, pickle.HIGHEST_PROTOCOL))


@lru_cache(maxsize=1)
def _unpacked(packed: bytes) -> Workbench:
    """The other bench, made once for a case."""
    return bench_of(pickle.loads(packed))


def _at_other_bench(packed: bytes, work: Callable[..., Given], *about: object) -> Given:
    """Work done at the bench of this process."""
    return work(_unpacked(packed), *about)
