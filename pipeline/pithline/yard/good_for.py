"""What a log is good for: what it gives by each of several product lists alone, and which wanted parts do not fit it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from pithline.errors import PlanError
from pithline.files.product_lists import ProductList
from pithline.files.products import products_from
from pithline.plan.api import (
    SILENT,
    Glance,
    Misfit,
    PlanCase,
    Why,
    crosscut_log,
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
FROM = 0.97
"""How much of the work is done when this begins."""


@dataclass(frozen=True, slots=True)
class _Alone:
    """One product list as the only one."""

    name: str
    prepared: PreparedLog
    case: PlanCase


def good_for(
    own: PreparedLog, request: Request, places: tuple[float, ...], script: Mapping[str, Any], watch: PlanWatch
) -> dict[str, Any]:
    """What a script's `proof` tells of what the log is good for.

    Parameters
    ----------
    own : PreparedLog
        The log, with all lists together.
    request : Request
        What is asked; lists are searched for its objective and under its locks.
    places : tuple of float
        Where the plan crosscuts the log. [mm]
    script : mapping
        The plan's.
    watch : PlanWatch
        Hears how far it is; once it wants an end, lists are no longer searched, but misfits are still told.

    Returns
    -------
    dict
        `good_for`, a row for each of several lists, the last of all together; else `misfits`, the parts of the one list that do
        not fit, where there are any.
    """
    if len(own.inputs.lists) > 1:
        return {"good_for": _rows(own, request, places, script["totals"], watch)}
    made = {(plate["product"], plate["part"]) for plate in script["plates"] if plate["passes"]}
    logs = crosscut_log(own.log, places, own.machines.buck.kerf, 0.0)[1]
    rows = misfit_rows(misfits(logs, own.parts, own.machines, [part.key in made for part in own.parts]))
    return {"misfits": rows} if rows else {}


def _rows(
    own: PreparedLog, request: Request, places: tuple[float, ...], planned: Mapping[str, Any], watch: PlanWatch
) -> list[dict[str, Any]]:
    lists = [_alone(own, request, one) for one in own.inputs.lists]
    parts = [part for one in lists for part in one.prepared.parts]
    seen = None
    if not watch.stopped():
        seen = glance(own.log, own.case(request).context, parts, places, watch.monitor.within(FROM, FROM + 0.002))
    rows = []
    for number, one in enumerate(lists):
        watch.tell(f"what the log is good for: {one.name}", FROM + 0.01 * (1 + number) / (1 + len(lists)))
        rows.append(_row(one, seen, watch))
    together = {"list": "all together", "searched": "plan", **{key: planned[key] for key in TOLD}, "misfits": []}
    return [*rows, together]


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
