"""What an earlier cut script has sawn up to one of its cuts: operations kept, pieces that exist, what was to follow.

Cuts made otherwise than planned are moved here, before anything is built on them.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pithline.errors import InputError
from pithline.geometry.pieces import Piece
from pithline.mill.limits import MarkRoom
from pithline.plan.execute.ledger import Ledger
from pithline.plan.execute.operation_json import operations_from_json
from pithline.plan.execute.simulate import uncut_log
from pithline.plan.problem.operations import Cut, Operation, Setting

Array = NDArray[np.float64]
Operations = Sequence[Operation]
RUN_COSINE = np.cos(np.radians(1.0))
"""Faces of one run lean by a lift step at most."""


@dataclass(frozen=True, slots=True)
class SplitScript:
    """An earlier script cut in two: what was sawn, and what was to follow.

    Attributes
    ----------
    sawn, later : tuple of Operation
        As they stand in the script.
    kinds : mapping of str to str
        Kind of every piece.
    """

    sawn: tuple[Operation, ...]
    later: tuple[Operation, ...]
    kinds: Mapping[str, str]

    @property
    def kept(self) -> tuple[str, ...]:
        """Settings that were sawn, the last perhaps in part."""
        return tuple(each.id for each in self.sawn if isinstance(each, Setting))

    @property
    def last_cut(self) -> Cut:
        """The last cut that was made."""
        return next(each for each in reversed(self.sawn) if isinstance(each, Cut))

    @property
    def whole(self) -> tuple[Operation, ...]:
        """All operations, made and to come."""
        return (*self.sawn, *self.later)


def must_have_cut(script: Mapping[str, Any], after: str) -> None:
    """InputError where a script has no cut of that id or number."""
    cut_named(operations_from_json(script["operations"]), after, "--after")


def split_script(script: Mapping[str, Any], after: str) -> SplitScript:
    """Part a script's operations after a cut, named by its id or by its number on the sheet.

    Raises
    ------
    InputError
        Where there is no such cut.
    """
    operations = operations_from_json(script["operations"])
    cut = cut_named(operations, after, "--after")
    place = operations.index(cut)
    kinds = {piece["id"]: piece["kind"] for piece in script["pieces"]}
    sawn = list(operations[: place + 1])
    last = next(each for each in reversed(sawn) if isinstance(each, Setting))
    planned = cuts_of(operations, last.id)
    made = cuts_of(sawn, last.id)
    kept = last
    if not last.tool.takes_setting_up:
        kept = replace(kept, minutes=last.minutes * (len(made) / len(planned)))
    if last.pose is not None:  # the cuts that were not made no longer need their room
        kept = _with_mark_room(kept, planned, made)
    sawn[sawn.index(last)] = kept
    return SplitScript(tuple(sawn), operations[place + 1 :], kinds)


def cuts_of(operations: Operations, setting: str) -> list[Cut]:
    """The cuts of a setting, in their order."""
    return [each for each in operations if isinstance(each, Cut) and each.setting == setting]


def number_of(name: str) -> str:
    """The number in a cut's id, which is the one on the sheet; empty where it has none."""
    found = re.fullmatch(r"cut-(\d+)", name)
    return found[1] if found else ""


def cut_named(operations: Operations, name: str, where: str) -> Cut:
    """A cut by its id or its number. InputError where there is none."""
    cuts = [each for each in operations if isinstance(each, Cut)]
    for cut in cuts:
        if name in (cut.id, number_of(cut.id)):
            return cut
    has = f"its cuts run from {cuts[0].id} to {cuts[-1].id}" if cuts else "it has no cut at all"
    raise InputError(f"{where} names the cut {name}, which the script does not have; {has}.")


def piece_named(script: Mapping[str, Any], name: str, where: str) -> Mapping[str, Any]:
    """A piece of a script by its id or its crayon mark. InputError where there is none."""
    for piece in script["pieces"]:
        if name in (piece["id"], piece["mark"]):
            found: Mapping[str, Any] = piece
            return found
    raise InputError(
        f"{where} names the piece {name}, which the script does not have; write its crayon mark or its id."
    )


def ledger_of(operations: Operations, kinds: Mapping[str, str]) -> Ledger:
    """A ledger with what cuts leave of a log; its operations are these."""
    ledger = uncut_log()
    apply_operations(ledger, operations, kinds)
    return ledger


def apply_operations(ledger: Ledger, operations: Operations, kinds: Mapping[str, str]) -> None:
    """Carry operations of a script out on a ledger, under their own ids.

    Normals as written have six decimals: they are made unit length here, or faces of one run would seem to lean.
    """
    for each in operations:
        ledger.operations.append(each)
        if isinstance(each, Setting):
            continue
        piece, normal = ledger.pieces[each.piece], np.asarray(each.normal, float)
        length = float(np.linalg.norm(normal))
        normal, offset = normal / length, each.offset / length
        ledger.used.add(piece.id)
        for name, part in ((each.above, piece.above), (each.below, piece.below)):
            made = part(normal, offset, each.kerf, each.id, name, kinds.get(name, "offcut"))
            ledger.pieces[made.id] = made
            ledger.made_by[made.id] = each.id


def parents_of(operations: Operations) -> dict[str, str]:
    """The piece that every piece was sawn from."""
    return {side: each.piece for each in operations if isinstance(each, Cut) for side in each.sides}


def pieces_made(operations: Operations) -> set[str]:
    """Every piece that the cuts among these leave."""
    return {side for each in operations if isinstance(each, Cut) for side in each.sides}


def ancestry_of(parents: Mapping[str, str], name: str) -> list[str]:
    """A piece and all it came from, the log last."""
    out = [name]
    while out[-1] in parents:
        out.append(parents[out[-1]])
    return out


def highest_numbers(script: Mapping[str, Any]) -> dict[str, int]:
    """The highest number in use behind every prefix of an id, so that none is used twice."""
    counts: dict[str, int] = {}
    ids = [each["id"] for key in ("operations", "pieces") for each in script[key]]
    for name in (*ids, *(each["set_up"] for each in script["operations"] if "set_up" in each)):
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


def thickness_of(piece: Piece, cut: Cut, point: Array) -> float:
    """Thickness square to the face that a cut left on a piece, at a point; infinite where nothing faces it. [mm]"""
    low, high = room_between_faces(piece, np.asarray(cut.normal, float), point)
    return high - low


def moves_that_follow(operations: Operations, by: Mapping[str, float]) -> dict[str, float]:
    """The moves with those that follow from them: in the shop a cut parallel to the face it is measured from moves with it."""
    out = dict(by)
    normals: dict[str, Array] = {}
    face: str | None = None
    for each in operations:
        if isinstance(each, Setting):
            face = None if each.against is None else each.against.face
            continue
        normals[each.id] = np.asarray(each.normal, float)
        shift = out.get(face, 0.0) if face is not None else 0.0
        if face is not None and shift and each.id not in by:
            lean = float(normals[each.id] @ normals[face])
            if abs(lean) > RUN_COSINE:
                out[each.id] = shift * lean
    return out


def move_cuts(
    operations: Operations, by: Mapping[str, float], stated: Sequence[str], kinds: Mapping[str, str], point: Array
) -> list[Operation]:
    """The operations with some cuts moved along their normals.

    Parameters
    ----------
    operations : sequence of Operation
        From the log on.
    by : mapping of str to float
        How far each cut lies from its place, by id. [mm]
    stated : sequence of str
        The cuts among them whose place was told.
    kinds : mapping of str to str
        Kind of every piece.
    point : (3,) array
        Where faces that lean are compared, the middle of the log.

    Raises
    ------
    InputError
        Where a moved cut leaves no room for itself, or for a later one, between the faces of the piece it parts.
    """
    out = [_moved(each, by.get(each.id, 0.0)) if isinstance(each, Cut) else each for each in operations]
    for place, each in enumerate(out):
        if isinstance(each, Setting) and each.pose is not None:
            out[place] = _with_mark_room(each, cuts_of(operations, each.id), cuts_of(out, each.id))
    before, after = ledger_of(operations, kinds), ledger_of(out, kinds)
    for each in out:
        if isinstance(each, Setting):
            continue
        normal, half = np.asarray(each.normal, float), each.kerf / 2.0
        low, high = room_between_faces(after.pieces[each.piece], normal, point)
        if low < each.offset - half and each.offset + half < high:
            continue
        planned = room_between_faces(before.pieces[each.piece], normal, point)
        if each.id in stated:
            raise InputError(f"{each.id} cannot have been made there: {_room(each, planned, by[each.id])}.")
        raise InputError(
            f"{each.id}, sawn later, would have found no wood between its faces after what is said of "
            f"{', '.join(stated)}; measure again, or say where {each.id} was made."
        )
    return out


def _moved(cut: Cut, shift: float) -> Cut:
    if not shift:
        return cut
    blade = cut.blade
    if blade is not None:
        over = None if blade.from_mark is None else blade.from_mark + shift  # a bolt's cuts have no marks
        blade = replace(blade, height=blade.height + shift, from_mark=over)
    return replace(cut, offset=cut.offset + shift, blade=blade)


def _with_mark_room(setting: Setting, planned: Sequence[Cut], made: Sequence[Cut]) -> Setting:
    """The setting, the room of its marks' heights by the cuts made in place of those planned."""
    assert setting.pose is not None
    room = setting.pose.room
    if room is None:  # a bolt lies by its face
        return setting
    before, after = ([cut.blade.height for cut in cuts if cut.blade is not None] for cuts in (planned, made))
    room = MarkRoom(room.down + (min(after) - min(before)), room.up + (max(before) - max(after)))
    return replace(setting, pose=replace(setting.pose, room=room))


def _room(cut: Cut, room: tuple[float, float], shift: float) -> str:
    """Where a cut can have been made, in words: blade heights where it has one."""
    half = cut.kerf / 2.0
    origin = cut.offset - shift - (0.0 if cut.blade is None else cut.blade.height - shift)
    low, high = (value - origin for value in room)
    what = "a place" if cut.blade is None else "a blade height"
    bounds = [
        f"over {low + half:.0f} mm" if np.isfinite(low) else "",
        f"under {high - half:.0f} mm" if np.isfinite(high) else "",
    ]
    return f"the faces of {cut.piece} leave {what} " + " and ".join(bound for bound in bounds if bound)
