"""The best few layouts of one log for what complete sets bring.

The search counts plates one by one, each at a share of its set's price. Where a log gives many sides and few backs, sides
are worth little: shares are moved towards what is short, and the search is made again.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pithline.errors import PlanError
from pithline.geometry.pieces import Piece
from pithline.mill.limits import log_fits, widest_across
from pithline.mill.machine import Machines
from pithline.mill.products import Products
from pithline.mill.sections import log_sections, piece_shape
from pithline.plan.api import (
    COARSE,
    SILENT,
    WHOLE_RESERVE,
    Effort,
    Ledger,
    LogLayout,
    Monitor,
    Objective,
    PlanLog,
    SawingTask,
    SawnPart,
    SearchContext,
    SlabCache,
    Workshop,
    balanced_prices,
    crosscut_candidates,
    crosscut_log,
    execute_as_drawn,
    gather_sets,
    plates_wanted,
    sawn_parts,
    search_logs,
    with_reserve,
    workshop_of,
)

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class ExecutedLayout:
    """A layout carried out on the log as it is most likely."""

    log_layout: LogLayout
    parts: tuple[SawnPart, ...]  # with the prices it was searched with
    ledger: Ledger
    minutes: float
    bold: float = 1.0  # share of the usual reserve it was planned with


@dataclass(frozen=True, slots=True)
class AppraisalShop:
    """What a log is sawn with and into."""

    machines: Machines
    products: Products
    parts: tuple[SawnPart, ...]
    density: float

    @property
    def priced(self) -> bool:
        """Whether any product has a price; without one volume is all there is to go by."""
        return any(part.price > 0.0 for part in self.parts)

    @property
    def objective(self) -> Objective:
        """What its plans are searched for."""
        return Objective.VALUE if self.priced else Objective.VOLUME

    def task(self, parts: tuple[SawnPart, ...]) -> SawingTask:
        """What is wanted, each plate at the price of these parts."""
        return SawingTask(self.machines, parts, self.objective.worth(parts), plates_wanted(parts))

    def context(self, parts: tuple[SawnPart, ...], effort: Effort, seed: int) -> SearchContext:
        """What is asked of a search at the prices of these parts."""
        return SearchContext(self.task(parts), self.objective, effort, seed)

    def workshop(self, log: PlanLog) -> Workshop:
        """The machines that a log is carried out on."""
        return workshop_of(log.model, self.machines, self.density)


def appraisal_shop(machines: Machines, products: Products, species: str, density: float) -> AppraisalShop:
    """Parts in their green sizes, and the rest."""
    return AppraisalShop(machines, products, sawn_parts(products, species), density)


def fits(log: PlanLog, basis: str, trade: AppraisalShop, name: str) -> tuple[str, ...]:
    """Refuse a log that the mill cannot hold; a caution where one known by tape may be too thick for it.

    Raises
    ------
    MillError
        Names the limit.
    """
    model = log.model
    mill = trade.machines.mill
    whole, plain = (
        piece_shape(log_sections(one), Piece("log", "log"), bark=True)
        for one in (model, replace(model, envelope=model.radius_over_bark))
    )
    longest = replace(mill, log_length_max=max(mill.log_length_max, model.length))  # a longer one is crosscut first
    across, most = widest_across(plain)[0], widest_across(whole)[0]
    if basis != "tape":
        log_fits(whole, across, model.length, longest, name)
        return ()
    # the envelope of a taped log holds no stub that was seen, only the doubt of its section
    log_fits(plain, across, model.length, longest, name)
    if most <= mill.log_diameter_max:
        return ()
    return (
        f"by its girths it is {across:.0f} mm across, but where it is not round it may reach {most:.0f} mm, and the largest log "
        f"the mill takes is {mill.log_diameter_max:.0f} mm: measure its widest place before you bid.",
    )


BOLDNESS = {"scan": (1.0, 1.0, 0.5), "one flank": (1.0, 0.5, 0.5), "tape": (1.0, 0.5, 1.0)}
"""What share of a plan's usual reserve each search keeps. Many plates of which some fail may bring more than few sure ones;
the drawn logs decide between the layouts. Found by trial on generated logs."""


def bold_log(log: PlanLog, share: float) -> PlanLog:
    """The same log, planned on with a share of the usual reserve."""
    return with_reserve(log, log.field, WHOLE_RESERVE.share(share))


@dataclass(frozen=True, slots=True)
class LayoutSearch:
    """How layouts of a log are searched.

    Attributes
    ----------
    rounds : int
        Searches, each with the shares of sets' prices moved.
    effort, seed : Effort, int
        Of each.
    """

    rounds: int
    seed: int
    effort: Effort = COARSE


def best_layouts(
    log: PlanLog, basis: str, trade: AppraisalShop, search: LayoutSearch, monitor: Monitor = SILENT
) -> list[ExecutedLayout]:
    """Layouts of several searches, carried out on the real machines; `basis` says how boldly.

    Raises
    ------
    PlanError
        Where no plate of any part passes.
    """
    parts = trade.parts
    context = trade.context(parts, search.effort, search.seed)
    ways = crosscuts(log, basis, context, monitor.within(0.0, 0.1))
    searching = monitor.within(0.1, 1.0)
    out: list[ExecutedLayout] = []
    for turn in range(search.rounds):
        context = trade.context(parts, search.effort, search.seed)
        bold = BOLDNESS[basis][min(turn, len(BOLDNESS[basis]) - 1)]
        found, refusals = _one_round(bold_log(log, bold), ways, trade, context, searching.share(turn, search.rounds))
        out += [replace(one, bold=bold) for one in found]
        if turn == 0 and not out:
            why = f" ({refusals[0]})" if refusals else ""
            mill = trade.machines.mill.name
            raise PlanError(f"no layout that {mill} can hold gives a passing plate{why}; name another mill.")
        if not trade.priced or not out:
            break
        best = max(out, key=lambda one: sets_worth(one.ledger, trade))
        parts, ways = shifted(best.parts, best.ledger), [best.log_layout.places]
    return out


def _one_round(
    log: PlanLog,
    ways: Sequence[tuple[float, ...]],
    trade: AppraisalShop,
    context: SearchContext,
    monitor: Monitor,
) -> tuple[list[ExecutedLayout], list[str]]:
    """Layouts of one search of each way to crosscut the log that give any plate, and why machines refused some."""
    out: list[ExecutedLayout] = []
    refusals: list[str] = []
    for number, places in enumerate(ways):
        logs = crosscut_log(log, places, trade.machines.buck.kerf, 0.0)[1]
        for answer in search_logs(logs, context, monitor.share(number, len(ways))).answers:
            sawn = packed(LogLayout(log, places, logs, answer.layouts), context.parts, trade)
            if sawn.ledger.passing:
                out.append(sawn)
            refusals += sawn.ledger.cautions
    return out, refusals


PACKINGS = 6
"""Times the slabs of a layout are packed with shares of the sets' prices moved; the slabs are looked at once."""


def packed(log_layout: LogLayout, parts: tuple[SawnPart, ...], trade: AppraisalShop) -> ExecutedLayout:
    """A layout carried out with the shares of each set's price that bring most complete sets."""
    workshop = trade.workshop(log_layout.whole)
    caches: list[SlabCache] = [{} for _ in log_layout.layouts]
    tried: list[ExecutedLayout] = []
    for _ in range(PACKINGS if trade.priced else 1):
        ledger = workshop.execute(log_layout, trade.task(parts), caches)
        tried.append(ExecutedLayout(log_layout, parts, ledger, ledger.minutes))
        parts = shifted(parts, ledger)
        if parts == tried[-1].parts:
            break
    return max(tried, key=lambda one: sets_worth(one.ledger, trade))


def sets_worth(ledger: Ledger, trade: AppraisalShop) -> float:
    """The price of all complete sets of the passing plates, or without prices their volume in litres."""
    if not trade.priced:
        return float(sum(plate.volume for plate in ledger.passing)) / 1e6
    prices = {product.name: product.price for product in trade.products.products}
    return float(
        sum(prices[name] * n for name, n in gather_sets(ledger.passing, trade.parts, trade.products).sets.items())
    )


MUCH = 1.15
"""A way to crosscut that promises less than this share of the whole log on the rough grid is searched beside it, not alone."""


def crosscuts(log: PlanLog, basis: str, context: SearchContext, monitor: Monitor) -> list[tuple[float, ...]]:
    """Ways to crosscut the log first that are worth a search; () leaves it whole. As `plan.search` does, on the first reserve."""
    weights = context.weights(log.reach)
    rough = crosscut_candidates(bold_log(log, BOLDNESS[basis][0]), context, weights, monitor)
    if not rough:
        return [()]
    best = rough[0]
    whole = next((value for value, places in rough if not places), None)
    if not best[1] or whole is None or best[0] > MUCH * whole:
        return [best[1]]
    return [best[1], ()]


def shifted(parts: tuple[SawnPart, ...], ledger: Ledger) -> tuple[SawnPart, ...]:
    """Shares of each set's price moved from parts that abound to those that are short; sets never whole are dropped."""
    have = Counter(plate.part for plate in ledger.passing)
    prices = balanced_prices(parts, np.array([part.price for part in parts]), tuple(have[i] for i in range(len(parts))))
    # a set that lacks a part brings nothing, so its other parts are not worth sawing
    lacking = {part.product for i, part in enumerate(parts) if not have[i]}
    several = {part.product for part in parts if sum(other.product == part.product for other in parts) > 1}
    return tuple(
        replace(part, price=0.0 if part.product in lacking & several else price)
        for part, price in zip(parts, prices, strict=True)
    )


def laid_again(log: PlanLog, sawn: ExecutedLayout, trade: AppraisalShop) -> ExecutedLayout:
    """The same settings on a log known better: faces stay where they are about the pith, plates are packed anew."""
    lying, places = bold_log(log, sawn.bold), sawn.log_layout.places
    logs = crosscut_log(lying, places, trade.machines.buck.kerf, 0.0)[1]
    log_layout = LogLayout(lying, places, logs, sawn.log_layout.layouts)
    return replace(sawn, log_layout=log_layout, ledger=execute_as_drawn(log_layout, trade.task(sawn.parts)))


QUICK = replace(COARSE, name="quick", rolls=12)


def searched_again(log: PlanLog, sawn: ExecutedLayout, trade: AppraisalShop, seed: int) -> ExecutedLayout:
    """A layout searched anew on a log known far better, crosscut where it was, at fewer rolls and with the full reserve."""
    places = sawn.log_layout.places
    logs = crosscut_log(log, places, trade.machines.buck.kerf, 0.0)[1]
    context = trade.context(sawn.parts, QUICK, seed)
    try:
        found = search_logs(logs, context)
    except PlanError:  # nothing passes with what is known now: the layout at hand stays
        return laid_again(log, sawn, trade)
    log_layout = LogLayout(log, places, logs, found.answers[0].layouts)
    ledger = execute_as_drawn(log_layout, context.task)
    return ExecutedLayout(log_layout, sawn.parts, ledger, ledger.minutes, 1.0)
