"""What a log is good for before any plan is made of it: what each product list gives, and what keeps a dearer set out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from pithline.plan.api import SILENT, Monitor
from pithline.yard.good_for import weigh_lists
from pithline.yard.one_log import fit_scan, refuse_hopeless
from pithline.yard.prepared_log import prepare_log
from pithline.yard.request import Request, read_inputs
from pithline.yard.watch import PlanWatch

FITTED = 0.25
"""The share of the work that is done once the log is fitted."""


def weigh_card(
    card: str | Path,
    mill: str | Path | None,
    products: Sequence[str | Path],
    request: Request,
    monitor: Monitor = SILENT,
) -> dict[str, Any]:
    """What a log gives by each of several product lists alone, by a quick search, and what keeps a dearer set out.

    Parameters
    ----------
    card : str or Path
        The log card, beside its scan.
    mill : str, Path or None
        A mill file, or a bundled mill by name; the bundled portable mill where None.
    products : sequence of str or Path
        Product lists, as `read_inputs` takes them.
    request : Request
        What is asked; lists are searched for its objective.
    monitor : Monitor
        Hears how far it is; once it wants an end, lists are no longer searched.

    Returns
    -------
    dict
        `good_for` and `next_better` as the two functions tell them; `products`, as read; `hour_rate` of the mill in money.

    Raises
    ------
    PithlineError
        Where a file cannot be used, the scan shows no one log, or the mill cannot hold it.
    """
    inputs = read_inputs(card, mill, products)
    own = prepare_log(fit_scan(inputs, request.pick, monitor.within(0.0, FITTED)), inputs)
    own.check(crosscut=request.bucking)
    refuse_hopeless(own.log, own.case(request).context, inputs.card.id)
    rows = weigh_lists(own, request, PlanWatch(monitor, ""), (FITTED, 1.0))
    return {
        "good_for": rows,
        "next_better": next_better(rows, inputs.products_read["product"]),
        "products": dict(inputs.products_read),
        "hour_rate": inputs.machines.mill.hour_rate,
    }


def next_better(rows: Sequence[Mapping[str, Any]], products: Sequence[Mapping[str, Any]]) -> dict[str, Any] | None:
    """Of the sets dearer than each that the log gives, the nearest that it gives none of because a part does not fit.

    Parameters
    ----------
    rows : sequence of mapping
        What each list alone gives, as `weigh_lists` tells it.
    products : sequence of mapping
        Of all lists, as read, with their prices.

    Returns
    -------
    dict or None
        Its `list`, `product`, `price`, `beside` (the dearest set that the log gives, in money; 0 where it gives none), and `misfit`,
        the row of the part that misses most. None where no dearer set is kept out by a part that does not fit.
    """
    price = {str(product["name"]): float(product.get("price", 0.0)) for product in products}
    given = {name for row in rows for name, sets in row.get("sets", {}).items() if sets}
    most = max((price.get(name, 0.0) for name in given), default=0.0)
    kept_out = [
        (price.get(name, 0.0), str(row["list"]), name, misfit)
        for row in rows
        for misfit in row["misfits"]
        for name in misfit["products"]
        if name not in given and price.get(name, 0.0) > most
    ]
    if not kept_out:
        return None
    least = min(each[0] for each in kept_out)
    nearest = next(name for amount, _, name, _ in kept_out if amount == least)
    worst = max((each for each in kept_out if each[2] == nearest), key=lambda each: _short_by(each[3]))
    return {"list": worst[1], "product": nearest, "price": least, "beside": most, "misfit": worst[3]}


def _short_by(misfit: Mapping[str, Any]) -> float:
    """By what share of what it needs a part does not fit; one that fits somewhere misses least."""
    needs, has = float(misfit["needs"]), float(misfit["has"])
    short = (needs - has) / max(needs, 1e-9)
    return short - (1.0 if misfit["somewhere"] else 0.0)
