"""A carried-out plan as a cut script: sums, practice beside it, what is not known, cautions; and its check."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from pithline.errors import ScriptError
from pithline.logmodel.dimensions import diameter_butt, diameter_top
from pithline.logmodel.model import LogModel
from pithline.mill.products import Products
from pithline.plan.evaluate.practice import PracticeResult
from pithline.plan.evaluate.totals import Sums, piece_list, plate_list, sum_up, totals, weighed
from pithline.plan.execute.ledger import Ledger
from pithline.plan.execute.operation_json import operations_to_json
from pithline.plan.problem.log_frame import PITH_RADIUS
from pithline.plan.problem.parts import SawnPart
from pithline.plan.search import Candidate
from pithline.script.document import crayon_marks
from pithline.script.replay import piece_volumes, replay
from pithline.script.schema import validate
from pithline.script.solid import CLOCKS
from pithline.yard.deciles import deciles
from pithline.yard.request import Inputs, Request


def check_script(script: dict[str, Any]) -> None:
    """Schema and replay; a script that does not hold is never written."""
    validate(script)
    report = replay(script)
    if not report.holds:
        more = len(report.findings) - 1
        raise ScriptError(
            f"the plan does not hold on replay and is not written: {report.findings[0].sentence}"
            + (f" ({more} more)" if more else "")
            + "; this is a defect in pithline, please report the card and scan."
        )


BESIDE_CLOCKS = 72
"""The practice layouts' volumes need no finer solid than this many sides."""


def settle_by_replay(
    ledger: Ledger, model: Mapping[str, Any], parts: tuple[SawnPart, ...], products: Products, clocks: int = CLOCKS
) -> Sums:
    """Sums of a carried-out layout, volumes of wood by replay."""
    operations = operations_to_json(ledger.operations)
    volumes = piece_volumes({"model": model, "operations": operations, "pieces": []}, clocks)
    return sum_up(ledger, parts, products, volumes)


def practice_beside(
    done: PracticeResult, inputs: Inputs, model: Mapping[str, Any], parts: tuple[SawnPart, ...]
) -> dict[str, Any]:
    """Totals of the practice layouts beside the plan."""
    out = {}
    for name, ledger in (("slabs", done.slabs), ("with_bolts", done.with_bolts)):
        out[name] = totals(settle_by_replay(ledger, model, parts, inputs.products, BESIDE_CLOCKS), inputs.products)
    return out


def script_from_plan(
    model: LogModel,
    inputs: Inputs,
    request: Request,
    way: Candidate,
    sums: Sums,
    beside: dict[str, Any],
    doubt: np.ndarray,
    cost: dict[str, float],
    document_model: dict[str, Any],
    parts: tuple[SawnPart, ...],
    density: float,
    held: Mapping[str, str] | None = None,
) -> dict[str, Any]:
    """The cut script of a carried-out plan, marks, proof and all; `held` are crayon marks that stand on wood already."""
    card, ledger = inputs.card, sums.ledger
    pieces = piece_list(ledger, sums.volumes)
    marks = crayon_marks(pieces, held)
    for piece in pieces:
        piece["mark"] = marks[piece["id"]]
    own = totals(sums, inputs.products)
    practised = beside["with_bolts"]["instrument_volume"]
    butt, top = diameter_butt(model), diameter_top(model)
    found = way.found
    answer = found.answers[min(way.number, len(found.answers) - 1)]
    status = answer.status if way.number < len(found.answers) else way.status
    demanded = any(p.demand is not None for p in parts)
    objective = answer.value if demanded else answer.grid_value
    bound = max(found.bound, objective)
    gap = (bound - objective) / bound if bound > 0 else None
    p10, p50, p90 = deciles(doubt)
    return plain(
        {
            "format": "pithline-cut-script",
            "version": 1,
            "units": {"length": "mm", "angle": "deg"},
            "log": {
                "id": card.id,
                "species": card.species,
                "card_sha256": inputs.card_sha256,
                "scan_sha256": inputs.scan_sha256,
                "length": document_model["length"],
                "diameter_butt": butt,
                "diameter_top": top,
                "volume": document_model["volume_under_bark"],
                "sweep": document_model["sweep"],
                "scan_to_log": document_model["scan_to_log"],
            },
            "model": document_model,
            "inputs": {
                "card": dict(inputs.card_read),
                "mill": dict(inputs.mill_read),
                "products": dict(inputs.products_read),
            },
            "operations": operations_to_json(weighed(ledger, sums.volumes, density)),
            "pieces": pieces,
            "plates": plate_list(sums.plates, parts),
            "totals": own,
            "proof": {
                "objective": objective * found.unit,
                "bound": bound * found.unit,
                "gap": gap,
                "status": status,
                "layouts_considered": found.considered,
                "grid": found.words,
                "counts": "money" if request.objective == "value" else "volume",
            },
            "practice": {**beside, "ratio": own["instrument_volume"] / practised if practised > 0 else None},
            "uncertainty": {
                "pith_assumed": model.pith_assumed,
                "bark_assumed": model.bark_assumed,
                "samples": len(doubt),
                "cost_of": cost,
                "instrument_volume": {"p10": p10, "p50": p50, "p90": p90},
            },
            "cautions": cautions_of(model, inputs, ledger, own["instrument_volume"], p10),
        }
    )


def cautions_of(model: LogModel, inputs: Inputs, ledger: Ledger, planned: float, p10: float) -> list[str]:
    """What the fit said, what the plan takes for granted, and what the mill refused; volumes in mm³."""
    card = inputs.card
    out = [*model.cautions]
    if model.pith_assumed:
        out.append(
            f"the pith was assumed, and what the scan leaves open may cost {max(planned - p10, 0.0) / 1e6:.1f} of the "
            f"{planned / 1e6:.1f} L planned, or more one time in ten; marking both ends would tell"
        )
    elif card.pith_butt is None or card.pith_top is None:
        out.append("the pith is marked on one end only; its offset there is taken for the whole log")
    if card.pith_radius is None:
        out.append(f"no pith radius on the card: {PITH_RADIUS:.0f} mm round the pith are kept out of the plates")
    if model.sapwood_assumed and any(limits.sapwood != "any" for limits in inputs.products.limits):
        out.append(
            f"no sapwood thickness on the card: {model.sapwood_thickness:.0f} mm is taken, the upper end for the species"
        )
    for knot in model.suspected_knots:
        out.append(
            f"a knot is suspected at {knot.x:.0f} mm from the butt, clock angle {np.degrees(knot.clock):.0f}°, "
            f"{knot.diameter:.0f} mm across; it is no defect until the card names it"
        )
    out.extend(dict.fromkeys(ledger.cautions))
    return list(dict.fromkeys(out))


def plain(value: Any) -> Any:
    """The same data with numpy's numbers and arrays made plain."""
    if isinstance(value, Mapping):
        return {key: plain(one) for key, one in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(one) for one in value]
    if isinstance(value, np.generic):
        return value.item()
    if isinstance(value, np.ndarray):
        return value.tolist()
    return value
