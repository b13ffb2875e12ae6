"""What a log is good for: what it gives by each of several product lists alone, and which wanted parts do not fit it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from pithline.errors import PlanError
from pithline.files.product_lists import ProductList, put_together
from pithline.files.products import products_from
from pithline.plan.api import (
    SILENT,
    Glance,
    Misfit,
    PlanCase,
    Why,
    crosscut_log,
    crosscut_places,
    glance,
    misfits,
    sawn_parts,
    sum_up,
    totals,
)
from pithline.yard.prepared_log import PreparedLog
from pithline.yard.request import Request
from pithline.yard.watch import PlanWatch

TOLD = (
    "sets", "plates", "instrument_volume", "set_volume", "loose_volume", "value", "loose_value", "labour", "earnings", "minutes",
    "settings", "set_ups",
)  # fmt: skip
"""What of a totals table stands in a row."""
FEW_LISTS = 3
"""So many lists compete with all that they hold; of more, the products that some list alone sells."""
OF_A_PLAN = (0.05, 0.10)
"""The fractions of making a plan that weighing its lists is."""
MOST_PARTS = 24
"""Parts that compete at most where lists are many: a search takes as long as it has parts."""


@dataclass(frozen=True, slots=True)
class _Alone:
    """One product list as the only one."""

    name: str
    prepared: PreparedLog
    case: PlanCase


def misfits_told(own: PreparedLog, places: tuple[float, ...], script: Mapping[str, Any]) -> dict[str, Any]:
    """`misfits` of a script's `proof`: parts of its list that do not fit the log; empty where all do.

    Parameters
    ----------
    own : PreparedLog
        The log with its parts.
    places : tuple of float
        Where the plan crosscuts it. [mm]
    script : mapping
        The plan's.
    """
    made = {(plate["product"], plate["part"]) for plate in script["plates"] if plate["passes"]}
    logs = crosscut_log(own.log, places, own.machines.buck.kerf, 0.0)[1]
    rows = misfit_rows(misfits(logs, own.parts, own.machines, [part.key in made for part in own.parts]))
    return {"misfits": rows} if rows else {}


def weigh_lists(
    own: PreparedLog, request: Request, watch: PlanWatch, span: tuple[float, float] = OF_A_PLAN
) -> list[dict[str, Any]]:
    """What each of several product lists alone gives by a quick search, a row each, as a script's `proof.good_for` has them.

    Parameters
    ----------
    own : PreparedLog
        The log, with all lists together.
    request : Request
        What is asked; lists are searched for its objective and under its locks.
    watch : PlanWatch
        Hears how far it is; once it wants an end, lists are no longer searched, but misfits are still told.
    span : (float, float)
        The fractions of the whole work that this is.
    """
    begun, searched, ended = span[0], span[0] + 0.2 * (span[1] - span[0]), span[1]
    lists = [_alone(own, request, one) for one in own.inputs.lists]
    parts = [part for one in lists for part in one.prepared.parts]
    context = own.case(request).context
    too_long = own.log.reach > own.machines.mill.log_length_max
    seen = None
    if not watch.stopped():
        places = crosscut_places(own.log, context) if too_long else ()
        seen = glance(own.log, context, parts, places, watch.monitor.within(begun, searched))
    rows = []
    for number, one in enumerate(lists):
        share = number / len(lists)
        watch.tell(f"what the log is good for: {one.name}", searched + (ended - searched) * share)
        rows.append(_row(one, seen, watch))
    return rows


def all_together(planned: Mapping[str, Any], own: PreparedLog) -> dict[str, Any]:
    """The row of what all lists together give, by the plan's totals, and which products competed in it."""
    names = [product.name for product in own.inputs.products.products]
    return {
        "list": "all together",
        "searched": "plan",
        **{key: planned[key] for key in TOLD},
        "products": names,
        "misfits": [],
    }


def contending(own: PreparedLog, rows: Sequence[Mapping[str, Any]]) -> PreparedLog:
    """The log with the products that compete for it: all of a few lists; of many, those that some list alone sells.

    Lists that earn most, or hold most in sets, come first; products are left out once there are `MOST_PARTS` parts.

    Parameters
    ----------
    own : PreparedLog
        The log, with all lists together.
    rows : sequence of mapping
        What each list alone gives.
    """
    if len(own.inputs.lists) <= FEW_LISTS:
        return own
    kept: dict[str, set[str]] = {one.name: set() for one in own.inputs.lists}
    parts = 0
    for row, one in sorted(
        zip(rows, own.inputs.lists, strict=True),
        key=lambda pair: (-pair[0].get("earnings", 0.0), -pair[0].get("set_volume", 0.0)),
    ):
        for product in one.read["product"]:
            if row.get("sets", {}).get(product["name"], 0) and parts + len(product["part"]) <= MOST_PARTS:
                kept[one.name].add(product["name"])
                parts += len(product["part"])
    narrowed = tuple(
        ProductList(
            one.name, {**one.read, "product": [each for each in one.read["product"] if each["name"] in kept[one.name]]}
        )
        for one in own.inputs.lists
        if kept[one.name]
    )
    if not narrowed:
        return own
    read = put_together(narrowed)
    products = products_from(read)
    inputs = replace(own.inputs, products=products, products_read=read)
    return replace(own, inputs=inputs, parts=sawn_parts(products, inputs.card.species))


def _alone(own: PreparedLog, request: Request, one: ProductList) -> _Alone:
    products = products_from(one.read)
    inputs = replace(own.inputs, products=products, products_read=one.read, lists=(one,))
    alone = replace(own, inputs=inputs, parts=sawn_parts(products, inputs.card.species))
    return _Alone(one.name, alone, alone.case(request))


def _row(one: _Alone, seen: Glance | None, watch: PlanWatch) -> dict[str, Any]:
    """What one list gives; without a search only which of its parts do not fit."""
    own = one.prepared
    logs = (own.log,) if seen is None else seen.logs
    passing = (True,) * len(own.parts) if seen is None else seen.passing(own.parts)
    row = {"list": one.name, "searched": "no", "misfits": misfit_rows(misfits(logs, own.parts, own.machines, passing))}
    if seen is None or watch.stopped():
        return row
    try:
        ledger = seen.best(one.case, replace(SILENT, stopped=watch.stopped))
    except PlanError:  # no part fits, or no setting pays
        ledger = None
    row["searched"] = "quickly"
    if ledger is None:
        return {**row, **dict.fromkeys(TOLD, 0), "sets": {}}
    found = totals(sum_up(ledger, own.parts, own.inputs.products, {"log": 0.0}), own.inputs.products, own.machines)
    return {**row, **{key: found[key] for key in TOLD}}


def misfit_rows(found: Sequence[Misfit]) -> list[dict[str, Any]]:
    """Misfits as a script has them, parts that miss alike in one, the nearest misses first: lengths mm, angles degrees."""
    rows: dict[str, dict[str, Any]] = {}
    for one in sorted(found, key=lambda one: (not one.somewhere, one.why is Why.GRAIN, one.needs - one.has)):
        row = rows.setdefault(
            one.sentence,
            {
                "part": one.part.part.name,
                "products": [],
                "why": str(one.why),
                "needs": one.needs,
                "has": one.has,
                **(
                    {"mean": one.mean, "clock_deg": float(np.degrees(one.clock))}
                    if one.why in (Why.ROOM, Why.GRAIN)
                    else {}
                ),
                "somewhere": one.somewhere,
                "sentence": one.sentence,
            },
        )
        row["products"].append(one.part.product)
    return list(rows.values())
