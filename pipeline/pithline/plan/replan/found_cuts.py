"""Cuts made elsewhere than planned, and pieces that came out otherwise, put to an earlier script's history."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pithline.errors import InputError
from pithline.geometry.pieces import Piece
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
"""What is said to be thinner than this is no piece. [mm]"""


@dataclass(frozen=True, slots=True)
class MovedHistory:
    """A history with its cuts where they were made.

    Attributes
    ----------
    history : SplitScript
        Made and to come.
    by : mapping of str to float
        How far cuts lie from where they were planned, by id. [mm]
    spoilt : frozenset of str
        Pieces that are.
    sentences : tuple of str
        On each change.
    """

    history: SplitScript
    by: Mapping[str, float]
    spoilt: frozenset[str]
    sentences: tuple[str, ...]


def put_found(script: Mapping[str, Any], history: SplitScript, found: Mapping[str, Any], middle: Array) -> MovedHistory:
    """Put what was found of cuts and pieces to a script's history.

    Parameters
    ----------
    script : mapping
        The earlier cut script, for its pieces' marks.
    history : SplitScript
        Of that script.
    found : mapping
        Its tables `cut` and `piece`, as `files.found` reads them.
    middle : (3,) array
        Where faces that lean are compared, the middle of the log. [mm]

    Raises
    ------
    InputError
        Where they name what is not there, or say what cannot be.
    """
    said: list[str] = []
    by = _heights(history, found.get("cut", []), said)
    spoilt = _MeasuredPieces(script, history, by, middle, said).take_up(found.get("piece", []))
    stated = tuple(by)
    if by:
        by = moves_that_follow(history.whole, by)
        sawn = move_cuts(history.sawn, by, stated, history.kinds, middle)
        later = tuple(
            replace(each, offset=each.offset + by[each.id]) if isinstance(each, Cut) and each.id in by else each
            for each in history.later
        )
        history = replace(history, sawn=tuple(sawn), later=later)
    return MovedHistory(history, by, spoilt, tuple(said))


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
