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
from pithline.logmodel.taper import diameter_butt, diameter_top
from pithline.mill.limits import log_fits
from pithline.mill.machine import Machines
from pithline.mill.products import Products
from pithline.mill.sections import log_sections, piece_shape
from pithline.plan.carry import DrawnPoser, Shop, carry_out
from pithline.plan.frame import PITH_DOUBTS, SURFACE_DOUBTS, PlanLog
from pithline.plan.layout import Setting
from pithline.plan.ledger import Ledger
from pithline.plan.milling import MachinePoser
from pithline.plan.parts import SawnPart, sawn_parts
from pithline.plan.solve import COARSE, Effort, find
from pithline.wood.field import tables

Array = NDArray[np.float64]
Progress = Callable[[str, float], None]


@dataclass(frozen=True, slots=True)
class Sawn:
    """A layout carried out on the log as it is most likely."""

    layout: Setting
    parts: tuple[SawnPart, ...]  # with the prices it was searched with
    ledger: Ledger
    minutes: float
    bold: float = 1.0  # share of the usual reserve it was planned with


@dataclass(frozen=True, slots=True)
class Trade:
    """What a log is sawn with and into."""

    machines: Machines
    products: Products
    parts: tuple[SawnPart, ...]
    density: float

    @property
    def priced(self) -> bool:
        """Whether any product has a price; without one volume is all there is to go by."""
        return any(part.price > 0.0 for part in self.parts)


def trade_of(machines: Machines, products: Products, species: str, density: float) -> Trade:
    """Parts in their green sizes, and the rest."""
    return Trade(machines, products, sawn_parts(products, species), density)


def shop_of(trade: Trade, parts: tuple[SawnPart, ...]) -> Shop:
    """The shop with the worth of each plate."""
    worth = np.array([p.price if trade.priced else p.volume / 1e6 for p in parts])
    return Shop(trade.machines, parts, worth, np.array([np.inf if p.demand is None else p.demand for p in parts]))


def minutes_of(ledger: Ledger) -> float:
    """Sawing time of all settings. [min]"""
    return float(sum(o["minutes"] for o in ledger.operations if o["op"] == "setting"))


def fits(log: PlanLog, trade: Trade, name: str) -> None:
    """Refuse a log that the mill cannot hold.

    Raises
    ------
    MillError
        Names the limit.
    """
    model = log.model
    whole = piece_shape(log_sections(model), Piece("log", "log"), bark=True)
    log_fits(whole, max(diameter_butt(model), diameter_top(model)), model.length, trade.machines.mill, name)


BOLDNESS = {"scan": (1.0, 1.0, 0.5), "one flank": (1.0, 0.5, 0.5), "tape": (0.3, 0.3, 1.0)}
"""What share of a plan's usual reserve each search keeps. Where little is known the full reserve leaves no plate, and many
plates of which some fail bring more; the drawn logs decide between them. Found by trial on generated logs."""


def with_reserve(log: PlanLog, share: float) -> PlanLog:
    """The same log, planned on with a share of the usual reserve."""
    doubts = SURFACE_DOUBTS * share, PITH_DOUBTS * share
    return replace(log, doubts=doubts, wary=tables(log.field, *doubts))


def best_layouts(
    log: PlanLog, basis: str, trade: Trade, rounds: int, seed: int, progress: Progress, effort: Effort = COARSE
) -> list[Sawn]:
    """Layouts of `rounds` searches, carried out on the real machines; `basis` says how boldly.

    Raises
    ------
    PlanError
        Where no plate of any part passes.
    """
    mill = trade.machines.mill
    sections = log_sections(log.model)
    parts = trade.parts
    objective = "value" if trade.priced else "volume"
    out: list[Sawn] = []
    for turn in range(rounds):
        shop = shop_of(trade, parts)
        bold = BOLDNESS[basis][min(turn, len(BOLDNESS[basis]) - 1)]
        lying = with_reserve(log, bold)

        def told(what: str, part: float, turn: int = turn) -> None:
            progress(what, (turn + part) / rounds)

        found = find(lying, parts, shop, objective, effort, seed, told)
        poser = MachinePoser(lying, sections, trade.machines, trade.density)
        refusals: list[str] = []
        for answer in found.answers:
            ledger = carry_out(lying, answer.layout, shop, poser)
            if any(plate.grade.passes for plate in ledger.plates):
                out.append(Sawn(answer.layout, parts, ledger, minutes_of(ledger), bold))
            refusals += ledger.cautions
        if turn == 0 and not out:
            why = f" ({refusals[0]})" if refusals else ""
            raise PlanError(f"no layout that {mill.name} can hold gives a passing plate{why}; name another mill.")
        if not trade.priced or not out:
            break
        parts = shifted(parts, out[-1].ledger)
    return out


def shifted(parts: tuple[SawnPart, ...], ledger: Ledger) -> tuple[SawnPart, ...]:
    """Shares of each set's price moved from parts that abound to those that are short; sets never whole are dropped."""
    have = Counter(plate.part for plate in ledger.plates if plate.grade.passes)
    out = list(parts)
    for product in dict.fromkeys(part.product for part in parts):
        own = [i for i, part in enumerate(parts) if part.product == product]
        if len(own) < 2:
            continue
        whole = sum(parts[i].price * parts[i].part.count for i in own)
        sets = np.array([have[i] / parts[i].part.count for i in own])
        if not sets.all():  # a set that lacks a part brings nothing, so its other parts are not worth sawing
            for i in own:
                out[i] = replace(parts[i], price=0.0)
            continue
        share = np.array([parts[i].price * parts[i].part.count for i in own]) / np.sqrt(sets + 0.5)
        share *= whole / share.sum() if share.sum() > 0 else 0.0
        for i, worth in zip(own, share, strict=True):
            out[i] = replace(parts[i], price=float(worth) / parts[i].part.count)
    return tuple(out)


def laid_again(log: PlanLog, sawn: Sawn, trade: Trade) -> Sawn:
    """The same settings on a log known better: faces stay where they are about the pith, plates are packed anew."""
    mill = trade.machines.mill
    lying = with_reserve(log, sawn.bold)
    poser = DrawnPoser(lying, mill.kerf, mill.minutes_per_setting, mill.feed)
    ledger = carry_out(lying, sawn.layout, shop_of(trade, sawn.parts), poser)
    return replace(sawn, ledger=ledger)


QUICK = replace(COARSE, name="quick", rolls=12)


def searched_again(log: PlanLog, sawn: Sawn, trade: Trade, seed: int) -> Sawn:
    """A layout searched anew on a log known far better, at half the usual number of rolls and with the full reserve."""
    mill = trade.machines.mill
    shop = shop_of(trade, sawn.parts)
    try:
        found = find(log, sawn.parts, shop, "value" if trade.priced else "volume", QUICK, seed, lambda what, part: None)
    except PlanError:  # nothing passes with what is known now: the layout at hand stays
        return laid_again(log, sawn, trade)
    poser = DrawnPoser(log, mill.kerf, mill.minutes_per_setting, mill.feed)
    ledger = carry_out(log, found.answers[0].layout, shop, poser)
    return Sawn(found.answers[0].layout, sawn.parts, ledger, minutes_of(ledger), 1.0)
