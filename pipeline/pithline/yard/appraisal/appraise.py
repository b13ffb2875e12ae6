"""One log from its card to a row of the appraisal: fit or tape, layouts, drawn logs, money, what would help to know."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pithline.errors import InputError
from pithline.files.cards import card_as_read, card_from, scan_path
from pithline.files.mills import mill_as_read, mill_from
from pithline.files.priors import Money, Priors, priors_as_read, priors_from
from pithline.files.products import products_as_read, products_from
from pithline.files.scans import read_scan
from pithline.logmodel.card import Card
from pithline.logmodel.dimensions import diameters, sweep
from pithline.logmodel.species import species_of
from pithline.mill.machine import Machines
from pithline.mill.products import Products
from pithline.plan.api import COARSE, Effort, Monitor
from pithline.trade.log_rules import scale_log
from pithline.trade.weights import weight
from pithline.yard.appraisal.drawn_logs import (
    DrawBasis,
    draw_basis,
    draw_component,
    draw_log,
    log_as_drawn,
    most_likely_draw,
)
from pithline.yard.appraisal.information import InformationCase, ShareWork, in_turn, worth_finding_out
from pithline.yard.appraisal.layouts import (
    AppraisalShop,
    ExecutedLayout,
    LayoutSearch,
    appraisal_shop,
    best_layouts,
    fits,
)
from pithline.yard.appraisal.log_knowledge import LogKnowledge, cubic_volume, gather_knowledge
from pithline.yard.appraisal.money import Costs, drying_cost, highest_bid, rest_value, sawing_cost
from pithline.yard.appraisal.regrade import Outcome, Planned, brings, planned
from pithline.yard.appraisal.spoilers import in_words, spoilers
from pithline.yard.appraisal.tape_log import needs, tape_model
from pithline.yard.deciles import deciles

Array = NDArray[np.float64]
Progress = Callable[[str, float], None]
ALONE = 12
"""Logs drawn for what one component takes off by itself."""


@dataclass(frozen=True, slots=True)
class AppraisalTerms:
    """What all logs of a lot are appraised by."""

    machines: Machines
    products: Products
    priors: Priors
    margin: float
    seed: int
    today: date
    effort: Effort = COARSE


@dataclass(frozen=True, slots=True)
class Lot:
    """One card, read and checked."""

    path: str
    card: Card
    read: dict[str, Any]


def read_terms(
    mill: str | None, products: str | None, priors: str | None, margin: float, seed: int, today: date
) -> AppraisalTerms:
    """Read mill, products and priors.

    Raises
    ------
    InputError
        Also where two files name two currencies.
    """
    products_read, priors_read = products_as_read(products), priors_as_read(priors)
    theirs, ours = products_read.get("currency"), priors_read["money"]["currency"]
    if theirs is not None and theirs != ours:
        raise InputError(
            f'{products or "the bundled products"}: prices are in "{theirs}", but costs in '
            f'{priors or "the bundled priors.toml"} are in "{ours}"; put both in one currency.'
        )
    return AppraisalTerms(
        mill_from(mill_as_read(mill)), products_from(products_read), priors_from(priors_read), margin, seed, today
    )


def read_lot(paths: list[str]) -> list[Lot]:
    """Read every card before anything long begins.

    Raises
    ------
    InputError
        The first card at fault, two cards of one id, or a card with neither scan nor tape.
    """
    lot: list[Lot] = []
    seen: dict[str, str] = {}
    for path in paths:
        read = card_as_read(path)
        card = card_from(read)
        if card.id in seen:
            raise InputError(f'{path}: [log] id "{card.id}" is also that of {seen[card.id]}; give each log its own.')
        seen[card.id] = path
        species_of(card.species)
        if card.scan is None:
            try:
                needs(card)
            except InputError as error:
                raise InputError(f"{path}: {error}") from None
        else:
            scan_path(path, card)
        lot.append(Lot(path, card, read))
    return lot


def known_log(one: Lot, terms: AppraisalTerms) -> LogKnowledge:
    """Fit the scan, or draw the log up from the tape."""
    from pithline.logmodel.fit import fit_log

    if one.card.scan is None:
        model, taped = tape_model(one.card, one.read, terms.priors)
        return gather_knowledge(model, one.card, one.read, terms.priors, terms.today, taped)
    scan = read_scan(scan_path(Path(one.path), one.card))
    model = fit_log(scan.points, one.card, default_up=scan.default_up)
    return gather_knowledge(model, one.card, one.read, terms.priors, terms.today)


@dataclass(frozen=True, slots=True)
class Appraised:
    """A log's row of the appraisal, and what a picture of it needs."""

    row: dict[str, Any]
    known: LogKnowledge
    sawn: ExecutedLayout
    outcomes: tuple[Outcome, ...]


@dataclass(frozen=True, slots=True)
class Gains:
    """What a log leaves once it is sawn, dried and sold: an outcome's money less its costs and the price asked."""

    money: Money
    hour_rate: float
    cubic: float  # mm³ under bark
    asked: float

    def __call__(self, got: Outcome, minutes: float, met_metal: bool) -> float:
        """Of one outcome, sawn in `minutes`, with or without a band ruined by metal."""
        out = got.value + rest_value(self.cubic, got.volume, self.money) - sawing_cost(minutes, self.hour_rate)
        return out - drying_cost(got.volume, self.money) - (self.money.blade if met_metal else 0.0) - self.asked


def appraise(one: Lot, terms: AppraisalTerms, progress: Progress, share: ShareWork = in_turn) -> Appraised:
    """Appraise one log; `share` says who works out the answers of what is worth finding out.

    Raises
    ------
    FitError, InputError, MillError, PlanError
        Whatever keeps this log from being appraised.
    """
    progress("fitting", 0.0)
    known = known_log(one, terms)
    trade = appraisal_shop(terms.machines, terms.products, one.card.species, species_of(one.card.species).green_density)
    doubtful = fits(known.log, known.basis, trade, one.card.id)
    sampling = terms.priors.sampling
    layouts = best_layouts(
        known.log,
        known.basis,
        trade,
        LayoutSearch(sampling.layouts, terms.seed, terms.effort),
        Monitor(progress).within(0.1, 0.55),
    )
    basis = draw_basis(known)
    progress("grading the layouts on drawn logs", 0.55)
    sawn, outcomes, metal, others = picked(known, terms, trade, layouts, basis)
    rows = _money(known, terms, trade, sawn, outcomes, metal)
    value = rows["value"]["mean"]

    def alone(component: str) -> float:
        return _alone(known, terms, trade, plates, basis, component)

    progress("what may spoil it", 0.65)
    plates = planned(sawn.ledger, trade.parts)
    full = _counts(brings(known.log, plates, trade.parts, trade.products), trade)
    spoil = spoilers(known, terms.priors, value, alone, full)
    gains = Gains(terms.priors.money, terms.machines.mill.hour_rate, rows["cubic_volume"], one.card.cost or 0.0)
    expected = float(np.mean([gains(o, sawn.minutes, m) for o, m in zip(outcomes, metal, strict=True)]))
    asking = InformationCase(known, terms.priors, trade, sawn, plates, basis, gains, expected > 0.0, terms.seed)
    worths = worth_finding_out(asking, lambda words, part: progress(words, 0.7 + 0.3 * part), share)
    row = {
        "id": one.card.id,
        "rank": None,
        "state": "appraised",
        "why": "",
        "species": one.card.species,
        "basis": known.basis,
        **rows,
        "crosscuts": [float(place) for place in sawn.log_layout.places],
        "layouts": {"searched": len(layouts), "best_on_samples": others},
        "spoilers": [in_words(spoiler, trade.priced) for spoiler in spoil],
        "worth_finding_out": [
            {"what": one.what, "worth": round(max(one.worth, 0.0), 2), "error": round(one.error, 2)} for one in worths
        ],
        "cautions": [*known.model.cautions, *doubtful],
    }
    row["why"] = why(row, {product.name: product.price for product in terms.products.products})
    return Appraised(row, known, sawn, tuple(outcomes))


def picked(
    known: LogKnowledge, terms: AppraisalTerms, trade: AppraisalShop, layouts: list[ExecutedLayout], basis: DrawBasis
) -> tuple[ExecutedLayout, list[Outcome], list[bool], int]:
    """The layout that leaves most money on the drawn logs, its outcomes, which logs held metal, and its place."""
    plates = [planned(one.ledger, trade.parts) for one in layouts]
    got: list[list[Outcome]] = [[] for _ in layouts]
    metal = []
    for number in range(terms.priors.sampling.samples):
        drawn = draw_log(known, terms.priors, terms.seed, number)
        log = log_as_drawn(known, drawn, basis)
        metal.append(bool(drawn["metal"]))
        for results, own in zip(got, plates, strict=True):
            results.append(brings(log, own, trade.parts, trade.products))
    rate = terms.machines.mill.hour_rate
    nets = []
    for sawn, results in zip(layouts, got, strict=True):
        worth = [_counts(one, trade) for one in results]
        nets.append(float(np.mean(worth)) - (sawing_cost(sawn.minutes, rate) if trade.priced else 0.0))
    best = int(np.argmax(nets))
    return layouts[best], got[best], metal, best + 1


def _counts(got: Outcome, trade: AppraisalShop) -> float:
    """What an outcome counts: money, or litres where nothing has a price."""
    return got.value if trade.priced else got.volume / 1e6


def _alone(
    known: LogKnowledge, terms: AppraisalTerms, trade: AppraisalShop, plates: Planned, basis: DrawBasis, component: str
) -> float:
    """Expected value where only one component is drawn."""
    found = []
    for number in range(ALONE):
        drawn = {
            **most_likely_draw(known),
            component: draw_component(known, terms.priors, component, terms.seed, number),
        }
        found.append(_counts(brings(log_as_drawn(known, drawn, basis), plates, trade.parts, trade.products), trade))
    return float(np.mean(found))


def spread(values: list[float] | Array) -> dict[str, float]:
    """The 10th, 50th and 90th percentile, the mean and the standard error of the mean."""
    p10, p50, p90 = deciles(values)
    array = np.asarray(values, float)
    error = float(array.std(ddof=1) / np.sqrt(len(array)))
    return {"p10": p10, "p50": p50, "p90": p90, "mean": float(array.mean()), "error": error}


def _money(
    known: LogKnowledge,
    terms: AppraisalTerms,
    trade: AppraisalShop,
    sawn: ExecutedLayout,
    outcomes: list[Outcome],
    metal: list[bool],
) -> dict[str, Any]:
    model, money = known.model, terms.priors.money
    volumes = spread([o.volume for o in outcomes])
    value = spread([o.value for o in outcomes])
    cubic = cubic_volume(model)
    ends = diameters(model, np.array([0.0, model.length]), under_bark=True)
    rest = rest_value(cubic["under_bark"], volumes["mean"], money)
    costs = Costs(
        sawing_cost(sawn.minutes, terms.machines.mill.hour_rate),
        drying_cost(volumes["mean"], money),
        money.blade * float(np.mean(metal)),
    )
    return {
        "length": model.length,
        "diameter_small_end": float(min(ends)),
        "sweep": sweep(model),
        "volume": volumes,
        "sets": {name: spread([float(o.sets[name]) for o in outcomes]) for name in outcomes[0].sets},
        "value": value,
        "minutes": sawn.minutes,
        "costs": {"sawing": costs.log_layout, "drying": costs.drying, "metal": costs.metal},
        "highest_bid": highest_bid(value["mean"], rest, costs, terms.margin, money),
        "asked": known.card.cost,
        "rest_value": rest,
        "log_rules": scale_log(float(min(ends)), model.length - known.card.trim_butt - known.card.trim_top),
        "cubic_volume": cubic["under_bark"],
        "cubic_volume_over_bark": cubic["over_bark"],
        "green_weight_kg": weight(cubic["over_bark"], trade.density),
    }


def why(row: dict[str, Any], prices: Mapping[str, float]) -> str:
    """One sentence on why a log stands where it does: the sets that bring most of its value, and its bid beside the price asked."""
    sets = sorted(((one["mean"] * prices[name], one["mean"], name) for name, one in row["sets"].items()), reverse=True)
    most = [f"{mean:.1f} {name}" for _, mean, name in sets if mean >= 0.5][:2]
    gives = (
        " and ".join(most) + " sets expected"
        if most
        else f"{row['volume']['mean'] / 1e6:.0f} L of plates, hardly a set"
    )
    bid, asked = row["highest_bid"], row["asked"]
    if not any(prices.values()):
        return f"{gives}; no product has a price, so there is no bid."
    if asked is None:
        return f"{gives}; worth up to {bid:.0f}, no price asked."
    if bid >= asked:
        return f"{gives}; worth up to {bid:.0f}, {bid - asked:.0f} over the {asked:.0f} asked."
    return f"{gives}; worth no more than {bid:.0f}, {asked - bid:.0f} under the {asked:.0f} asked."
