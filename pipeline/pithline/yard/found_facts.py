"""What was found in an opened log, put to an earlier cut script: card, model, cuts, pieces, and sentences on each change."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from pithline.errors import InputError
from pithline.files.cards import card_from
from pithline.logmodel.card import Card, mark_from
from pithline.logmodel.corrections import Sighting, pith_from_mark, with_bark, with_pith, with_sapwood
from pithline.logmodel.model import LogModel
from pithline.plan.api import MovedHistory, SplitScript, put_found


@dataclass(frozen=True, slots=True)
class FoundFacts:
    """An earlier script's facts as they now stand.

    Attributes
    ----------
    card_read, card : dict, Card
        With what was found.
    model, model_changed : LogModel, bool
        The log as it is known now, and whether that is another.
    moved : MovedHistory
        The history, its cuts where they were made.
    sentences : tuple of str
        On each change.
    """

    card_read: dict[str, Any]
    card: Card
    model: LogModel
    model_changed: bool
    moved: MovedHistory
    sentences: tuple[str, ...]


def apply_found(
    script: Mapping[str, Any], history: SplitScript, model: LogModel, found: Mapping[str, Any]
) -> FoundFacts:
    """Put everything that was found to the script.

    Raises
    ------
    InputError
        Where the file names what is not there, or says what cannot be.
    """
    said: list[str] = []
    card_read, model, changed = _wood(script, model, found, said)
    middle = (model.butt.point + model.top.point) / 2.0
    moved = put_found(script, history, found, middle)
    said += moved.sentences
    return FoundFacts(
        card_read,
        card_from(card_read),
        model,
        changed,
        moved,
        tuple(said) or ("nothing was found otherwise than planned",),
    )


def _wood(
    script: Mapping[str, Any], model: LogModel, found: Mapping[str, Any], said: list[str]
) -> tuple[dict[str, Any], LogModel, bool]:
    """Card and model with defects, figure, pith, bark and sapwood as found; whether the model is another."""
    card_read = dict(script["inputs"]["card"])
    defects = list(found.get("defect", []))
    if defects:
        card_read["defect"] = [*card_read.get("defect", []), *defects]
        said += [_defect(one) for one in defects]
    for one in defects:
        if one.get("x", 0.0) > model.length:
            raise InputError(
                f"[[defect]] a {one['kind']} stands at x = {one['x']:.0f} mm, but the log is {model.length:.0f} mm long; measure "
                "it from the butt end."
            )
    zones = list(found.get("figure", []))
    if zones:
        card_read["figure"] = [*card_read.get("figure", []), *zones]
        said += [_figure(one) for one in zones]
    for one in zones:
        if one.get("from", 0.0) >= model.length:
            raise InputError(
                f"[[figure]] {one['kind']} begins at {one['from']:.0f} mm, but the log is {model.length:.0f} mm long; measure it from "
                "the butt end."
            )
    before = model
    for key, change in (("bark", with_bark), ("sapwood", None)):
        if key in found:
            thickness = found[key]["thickness"]
            was = _was(key, card_read, model)
            card_read[key] = {**card_read.get(key, {}), "thickness": thickness}
            model = with_sapwood(model, thickness) if change is None else change(model, card_from(card_read))
            said.append(f"the {key} is {thickness:.0f} mm thick; the plan had {was:.0f} mm")
    pith = found.get("pith", {})
    if pith:
        model = _pith(card_read, model, pith, said)
    return card_read, model, model is not before


def _was(key: str, card: Mapping[str, Any], model: LogModel) -> float:
    stated = card.get(key, {}).get("thickness")
    if stated is not None:
        return float(stated)
    if key == "sapwood":
        return model.sapwood_thickness
    return float((model.radius_over_bark - model.radius_under_bark).mean())


def _defect(one: Mapping[str, Any]) -> str:
    where = f"{one['x']:.0f} mm from the butt end" if "x" in one else f"from the {one['end']} end"
    clock = f", clock angle {one['clock_deg']:.0f}°" if "clock_deg" in one else ""
    size = ", ".join(
        f"{one[key]:.0f} mm {word}"
        for key, word in (("diameter", "across"), ("length", "long"), ("depth", "deep"))
        if key in one
    )
    return f"{one['kind']} found {where}{clock}, {size}"


def _figure(one: Mapping[str, Any]) -> str:
    low = f"{one['from']:.0f} mm from the butt end" if "from" in one else "the butt end"
    high = f"{one['to']:.0f} mm" if "to" in one else "the top end"
    return (
        f"{one['kind']} found from {low} to {high}: wide plates within it sell at {one['factor']:g} times their price"
    )


def _pith(card_read: dict[str, Any], model: LogModel, pith: Mapping[str, Any], said: list[str]) -> LogModel:
    card = card_from(card_read)
    marks = {"butt": card.pith_butt, "top": card.pith_top}
    seen: list[Sighting] = []
    held: list[float] = []
    for end, plane in (("butt", model.butt), ("top", model.top)):
        new = mark_from(pith.get(end))
        if new is not None:
            seen.append(pith_from_mark(model, end, new))
            card_read["pith"] = {**card_read.get("pith", {}), end: pith[end]}
            said.append(f"the pith on the {end} end lies {_off(seen[-1])} of the plan's, facing the butt end")
        elif marks[end] is not None:
            held.append(float(plane.point[0]))
    for one in pith.get("seen", []):
        seen.append(Sighting(one["x"], one["up"], one["right"]))
        said.append(f"the pith at {one['x']:.0f} mm lies {_off(seen[-1])} of the plan's, facing the butt end")
    return with_pith(model, seen, held, card.pith_error)


def _off(one: Sighting) -> str:
    over, side = "over" if one.up >= 0 else "under", "right" if one.right >= 0 else "left"
    return f"{abs(one.up):.0f} mm {over} and {abs(one.right):.0f} mm to the {side}"
