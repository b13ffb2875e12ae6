"""One log from its card to a row of the appraisal: fit or tape, its plan, drawn logs, money, what would help to know."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pithline.files.cards import scan_path
from pithline.files.priors import Money, Priors
from pithline.files.scans import read_scan
from pithline.logmodel.dimensions import diameters, sweep
from pithline.mill.products import Products
from pithline.plan.api import Monitor, sum_up, totals
from pithline.trade.log_rules import scale_as_bought, scale_log, whole_sizes
from pithline.trade.weights import weight
from pithline.yard.appraisal.answers import as_scanned, log_with_answer, mixed, once_bought
from pithline.yard.appraisal.drawn_logs import (
    DrawBasis,
    draw_basis,
    draw_component,
    draw_log,
    log_as_drawn,
    most_likely_draw,
)
from pithline.yard.appraisal.information import (
    InformationCase,
    InformationWorth,
    ShareWork,
    in_turn,
    worth_finding_out,
)
from pithline.yard.appraisal.layouts import AppraisalShop, AppraisedPlan, fits, plan_now, planned_anew
from pithline.yard.appraisal.log_knowledge import LogKnowledge, cubic_volume, gather_knowledge
from pithline.yard.appraisal.money import Costs, drying_cost, highest_bid, rest_value, sawing_cost
from pithline.yard.appraisal.regrade import Outcome, Planned, brings, planned
from pithline.yard.appraisal.spoilers import in_words, spoilers
from pithline.yard.appraisal.tape_log import tape_model
from pithline.yard.appraisal.terms import AppraisalTerms, Lot
from pithline.yard.deciles import deciles
from pithline.yard.drying_times import mean_months
from pithline.yard.prepared_log import prepare_log

Array = NDArray[np.float64]
Progress = Callable[[str, float], None]
ALONE = 12
"""Logs drawn for what one component takes off by itself."""


def known_log(one: Lot, terms: AppraisalTerms) -> LogKnowledge:
    """Fit the scan, or draw the log up from the tape."""
    from pithline.logmodel.fit import fit_log

    if one.card.scan is None:
        model, taped = tape_model(one.card, one.read, terms.priors)
        return gather_knowledge(model, one.card, one.read, terms.priors, terms.today, taped)
    scan = read_scan(scan_path(Path(one.path), one.card))
    model = fit_log(scan.points, one.card, default_up=scan.default_up)
    return gather_knowledge(model, one.card, one.read, terms.priors, terms.today)


def shop_of(one: Lot, terms: AppraisalTerms, known: LogKnowledge) -> AppraisalShop:
    """What the log is sawn with and into, its plan asked as `pithline plan` asks it."""
    model = known.model
    if known.basis == "tape":  # its envelope holds no stub that was seen, only the doubt of its section
        model = replace(model, envelope=model.radius_over_bark)
    own = prepare_log(model, terms.inputs(one.card, one.read))
    return AppraisalShop(own, replace(own.case(terms.request), log=known.log))


@dataclass(frozen=True, slots=True)
class Appraised:
    """A log's row of the appraisal, and what a picture of it needs."""

    row: dict[str, Any]
    known: LogKnowledge
    plan: AppraisedPlan
    outcomes: tuple[Outcome, ...]


@dataclass(frozen=True, slots=True)
class Gains:
    """What a log leaves once it is sawn, dried and sold: an outcome's money less its costs and the price asked."""

    money: Money
    hour_rate: float
    cubic: float  # mm³ under bark
    months: float  # that its plates dry
    asked: float

    def __call__(self, got: Outcome, minutes: float, met_metal: bool) -> float:
        """Of one outcome, sawn in `minutes`, with or without a band ruined by metal."""
        out = got.sales + rest_value(self.cubic, got.volume, self.money) - sawing_cost(minutes, self.hour_rate)
        return (
            out
            - drying_cost(got.volume, self.months, self.money)
            - (self.money.blade if met_metal else 0.0)
            - self.asked
        )


@dataclass(frozen=True, slots=True)
class DrawnOutcomes:
    """What a log gives on logs drawn from what is known: outcomes, minutes of the plan sawn on each, whether it held metal."""

    outcomes: tuple[Outcome, ...]
    minutes: tuple[float, ...]
    metal: tuple[bool, ...]

    def nets(self, gains: Gains) -> Array:
        """What each leaves, in money. (n,)"""
        each = zip(self.outcomes, self.minutes, self.metal, strict=True)
        return np.array([gains(got, minutes, metal) for got, minutes, metal in each])


@dataclass(frozen=True, slots=True)
class ReplanCase:
    """A log known by tape whose draws are planned anew, and the plan that they start from."""

    known: LogKnowledge
    priors: Priors
    shop: AppraisalShop
    plan: AppraisedPlan
    basis: DrawBasis
    seed: int


SECOND_DRAW = 50_000
"""What a scan leaves open is drawn by numbers of its own."""


def replanned(case: ReplanCase, number: int) -> tuple[Outcome, float, bool]:
    """One log drawn, planned as it will be known once it is bought, then graded as it is."""
    known, priors, seed = case.known, case.priors, case.seed
    drawn = draw_log(known, priors, seed, number)
    left = once_bought(known, priors)
    told = {name: drawn[name] for name in left}
    other = {name: draw_component(known, priors, name, seed, SECOND_DRAW + number) for name in left}
    truth = log_as_drawn(known, mixed(told, {**drawn, **other}, left), case.basis)
    plan = planned_anew(log_with_answer(known, told, left, case.basis), case.plan, case.shop, seed)
    got = brings(truth, planned(plan.ledger, case.shop.parts), case.shop.sold, drawn["figure"])
    return got, plan.minutes, bool(drawn["metal"])


def drawn_outcomes(case: ReplanCase, share: ShareWork) -> DrawnOutcomes:
    """Outcomes of a log: the plan graded again on every drawn log; by tape each is planned anew first, once a scan shows it."""
    known, priors, sampling = case.known, case.priors, case.priors.sampling
    if known.basis == "tape":
        strata = replace(priors, sampling=replace(sampling, samples=sampling.replans))
        numbers = [(number,) for number in range(sampling.replans)]
        got, minutes, metal = zip(*share(replanned, replace(case, priors=strata), numbers), strict=True)
        return DrawnOutcomes(tuple(got), tuple(minutes), tuple(metal))
    plates, sold = planned(case.plan.ledger, case.shop.parts), case.shop.sold
    outcomes, met = [], []
    for number in range(sampling.samples):
        drawn = draw_log(known, priors, case.seed, number)
        met.append(bool(drawn["metal"]))
        outcomes.append(brings(log_as_drawn(known, drawn, case.basis), plates, sold, drawn["figure"]))
    return DrawnOutcomes(tuple(outcomes), (case.plan.minutes,) * len(outcomes), tuple(met))


def appraise(one: Lot, terms: AppraisalTerms, progress: Progress, share: ShareWork = in_turn) -> Appraised:
    """Appraise one log; `share` says who works out drawn plans, and the answers of what is worth finding out.

    Raises
    ------
    FitError, InputError, MillError, PlanError
        Whatever keeps this log from being appraised.
    """
    progress("fitting", 0.0)
    known = known_log(one, terms)
    doubtful = fits(known.log, known.basis, terms.trade.machines, one.card.id)
    basis = draw_basis(known)
    seen = as_scanned(known, terms.priors, basis)
    shop = shop_of(one, terms, seen)
    plan = plan_now(shop, terms.request, Monitor(progress).within(0.1, 0.6))
    progress("grading it on drawn logs", 0.6)
    drawn = drawn_outcomes(ReplanCase(known, terms.priors, shop, plan, basis, terms.seed), share)
    rows = _money(known, terms, shop, plan, drawn)
    progress("what may spoil it", 0.7)
    plates = planned(plan.ledger, shop.parts)

    def alone(component: str) -> float:
        return _alone(seen, terms, shop, plates, basis, component)

    full = _counts(brings(seen.log, plates, shop.sold), shop)
    mean = float(np.mean([_counts(got, shop) for got in drawn.outcomes]))
    spoil = spoilers(seen, terms.priors, mean, alone, full)
    months = mean_months(plan.ledger, shop.parts, terms.drying)
    gains = Gains(
        terms.priors.money, terms.trade.machines.mill.hour_rate, rows["cubic_volume"], months, one.card.cost or 0.0
    )
    nets = drawn.nets(gains)
    asking = InformationCase(seen, terms.priors, shop, plan, plates, basis, gains, bool(nets.mean() > 0.0), terms.seed)
    worths = worth_finding_out(asking, lambda words, part: progress(words, 0.75 + 0.25 * part), share)
    if known.basis == "tape":
        worths = sorted([*worths, _scan_first(nets)], key=lambda worth: -worth.worth)
    row = {
        "id": one.card.id,
        "rank": None,
        "state": "appraised",
        "why": "",
        "species": one.card.species,
        "basis": known.basis,
        **rows,
        "crosscuts": [float(place) for place in plan.log_layout.places],
        "plan": _told(plan, shop, terms.trade.products),
        "spoilers": [in_words(spoiler, shop.priced) for spoiler in spoil],
        "worth_finding_out": [
            {"what": worth.what, "worth": round(max(worth.worth, 0.0), 2), "error": round(worth.error, 2)}
            for worth in worths
        ],
        "cautions": [*known.model.cautions, *doubtful, *_instead(plan)],
    }
    row["why"] = why(row, {product.name: product.price for product in terms.trade.products.products})
    return Appraised(row, known, plan, drawn.outcomes)


def _instead(plan: AppraisedPlan) -> list[str]:
    """That the practice layout stands in the place of a plan."""
    if not plan.note:
        return []
    return [
        f"the search gave no plan ({plan.note}), so the practice layout is appraised: the log is worth that at least"
    ]


def _told(plan: AppraisedPlan, shop: AppraisalShop, products: Products) -> dict[str, Any]:
    """The plan as `pithline plan` would give it on the log as most likely, nothing hidden in it: its totals' figures."""
    sums = sum_up(plan.ledger, shop.parts, products, {"log": 0.0}, shop.own.inputs.card.figures)
    total = totals(sums, products, shop.machines)
    return {
        "way": plan.way,
        "searched": not plan.note,
        "plans": plan.rungs,
        "set_ups": total["set_ups"],
        "sets": total["sets"],
        "volume": total["instrument_volume"],
        "earnings": total["earnings"],
    }


def _scan_first(nets: Array) -> InformationWorth:
    """What a scan before buying is worth: with it, a log that would lose is left; it is scanned before it is sawn anyway."""
    each = np.maximum(nets, 0.0) - (nets if nets.mean() > 0.0 else 0.0)
    return InformationWorth("scanning it", float(each.mean()), float(each.std(ddof=1) / np.sqrt(len(each))))


def _counts(got: Outcome, shop: AppraisalShop) -> float:
    """What an outcome counts: money, or litres where nothing has a price."""
    return got.sales if shop.priced else got.volume / 1e6


def _alone(
    known: LogKnowledge, terms: AppraisalTerms, shop: AppraisalShop, plates: Planned, basis: DrawBasis, component: str
) -> float:
    """Expected value where only one component is drawn."""
    found = []
    for number in range(ALONE):
        drawn = {
            **most_likely_draw(known),
            component: draw_component(known, terms.priors, component, terms.seed, number),
        }
        found.append(_counts(brings(log_as_drawn(known, drawn, basis), plates, shop.sold), shop))
    return float(np.mean(found))


def spread(values: Sequence[float] | Array) -> dict[str, float]:
    """The 10th, 50th and 90th percentile, the mean and the standard error of the mean."""
    p10, p50, p90 = deciles(values)
    array = np.asarray(values, float)
    error = float(array.std(ddof=1) / np.sqrt(len(array)))
    return {"p10": p10, "p50": p50, "p90": p90, "mean": float(array.mean()), "error": error}


def _money(
    known: LogKnowledge, terms: AppraisalTerms, shop: AppraisalShop, plan: AppraisedPlan, drawn: DrawnOutcomes
) -> dict[str, Any]:
    """Volumes, sets, money and what buyers reckon by."""
    model, money, rate = known.model, terms.priors.money, shop.machines.mill.hour_rate
    outcomes, priced = drawn.outcomes, shop.priced
    volumes = spread([o.volume for o in outcomes])
    sales = np.array([o.sales if priced else 0.0 for o in outcomes])
    labour = np.array([sawing_cost(minutes, rate) for minutes in drawn.minutes])
    cubic = cubic_volume(model)
    rest = rest_value(cubic["under_bark"], volumes["mean"], money)
    months = mean_months(plan.ledger, shop.parts, terms.drying)
    costs = Costs(
        float(labour.mean()),
        drying_cost(volumes["mean"], months, money),
        money.blade * known.metal_share(terms.priors),
    )
    bid = highest_bid(float(sales.mean()), rest, costs, terms.margin, (months, money.interest_percent))
    return {
        "length": model.length,
        "sweep": sweep(model),
        "volume": volumes,
        "sets": {name: spread([float(o.sets[name]) for o in outcomes]) for name in outcomes[0].sets},
        "sales": spread(sales),
        "value": spread(sales - labour if priced else sales),
        "minutes": float(np.mean(drawn.minutes)),
        "drying_months": months,
        "costs": {"sawing": costs.sawing, "drying": costs.drying, "metal": costs.metal},
        "metal_chance": known.metal_share(terms.priors),
        "highest_bid": bid if priced else 0.0,
        "asked": known.card.cost,
        "rest_value": rest,
        **_scaled(known, terms.priors, bid if priced else 0.0),
        "cubic_volume": cubic["under_bark"],
        "cubic_volume_over_bark": cubic["over_bark"],
        "green_weight_kg": weight(cubic["over_bark"], shop.own.workshop.density),
    }


def _scaled(known: LogKnowledge, priors: Priors, bid: float) -> dict[str, Any]:
    """Board feet exactly and as bought, what the bid is a board foot, and what another buyer gives."""
    model, card, buyer = known.model, known.card, priors.other_buyer
    small = float(min(diameters(model, np.array([0.0, model.length]), under_bark=True)))
    clear = max(model.length - card.trim_butt - card.trim_top, 0.0)
    inches, feet = whole_sizes(small, clear)
    bought = scale_as_bought(small, clear)
    price = buyer.price(inches)
    return {
        "diameter_small_end": small,
        "log_rules": scale_log(small, clear),
        "scaled": {"inches": inches, "feet": feet, "board_feet": bought},
        "bid_per_board_foot": {name: bid / n if n else None for name, n in bought.items()},
        "other_buyer": {
            "rule": buyer.rule,
            "board_feet": bought[buyer.rule],
            "price": price,
            "gives": price * bought[buyer.rule],
        },
    }


def why(row: Mapping[str, Any], prices: Mapping[str, float]) -> str:
    """One sentence on why a log stands where it does: the sets that bring most, its bid beside the price asked, another buyer."""
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
    other = row["other_buyer"]["gives"]
    beside = f" Another buyer may give {other:.0f}: it is worth more to him." if other > bid else ""
    if asked is None:
        return f"{gives}; worth up to {bid:.0f}, no price asked.{beside}"
    if bid >= asked:
        return f"{gives}; worth up to {bid:.0f}, {bid - asked:.0f} over the {asked:.0f} asked.{beside}"
    return f"{gives}; worth no more than {bid:.0f}, {asked - bid:.0f} under the {asked:.0f} asked.{beside}"
