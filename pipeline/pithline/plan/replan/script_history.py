"""What an earlier cut script has sawn up to one of its cuts: operations kept, pieces that exist, what was to follow.

Cuts made otherwise than planned are moved here, before anything is built on them.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pithline.errors import InputError
from pithline.geometry.pieces import Piece
from pithline.plan.execute.ledger import Ledger

Array = NDArray[np.float64]
Operations = Sequence[Mapping[str, Any]]
RUN_COSINE = np.cos(np.radians(1.0))
"""Faces of one run lean by a lift step at most."""


@dataclass(frozen=True, slots=True)
class SplitScript:
    """An earlier script cut in two: what was sawn, and what was to follow. Both are operations as they stand there."""

    sawn: tuple[dict[str, Any], ...]
    later: tuple[dict[str, Any], ...]
    kinds: Mapping[str, str]

    @property
    def kept(self) -> tuple[str, ...]:
        """Settings that were sawn, the last perhaps in part."""
        return tuple(one["id"] for one in self.sawn if one["op"] == "setting")

    @property
    def open_setting(self) -> Mapping[str, Any] | None:
        """The setting whose later cuts are still to come, if any."""
        broken = {one["setting"] for one in self.later if one["op"] == "cut"} & set(self.kept)
        return next((one for one in self.sawn if one["id"] in broken), None)


def split_script(script: Mapping[str, Any], after: str) -> SplitScript:
    """Part a script's operations after a cut, named by its id or by its number on the sheet.

    Raises
    ------
    InputError
        Where there is no such cut.
    """
    operations = script["operations"]
    cut = cut_named(script, after, "--after")
    place = next(i for i, one in enumerate(operations) if one["id"] == cut["id"])
    kinds = {one["id"]: one["kind"] for one in script["pieces"]}
    sawn = [dict(one) for one in operations[: place + 1]]
    last = next(one for one in reversed(sawn) if one["op"] == "setting")
    cuts = [one for one in operations if one.get("setting") == last["id"]]
    made = [one for one in cuts if one in sawn]
    if last["tool"] not in ("mill", "buck"):  # these take their minutes for setting up
        last["minutes"] *= len(made) / len(cuts)
    if "mark_room" in last:  # the cuts that were not made no longer need theirs
        last["mark_room"] = _mark_room(last, cuts, made)
    return SplitScript(tuple(sawn), tuple(dict(one) for one in operations[place + 1 :]), kinds)


def number_of(name: str) -> str:
    """The number in a cut's id, which is the one on the sheet; empty where it has none."""
    found = re.fullmatch(r"cut-(\d+)", name)
    return found[1] if found else ""


def cut_named(script: Mapping[str, Any], name: str, where: str) -> Mapping[str, Any]:
    """A cut by its id or its number. InputError where there is none."""
    cuts = [one for one in script["operations"] if one["op"] == "cut"]
    for one in cuts:
        if name in (one["id"], number_of(one["id"])):
            return one
    first, last = cuts[0]["id"], cuts[-1]["id"]
    raise InputError(
        f"{where} names the cut {name}, which the script does not have; its cuts run from {first} to {last}."
    )


def piece_named(script: Mapping[str, Any], name: str, where: str) -> Mapping[str, Any]:
    """A piece by its id or its crayon mark. InputError where there is none."""
    for one in script["pieces"]:
        if name in (one["id"], one["mark"]):
            return one
    raise InputError(
        f"{where} names the piece {name}, which the script does not have; write its crayon mark or its id."
    )


def ledger_of(operations: Operations, kinds: Mapping[str, str]) -> Ledger:
    """A ledger with what cuts leave of a log; its operations are these."""
    ledger = Ledger(pieces={"log": Piece("log", "log")}, made_by={"log": None})
    apply_operations(ledger, operations, kinds)
    return ledger


def apply_operations(ledger: Ledger, operations: Operations, kinds: Mapping[str, str]) -> None:
    """Carry operations of a script out on a ledger, under their own ids.

    Normals as written have six decimals: they are made unit length here, or faces of one run would seem to lean.
    """
    for one in operations:
        ledger.operations.append(dict(one))
        if one["op"] != "cut":
            continue
        piece, normal = ledger.pieces[one["piece"]], np.asarray(one["normal"], float)
        length = float(np.linalg.norm(normal))
        normal, offset = normal / length, one["offset"] / length
        ledger.used.add(piece.id)
        for name, part in (("above", piece.above), ("below", piece.below)):
            made = part(normal, offset, one["kerf"], one["id"], one[name], kinds.get(one[name], "offcut"))
            ledger.pieces[made.id] = made
            ledger.made_by[made.id] = one["id"]


def parents_of(operations: Operations) -> dict[str, str]:
    """The piece that every piece was sawn from."""
    return {one[side]: one["piece"] for one in operations if one["op"] == "cut" for side in ("above", "below")}


def ancestry_of(parents: Mapping[str, str], name: str) -> list[str]:
    """A piece and all it came from, the log last."""
    out = [name]
    while out[-1] in parents:
        out.append(parents[out[-1]])
    return out


def highest_numbers(script: Mapping[str, Any]) -> dict[str, int]:
    """The highest number in use behind every prefix of an id, so that none is used twice."""
    counts: dict[str, int] = {}
    names = [one["id"] for key in ("operations", "pieces") for one in script[key]]
    for name in names:
        found = re.fullmatch(r"(.*-)(\d+)", name)
        if found:
            counts[found[1]] = max(counts.get(found[1], 0), int(found[2]))
    return counts


def room_between_faces(piece: Piece, normal: Array, point: Array) -> tuple[float, float]:
    """Offsets along a normal between which a piece's own sawn faces leave it, at a point; infinite where none does."""
    low, high = -np.inf, np.inf
    for face in piece.faces:
        n = np.asarray(face.normal)
        lean = float(n @ normal)
        if abs(lean) < RUN_COSINE:
            continue
        # where the face stands along the normal through the point
        place = float(normal @ point) + (face.offset - float(n @ point)) / lean
        if lean < 0.0:
            low = max(low, place)
        else:
            high = min(high, place)
    return low, high


def thickness_of(piece: Piece, cut: Mapping[str, Any], point: Array) -> float:
    """Thickness square to the face that a cut left on a piece, at a point; infinite where nothing faces it. [mm]"""
    low, high = room_between_faces(piece, np.asarray(cut["normal"], float), point)
    return high - low


def moves_that_follow(operations: Operations, by: Mapping[str, float]) -> dict[str, float]:
    """The moves with those that follow from them: in the shop a cut parallel to the face it is measured from moves with it."""
    out = dict(by)
    normals: dict[str, Array] = {}
    against: Mapping[str, Any] | None = None
    for one in operations:
        if one["op"] == "setting":
            against = one.get("against")
            continue
        normals[one["id"]] = np.asarray(one["normal"], float)
        shift = out.get(against["face"], 0.0) if against else 0.0
        if against and shift and one["id"] not in by:
            lean = float(normals[one["id"]] @ normals[against["face"]])
            if abs(lean) > RUN_COSINE:
                out[one["id"]] = shift * lean
    return out


def move_cuts(
    operations: Operations, by: Mapping[str, float], stated: Sequence[str], kinds: Mapping[str, str], point: Array
) -> list[dict[str, Any]]:
    """The operations with some cuts moved along their normals.

    Parameters
    ----------
    by : how far each cut lies from its place, by id. [mm]
    stated : the cuts among them whose place was told
    point : (3,) where faces that lean are compared, the middle of the log

    Raises
    ------
    InputError
        Where a moved cut leaves no room for itself, or for a later one, between the faces of the piece it parts.
    """
    out = []
    for one in operations:
        shift = by.get(one["id"], 0.0)
        if shift:
            one = {**one, "offset": one["offset"] + shift}
            for key in ("blade_height", "from_mark"):
                if key in one:
                    one[key] += shift
        out.append(dict(one))
    for one in out:
        if "mark_room" in one:
            planned, made = ([cut for cut in some if cut.get("setting") == one["id"]] for some in (operations, out))
            one["mark_room"] = _mark_room(one, planned, made)
    before, after = ledger_of(operations, kinds), ledger_of(out, kinds)
    for one in out:
        if one["op"] != "cut":
            continue
        normal, half = np.asarray(one["normal"], float), one["kerf"] / 2.0
        low, high = room_between_faces(after.pieces[one["piece"]], normal, point)
        if low < one["offset"] - half and one["offset"] + half < high:
            continue
        planned = room_between_faces(before.pieces[one["piece"]], normal, point)
        if one["id"] in stated:
            raise InputError(f"{one['id']} cannot have been made there: {_room(one, planned, half, by[one['id']])}.")
        raise InputError(
            f"{one['id']}, sawn later, would have found no wood between its faces after what is said of "
            f"{', '.join(stated)}; measure again, or say where {one['id']} was made."
        )
    return out


def _mark_room(setting: Mapping[str, Any], planned: Sequence[Mapping], made: Sequence[Mapping]) -> dict[str, float]:
    """By how much the heights found may differ with the cuts made in place of those planned. [mm]"""
    room = setting["mark_room"]
    before, after = ([cut["blade_height"] for cut in cuts] for cuts in (planned, made))
    return {"down": room["down"] + (min(after) - min(before)), "up": room["up"] + (max(before) - max(after))}


def _room(cut: Mapping[str, Any], room: tuple[float, float], half: float, shift: float) -> str:
    """Where a cut can have been made, in words: blade heights where it has one."""
    origin = cut["offset"] - shift - (cut["blade_height"] - shift if "blade_height" in cut else 0.0)
    low, high = (value - origin for value in room)
    what = "a blade height" if "blade_height" in cut else "a place"
    bounds = [
        f"over {low + half:.0f} mm" if np.isfinite(low) else "",
        f"under {high - half:.0f} mm" if np.isfinite(high) else "",
    ]
    return f"the faces of {cut['piece']} leave {what} " + " and ".join(one for one in bounds if one)
