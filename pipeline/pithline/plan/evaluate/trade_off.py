"""What fewer settings still give: the best plans under a cap on charged settings, carried out on the real machines."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from pithline.mill.products import Products
from pithline.plan.evaluate.totals import Sums
from pithline.plan.execute.bucked_log import LogLayout
from pithline.plan.execute.ledger import Ledger
from pithline.plan.execute.sets import assign_sets, match
from pithline.plan.problem.parts import SawnPart
from pithline.plan.search import Candidate


def trade_off(
    way: Candidate,
    chosen: Sums,
    carry: Callable[[LogLayout], Ledger],
    parts: tuple[SawnPart, ...],
    products: Products,
) -> list[dict[str, Any]]:
    """One row for each cap, rising, and the plan itself last: litres as mm³, sets, charged settings, minutes."""
    carried = []
    for _, answer in way.found.trade_off:
        ledger = carry(LogLayout(way.log_layout.whole, way.log_layout.places, way.log_layout.logs, answer.layouts))
        match(ledger.plates, parts)
        carried.append(_row(ledger, assign_sets(ledger.plates, parts, products)))
    rows = []
    for most, _ in way.found.trade_off:
        # on the machines a layout may take a setting more than in the search: then it answers a higher cap
        fits = [row for row in carried if row["settings"] <= most]
        if fits:
            rows.append({"max_settings": most, **max(fits, key=lambda row: row["instrument_volume"])})
    return [*rows, {"max_settings": None, **_row(chosen.ledger, chosen.sets)}]


def _row(ledger: Ledger, sets: Mapping[str, int]) -> dict[str, Any]:
    return {
        "settings": ledger.charged,
        "instrument_volume": float(sum(p.volume for p in ledger.plates if p.grade.passes)),
        "sets": dict(sets),
        "minutes": ledger.minutes,
    }
