"""What fewer settings still give: the best plans under a cap on charged settings, carried out on the real machines."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from pithline.mill.products import Products
from pithline.plan.bucking import Sawing
from pithline.plan.contest import Contender
from pithline.plan.document import Sums
from pithline.plan.ledger import Ledger
from pithline.plan.parts import SawnPart
from pithline.plan.sets import assign_sets, match


def trade_off(
    way: Contender,
    chosen: Sums,
    carry: Callable[[Sawing], Ledger],
    parts: tuple[SawnPart, ...],
    products: Products,
) -> list[dict[str, Any]]:
    """One row for each cap, rising, and the plan itself last: litres as mm³, sets, charged settings, minutes."""
    rows = []
    for most, answer in way.found.trade_off:
        sawing = Sawing(way.sawing.whole, way.sawing.places, way.sawing.logs, answer.layouts)
        ledger = carry(sawing)
        match(ledger.plates, parts)
        row = _row(ledger, assign_sets(ledger.plates, parts, products))
        if row["settings"] <= most:
            rows.append({"max_settings": most, **row})
    return [*rows, {"max_settings": None, **_row(chosen.ledger, chosen.sets)}]


def _row(ledger: Ledger, sets: Mapping[str, int]) -> dict[str, Any]:
    settings = [o for o in ledger.operations if o["op"] == "setting"]
    return {
        "settings": sum(bool(o["charged"]) for o in settings),
        "instrument_volume": float(sum(p.volume for p in ledger.plates if p.grade.passes)),
        "sets": dict(sets),
        "minutes": float(sum(o["minutes"] for o in settings)),
    }
