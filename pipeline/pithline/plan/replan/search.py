"""The search once a log is open: prices over every piece in hand, and one master over all of them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from pithline.mill.sections import log_sections, piece_shape
from pithline.plan.class_choice import bolt_classes
from pithline.plan.columns.market_model import price_family
from pithline.plan.columns.near_columns import MasterTask
from pithline.plan.columns.way_master import choose_different_ways
from pithline.plan.evaluate.judge import Judge, judge_on_samples, plate_counts
from pithline.plan.evaluate.spare_cuts import CarriedOut, spare_cuts
from pithline.plan.evaluate.workbench import STYLES, ExecutedPlan, best_filled
from pithline.plan.execute.bucked_log import LogLayout
from pithline.plan.execute.ledger import Ledger
from pithline.plan.execute.slab_fill import FillRequest, PlacesCache, PlatesInHand
from pithline.plan.execute.workshop import Workshop
from pithline.plan.pricing.class_search import ClassTask, ValuedLogs, look_at
from pithline.plan.pricing.cutting_planes import affordable
from pithline.plan.pricing.fills import Fillable, fill_all
from pithline.plan.pricing.log_grid import GridSlab, LogGrid, log_grid
from pithline.plan.pricing.log_oracle import BoltClass, Way
from pithline.plan.pricing.price_search import FAR, Priced, SeenLayout, Sold, Until, search_prices, worth_at
from pithline.plan.problem.context import SearchContext
from pithline.plan.problem.effort import bolts_on_mill, rolls_for
from pithline.plan.problem.log_frame import PlanLog
from pithline.plan.problem.monitor import SILENT, Monitor
from pithline.plan.programmes.slab_values import PlateWorth
from pithline.plan.replan.piece_ways import PieceGrids, TrueSlabs, best_parts, piece_ways, slabs_of
from pithline.plan.replan.remaining_pieces import RemainingPiece, sides_of
from pithline.plan.replan.remaining_work import RemainingWork, SawnOnToSlabs
from pithline.plan.search import Candidate, kept_candidate, price_start
from pithline.plan.search_stated import search_words

Array = NDArray[np.float64]
Counts = NDArray[np.int64]
CLOSE_LOOKS = 0.06
"""Looks that reach no more than this share above the least give the master their columns."""


@dataclass(slots=True)
class _TrueFills:
    """What `MasterTask` asks of slabs: those of each piece, by their faces."""

    slabs: Sequence[TrueSlabs]

    def slab(self, log: int, slab: bytes) -> Fillable:
        """A slab of the piece with this number."""
        found = self.slabs[log].places[slab]
        assert found is not None
        return found


@dataclass(frozen=True, slots=True)
class _OpenLog:
    """A log with pieces in hand: the whole one as any log is searched, opened ones from their faces.

    Attributes
    ----------
    numbers : list of int
        Of its pieces.
    grids : PieceGrids
        From their faces.
    whole : LogGrid, optional
        Where the log is not touched yet.
    slabs : TrueSlabs
        Of all its ways.
    """

    log: PlanLog
    numbers: list[int]
    grids: PieceGrids
    whole: LogGrid | None
    slabs: TrueSlabs


@dataclass(frozen=True, slots=True)
class _Look:
    """One look at prices (Q,).

    Attributes
    ----------
    bound : float
        What no way to saw on can be worth more than there.
    reached : float
        What the best ways are worth there on the true pieces: less than the bound where one has more faces than the programmes know.
    ways : list of list of Way
        The best of every piece.
    """

    prices: Array
    bound: float
    reached: float
    ways: list[list[Way[bytes]]]


@dataclass(slots=True)
class _Looking:
    """Looks at prices of all pieces in hand; every look is kept."""

    pieces: Sequence[RemainingPiece]
    context: SearchContext
    logs: Sequence[_OpenLog]
    sawn: Counts
    looks: list[_Look] = field(default_factory=list)

    def look(self, prices: Array) -> Priced:
        """The best ways of every piece at prices (Q,), and what they reach: prices are sought by that, not by a bound of other wood."""
        economics = self.context.economics
        worth = worth_at(economics.market, prices, economics.costs)
        ways: list[list[Way[bytes]]] = [[] for _ in self.pieces]
        best = sum(self._log(one, worth, prices, ways) for one in self.logs)
        there = PlatesInHand(self.sawn)
        have, unsold = fill_all((there,), worth)[0][0], economics.market.unsold_bound(prices)
        reached = have + unsold
        slabs: list[Fillable] = [there]  # else prices would be those of a log of which nothing is sawn
        charge = 0.0
        for i, own in enumerate(ways):
            places = next(one for one in self.logs if i in one.numbers).slabs.places
            seen = {key: found for way in own for key in slabs_of(way) if (found := places[key]) is not None}
            values = dict(zip(seen, (value for value, _ in fill_all(seen.values(), worth)), strict=True))
            most, parts = max((best_parts(way, values) for way in own), key=lambda found: found[0], default=(0.0, ()))
            if most > 0.0:
                reached += most
                slabs += [seen[key] for part in parts for key in part.slabs]
                charge += sum(part.charge for part in parts)
        bound = best + have + unsold
        self.looks.append(_Look(prices, bound, min(reached, bound), ways))
        return Priced(prices, self.looks[-1].reached, (SeenLayout(tuple(slabs), charge),))

    def _log(self, one: _OpenLog, worth: PlateWorth, prices: Array, ways: list[list[Way[bytes]]]) -> float:
        """Add the best ways of one log's pieces; their bounds together."""
        total = 0.0
        opened = [i for i in one.numbers if self.pieces[i].piece.faces != one.log.piece.faces]
        if one.whole is not None:
            task = _class_task(self.context, one.whole)
            look = look_at(task, ValuedLogs((one.whole,), task), one.grids.bolts, prices)
            number = next(i for i in one.numbers if i not in opened)
            ways[number] += self._true(one, look.ways[0], number)
            total += look.bound - self.context.economics.market.unsold_bound(prices)
        solved = one.grids.solved(worth)
        dearest = float(np.max(worth.mated / [part.volume for part in self.context.economics.kinds.sawn], initial=0.0))
        sections = log_sections(one.log.model) if opened else None
        for i in opened:
            found, bound = piece_ways(self.pieces[i], one.grids, solved)
            ways[i] += self._true(one, found, i)
            assert sections is not None
            # a piece cannot be worth more than its wood as plates of the dearest part
            total += min(bound, dearest * piece_shape(sections, self.pieces[i].piece, bark=False).volume)
        return total

    def _true(self, one: _OpenLog, found: Sequence[Way[GridSlab]], number: int) -> list[Way[bytes]]:
        piece = self.pieces[number].piece
        return [true for way in found if (true := one.slabs.way(way, piece)) is not None]


def _class_task(context: SearchContext, grid: LogGrid) -> ClassTask:
    machines, effort = context.machines, context.effort
    return ClassTask(
        context.economics,
        (machines.mill.kerf, machines.resaw.kerf),
        (np.array([grid.grid.rolls // 2]),),
        firsts=effort.firsts,
        halves=effort.halves,
        rounds=effort.rounds,
    )


def _open_logs(pieces: Sequence[RemainingPiece], context: SearchContext) -> list[_OpenLog]:
    by_log: dict[int, list[int]] = {}
    for i, each in enumerate(pieces):
        by_log.setdefault(id(each.log), []).append(i)
    out = []
    for numbers in by_log.values():
        log = pieces[numbers[0]].log
        on_mill = bolts_on_mill(log, context.machines)
        bolts = _class(context, on_mill)
        grids = PieceGrids(log, context, bolts)
        untouched = any(pieces[i].piece.faces == log.piece.faces for i in numbers)
        rolls = rolls_for(context.effort, context.machines, on_mill)
        whole = log_grid(log, context, rolls, lambda part: None) if untouched else None
        for i in numbers:
            for side in sides_of(log, pieces[i].piece):
                grids.at(side.clock)
        out.append(_OpenLog(log, numbers, grids, whole, TrueSlabs(log, context, on_mill)))
    return out


def _class(context: SearchContext, on_mill: bool) -> BoltClass:
    """The widest class of bolts that the shop's cradles allow."""
    classes = bolt_classes(context, on_mill)
    return max(classes, key=lambda one: (one.any_angle and not one.cradles_deg, len(one.cradles_deg)))


def search_remaining(
    pieces: Sequence[RemainingPiece],
    context: SearchContext,
    sawn: Counts,
    work: RemainingWork,
    monitor: Monitor = SILENT,
) -> list[Candidate]:
    """Search every piece in hand by prices, then choose for all together.

    Parameters
    ----------
    pieces : sequence of RemainingPiece
        Those that mill or resaw may still take.
    context : SearchContext
        What is asked.
    sawn : (P, 2) array
        Mated and single plates that are sawn already, or will be whatever is chosen here.
    work : RemainingWork
        What layouts of the pieces belong to.
    monitor : Monitor
        Hears how far it is.

    Returns
    -------
    list of Candidate
        Layouts of all pieces; values count plates sawn already too, but only charges still to come. There is always one: to leave
        all of them.
    """
    economics = context.economics
    start = price_start(economics)
    have = economics.market.worth(sawn[:, 0], sawn[:, 1])[0]
    leave = work.layout((None,) * len(pieces))
    nothing = Candidate(
        leave, BoltClass("nothing more", sawn=False), have, have, "nothing more to choose", start, 0, _WORDS_OF_NONE
    )
    if not pieces:
        return [nothing]
    monitor.report("looking at the pieces", 0.0)
    looking = _Looking(pieces, context, _open_logs(pieces, context), sawn)
    search_prices(
        Sold(economics.market, economics.costs),
        looking.look,
        start,
        Until(context.effort.rounds, monitor.stopped, box=FAR),
    )
    least = affordable(economics.market, np.zeros_like(start))
    if economics.market.unsold_bound(least) < min(one.bound for one in looking.looks):
        looking.look(least)  # no more than all that is wanted can be sold
    looks = sorted(looking.looks, key=lambda one: one.reached)
    bound, reached, prices = min(one.bound for one in looks), looks[0].reached, looks[0].prices
    ways: list[list[Way[bytes]]] = [[] for _ in pieces]
    for one in looks:
        if one.reached <= reached + CLOSE_LOOKS * abs(reached):
            for own, more in zip(ways, one.ways, strict=True):
                own += more
    by_piece = [next(one.slabs for one in looking.logs if i in one.numbers) for i in range(len(pieces))]
    for i, each in enumerate(pieces):
        if each.before is not None:
            ways[i].append(by_piece[i].as_way(each.before, each.piece))
    monitor.report("choosing", 0.8)
    out: list[Candidate] = []
    bolts = looking.logs[0].grids.bolts
    words = _words(looking, context)
    task = MasterTask(
        economics.market,
        _TrueFills(by_piece),
        tuple(tuple(own) for own in ways),
        (economics.mill if bolts.on_mill else economics.shop).opening,
        price_family(economics.market, prices),
        economics.costs,
        sawn=sawn,
        near=np.inf,
    )
    effort = context.effort
    for answer in choose_different_ways(task, effort.master, context.seed, effort.answers):
        if not any(answer.layouts):
            break
        most = max(bound, answer.value, have)
        layout = work.layout(answer.layouts)
        out.append(Candidate(layout, bolts, answer.value, most, answer.status, prices, len(looks), words))
    return [*out, nothing]


_WORDS_OF_NONE = "no piece was left to search"


def _words(looking: _Looking, context: SearchContext) -> str:
    grids = [
        grid for one in looking.logs for grid in (*one.grids.made, *([one.whole] if one.whole is not None else []))
    ]
    return (
        "of plates sawn already, and of the pieces in hand, each from its own sawn faces, net of charges still to come: "
        + search_words(grids, looking.logs[0].grids.bolts, context)
    )


def replans_in_order(
    work: RemainingWork, context: SearchContext, workshop: Workshop, monitor: Monitor = SILENT
) -> Iterator[ExecutedPlan]:
    """Ways to saw on, carried out, best first: what a search of the pieces in hand finds, and the earlier plan's own way."""
    start = price_start(context.economics)
    fill = FillRequest(context.economics, start)
    nothing = work.saw((None,) * len(work.pieces), workshop.poser).filled(work.task, fill)
    sawn = plate_counts(
        nothing.plates, context.economics.kinds, np.array([plate.passes for plate in nothing.plates], bool)
    )
    ways = search_remaining(work.pieces, context, sawn, work, monitor)
    if any(work.before):
        ways.append(kept_candidate(work.layout(work.before), ways[0], "earlier plan kept"))
    judge = judge_on_samples(work.state.whole, context)
    plans: list[_Carried] = []
    for candidate in ways:
        for again in (False, True) if work.slabs_in_hand else (False,):
            caches: list[PlacesCache] = [{} for _ in work.pieces]
            slabs = work.saw(candidate.log_layout.layouts, workshop.poser, again, caches)
            request = FillRequest(context.economics, candidate.prices)
            plan = _judged(candidate, slabs.filled(work.task, request), judge, request)
            plans.append(_Carried(plan, again, slabs))
    for one in sorted(plans, key=lambda one: -round(one.plan.likely, 9)):
        found = [one.plan]
        for style in STYLES[1:]:
            request = FillRequest(context.economics, one.plan.candidate.prices, style=style)
            found.append(_judged(one.plan.candidate, one.slabs.filled(work.task, request), judge, request))
        best = found[best_filled(found, context.objective)]
        yield _without_idle_cuts(best, one.again, work, workshop, judge)


def worth_gone_on(work: RemainingWork, context: SearchContext) -> float:
    """What the earlier plan, sawn to its end as written, is likely to be worth by what is known now, net of charges."""
    return judge_on_samples(work.state.whole, context).worth(work.gone_on())


@dataclass(frozen=True, slots=True)
class _Carried:
    """A way to saw on, carried out up to its `slabs` and filled, `again` as for `RemainingWork.saw`."""

    plan: ExecutedPlan
    again: bool
    slabs: SawnOnToSlabs


def _judged(candidate: Candidate, ledger: Ledger, judge: Judge, request: FillRequest) -> ExecutedPlan:
    return ExecutedPlan(candidate, ledger, judge.worth(ledger), judge.earnings(ledger), request)


def _without_idle_cuts(
    plan: ExecutedPlan, again: bool, work: RemainingWork, workshop: Workshop, judge: Judge
) -> ExecutedPlan:
    """A way to saw on without cuts of which nothing comes; what is kept of the earlier plan in the shop stays. `again` as for `saw`."""
    assert plan.fill is not None

    def saw(log_layout: LogLayout, caches: Sequence[PlacesCache]) -> SawnOnToSlabs:
        return work.saw(log_layout.layouts, workshop.poser, again, caches)

    before = CarriedOut(plan.candidate.log_layout, plan.ledger, plan.fill)
    after = spare_cuts(before, saw, judge, work.task)
    if after is before:
        return plan
    candidate = replace(plan.candidate, log_layout=after.log_layout)
    return ExecutedPlan(candidate, after.ledger, judge.worth(after.ledger), judge.earnings(after.ledger), plan.fill)
