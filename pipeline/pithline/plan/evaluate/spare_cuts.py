"""Carried-out plans without cuts that serve nothing: slabs and billets of which nothing comes stay in one piece."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from pithline.plan.evaluate.idle_plates import ALIKE, billets_of_nothing, slabs_of_nothing
from pithline.plan.evaluate.judge import Judge
from pithline.plan.execute.bucked_log import LogLayout
from pithline.plan.execute.ledger import Ledger
from pithline.plan.execute.shop import DrawnSlab, SlabJob, saw_into_billets
from pithline.plan.execute.simulate import SawnToSlabs
from pithline.plan.execute.slab_fill import FillRequest, PlacesCache, Strip
from pithline.plan.execute.slab_view import SlabFrame
from pithline.plan.execute.spared_slabs import Spared, may_be_spared, without
from pithline.plan.problem.layout import LayoutSetting
from pithline.plan.problem.task import SawingTask

Saw = Callable[[LogLayout, list[PlacesCache]], SawnToSlabs]
Layouts = tuple[LayoutSetting | None, ...]
MOST_TRIED = 4
"""Layouts without slabs that are carried out, at most."""
SAME_PLACE = 1e-9
"""Faces nearer than this are the same, as directions are whose parts differ by less. [mm]"""


@dataclass(frozen=True, slots=True)
class CarriedOut:
    """A layout, what comes of it on the machines, and how its slabs were filled."""

    log_layout: LogLayout
    ledger: Ledger
    fill: FillRequest


@dataclass(frozen=True, slots=True)
class FilledSlabs:
    """A layout carried out up to its slabs, these with their strips, and what was seen in them log by log."""

    sawn: SawnToSlabs
    jobs: Sequence[SlabJob]
    caches: list[PlacesCache]


def spare_cuts(
    plan: CarriedOut, saw: Saw, judge: Judge, task: SawingTask, filled: FilledSlabs | None = None
) -> CarriedOut:
    """The plan without cuts of which nothing comes, as far as nothing is lost by it; the same one where there are none.

    Billets that nobody buys stay in their slab. A layout without the slabs of which nothing comes is carried out anew: pieces rest
    otherwise, and what was held by a face that is no longer there may not hold. It is kept where it opens the log in fewer cuts and is
    likely to be worth as much net of charges, and to earn as much. Slabs that lie where they lay and lose no wood keep their
    plates; where one does not, all are filled anew.

    Parameters
    ----------
    plan : CarriedOut
        The layout with its slabs filled.
    saw : callable
        Carries a layout out up to its slabs; its caches, one a log, may be read and filled.
    judge : Judge
        Tells what a plan is likely to be worth.
    task : SawingTask
        Machines and parts.
    filled : FilledSlabs, optional
        The slabs of the plan, where they are at hand.
    """
    if not (billets_of_nothing(judge, plan.ledger) or slabs_of_nothing(judge, plan.ledger)):
        return plan
    if filled is None:
        caches: list[PlacesCache] = [{} for _ in plan.log_layout.layouts]
        slabs = saw(plan.log_layout, caches)
        filled = FilledSlabs(slabs, slabs.with_strips(task, plan.fill), caches)
    sawn, caches = filled.sawn, filled.caches
    now = in_shop(sawn, filled.jobs, judge, task)
    if as_good(judge, now.ledger, plan.ledger) and _cuts(now.ledger) < _cuts(plan.ledger):
        plan = replace(plan, ledger=now.ledger)
    tried = {plan.log_layout.layouts}
    while True:
        nothing = slabs_of_nothing(judge, now.ledger)
        for layouts in _sparing(plan.log_layout, sawn, nothing):
            if layouts in tried:
                continue
            if len(tried) > MOST_TRIED:
                return plan
            tried.add(layouts)
            log_layout = replace(plan.log_layout, layouts=layouts)
            again = saw(log_layout, caches)
            if _cuts(again.ledger) >= _cuts(sawn.ledger):
                continue
            then = in_shop(again, _kept_or_filled(again, now.jobs, task, plan.fill), judge, task)
            if as_good(judge, then.ledger, plan.ledger):
                plan, sawn, now = CarriedOut(log_layout, then.ledger, plan.fill), again, then
                break
        else:
            return plan


@dataclass(frozen=True, slots=True)
class SawnOfUse:
    """Slabs with the strips that were sawn of them, and the ledger of all of it."""

    jobs: tuple[SlabJob, ...]
    ledger: Ledger


def in_shop(sawn: SawnToSlabs, jobs: Sequence[SlabJob], judge: Judge, task: SawingTask) -> SawnOfUse:
    """Slabs sawn in the shop, but for billets of which nothing comes: those stay in their slab or strip."""
    ledger = sawn.sawn_in_shop(task, jobs)
    idle = billets_of_nothing(judge, ledger)
    if idle:
        jobs = without_billets(sawn.ledger, jobs, task, idle)
        ledger = sawn.sawn_in_shop(task, jobs)
    return SawnOfUse(tuple(jobs), ledger)


def without_billets(ledger: Ledger, jobs: Sequence[SlabJob], task: SawingTask, idle: frozenset[str]) -> list[SlabJob]:
    """Slabs without the billets that become the pieces named; strips that hold no other are not ripped.

    Parameters
    ----------
    ledger : Ledger
        What was sawn up to the slabs.
    jobs : sequence of SlabJob
        The slabs, with the strips that are to be sawn of them.
    task : SawingTask
        Machines and parts.
    idle : frozenset of str
        Billets that stay in their slab.
    """
    ledger, out = ledger.copied(), []
    for job in jobs:
        made = saw_into_billets(ledger, task, job)
        strips: list[Strip] = []
        for strip in job.strips:
            kept = tuple(
                one
                for one in strip.billets
                if any(each.strip is strip and each.billet is one and each.piece.id not in idle for each in made)
            )
            strips += [replace(strip, billets=kept)] if kept else []
        out.append(replace(job, strips=tuple(strips)))
    return out


def _kept_or_filled(sawn: SawnToSlabs, before: Sequence[SlabJob], task: SawingTask, fill: FillRequest) -> list[SlabJob]:
    """Slabs with the strips that they had where all lie where they lay and hold what they held, else filled anew."""
    out = []
    for job in sawn.jobs:
        alike = (one for one in before if one.log.piece.id == job.log.piece.id and holds_all_of(job.frame, one.frame))
        earlier = next(alike, None)
        if earlier is None:
            return sawn.with_strips(task, fill)
        out.append(replace(job, strips=earlier.strips))
    return out


def holds_all_of(one: SlabFrame, other: SlabFrame) -> bool:
    """Whether a slab lies between the same two faces as another, and no face that bounds it across lies further in."""
    lies, lay = (np.array([*frame.axis, *frame.normal, frame.low, frame.top]) for frame in (one, other))
    if not np.allclose(lies, lay, 0.0, SAME_PLACE):
        return False
    return all(
        any(np.allclose(normal, n, 0.0, SAME_PLACE) and offset >= at - SAME_PLACE for n, at in other.bounds)
        for normal, offset in one.bounds
    )


def _cuts(ledger: Ledger) -> int:
    return sum(1 for _ in ledger.cuts)


def as_good(judge: Judge, ledger: Ledger, before: Ledger) -> bool:
    """Whether what was carried out is likely to be worth as much as what was before, and to earn as much."""
    if judge.worth(ledger) < judge.worth(before) - ALIKE:
        return False
    earns, earned = judge.earnings(ledger), judge.earnings(before)
    return earns is None or earned is None or earns >= earned - ALIKE


def _sparing(log_layout: LogLayout, sawn: SawnToSlabs, nothing: frozenset[str]) -> Iterator[Layouts]:
    """Layouts that spare slabs, those that spare most first: all that may be, what moves no face, then each alone."""
    gives: dict[DrawnSlab, bool] = {}
    for job in sawn.jobs:
        if job.drawn is not None:
            gives[job.drawn] = gives.get(job.drawn, False) or job.piece.id not in nothing
    starts = [log.piece.id for log in log_layout.logs]
    found = [
        one
        for start, layout in zip(starts, log_layout.layouts, strict=True)
        for one in may_be_spared(start, layout, gives)
    ]

    def leaving(spared: Sequence[Spared]) -> Layouts:
        each = zip(starts, log_layout.layouts, strict=True)
        return tuple(without(start, layout, spared) for start, layout in each)

    if found:
        yield leaving(found)
    still = [one for one in found if not one.moves]
    if still:
        yield leaving(still)
    for one in found:
        yield leaving([one])
