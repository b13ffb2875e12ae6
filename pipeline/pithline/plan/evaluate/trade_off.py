"""What fewer settings still give: the best plans under a cap on charged settings, carried out on the real machines."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from pithline.mill.products import Products
from pithline.plan.evaluate.totals import Sums
from pithline.plan.execute.bucked_log import LogLayout
from pithline.plan.execute.ledger import Ledger
from pithline.plan.execute.sets import gather_sets
from pithline.plan.problem.parts import SawnPart
from pithline.plan.search import Candidate


def trade_off(
    way: Candidate,
    chosen: Sums,
    execute: Callable[[LogLayout], Ledger],
    parts: tuple[SawnPart, ...],
    products: Products,
) -> list[dict[str, Any]]:
    """One row for each cap on charged settings, rising, and the plan itself last.

    Parameters
    ----------
    way : Candidate
        The plan's way to saw the log; its search holds the best layouts under each cap.
    chosen : Sums
        Of the plan itself.
    execute : callable
        Carries a log's layout out on the real machines.
    parts, products
        What it is sawn into.

    Returns
    -------
    list of dict
        Cap, charged settings, instrument volume [mm³], sets by product, minutes.
    """
    carried = []
    for _, answer in way.found.trade_off:
        ledger = execute(replace(way.log_layout, layouts=answer.layouts))
        carried.append(_row(ledger, gather_sets(ledger.plates, parts, products).sets))
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
        "instrument_volume": float(sum(plate.volume for plate in ledger.passing)),
        "sets": dict(sets),
        "minutes": ledger.minutes,
    }
