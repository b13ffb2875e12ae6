"""One log from card to cut script, as a command or a worker runs it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from pithline.errors import InputError, PlanError, ScriptError, about
from pithline.files.cards import card_as_read, card_from, scan_path
from pithline.files.mills import mill_as_read, mill_from
from pithline.files.practice import read_practice
from pithline.files.products import products_as_read, products_from
from pithline.files.scans import read_scan
from pithline.files.tables import sha256_of
from pithline.geometry.pieces import Piece
from pithline.logmodel.card import Card
from pithline.logmodel.document import model_to_json
from pithline.logmodel.model import LogModel
from pithline.logmodel.species import species_of
from pithline.logmodel.taper import diameter_butt, diameter_top
from pithline.mill.limits import log_fits, widest_across
from pithline.mill.machine import Machines
from pithline.mill.practice_sizes import Practice
from pithline.mill.products import Products
from pithline.mill.sections import log_sections, piece_shape
from pithline.plan.carry import DrawnPoser, Shop, carry_out
from pithline.plan.document import Sums, piece_list, plain, plate_list, settle, totals, weigh
from pithline.plan.doubt import passing_on_samples
from pithline.plan.frame import PITH_RADIUS, PlanLog, plan_log
from pithline.plan.layout import Setting
from pithline.plan.ledger import Ledger
from pithline.plan.milling import MachinePoser
from pithline.plan.parts import SawnPart, sawn_parts
from pithline.plan.practice import PracticeResult, practice
from pithline.plan.sensitivity import cost_of
from pithline.plan.solve import EFFORTS, Found, find, no_part
from pithline.script.document import crayon_marks
from pithline.script.replay import piece_volumes, replay
from pithline.script.schema import validate
from pithline.script.solid import CLOCKS

Progress = Callable[[str, float], None]
Late = Callable[[], bool]
"""Says whether a time limit has run out; the search then goes on with what it has."""


@dataclass(frozen=True, slots=True)
class Request:
    """What is asked of a plan."""

    objective: str = "volume"
    effort: str = "full"
    seed: int = 1
    samples: int = 16
    pick: int | None = None  # which log, where the scan shows several


@dataclass(frozen=True, slots=True)
class Inputs:
    """Everything read for one log. The `*_read` dicts stand in the script as read."""

    card: Card
    machines: Machines
    products: Products
    practice: Practice
    card_read: Mapping[str, Any]
    mill_read: Mapping[str, Any]
    products_read: Mapping[str, Any]
    card_sha256: str
    scan_sha256: str


def read_inputs(card_path: str | Path, mill: str | None = None, products: str | None = None) -> tuple[Inputs, Path]:
    """Read and check card, mill and products; also the scan's path."""
    card_read = card_as_read(card_path)
    card = card_from(card_read)
    mill_read, products_read = mill_as_read(mill), products_as_read(products)
    scan = scan_path(card_path, card)
    inputs = Inputs(
        card,
        mill_from(mill_read),
        products_from(products_read),
        read_practice(None),
        card_read,
        mill_read,
        products_read,
        sha256_of(card_path),
        sha256_of(scan),
    )
    return inputs, scan


def plan_card(
    card_path: str | Path,
    mill: str | None,
    products: str | None,
    request: Request,
    progress: Progress,
    late: Late | None = None,
) -> dict[str, Any]:
    """Card to cut script: read, fit, plan, replay."""
    from pithline.logmodel.fit import fit_log

    inputs, scan_file = read_inputs(card_path, mill, products)
    progress("reading the scan", 0.02)
    scan = read_scan(scan_file)
    progress("fitting the log", 0.05)
    with about(fit=scan_file, other=card_path):
        model = fit_log(scan.points, inputs.card, default_up=scan.default_up, pick=request.pick)
    return plan_model(model, inputs, request, progress, late)


def plan_model(
    model: LogModel, inputs: Inputs, request: Request, progress: Progress, late: Late | None = None
) -> dict[str, Any]:
    """Fitted log to cut script.

    Raises
    ------
    MillError, PlanError
        Where the mill cannot hold the log, or no part fits.
    ScriptError
        Where the replay finds the plan's own script wanting: a defect, said as such.
    """
    card, machines = inputs.card, inputs.machines
    species = species_of(card.species)
    log = plan_log(model, card.pith_radius, card.trim_butt, card.trim_top, card.defects)
    sections = log_sections(model)
    whole, bare = (piece_shape(sections, Piece("log", "log"), bark=bark) for bark in (True, False))
    bark = float((model.radius_over_bark - model.radius_under_bark).max())
    log_fits(whole, widest_across(bare)[0] + 2.0 * bark, model.length, machines.mill, card.id)
    parts = sawn_parts(inputs.products, card.species)
    worth = np.array([p.price if request.objective == "value" else p.volume / 1e6 for p in parts])
    shop = Shop(machines, parts, worth, np.array([np.inf if p.demand is None else p.demand for p in parts]))
    _worth_looking(log, shop, card.id)
    effort = EFFORTS[request.effort]
    with about(other=card.id):
        found = find(
            log,
            parts,
            shop,
            request.objective,
            effort,
            request.seed,
            lambda w, part: progress(w, 0.1 + 0.6 * part),
            None,
            late,
        )
    progress("practice layout", 0.72)
    document_model = model_to_json(model)
    mill = machines.mill
    custom = practice(log, shop, inputs.practice, DrawnPoser(log, mill.kerf, mill.minutes_per_setting, mill.feed))
    progress("carrying the plan out", 0.8)
    layouts = [answer.layout for answer in found.answers]
    if sum(shop.worth[p.part] for p in custom.with_bolts.plates if p.grade.passes) > 0.85 * found.answers[0].value:
        layouts.append(custom.layout)
    poser = MachinePoser(log, sections, machines, species.green_density)
    beside = _practice(custom, inputs, document_model, parts)
    fault: ScriptError | None = None
    why: list[str] = []
    for best, chosen, layout in _attempts(log, found, layouts, custom.layout, shop, poser, request.seed):
        why = why or best.cautions
        if not any(plate.grade.passes for plate in best.plates):
            continue
        sums = _settled(best, document_model, parts, inputs.products)
        progress("what is not known", 0.9)
        doubt = passing_on_samples(log, best, parts, request.samples, request.seed)
        cost = cost_of(log, best, parts, layout.clock)
        script = _script(
            model,
            inputs,
            request,
            found,
            chosen,
            sums,
            beside,
            doubt,
            cost,
            document_model,
            parts,
            species.green_density,
        )
        if fault is not None:
            script["cautions"].append("a better layout did not hold on replay and was set aside: a defect in pithline")
        progress("replaying the script", 0.95)
        try:
            check(script)
        except ScriptError as one:
            fault = fault or one
            continue
        return script
    if fault is not None:
        raise fault
    raise PlanError(
        f"{card.id}: no layout that this mill can hold gives a passing plate"
        + (f" ({why[0]})" if why else "")
        + "; name another mill or looser limits."
    )


def _worth_looking(log: PlanLog, shop: Shop, name: str) -> None:
    """Refuse at once what no search can mend: nothing wanted, or every part longer than the log."""
    if not (shop.left > 0).any():
        raise InputError(f"{name}: nothing is wanted of it, since every product has demand = 0; raise a demand.")
    if not shop.worth[shop.left > 0].any():
        raise InputError(f"{name}: nothing wanted has a price, so no plan is of more value than another; add prices.")
    clear = log.model.length - log.trim_butt - log.trim_top
    if clear <= 0:
        raise InputError(
            f"{name}: the trims ({log.trim_butt:.0f} and {log.trim_top:.0f} mm) leave nothing of a log "
            f"{log.model.length:.0f} mm long; lessen them."
        )
    if log.pith_radius >= log.field.radius.max():
        raise InputError(
            f"{name}: the pith's radius on the card, {log.pith_radius:.0f} mm, leaves nothing of a log whose wood reaches "
            f"{log.field.radius.max():.0f} mm from the pith; correct it."
        )
    if min(part.length for part in shop.parts) > clear:
        with about(other=name):
            raise no_part(log, shop.parts)


def check(script: dict[str, Any]) -> None:
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


TRIED = 8
"""Sampled logs on which carried-out layouts are compared."""


def _attempts(
    log: PlanLog, found: Found, layouts: list[Setting], last: Setting, shop: Shop, poser: MachinePoser, seed: int
) -> Iterator[tuple[Ledger, int, Setting]]:
    """Carried-out layouts with their numbers, best first, and the practice layout after them where it is not among them."""
    for ledger, number in _ranked(log, found, layouts, shop, poser, seed):
        yield ledger, number, layouts[number]
    if last not in layouts:
        poser.refused.clear()
        yield carry_out(log, last, shop, poser), len(layouts), last


def _ranked(
    log: PlanLog, found: Found, layouts: list[Setting], shop: Shop, poser: MachinePoser, seed: int
) -> list[tuple[Ledger, int]]:
    """The layouts carried out on the real machines, with their numbers, by what they are likely to yield net of charges.

    What a layout claims on the fitted log is half of its worth, what it keeps on logs the fit cannot tell from it the other.
    """
    tried: list[tuple[float, int, Ledger]] = []
    charge = shop.machines.mill.least_gain_per_setting / found.unit if found.unit > 1 else 0.0
    for number, layout in enumerate(layouts):
        poser.refused.clear()
        ledger = carry_out(log, layout, shop, poser)
        claimed = sum(p.volume for p in ledger.plates if p.grade.passes)
        kept = float(passing_on_samples(log, ledger, shop.parts, TRIED, seed).mean()) / claimed if claimed else 0.0
        value = sum(shop.worth[p.part] for p in ledger.plates if p.grade.passes) * (1.0 + kept) / 2.0
        value -= charge * sum(bool(o.get("charged")) for o in ledger.operations)
        tried.append((-round(value, 9), number, ledger))
    return [(ledger, number) for _, number, ledger in sorted(tried, key=lambda one: one[:2])]


BESIDE_CLOCKS = 72
"""The practice layouts' volumes need no finer solid than this many sides."""


def _settled(
    ledger: Ledger, model: Mapping[str, Any], parts: tuple[SawnPart, ...], products: Products, clocks: int = CLOCKS
) -> Sums:
    volumes = piece_volumes({"model": model, "operations": plain(ledger.operations), "pieces": []}, clocks)
    return settle(ledger, parts, products, volumes, volumes["log"])


def _practice(
    done: PracticeResult, inputs: Inputs, model: Mapping[str, Any], parts: tuple[SawnPart, ...]
) -> dict[str, Any]:
    """Totals of the practice layouts beside the plan."""
    out = {}
    for name, ledger in (("slabs", done.slabs), ("with_bolts", done.with_bolts)):
        out[name] = totals(_settled(ledger, model, parts, inputs.products, BESIDE_CLOCKS), inputs.products)
    return out


def _script(
    model: LogModel,
    inputs: Inputs,
    request: Request,
    found: Found,
    chosen: int,
    sums: Sums,
    beside: dict[str, Any],
    doubt: np.ndarray,
    cost: dict[str, float],
    document_model: dict[str, Any],
    parts: tuple[SawnPart, ...],
    density: float,
) -> dict[str, Any]:
    card, ledger = inputs.card, sums.ledger
    weigh(ledger, sums.volumes, density)
    pieces = piece_list(ledger, sums.volumes)
    marks = crayon_marks(pieces)
    for piece in pieces:
        piece["mark"] = marks[piece["id"]]
    own = totals(sums, inputs.products)
    practised = beside["with_bolts"]["instrument_volume"]
    butt, top = diameter_butt(model), diameter_top(model)
    answer = found.answers[min(chosen, len(found.answers) - 1)]
    status = answer.status if chosen < len(found.answers) else "practice layout kept"
    demanded = any(p.demand is not None for p in parts)
    objective = answer.value if demanded else answer.grid_value
    bound = max(found.bound, objective)
    gap = (bound - objective) / bound if bound > 0 else None
    p10, p50, p90 = (float(v) for v in np.percentile(doubt, [10, 50, 90]))
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
            "operations": ledger.operations,
            "pieces": pieces,
            "plates": plate_list(ledger, parts),
            "totals": own,
            "proof": {
                "objective": objective * found.unit,
                "bound": bound * found.unit,
                "gap": gap,
                "status": status,
                "layouts_considered": found.considered,
                "grid": found.words,
            },
            "practice": {**beside, "ratio": own["instrument_volume"] / practised if practised > 0 else None},
            "uncertainty": {
                "pith_assumed": model.pith_assumed,
                "bark_assumed": model.bark_assumed,
                "samples": len(doubt),
                "cost_of": cost,
                "instrument_volume": {"p10": p10, "p50": p50, "p90": p90},
            },
            "cautions": _cautions(model, inputs, ledger, own["instrument_volume"], p10),
        }
    )


def _cautions(model: LogModel, inputs: Inputs, ledger: Ledger, planned: float, p10: float) -> list[str]:
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
