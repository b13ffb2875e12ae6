"""Carried-out plans without cuts that serve nothing: slabs of which nothing comes are left where they are, where nothing is lost by it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

from pithline.plan.evaluate.judge import Judge
from pithline.plan.execute.bucked_log import LogLayout
from pithline.plan.execute.ledger import Ledger
from pithline.plan.execute.shop import DrawnSlab
from pithline.plan.execute.simulate import SawnToSlabs, filled_jobs
from pithline.plan.execute.slab_fill import FillRequest, PlacesCache, slab_key
from pithline.plan.execute.spared_slabs import Spared, may_be_spared, without
from pithline.plan.problem.layout import LayoutSetting
from pithline.plan.problem.task import SawingTask

ALIKE = 1e-9
"""Worths that differ by less are the same."""
Saw = Callable[[LogLayout, list[PlacesCache]], SawnToSlabs]
Layouts = tuple[LayoutSetting | None, ...]


def slabs_of_nothing(judge: Judge, ledger: Ledger) -> frozenset[str]:
    """Slabs whose plates, if there are any, count nothing on any sampled log: others fill the demand, or they fail.

    Slabs are asked in the order in which they were sawn, each without those before it of which nothing comes.
    """
    parent = {side: cut.piece for cut in ledger.cuts for side in cut.sides}
    slab = {name for name, piece in ledger.pieces.items() if piece.kind == "slab"}
    whole = [
        name for name in ledger.pieces if name in slab and parent.get(name) not in slab
    ]  # what ripping leaves is a slab too
    held: dict[str, list[int]] = {name: [] for name in whole}
    for number, plate in enumerate(ledger.plates):
        piece: str | None = plate.id
        while piece is not None and piece not in held:
            piece = parent.get(piece)
        if piece is not None:
            held[piece].append(number)
    left, worth = ledger, _worths(judge, ledger)
    out: set[str] = set()
    gone: set[int] = set()
    for name in whole:
        if held[name]:
            rest = gone | set(held[name])
            left = ledger.copied()
            left.plates = [plate for number, plate in enumerate(ledger.plates) if number not in rest]
            if any(abs(a - b) > ALIKE for a, b in zip(_worths(judge, left), worth, strict=True)):
                continue
            gone = rest
        out.add(name)
    return frozenset(out)


def _worths(judge: Judge, ledger: Ledger) -> list[float]:
    """What plates count on each sampled log, by the objective and, where things have a price, by money."""
    money = judge.context.money
    return [*judge.worths(ledger).tolist(), *([] if money is None else judge.worths(ledger, money).tolist())]


@dataclass(frozen=True, slots=True)
class CarriedOut:
    """A layout, what comes of it on the machines, and how its slabs were filled."""

    log_layout: LogLayout
    ledger: Ledger
    fill: FillRequest


def spare_cuts(plan: CarriedOut, saw: Saw, judge: Judge, task: SawingTask) -> CarriedOut:
    """The plan without slabs of which nothing comes, as far as that saves cuts and loses nothing; the same one where it does not.

    A layout without them is carried out anew: pieces rest otherwise, and what is held by a face that is no longer there may not hold. It
    is kept where it opens the log in fewer cuts and is likely to be worth as much net of charges, and to earn as much. Slabs that come
    out where they were keep their plates; where one does not, all are filled anew.

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
    """
    nothing = slabs_of_nothing(judge, plan.ledger)
    if not nothing:
        return plan
    caches: list[PlacesCache] = [{} for _ in plan.log_layout.layouts]
    sawn = saw(plan.log_layout, caches)
    strips = {slab_key(job.frame): job.strips for job in filled_jobs(sawn.jobs, task, plan.fill)}
    cuts, tried = _cuts(sawn), {plan.log_layout.layouts}
    while True:
        for layouts in _sparing(plan.log_layout, sawn, nothing):
            if layouts in tried:
                continue
            tried.add(layouts)
            log_layout = replace(plan.log_layout, layouts=layouts)
            again = saw(log_layout, caches)
            if _cuts(again) >= cuts:
                continue
            keys = [slab_key(job.frame) for job in again.jobs]
            if all(key in strips for key in keys):
                jobs = [replace(job, strips=strips[key]) for job, key in zip(again.jobs, keys, strict=True)]
            else:
                jobs = filled_jobs(again.jobs, task, plan.fill)
            ledger = again.sawn_in_shop(task, jobs)
            if _as_good(judge, ledger, plan.ledger):
                plan, sawn, cuts = CarriedOut(log_layout, ledger, plan.fill), again, _cuts(again)
                strips = {slab_key(job.frame): job.strips for job in jobs}
                nothing = slabs_of_nothing(judge, ledger)
                break
        else:
            return plan


def _cuts(sawn: SawnToSlabs) -> int:
    """How many cuts open the log: of mill and resaw, up to its slabs."""
    return sum(1 for _ in sawn.ledger.cuts)


def _as_good(judge: Judge, ledger: Ledger, before: Ledger) -> bool:
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
