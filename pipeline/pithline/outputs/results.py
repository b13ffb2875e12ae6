"""What a plan brings, in the figures that lead every page: sets, litres in them and loose, hours, earnings."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from pithline.outputs.cut_script.document import CutScript, ProductFacts, Totals
from pithline.outputs.formatting import Formatter, count

MINUTES = 60.0
SELL, COST = "sell for", "cost"
"""Verbs of `till_in_words`."""


@dataclass(frozen=True, slots=True)
class Results:
    """One plan's figures; money in the products' currency, volumes mm³. What a script does not tell is `None`.

    `sets` are of products of several plates, `singles` of products of one; `loose_plates` pass and are in no set. `sets_sell` and
    `loose_sell` are what these bring, `labour` what the hours cost, `earnings_fitted` what is left of it: of the log as fitted.
    """

    sets: Mapping[str, int]
    singles: Mapping[str, int]
    volume: float
    set_volume: float | None
    loose_volume: float | None
    loose_plates: int | None
    hours: float
    set_ups: int
    earnings: float | None
    sets_sell: float | None = None
    loose_sell: float | None = None
    labour: float | None = None
    earnings_fitted: float | None = None

    @property
    def an_hour(self) -> float | None:
        """What an hour at the saws earns; `None` where no money is known."""
        return None if self.earnings is None or self.hours <= 0.0 else self.earnings / self.hours


def results_of(script: CutScript) -> Results:
    """The figures of a script's own plan; what its totals do not state is worked out from its plates and its mill's rate.

    Earnings are the likely ones where the script tells them: what scan and card leave open can cost plates, seldom win any.
    """
    totals, passing = script.totals, [plate for plate in script.plates if plate.passes]
    in_sets = sum(plate.volume for plate in passing if plate.set_id)
    loose = sum(plate.volume for plate in passing if not plate.set_id)
    found = results_of_totals(totals, script.inputs.products, script.inputs.mill.hour_rate)
    likely = script.doubts.earnings
    return Results(
        found.sets, found.singles, found.volume,
        in_sets if found.set_volume is None else found.set_volume,
        loose if found.loose_volume is None else found.loose_volume,
        sum(not plate.set_id for plate in passing),
        found.hours, found.set_ups, found.earnings if likely is None else likely.middle,
        found.sets_sell, found.loose_sell, found.labour, found.earnings_fitted,
    )  # fmt: skip


def results_of_totals(totals: Totals, products: ProductFacts, hour_rate: float) -> Results:
    """The figures that a script's totals alone tell, such as those of the customary way; `hour_rate` is the mill's, in money."""
    earnings = totals.earnings
    if earnings is None and totals.value > 0.0:
        earnings = totals.value + (totals.loose_value or 0.0) - totals.minutes / MINUTES * hour_rate
    made = totals.complete_sets
    known = earnings is not None
    return Results(
        sets={name: number for name, number in made.items() if products.plates_in_set.get(name, 2) > 1},
        singles={name: number for name, number in made.items() if products.plates_in_set.get(name, 2) == 1},
        volume=totals.instrument_volume,
        set_volume=totals.set_volume,
        loose_volume=totals.loose_volume,
        loose_plates=None,
        hours=totals.minutes / MINUTES,
        set_ups=totals.settings if totals.set_ups is None else totals.set_ups,
        earnings=earnings,
        sets_sell=totals.value if known else None,
        loose_sell=totals.loose_value or 0.0 if known else None,
        labour=totals.minutes / MINUTES * hour_rate if known else None,
        earnings_fitted=earnings,
    )


def results_beside(script: CutScript) -> dict[str, Results]:
    """A script's own plan, then the customary ways beside it, by the names that head their columns."""
    found, practice, inputs = {"this plan": results_of(script)}, script.practice, script.inputs
    if practice is not None:
        for name, totals in (("customary way", practice.with_bolts), ("customary, its bolts left", practice.slabs)):
            found[name] = results_of_totals(totals, inputs.products, inputs.mill.hour_rate)
    return found


def results_rows(script: CutScript, fmt: Formatter) -> dict[str, Callable[[Results], str]]:
    """The leading figures by the name of their row: how each column's is written, what counts between double asterisks."""
    currency, cost = script.inputs.products.currency, script.inputs.log_cost
    rows: dict[str, Callable[[Results], str]] = {
        "complete sets": sets_in_words,
        "in sets": lambda one: (
            f"**{litres_in_words(one.set_volume, fmt)}**{till_in_words(one.sets_sell, SELL, currency)}"
        ),
        "loose": lambda one: litres_in_words(one.loose_volume, fmt) + till_in_words(one.loose_sell, SELL, currency),
        "in all": lambda one: fmt.volume(one.volume),
        "hours": lambda one: (
            f"{one.hours:.1f} h{till_in_words(one.labour, COST, currency)}; {count(one.set_ups, 'set-up')}"
        ),
        "earnings": lambda one: earnings_in_words(one, currency),
        "an hour": lambda one: money_in_words(one.an_hour, currency),
    }
    if cost is not None:
        rows[f"left, log paid ({money_in_words(cost, currency)})"] = lambda one: (
            f"**{left_in_words(one, cost, currency)}**"
        )
    return rows


def sets_in_words(results: Results) -> str:
    """Complete sets and single parts: "2 small guitar sets, 6 bridges"; by semicolons where a name has a comma itself."""
    sets = [_sets_of(name, number) for name, number in results.sets.items()]
    told = [*sets, *(count(number, name) for name, number in results.singles.items())]
    return ("; " if any("," in one for one in told) else ", ").join(told) or "no complete set"


def _sets_of(name: str, number: int) -> str:
    sets = "set" if number == 1 else "sets"
    return f"{number} {sets} of {name}" if "," in name else f"{number} {name} {sets}"


def money_in_words(amount: float | None, currency: str) -> str:
    """An amount of money, in whole units; a dash where none is known."""
    return "–" if amount is None else f"{amount:,.0f} {currency}".strip()


def litres_in_words(volume: float | None, fmt: Formatter) -> str:
    """A volume; a dash where none is known."""
    return "–" if volume is None else fmt.volume(volume)


def till_in_words(amount: float | None, verb: str, currency: str) -> str:
    """What follows a figure of wood or hours in the till: ", sell for 1,920"; nothing where no money is known, or it is none."""
    return f", {verb} {money_in_words(amount, currency)}" if amount else ""


def earnings_in_words(results: Results, currency: str) -> str:
    """What a plan earns: "2,196 likely, 2,228 as fitted", in bold what counts; the customary way's, of which no more is known, alone."""
    likely, fitted = (money_in_words(one, currency) for one in (results.earnings, results.earnings_fitted))
    return (
        f"**{likely}**"
        if likely == fitted or results.earnings_fitted is None
        else f"**{likely}** likely, {fitted} as fitted"
    )


def left_in_words(results: Results, log_cost: float, currency: str) -> str:
    """What is left of the earnings once the log is paid for; a dash where no money is known."""
    return money_in_words(None if results.earnings is None else results.earnings - log_cost, currency)
