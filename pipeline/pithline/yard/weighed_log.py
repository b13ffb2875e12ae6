"""What a log is good for before any plan is made of it: what each product list gives, and what keeps a dearer set out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from pithline.files.product_lists import ProductList
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
        "next_better": next_better(rows, {one.name: prices_of(one) for one in inputs.lists}),
        "products": dict(inputs.products_read),
        "hour_rate": inputs.machines.mill.hour_rate,
    }


def prices_of(one: ProductList) -> dict[str, float]:
    """What a set of each product of a list sells for, in money."""
    return {str(product["name"]): float(product.get("price", 0.0)) for product in one.read["product"]}


def next_better(rows: Sequence[Mapping[str, Any]], prices: Mapping[str, Mapping[str, float]]) -> dict[str, Any] | None:
    """Of the sets dearer than each that the log gives, the nearest that it gives none of because a part does not fit.

    Parameters
    ----------
    rows : sequence of mapping
        What each list alone gives, as `weigh_lists` tells it.
    prices : mapping
        Of each list by name, what a set of each of its products sells for.

    Returns
    -------
    dict or None
        Its `list`, `product`, `price`, `beside` (the dearest set that the log gives, in money; 0 where it gives none), and `misfit`,
        the row of the part that misses most. None where no dearer set is kept out by a part that does not fit.
    """
    given = {(row["list"], name) for row in rows for name, sets in row.get("sets", {}).items() if sets}
    most = max((prices[one].get(name, 0.0) for one, name in given), default=0.0)
    kept_out = [
        (prices[row["list"]].get(name, 0.0), row["list"], name, misfit)
        for row in rows
        for misfit in row["misfits"]
        for name in misfit["products"]
        if (row["list"], name) not in given and prices[row["list"]].get(name, 0.0) > most
    ]
    if not kept_out:
        return None
    price, one, product, _ = min(kept_out, key=lambda each: each[0])
    misses = [misfit for _, own, name, misfit in kept_out if (own, name) == (one, product)]
    return {"list": one, "product": product, "price": price, "beside": most, "misfit": max(misses, key=_short_by)}


def _short_by(misfit: Mapping[str, Any]) -> float:
    """By what share of what it needs a part does not fit; one that fits somewhere misses least."""
    needs, has = float(misfit["needs"]), float(misfit["has"])
    return (needs - has) / max(needs, 1e-9) - (1.0 if misfit["somewhere"] else 0.0)
