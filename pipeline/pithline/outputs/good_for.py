"""What a log is good for, as pages and console tell it: what each product list alone gives, and which parts do not fit."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from pithline.outputs.cut_script.document import ProductFacts
from pithline.outputs.cut_script.json_table import JsonTable
from pithline.outputs.cut_script.reader import read_totals
from pithline.outputs.formatting import Formatter
from pithline.outputs.results import Results, results_of_totals, sets_in_words

HOW = {
    "quickly": "each list alone by a quick search, which a full plan betters",
    "plan": "all together as this plan has it",
    "no": "a dash: not searched, for time was up",
}
"""How a row came about, by what its `searched` says."""


@dataclass(frozen=True, slots=True)
class ListResult:
    """What one product list gives, the last one all of them together.

    Attributes
    ----------
    name : str
        Of the list.
    searched : str
        A key of `HOW`.
    results : Results, optional
        What it gives; None where it was not searched.
    misfits : tuple of str
        A sentence for each part that does not fit, lengths in mm.
    """

    name: str
    searched: str
    results: Results | None
    misfits: tuple[str, ...]

    @property
    def nothing(self) -> bool:
        """Whether a search found nothing."""
        return self.results is not None and self.results.volume <= 0.0


def list_results(proof: Mapping[str, Any], products: ProductFacts, hour_rate: float) -> tuple[ListResult, ...]:
    """The rows of a script's `proof.good_for`; empty where it has none.

    Parameters
    ----------
    proof : mapping
        The script's.
    products : ProductFacts
        Of all lists together.
    hour_rate : float
        The mill's.
    """
    out = []
    for row in JsonTable(proof, "proof").rows("good_for"):
        searched = row.text("searched")
        results = None if searched == "no" else results_of_totals(read_totals(row.values), products, hour_rate)
        misfits = tuple(one.text("sentence") for one in row.rows("misfits"))
        out.append(ListResult(row.text("list"), searched, results, misfits))
    return tuple(out)


def how_searched(found: tuple[ListResult, ...]) -> str:
    """How the rows came about, as a sentence."""
    words = "; ".join(text for key, text in HOW.items() if any(one.searched == key for one in found))
    return words[:1].upper() + words[1:] + "."


def better_alone(found: tuple[ListResult, ...], asks_for: str) -> str:
    """Which list alone earns more than all together, and why that may be; empty where none does.

    `asks_for` is the objective, as `proof.asks_for` has it.
    """
    known = [(one, one.results.earnings) for one in found if one.results is not None]
    earned = {one.name: earnings for one, earnings in known if earnings is not None}
    together = next((earned.get(one.name) for one in found if one.searched == "plan"), None)
    if together is None or asks_for == "value":
        return ""
    more = [name for name, earnings in earned.items() if earnings > together]
    if not more:
        return ""
    return (
        f"The list {more[0]} alone earns more than all together, for this plan counts litres, not money; planned by "
        "value it counts money."
    )


def sets_of(one: ListResult) -> str:
    """Complete sets and single parts of a list, in words."""
    if one.results is None:
        return "–"
    return "nothing" if one.nothing else sets_in_words(one.results)


def misfits_of(proof: Mapping[str, Any]) -> tuple[str, ...]:
    """The parts of the one list of a plan that do not fit, a sentence each, lengths in mm."""
    return tuple(one.text("sentence") for one in JsonTable(proof, "proof").rows("misfits"))


def misfits_in_words(misfits: tuple[str, ...], most: int, fmt: Formatter) -> list[str]:
    """Parts that do not fit, a sentence each, at most so many in full."""
    told = [fmt.retold(text) for text in misfits[:most]]
    more = len(misfits) - len(told)
    return [*told, *([f"{more} more {'part does' if more == 1 else 'parts do'} not fit."] if more else [])]


def by_what_it_brings(found: tuple[ListResult, ...]) -> list[ListResult]:
    """Lists by what they earn, the most first; by litres in sets where nothing has a price; those not searched last."""

    def brings(one: ListResult) -> tuple[float, float]:
        if one.results is None:
            return float("-inf"), 0.0
        return one.results.earnings or 0.0, one.results.set_volume or 0.0

    return sorted(found, key=brings, reverse=True)


def in_the_way(barrier: Mapping[str, Any] | None, currency: str, fmt: Formatter) -> str:
    """What stands in the way of a dearer set, and by how much, in words; `barrier` as `yard.weighed_log.next_better` tells it."""
    if barrier is None:
        return "No dearer set of these lists is kept out by a part that does not fit."
    misfit, product = barrier["misfit"], f"{barrier['product']} (list {barrier['list']})"
    beside = (
        f"dearer than the {barrier['beside']:,.0f} of the dearest that this log gives"
        if barrier["beside"]
        else "but this log gives no set yet"
    )
    short = misfit["needs"] - misfit["has"]
    by = f" That is {fmt.length(short)} too little." if short > 0.0 and misfit["why"] == "room" else ""
    money = f"{barrier['price']:,.0f} {currency}".strip()
    return f"A set of {product} brings {money}, {beside}. In its way: {fmt.retold(misfit['sentence'])}{by}"
