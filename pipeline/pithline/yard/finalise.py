"""A carried-out plan as a cut script: sums, practice beside it, what is not known, cautions; and its check."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pithline.errors import ScriptError
from pithline.logmodel.card import PITH_RADIUS
from pithline.logmodel.dimensions import diameter_butt, diameter_top, unseen_girth
from pithline.logmodel.model import LogModel
from pithline.plan.api import (
    Evaluation,
    ExecutedPlan,
    Ledger,
    Objective,
    PracticeResult,
    SawnPart,
    SearchContext,
    Sums,
    operations_to_json,
    piece_list,
    plate_list,
    sum_up,
    totals,
    weighed,
)
from pithline.script.document import crayon_marks
from pithline.script.replay import Sawing, piece_volumes, replay, sawing_of
from pithline.script.schema import validate
from pithline.script.solid import CLOCKS
from pithline.yard.deciles import deciles
from pithline.yard.prepared_log import PreparedLog
from pithline.yard.request import Inputs


def must_hold(script: dict[str, Any], sawing: Sawing | None = None) -> None:
    """Schema and replay, of a `sawing` by its cuts where there is one; a script that does not hold is never written."""
    validate(script)
    report = replay(script, sawing)
    if not report.holds:
        more = len(report.findings) - 1
        raise ScriptError(
            f"the plan does not hold on replay and is not written: {report.findings[0].sentence}"
            + (f" ({more} more)" if more else "")
            + "; this is a defect in pithline, please report the card and scan."
        )


def set_aside(fault: ScriptError) -> str:
    """The caution of a plan that another was set aside for, with what was found of that one."""
    return f"a better layout was set aside for this one: {fault}"


def left_out(fault: ScriptError) -> str:
    """The caution of a plan that stays, where another of its ladder does not hold."""
    return f"another plan of the ladder was left out: {fault}"


METAL_LIKELY = 0.1
"""From this chance on a plan says that metal is likely."""
UNSEEN = 30.0
"""Where more of the girth than this was not scanned, whoever loads the log is told to look there. [degrees]"""
BESIDE_CLOCKS = 72
"""The practice layouts' volumes need no finer solid than this many sides."""


def settle_by_replay(
    ledger: Ledger, model: Mapping[str, Any], parts: tuple[SawnPart, ...], inputs: Inputs, clocks: int = CLOCKS
) -> Sums:
    """Sums of a carried-out layout, volumes of wood by replay, prices by the card's figure.

    Parameters
    ----------
    ledger : Ledger
        What was sawn.
    model : mapping
        The log model as a cut script has it.
    parts : tuple of SawnPart
        What plates are of.
    inputs : Inputs
        Products, and the card's figure.
    clocks : int
        Sides of the solid that volumes are read from.
    """
    volumes = piece_volumes(_to_saw(ledger, model), clocks)
    return sum_up(ledger, parts, inputs.products, volumes, inputs.card.figures)


def settled_sawing(
    ledger: Ledger, model: Mapping[str, Any], parts: tuple[SawnPart, ...], inputs: Inputs
) -> tuple[Sums, Sawing]:
    """As `settle_by_replay`, with the sawing that volumes were read from."""
    sawing = sawing_of(_to_saw(ledger, model))
    return sum_up(ledger, parts, inputs.products, sawing.sawn.volumes, inputs.card.figures), sawing


def _to_saw(ledger: Ledger, model: Mapping[str, Any]) -> dict[str, Any]:
    """What a replay saws by."""
    return {"model": model, "operations": operations_to_json(ledger.operations), "pieces": []}


def practice_beside(done: PracticeResult, prepared: PreparedLog, model: Mapping[str, Any]) -> dict[str, Any]:
    """Totals of the practice layouts beside the plan."""
    out, products = {}, prepared.inputs.products
    for name, ledger in (("slabs", done.slabs), ("with_bolts", done.with_bolts)):
        sums = settle_by_replay(ledger, model, prepared.parts, prepared.inputs, BESIDE_CLOCKS)
        out[name] = totals(sums, products, prepared.machines)
    return out


@dataclass(frozen=True, slots=True)
class FinishedPlan:
    """A carried-out plan with everything that its script tells.

    Attributes
    ----------
    prepared : PreparedLog
        The log, its parts and inputs.
    context : SearchContext
        What was asked.
    plan : ExecutedPlan
        The way to saw it, and what came of it.
    sums : Sums
        Of what came of it.
    practice : mapping
        Totals of the practice layouts.
    evaluation : Evaluation
        What is not known.
    model : mapping
        The log model as JSON.
    marks : mapping of str to str
        Crayon marks that stand on wood already, by piece.
    """

    prepared: PreparedLog
    context: SearchContext
    plan: ExecutedPlan
    sums: Sums
    practice: Mapping[str, Any]
    evaluation: Evaluation
    model: Mapping[str, Any]
    marks: Mapping[str, str] = field(default_factory=dict)


def script_from_plan(finished: FinishedPlan) -> dict[str, Any]:
    """The cut script of a carried-out plan, marks, proof and all."""
    inputs, sums, model = finished.prepared.inputs, finished.sums, finished.model
    fitted, ledger = finished.prepared.log.model, finished.sums.ledger
    pieces = piece_list(ledger, sums.volumes)
    marks = crayon_marks(pieces, finished.marks)
    for piece in pieces:
        piece["mark"] = marks[piece["id"]]
    own = totals(sums, inputs.products, finished.prepared.machines)
    evaluation = finished.evaluation
    volume = _deciles(evaluation.sampled)
    operations = weighed(ledger, sums.volumes, finished.prepared.workshop.density)
    script: dict[str, Any] = plain(
        {
            "format": "pithline-cut-script",
            "version": 1,
            "units": {"length": "mm", "angle": "deg"},
            "log": {
                "id": inputs.card.id,
                "species": inputs.card.species,
                "card_sha256": inputs.card_sha256,
                "scan_sha256": inputs.scan_sha256,
                "length": model["length"],
                "diameter_butt": diameter_butt(fitted),
                "diameter_top": diameter_top(fitted),
                "volume": model["volume_under_bark"],
                "sweep": model["sweep"],
                "scan_to_log": model["scan_to_log"],
            },
            "model": model,
            "inputs": {
                "card": dict(inputs.card_read),
                "mill": dict(inputs.mill_read),
                "products": dict(inputs.products_read),
            },
            "operations": operations_to_json(operations),
            "pieces": pieces,
            "plates": plate_list(sums.plates, finished.prepared.parts),
            "totals": own,
            "proof": _proof(finished),
            "practice": {
                **finished.practice,
                "ratio": _ratio_to_practice(own, finished),
                "volume_ratio": _ratio(own["instrument_volume"], finished.practice["with_bolts"]["instrument_volume"]),
            },
            "uncertainty": {
                "pith_assumed": fitted.pith_assumed,
                "bark_assumed": fitted.bark_assumed,
                "samples": len(evaluation.sampled),
                "cost_of": evaluation.cost_of,
                "instrument_volume": volume,
                "sets": {name: _deciles(sets) for name, sets in evaluation.sets.items()},
                **({} if evaluation.earnings is None else {"earnings": _deciles(evaluation.earnings)}),
            },
            "cautions": cautions_of(fitted, inputs, ledger, own["instrument_volume"], volume["p10"]),
        }
    )
    return script


def _deciles(values: NDArray[Any]) -> dict[str, float]:
    """Of one figure on sampled logs."""
    p10, p50, p90 = deciles(values)
    return {"p10": p10, "p50": p50, "p90": p90}


def _ratio_to_practice(own: Mapping[str, Any], finished: FinishedPlan) -> float | None:
    """Against the practice layout with bolts; by all instrument wood where an older script did not part sets from loose plates."""
    practised = finished.practice["with_bolts"]
    if "set_volume" not in practised:
        return _ratio(own["instrument_volume"], practised["instrument_volume"])
    return _ratio(_gross(own, finished), _gross(practised, finished))


def _gross(total: Mapping[str, Any], finished: FinishedPlan) -> float:
    """What a totals table is worth under the objective, uncharged."""
    objective = finished.context.objective
    if objective.in_money:
        return float(total["value"] + total["loose_value"])
    if objective is Objective.VOLUME:
        return float(total["instrument_volume"])
    return float(total["set_volume"] + finished.prepared.inputs.products.loose_share * total["loose_volume"])


def _ratio(plan: float, practised: float) -> float | None:
    """How many times the practice layout; None where that gives nothing."""
    return plan / practised if practised > 0.0 else None


def _proof(finished: FinishedPlan) -> dict[str, Any]:
    """What is proven of the plan: its layout's value and the bound of its class, on the search grid; a layout kept has no value there."""
    candidate, unit = finished.plan.candidate, finished.context.objective.unit
    bound = max(candidate.bound, candidate.value)
    return {
        "objective": candidate.value * unit,
        "bound": bound * unit,
        "gap": (bound - candidate.value) / bound if bound > 0 and candidate.searched else None,
        "status": candidate.status,
        "layouts_considered": candidate.considered,
        "grid": candidate.words,
        "class": candidate.title,
        "counts": "money" if finished.context.objective.in_money else "volume",
        "asks_for": str(finished.context.objective),
    }


def cautions_of(model: LogModel, inputs: Inputs, ledger: Ledger, planned: float, p10: float) -> list[str]:
    """What the fit said, what the plan takes for granted, and what the mill refused; volumes in mm³.

    Parameters
    ----------
    model : LogModel
        The fitted log, with its own cautions.
    inputs : Inputs
        The card, and limits that ask for sapwood.
    ledger : Ledger
        What was sawn, with what the mill refused.
    planned, p10 : float
        Passing volume as planned, and what nine of ten sampled logs give at least. [mm³]
    """
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
    if inputs.metal_chance >= METAL_LIKELY:
        out.append(
            f"metal is likely in it, by where it grew or the stain at its ends (chance {inputs.metal_chance:.0%}): pass a detector over "
            "all of it before the first cut"
        )
    middle, width = np.degrees(unseen_girth(model))
    if UNSEEN <= width < 360.0:
        out.append(
            f"the bark from clock angle {(middle - width / 2) % 360:.0f}° to {(middle + width / 2) % 360:.0f}° was not scanned: feel there "
            "for stubs and cut them flush before loading, for one would lift the log, and no height or width knows of it"
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
