"""One log from card to cut script, as a command or a worker runs it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
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
from pithline.plan.aims import no_part
from pithline.plan.bucking import Sawing, bucked, carry_sawing
from pithline.plan.carry import Shop
from pithline.plan.contest import Contender, Wish, contenders, cost_of_locks, counted, practice_contender, ranked
from pithline.plan.document import Sums, piece_list, plain, plate_list, settle, totals, weigh
from pithline.plan.doubt import passing_on_samples
from pithline.plan.frame import PITH_RADIUS, PlanLog, plan_log
from pithline.plan.layout import FREE, Locks
from pithline.plan.ledger import Ledger
from pithline.plan.milling import MachinePoser
from pithline.plan.parts import SawnPart, sawn_parts
from pithline.plan.practice import PracticeResult, practice
from pithline.plan.sensitivity import cost_of
from pithline.plan.trade_off import trade_off
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
    bucking: bool = True  # whether the log may be crosscut first
    locks: Locks = FREE


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
    widest = widest_across(bare)[0] + 2.0 * bark
    if request.bucking:
        longest = replace(machines.mill, log_length_max=max(machines.mill.log_length_max, model.length))
        log_fits(whole, widest, model.length, longest, card.id)
    else:
        log_fits(whole, widest, model.length, machines.mill, card.id)
    parts = sawn_parts(inputs.products, card.species)
    worth = np.array([p.price if request.objective == "value" else p.volume / 1e6 for p in parts])
    shop = Shop(machines, parts, worth, np.array([np.inf if p.demand is None else p.demand for p in parts]))
    _worth_looking(log, shop, card.id)
    late = late or (lambda: False)
    wish = Wish(request.objective, request.effort, request.seed, request.bucking, request.locks)
    with about(other=card.id):
        ways = contenders(log, parts, shop, wish, lambda w, part: progress(w, 0.1 + 0.6 * part), late)
    if not ways:  # too long, and no crosscut leaves what the mill takes
        log_fits(whole, widest, model.length, machines.mill, card.id)
    lost = None
    if request.locks != FREE and not late():
        lost = cost_of_locks(log, parts, shop, wish, ways, lambda w, part: progress(w, 0.7), late)
    progress("practice layout", 0.72)
    document_model = model_to_json(model)
    too_long = log.reach > machines.mill.log_length_max
    places = ways[0].sawing.places if too_long else ()
    custom = practice(log, places, shop, inputs.practice)
    beside = _practice(custom, inputs, document_model, parts)
    last = practice_contender(log, places, custom.layouts, ways[0].found)
    progress("carrying the plan out", 0.8)
    weight = whole.volume * 1e-9 * species.green_density
    refused: list[str] = []

    def poser(one: PlanLog) -> MachinePoser:
        return MachinePoser(one, sections, machines, species.green_density, refused)

    def carry(sawing: Sawing) -> Ledger:
        refused.clear()
        return carry_sawing(sawing, shop, poser, weight)

    if request.locks == FREE and counted(custom.with_bolts, shop) > 0.85 * ways[0].found.answers[0].value:
        ways.append(last)
    fault: ScriptError | None = None
    why: list[str] = []
    for best, way in _attempts(log, ways, last, shop, carry, request):
        why = why or best.cautions
        if not any(plate.grade.passes for plate in best.plates):
            continue
        sums = _settled(best, document_model, parts, inputs.products)
        progress("what is not known", 0.9)
        logs = bucked(log, way.sawing.places, machines.buck.kerf, 0.0)[1]
        doubt = passing_on_samples(log, best, parts, request.samples, request.seed)
        cost = cost_of(list(zip(logs, way.sawing.layouts, strict=True)), best, parts)
        script = _script(
            model, inputs, request, way, sums, beside, doubt, cost, document_model, parts, species.green_density
        )
        if lost is not None:
            script["proof"]["locks"] = _locks(request.locks, lost * way.found.unit)
        if way.found.trade_off:
            script["proof"]["trade_off"] = trade_off(way, sums, carry, parts, inputs.products)
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


def _attempts(
    log: PlanLog,
    ways: Sequence[Contender],
    last: Contender,
    shop: Shop,
    carry: Callable[[Sawing], Ledger],
    request: Request,
) -> Iterator[tuple[Ledger, Contender]]:
    """Ways to saw, carried out, best first, and the practice layout after them where it is not among them."""
    yield from ranked(log, ways, shop, carry, request.seed, request.locks.settings_max)
    if last not in ways and request.locks == FREE:
        yield carry(last.sawing), last


def _locks(locks: Locks, lost: float) -> dict[str, Any]:
    """What was locked, and what the locks cost on the grid: mm³, or money by value."""
    words = {
        "roll_deg": None if locks.roll is None else float(np.degrees(locks.roll)),
        "first_slab": locks.first_slab,
        "max_settings": locks.settings_max,
        "bolts": None if locks.bolts else "leave",
    }
    return {**{key: value for key, value in words.items() if value is not None}, "cost": lost}


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
    way: Contender,
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
    found = way.found
    answer = found.answers[min(way.number, len(found.answers) - 1)]
    status = answer.status if way.number < len(found.answers) else "practice layout kept"
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
