"""Which pieces get a label and what stands on it; the same as CSV."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from dataclasses import dataclass

from pithline.outputs.cards.work import carded_pieces
from pithline.outputs.cut_script.document import Kind, ScriptPlate, WoodStage
from pithline.outputs.cut_script.sawn_pieces import SawnPieces, Size
from pithline.outputs.print_job import PrintJob


@dataclass(frozen=True, slots=True)
class Label:
    """One piece that needs a label; `size` is a plate's as sawn, any other piece's at its mid-length, bark included."""

    mark: str
    piece: str
    kind: Kind
    log: str
    species: str
    plan: str
    size: Size | None
    plate: ScriptPlate | None = None
    mate: str = ""

    @property
    def code(self) -> str:
        """What the QR code of a piece holds."""
        return code_text(self.piece, self.plan)


def code_text(piece: str, plan: str) -> str:
    """What the QR code of a piece holds."""
    return f"pithline:{plan}:{piece}"


def labels_of(job: PrintJob) -> list[Label]:
    """One label a piece that needs one, in the order sawn.

    That is every plate, what goes to the shop with a card, what waits to dry and what is set aside; not what is sawn on at once.
    Where the log was planned anew: of pieces still to come, and of those whose set or mate is another now.
    """
    log, script = job.log, job.log.script
    again = script.replan.relabelled if script.replan else frozenset()
    labelled = {piece for cut in log.cuts.values() if cut.setting in log.sawn for piece in cut.pieces}
    carded = carded_pieces(log)
    found = []
    for piece in script.pieces:
        if piece.id in labelled - again or not (piece.id in carded or _is_kept(log, piece.id)):
            continue
        plate = log.plates.get(piece.id)
        size = Size(*sorted(plate.size, reverse=True)) if plate else log.size(piece.id)
        mate = log.mark(plate.mate) if plate and plate.mate else ""
        found.append(
            Label(piece.mark, piece.id, piece.kind, script.log.id, script.log.species, job.plan, size, plate, mate)
        )
    return found


def _is_kept(log: SawnPieces, piece: str) -> bool:
    """Whether a piece is a plate, waits to dry, or is sawn no further."""
    kind, made = log.kind(piece), log.pieces[piece].made_by
    if kind is Kind.OFFCUT or made is None:
        return False
    if kind is Kind.PLATE:
        return True
    own = log.cuts[made].setting
    following = next((one for one in log.settings if one.piece == piece), None)
    if following is None:  # parted in the very setting that made it, or left as it is
        return all(cut.piece != piece for cut in log.cuts.values() if cut.setting == own)
    return following.stage is WoodStage.DRIED


def _of_plate(of: Callable[[ScriptPlate], float | None]) -> Callable[[Label], str]:
    return lambda label: _number(of(label.plate) if label.plate else None)


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:.1f}"


COLUMNS: dict[str, Callable[[Label], str]] = {
    "mark": lambda label: label.mark,
    "id": lambda label: label.piece,
    "kind": lambda label: label.kind,
    "log": lambda label: label.log,
    "species": lambda label: label.species,
    "product": lambda label: label.plate.product if label.plate else "",
    "part": lambda label: label.plate.part if label.plate else "",
    "set": lambda label: (label.plate.set_id or "") if label.plate else "",
    "mate": lambda label: label.mate,
    "passes": lambda label: "" if label.plate is None else "yes" if label.plate.passes else "no",
    "ring_angle_deg": _of_plate(lambda plate: plate.ring_mean),
    "ring_angle_least_deg": _of_plate(lambda plate: plate.ring_least),
    "runout_deg": _of_plate(lambda plate: plate.runout),
    "sapwood_mm": _of_plate(lambda plate: plate.sapwood),
    "figure": _of_plate(lambda plate: plate.figure),
    "sawn": lambda label: "",
    "length_mm": lambda label: _number(label.size.length if label.size else None),
    "width_mm": lambda label: _number(label.size.width if label.size else None),
    "thickness_mm": lambda label: _number(label.size.thickness if label.size else None),
    "plan": lambda label: label.plan,
}
"""The columns of the CSV; `sawn` is left blank to be written by hand."""


def labels_csv(job: PrintJob) -> bytes:
    """The labels as CSV, UTF-8, one header row."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    writer.writerows([of(label) for of in COLUMNS.values()] for label in labels_of(job))
    return out.getvalue().encode("utf-8")
