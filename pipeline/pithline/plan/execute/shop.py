"""In the shop: a slab ripped to strips, crosscut to billets, resawn to plates, as operations of the script."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pithline.geometry.pieces import Piece
from pithline.mill.machine import Machines
from pithline.plan.execute.grade import grade_plate
from pithline.plan.execute.ledger import Ledger, Plate
from pithline.plan.execute.slab_layout import Billet, Saws, SlabFrame, Strip
from pithline.plan.problem.log_frame import PlanLog
from pithline.plan.problem.parts import SawnPart

Array = NDArray[np.float64]
SLIVER = 0.6
"""What is thinner than this above the last plate stays on it [mm]."""


@dataclass(frozen=True, slots=True)
class SlabJob:
    """A slab waiting for the shop: the piece, its frame, the cut that made its lower face, the strips chosen."""

    piece: Piece
    frame: SlabFrame
    face: str
    strips: tuple[Strip, ...]
    saws: Saws
    role: str = "log"


def minutes_of(length: float, cuts: int, feed: float | None, fixed: float | None = None) -> float:
    """Minutes of a run of cuts: a fixed part plus length over feed, 0 where a machine states neither."""
    return (fixed or 0.0) + (length * cuts / feed if feed else 0.0)


def rip(ledger: Ledger, machines: Machines, job: SlabJob) -> list[tuple[Piece, Strip]]:
    """Rip a slab into its strips; returns the strips' pieces."""
    if not job.strips:
        return []
    kerf = machines.rip.kerf
    lateral = job.frame.lateral
    setting = ledger.setting(
        "rip", job.piece.id, False, 0.0, support="table", against={"face": job.face, "angle_deg": 90.0}
    )
    piece, out, last, cuts = job.piece, [], np.inf, 0
    ordered = sorted(job.strips, key=lambda s: -s.place)
    for i, strip in enumerate(ordered):
        top = strip.place + job.saws.strip_width(strip.width)
        if last - top > 0.3:
            name = (ledger.fresh("offcut-"), "offcut")
            _, piece = ledger.cut(
                setting, piece, lateral, top + kerf / 2, kerf, name, (ledger.fresh("rest-"), job.piece.kind)
            )
            cuts += 1
        final = i == len(ordered) - 1
        rest = (ledger.fresh("offcut-"), "offcut") if final else (ledger.fresh("rest-"), job.piece.kind)
        over, piece = ledger.cut(
            setting, piece, lateral, strip.place - kerf / 2, kerf, (ledger.fresh("strip-"), "billet"), rest
        )
        cuts += 1
        last = strip.place - kerf
        out.append((over, strip))
    setting["minutes"] = minutes_of(_length(job), cuts, machines.rip.feed)
    return out


def _length(job: SlabJob) -> float:
    starts = [b.start for s in job.strips for b in s.billets]
    return max(starts) - min(starts) + 600.0 if starts else 0.0


def crosscut(
    ledger: Ledger, machines: Machines, job: SlabJob, piece: Piece, strip: Strip, parts: tuple[SawnPart, ...]
) -> list[tuple[Piece, Billet]]:
    """Crosscut a strip into billets."""
    kerf, axis = machines.crosscut.kerf, job.frame.axis
    setting = ledger.setting(
        "crosscut", piece.id, False, 0.0, support="table", against={"face": job.face, "angle_deg": 90.0}
    )
    out, last, cuts = [], np.inf, 0
    ordered = sorted(strip.billets, key=lambda b: -b.start)
    for i, billet in enumerate(ordered):
        top = billet.start + parts[billet.part].length
        if last - top > 0.3:
            name = (ledger.fresh("offcut-"), "offcut")
            _, piece = ledger.cut(setting, piece, axis, top + kerf / 2, kerf, name, (ledger.fresh("rest-"), "billet"))
            cuts += 1
        final = i == len(ordered) - 1
        rest = (ledger.fresh("offcut-"), "offcut") if final else (ledger.fresh("rest-"), "billet")
        over, piece = ledger.cut(
            setting, piece, axis, billet.start - kerf / 2, kerf, (ledger.fresh("billet-"), "billet"), rest
        )
        cuts += 1
        last = billet.start - kerf
        out.append((over, billet))
    setting["minutes"] = cuts * (machines.crosscut.minutes_per_cut or 0.0)
    return out


def narrow(
    ledger: Ledger, machines: Machines, job: SlabJob, piece: Piece, strip: Strip, part: SawnPart
) -> tuple[Piece, float]:
    """Rip a billet that is wider than its part; returns it and its width."""
    wide, want = job.saws.strip_width(strip.width), job.saws.strip_width(part.width)
    if wide - want < SLIVER:
        return piece, wide
    kerf = machines.rip.kerf
    setting = ledger.setting(
        "rip",
        piece.id,
        False,
        minutes_of(part.length, 1, machines.rip.feed),
        support="table",
        against={"face": job.face, "angle_deg": 90.0},
    )
    _, under = ledger.cut(
        setting,
        piece,
        job.frame.lateral,
        strip.place + want + kerf / 2,
        kerf,
        (ledger.fresh("offcut-"), "offcut"),
        (ledger.fresh("billet-"), "billet"),
    )
    return under, want


def resaw(
    log: PlanLog,
    ledger: Ledger,
    machines: Machines,
    job: SlabJob,
    piece: Piece,
    strip: Strip,
    width: float,
    billet: Billet,
    parts: tuple[SawnPart, ...],
) -> None:
    """Resaw a billet to plates from the top down, and grade them as sawn."""
    part, frame, kerf = parts[billet.part], job.frame, machines.resaw.kerf
    step = part.thickness + kerf
    layers = sorted(billet.layers, reverse=True)
    stage = part.part.resaw
    setting = ledger.setting(
        "resaw", piece.id, False, 0.0, stage, support="fence", against={"face": job.face, "angle_deg": 0.0}
    )
    source, top_of_rest, cuts = piece.id, frame.top, 0
    kind = piece.kind
    for i, layer in enumerate(layers):
        low = frame.low + layer * step
        top = low + part.thickness
        if top_of_rest - top > SLIVER:
            name = (ledger.fresh("offcut-"), "offcut")
            _, piece = ledger.cut(
                setting, piece, frame.normal, top + kerf / 2, kerf, name, (ledger.fresh("rest-"), kind)
            )
            cuts += 1
            top_of_rest = top
        if layer == 0:
            made = replace(piece, kind="plate")
            rename_piece(ledger, piece, made, "plate-")
        else:
            final = i == len(layers) - 1
            rest = (ledger.fresh("offcut-"), "offcut") if final else (ledger.fresh("rest-"), kind)
            made, piece = ledger.cut(
                setting, piece, frame.normal, low - kerf / 2, kerf, (ledger.fresh("plate-"), "plate"), rest
            )
            cuts += 1
        corner = frame.point(billet.start, strip.place, low)
        edges = (part.length * frame.axis, width * frame.lateral, (top_of_rest - low) * frame.normal)
        grade = grade_plate(log, corner, edges, part.limits)
        volume = part.volume
        ledger.plates.append(Plate(made.id, billet.part, corner, edges, grade, source, layer, volume, job.role))
        ledger.boxes[made.id] = float(np.prod([np.linalg.norm(e) for e in edges]))
        top_of_rest = low - kerf
    setting["minutes"] = minutes_of(part.length, cuts, machines.resaw.feed)
    if not cuts:
        ledger.operations.remove(setting)


def rename_piece(ledger: Ledger, old: Piece, new: Piece, prefix: str) -> None:
    """The last piece of a run turns out to be a slab or a plate: give it such an id where it was made."""
    name = ledger.fresh(prefix)
    cut = ledger.made_by.pop(old.id)
    del ledger.pieces[old.id]
    object.__setattr__(new, "id", name)
    ledger.pieces[name] = new
    ledger.made_by[name] = cut
    for operation in reversed(ledger.operations):
        if operation.get("id") == cut:
            for side in ("above", "below"):
                if operation[side] == old.id:
                    operation[side] = name
            return


def saw_into_billets(
    log: PlanLog, ledger: Ledger, machines: Machines, job: SlabJob, parts: tuple[SawnPart, ...]
) -> list[tuple]:
    """Everything of one slab up to its billets; returns the resaw jobs so that dried ones can come last."""
    waiting = []
    for piece, strip in rip(ledger, machines, job):
        for billet_piece, billet in crosscut(ledger, machines, job, piece, strip, parts):
            made, width = narrow(ledger, machines, job, billet_piece, strip, parts[billet.part])
            waiting.append((job, made, strip, width, billet))
    return waiting
