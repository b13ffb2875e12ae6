"""The best few layouts of one log for what complete sets bring.

The search counts plates one by one, each at a share of its set's price. Where a log gives many sides and few backs, sides
are worth little: shares are moved towards what is short, and the search is made again.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pithline.errors import PlanError
from pithline.geometry.pieces import Piece
from pithline.mill.limits import log_fits, widest_across
from pithline.mill.machine import Machines
from pithline.mill.products import Products
from pithline.mill.sections import log_sections, piece_shape
from pithline.plan.columns.bucking import crosscut_candidates
from pithline.plan.columns.log_columns import balanced_prices
from pithline.plan.execute.bucked_log import LogLayout, crosscut_log, execute_log_layout
from pithline.plan.execute.ledger import Ledger
from pithline.plan.execute.machine_setups import MachinePoser
from pithline.plan.execute.sets import gather_sets
from pithline.plan.execute.simulate import DrawnPoser
from pithline.plan.execute.slab_layout import SlabCache
from pithline.plan.problem.effort import COARSE, Effort
from pithline.plan.problem.log_frame import PITH_DOUBTS, SURFACE_DOUBTS, PlanLog, with_standard_errors
from pithline.plan.problem.objective import objective_weights
from pithline.plan.problem.parts import SawnPart, sawn_parts
from pithline.plan.problem.task import SawingTask
from pithline.plan.search import search_logs

Array = NDArray[np.float64]
Progress = Callable[[str, float], None]


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


def appraisal_shop(machines: Machines, products: Products, species: str, density: float) -> AppraisalShop:
    """Parts in their green sizes, and the rest."""
    return AppraisalShop(machines, products, sawn_parts(products, species), density)


def shop_of(trade: AppraisalShop, parts: tuple[SawnPart, ...]) -> SawingTask:
    """The shop with the worth of each plate."""
    worth = np.array([p.price if trade.priced else p.volume / 1e6 for p in parts])
    return SawingTask(trade.machines, parts, worth, np.array([np.inf if p.demand is None else p.demand for p in parts]))


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


def with_reserve(log: PlanLog, share: float) -> PlanLog:
    """The same log, planned on with a share of the usual reserve."""
    return with_standard_errors(log, log.field, SURFACE_DOUBTS * share, PITH_DOUBTS * share)


def best_layouts(
    log: PlanLog, basis: str, trade: AppraisalShop, rounds: int, seed: int, progress: Progress, effort: Effort = COARSE
) -> list[ExecutedLayout]:
    """Layouts of `rounds` searches, carried out on the real machines; `basis` says how boldly.

    Raises
    ------
    PlanError
        Where no plate of any part passes.
    """
    mill = trade.machines.mill
    parts = trade.parts
    objective = "value" if trade.priced else "volume"
    ways = crosscuts(log, basis, trade, progress)
    out: list[ExecutedLayout] = []
    for turn in range(rounds):
        task = shop_of(trade, parts)
        bold = BOLDNESS[basis][min(turn, len(BOLDNESS[basis]) - 1)]
        lying = with_reserve(log, bold)
        refusals: list[str] = []
        for number, places in enumerate(ways):

            def report_part(
                what: str, part: float, done: float = turn + number / len(ways), each: int = len(ways)
            ) -> None:
                progress(what, 0.1 + 0.9 * (done + part / each) / rounds)

            logs = crosscut_log(lying, places, trade.machines.buck.kerf, 0.0)[1]
            found = search_logs(logs, parts, task, objective, effort, seed, report_part)
            for answer in found.answers:
                log_layout = LogLayout(lying, places, logs, answer.layouts)
                sawn = packed(log_layout, parts, trade, bold)
                if any(plate.passes for plate in sawn.ledger.plates):
                    out.append(sawn)
                refusals += sawn.ledger.cautions
        if turn == 0 and not out:
            why = f" ({refusals[0]})" if refusals else ""
            raise PlanError(f"no layout that {mill.name} can hold gives a passing plate{why}; name another mill.")
        if not trade.priced or not out:
            break
        best = max(out, key=lambda one: sets_worth(one.ledger, trade))
        parts, ways = shifted(best.parts, best.ledger), [best.log_layout.places]
    return out


PACKINGS = 6
"""Times the slabs of a layout are packed with shares of the sets' prices moved; the slabs are looked at once."""


def packed(log_layout: LogLayout, parts: tuple[SawnPart, ...], trade: AppraisalShop, bold: float) -> ExecutedLayout:
    """A sawing carried out with the shares of each set's price that bring most complete sets."""
    carry = on_machines(log_layout.whole, trade)
    memories: list[SlabCache] = [{} for _ in log_layout.layouts]
    tried: list[ExecutedLayout] = []
    for _ in range(PACKINGS if trade.priced else 1):
        ledger = carry(log_layout, shop_of(trade, parts), memories)
        tried.append(ExecutedLayout(log_layout, parts, ledger, ledger.minutes, bold))
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


def crosscuts(log: PlanLog, basis: str, trade: AppraisalShop, progress: Progress) -> list[tuple[float, ...]]:
    """Ways to crosscut the log first that are worth a search; () leaves it whole. As `plan.search` does, on the first reserve."""
    task = shop_of(trade, trade.parts)
    lying = with_reserve(log, BOLDNESS[basis][0])
    weights = objective_weights("value" if trade.priced else "volume", trade.parts, trade.machines, log.reach)
    rough = crosscut_candidates(
        lying, trade.parts, task.machines, weights, lambda: False, lambda what, part: progress(what, 0.1 * part)
    )
    if not rough:
        return [()]
    best = rough[0]
    whole = next((value for value, places in rough if not places), None)
    if not best[1] or whole is None or best[0] > MUCH * whole:
        return [best[1]]
    return [best[1], ()]


def on_machines(whole: PlanLog, trade: AppraisalShop) -> Callable[[LogLayout, SawingTask, list[SlabCache]], Ledger]:
    """How sawings of a log are carried out on the real machines, crosscuts first."""
    sections = log_sections(whole.model)
    weight = piece_shape(sections, Piece("log", "log"), bark=True).volume * 1e-9 * trade.density

    def poser(one: PlanLog) -> MachinePoser:
        return MachinePoser(one, sections, trade.machines, trade.density)

    return lambda log_layout, task, caches: execute_log_layout(log_layout, task, poser, weight, caches=caches)


def as_drawn(log_layout: LogLayout, trade: AppraisalShop, task: SawingTask) -> Ledger:
    """The same as drawn, with no look at how pieces lie on the machines."""
    mill = trade.machines.mill
    return execute_log_layout(
        log_layout, task, lambda one: DrawnPoser(one, mill.kerf, mill.minutes_per_setting, mill.feed), 0.0
    )


def shifted(parts: tuple[SawnPart, ...], ledger: Ledger) -> tuple[SawnPart, ...]:
    """Shares of each set's price moved from parts that abound to those that are short; sets never whole are dropped."""
    have = Counter(plate.part for plate in ledger.plates if plate.passes)
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
    lying = with_reserve(log, sawn.bold)
    logs = crosscut_log(lying, sawn.log_layout.places, trade.machines.buck.kerf, 0.0)[1]
    log_layout = LogLayout(lying, sawn.log_layout.places, logs, sawn.log_layout.layouts)
    return replace(sawn, log_layout=log_layout, ledger=as_drawn(log_layout, trade, shop_of(trade, sawn.parts)))


QUICK = replace(COARSE, name="quick", rolls=12)


def searched_again(log: PlanLog, sawn: ExecutedLayout, trade: AppraisalShop, seed: int) -> ExecutedLayout:
    """A layout searched anew on a log known far better, crosscut where it was, at fewer rolls and with the full reserve."""
    task = shop_of(trade, sawn.parts)
    places = sawn.log_layout.places
    logs = crosscut_log(log, places, trade.machines.buck.kerf, 0.0)[1]
    objective = "value" if trade.priced else "volume"
    try:
        found = search_logs(logs, sawn.parts, task, objective, QUICK, seed, lambda what, part: None)
    except PlanError:  # nothing passes with what is known now: the layout at hand stays
        return laid_again(log, sawn, trade)
    log_layout = LogLayout(log, places, logs, found.answers[0].layouts)
    ledger = as_drawn(log_layout, trade, task)
    return ExecutedLayout(log_layout, sawn.parts, ledger, ledger.minutes, 1.0)
