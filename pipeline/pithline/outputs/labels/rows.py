"""Which pieces get a label and what stands on it; the same as CSV."""

from __future__ import annotations

import csv
import hashlib
import io
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from pithline.outputs.cut_script.document import Kind, ScriptPlate
from pithline.outputs.cut_script.sawn_log import SawnLog, Size
from pithline.script.document import dumps

COLUMNS = ("mark", "id", "kind", "log", "product", "part", "set", "mate", "sawn", "length_mm", "width_mm",
           "thickness_mm", "plan")  # fmt: skip


@dataclass(frozen=True, slots=True)
class Label:
    """One piece that is kept; `size` is a plate's as sawn, any other piece's at its mid-length, bark included."""

    mark: str
    piece: str
    kind: Kind
    log: str
    plan: str
    size: Size | None
    plate: ScriptPlate | None = None
    mate: str = ""

    @property
    def code(self) -> str:
        """What the QR code of a piece holds."""
        return f"pithline:{self.plan}:{self.piece}"


def plan_hash(script: Mapping[str, Any]) -> str:
    """First 16 hex digits of the SHA-256 of cut-script.json; it ties a label to its plan."""
    return hashlib.sha256(dumps(dict(script))).hexdigest()[:16]


def labels_of(log: SawnLog) -> list[Label]:
    """One label a kept piece, in the order sawn.

    Where the log was planned anew: of pieces still to come, and of those whose set or mate is another now.
    """
    again = log.script.replan.relabelled if log.script.replan else frozenset()
    labelled = {piece for cut in log.cuts.values() if cut.setting in log.sawn for piece in cut.pieces}
    plan = plan_hash(log.script.raw)
    on_the_saw = _never_leaves_the_saw(log)
    found = []
    for piece in log.script.pieces:
        if piece.id in labelled - again or piece.id in on_the_saw:
            continue
        if piece.kind is Kind.OFFCUT or (piece.kind is Kind.LOG and piece.made_by is None):
            continue
        plate = log.plates.get(piece.id)
        size = Size(*sorted(plate.size, reverse=True)) if plate else log.size(piece.id)
        mate = log.mark(plate.mate) if plate and plate.mate else ""
        found.append(Label(piece.mark, piece.id, piece.kind, log.script.log.id, plan, size, plate, mate))
    return found


def _never_leaves_the_saw(log: SawnLog) -> set[str]:
    """Pieces that are parted in the very setting that made them: they need no label."""
    found = set()
    for cut in log.cuts.values():
        made = log.pieces[cut.piece].made_by
        if made and log.cuts[made].setting == cut.setting:
            found.add(cut.piece)
    return found


def labels_csv(log: SawnLog) -> bytes:
    """The labels as CSV, UTF-8, one header row; `sawn` is left blank to be written by hand."""
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, COLUMNS, lineterminator="\r\n")
    writer.writeheader()
    writer.writerows(_row(label) for label in labels_of(log))
    return out.getvalue().encode("utf-8")


def _row(label: Label) -> dict[str, str]:
    plate, size = label.plate, label.size
    return {
        "mark": label.mark, "id": label.piece, "kind": label.kind, "log": label.log,
        "product": plate.product if plate else "", "part": plate.part if plate else "",
        "set": (plate.set_id or "") if plate else "", "mate": label.mate, "sawn": "",
        "length_mm": f"{size.length:.1f}" if size else "", "width_mm": f"{size.width:.1f}" if size else "",
        "thickness_mm": f"{size.thickness:.1f}" if size else "", "plan": label.plan,
    }  # fmt: skip
