"""What was found in an opened log, put to an earlier cut script: card, model, cuts, pieces, and sentences on each change."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pithline.errors import InputError
from pithline.files.cards import card_from
from pithline.geometry.pieces import Piece
from pithline.logmodel.card import Card, mark_from
from pithline.logmodel.corrections import Sighting, pith_from_mark, with_bark, with_pith, with_sapwood
from pithline.logmodel.model import LogModel
from pithline.plan.execute.ledger import Ledger
from pithline.plan.problem.operations import Cut
from pithline.plan.replan.script_history import (
    SplitScript,
    cut_named,
    ledger_of,
    move_cuts,
    moves_that_follow,
    piece_named,
    thickness_of,
)

Array = NDArray[np.float64]
LEAST_STEP = 0.05
"""A cut nearer than this to its place was made as planned. [mm]"""
THINNEST = 1.0


@dataclass(frozen=True, slots=True)
class FoundFacts:
    """An earlier script's facts as they now stand. `by`: how far cuts lie from where they were planned, by id. [mm]"""

    card_read: dict[str, Any]
    card: Card
    model: LogModel
    model_changed: bool
    history: SplitScript
    by: Mapping[str, float]
    spoilt: frozenset[str]
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
    by = _heights(history, found.get("cut", []), said)
    middle = (model.butt.point + model.top.point) / 2.0
    measured = _MeasuredPieces(script, history, by, middle, said)
    spoilt = measured.take_up(found.get("piece", []))
    stated = tuple(by)
    if by:
        by = moves_that_follow(history.whole, by)
        sawn = move_cuts(history.sawn, by, stated, history.kinds, middle)
        later = tuple(
            replace(each, offset=each.offset + by[each.id]) if isinstance(each, Cut) and each.id in by else each
            for each in history.later
        )
        history = replace(history, sawn=tuple(sawn), later=later)
    return FoundFacts(
        card_read,
        card_from(card_read),
        model,
        changed,
        history,
        by,
        spoilt,
        tuple(said) or ("nothing was found otherwise than planned",),
    )


def _wood(
    script: Mapping[str, Any], model: LogModel, found: Mapping[str, Any], said: list[str]
) -> tuple[dict[str, Any], LogModel, bool]:
    """Card and model with defects, pith, bark and sapwood as found; whether the model is another."""
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


def _heights(history: SplitScript, cuts: Sequence[Mapping[str, Any]], said: list[str]) -> dict[str, float]:
    """How far each cut that is told of lies from its planned height. [mm]"""
    by: dict[str, float] = {}
    sawn = {each.id for each in history.sawn}
    for told in cuts:
        cut = cut_named(history.whole, told["id"], "[[cut]] id")
        if cut.id not in sawn:
            raise InputError(
                f"[[cut]] {cut.id} comes after the cut that --after names, so it was not made yet; leave it out."
            )
        if cut.blade is None:
            raise InputError(
                f"[[cut]] {cut.id} was made on the {cut.tool}, which has no blade height; say under [[piece]] how thick the piece "
                "it left is."
            )
        if cut.id in by:
            raise InputError(f"[[cut]] names {cut.id} twice; say all of it in one table.")
        planned = {"blade_height": cut.blade.height, "from_mark": cut.blade.from_mark}
        shift = next(told[key] - place for key, place in planned.items() if key in told)
        if abs(shift) < LEAST_STEP:
            continue
        by[cut.id] = shift
        said.append(
            f"{cut.id} was made {abs(shift):.1f} mm {'higher' if shift > 0 else 'lower'} than planned, at a blade height of "
            f"{cut.blade.height + shift:.0f} mm"
        )
    return by


@dataclass(frozen=True, slots=True)
class _MeasuredPieces:
    """Pieces that were measured, or spoilt; `by` and `said` are added to.

    Attributes
    ----------
    by : dict
        How far cuts lie from where they were planned, by id. [mm]
    middle : (3,) array
        Where faces that lean are compared.
    said : list of str
        Sentences on each change.
    """

    script: Mapping[str, Any]
    history: SplitScript
    by: dict[str, float]
    middle: Array
    said: list[str]

    def take_up(self, pieces: Sequence[Mapping[str, Any]]) -> frozenset[str]:
        """Pieces that are spoilt; thicknesses become moves of the cuts that made the pieces."""
        ledger = ledger_of(self.history.sawn, self.history.kinds)
        cuts = {cut.id: cut for cut in ledger.cuts}
        spoilt: set[str] = set()
        for told in pieces:
            stated = piece_named(self.script, told["id"], "[[piece]] id")
            name, called = stated["id"], f"{stated['mark']} ({stated['id']})"
            self._check_in_hand(name, called, ledger)
            if told.get("spoilt"):
                spoilt.add(name)
                self.said.append(f"{called} is spoilt")
                continue
            made = cuts.get(ledger.made_by[name] or "")
            if stated["kind"] not in ("slab", "plate") or made is None:
                raise InputError(
                    f"[[piece]] {called} is a {stated['kind']}; only of a slab or a plate is the thickness asked. Say under [[cut]] "
                    "at what height the cut was made."
                )
            self._thickness(told["thickness"], called, ledger.pieces[name], ledger.pieces[made.piece], made)
        return frozenset(spoilt)

    def _check_in_hand(self, name: str, called: str, ledger: Ledger) -> None:
        """Refuse a piece that does not exist yet, or no longer."""
        if name not in ledger.pieces:
            raise InputError(
                f"[[piece]] {called} comes of a cut after the one that --after names; it does not exist yet."
            )
        if name in ledger.used:
            after = next(cut for cut in ledger.cuts if cut.piece == name)
            marks = {piece["id"]: piece["mark"] for piece in self.script["pieces"]}
            into = " and ".join(f"{marks.get(side, '')} ({side})" for side in after.sides)
            raise InputError(f"[[piece]] {called} was sawn up by {after.id}; say it of what was made of it: {into}.")

    def _thickness(self, wanted: float, called: str, piece: Piece, parent: Piece, made: Cut) -> None:
        """A thickness found, put down to the cut that made the piece. [mm]"""
        planned = thickness_of(piece, made, self.middle)
        if made.id in self.by:
            raise InputError(
                f"[[piece]] {called} was left by {made.id}, whose height [[cut]] tells already; say only one of them."
            )
        if not np.isfinite(planned):
            raise InputError(
                f"[[piece]] {called} has bark on its other side, so its thickness tells of no cut; leave it out."
            )
        if wanted < THINNEST:
            raise InputError(
                f"[[piece]] {called} cannot be {wanted:g} mm thick; where it is spoilt, say spoilt = true."
            )
        most = thickness_of(parent, made, self.middle) - made.kerf
        if wanted >= most:
            raise InputError(
                f"[[piece]] {called} cannot be {wanted:.0f} mm thick: {made.id} sawed it from a piece that held {most:.0f} mm beside "
                "the kerf; measure again."
            )
        shift = wanted - planned
        if abs(shift) < LEAST_STEP:
            return
        self.by[made.id] = -shift if made.above == piece.id else shift
        self.said.append(f"{called} is {wanted:.1f} mm thick; the plan had {planned:.1f} mm")
