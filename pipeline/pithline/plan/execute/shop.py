"""In the shop: a slab ripped to strips, crosscut to billets, resawn to plates, as operations of the script."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pithline.geometry.pieces import Piece
from pithline.plan.execute.grade import grade_plate
from pithline.plan.execute.ledger import Ledger, Plate, SawPlane
from pithline.plan.execute.slab_faces import PARALLEL_COSINE
from pithline.plan.execute.slab_fill import Billet, PlacesCache, Strip
from pithline.plan.execute.slab_view import SlabFrame
from pithline.plan.problem.layout import LayoutSetting
from pithline.plan.problem.log_frame import PlanLog
from pithline.plan.problem.operations import Against, Setting, Stage, Support, Tool
from pithline.plan.problem.parts import SawnPart
from pithline.plan.problem.task import SawingTask
from pithline.wood.field import at_points

Array = NDArray[np.float64]
SLIVER = 0.6
"""What is thinner than this above the last plate stays on it. [mm]"""
SAME_FACE = 0.3
"""Faces nearer than this to each other are one. [mm]"""


@dataclass(frozen=True, slots=True)
class DrawnSlab:
    """Where a slab was drawn: the piece that its layout is of, the setting, and its number among that one's slabs."""

    start: str
    setting: LayoutSetting
    number: int


@dataclass(frozen=True, slots=True)
class SlabJob:
    """A slab waiting for the shop: its log, the piece, its frame, the cut that made its lower face, the strips chosen.

    `drawn` is None where no layout holds it: it was sawn before.
    """

    log: PlanLog
    piece: Piece
    frame: SlabFrame
    face: str
    strips: tuple[Strip, ...]
    role: str = "log"
    cache: PlacesCache | None = None
    drawn: DrawnSlab | None = None


@dataclass(frozen=True, slots=True)
class BilletJob:
    """A billet waiting for the resaw: the slab it comes from, its piece, its strip, and the width it was ripped to. [mm]"""

    slab: SlabJob
    piece: Piece
    strip: Strip
    width: float
    billet: Billet


def minutes_of(
    length: float, cuts: int, feed: float | None, fixed: float | None = None, per_cut: float | None = None
) -> float:
    """Minutes of a run of cuts: a fixed part, length over feed, and a part a cut; 0 where a machine states none.

    Parameters
    ----------
    length : float
        Of each cut. [mm]
    cuts : int
        How many.
    feed : float, optional
        [mm/min]
    fixed : float, optional
        Of the whole run. [minutes]
    per_cut : float, optional
        Beside the feed. [minutes]
    """
    return (fixed or 0.0) + cuts * ((length / feed if feed else 0.0) + (per_cut or 0.0))


def saw_into_billets(ledger: Ledger, task: SawingTask, job: SlabJob) -> list[BilletJob]:
    """Everything of one slab up to its billets; their resawing waits, so that dried ones can come last."""
    waiting = []
    for strip_piece, strip in _rip(ledger, task, job):
        for piece, billet in _crosscut(ledger, task, job, strip_piece, strip):
            waiting.append(_narrow(ledger, task, BilletJob(job, piece, strip, 0.0, billet)))
    return waiting


def _rip(ledger: Ledger, task: SawingTask, job: SlabJob) -> list[tuple[Piece, Strip]]:
    """Rip a slab into its strips; returns the strips' pieces."""
    if not job.strips:
        return []
    saw, saws = task.machines.rip, task.saws
    kerf = saw.kerf
    setting = _on_table(ledger, Tool.RIP, job.piece, job.face)
    piece, out, last, cuts = job.piece, [], np.inf, 0
    ordered = sorted(job.strips, key=lambda s: -s.place)
    for i, strip in enumerate(ordered):
        top = strip.place + saws.strip_width(strip.width)
        if last - top > SAME_FACE:
            plane = SawPlane(job.frame.lateral, top + kerf / 2, kerf)
            offcut, rest = ledger.named("offcut-", "offcut"), ledger.named("rest-", job.piece.kind)
            _, piece = ledger.cut(setting, piece, plane, offcut, rest)
            cuts += 1
        final = i == len(ordered) - 1
        rest = ledger.named("offcut-", "offcut") if final else ledger.named("rest-", job.piece.kind)
        plane = SawPlane(job.frame.lateral, strip.place - kerf / 2, kerf)
        over, piece = ledger.cut(setting, piece, plane, ledger.named("strip-", "billet"), rest)
        cuts += 1
        last = strip.place - kerf
        out.append((over, strip))
    ledger.amend(replace(setting, minutes=minutes_of(_length(task, job), cuts, saw.feed, None, saw.minutes_per_cut)))
    return out


def _on_table(ledger: Ledger, tool: Tool, piece: Piece, face: str) -> Setting:
    return ledger.open_setting(Setting(tool, piece.id, False, support=Support.TABLE, against=Against(face, 90.0)))


FACE_ROOM = 2.0
"""How far inside its piece and the wood a point lies that is surely of a face. [mm]"""


def _rests_on(job: SlabJob, across: tuple[float, float], along: tuple[float, float]) -> str:
    """The cut of the slab's face that a part of it still has: the lower one where there is anything of it, else the upper.

    A bolt's own face may slope across a slab, and bark may round it off, so that a strip by its edge holds nothing of one face.

    Parameters
    ----------
    across, along : from where to where the part reaches, in the slab's frame [mm]
    """
    frame = job.frame
    upper = [face.cut for face in job.piece.faces if float(np.asarray(face.normal) @ frame.normal) > PARALLEL_COSINE]
    x, u = np.linspace(*along, 7)[:, None, None], np.linspace(*across, 15)[None, :, None]
    for cut, height in ((job.face, frame.low), *((cut, frame.top) for cut in upper[-1:])):
        points = (x * frame.axis + u * frame.lateral + height * frame.normal).reshape(-1, 3)
        inside = at_points(job.log.field, points, frame.normal)[2] > FACE_ROOM
        for normal, offset in frame.bounds:
            inside &= points @ normal < offset - FACE_ROOM
        if inside.any():
            return cut
    return job.face


def _reach(task: SawingTask, billets: Sequence[Billet]) -> tuple[float, float]:
    """From where to where billets lie along. [mm]"""
    return min(b.start for b in billets), max(b.start + task.parts[b.part].length for b in billets)


def _length(task: SawingTask, job: SlabJob) -> float:
    """How far along its strips a slab is ripped. [mm]"""
    billets = [billet for strip in job.strips for billet in strip.billets]
    return float(np.ptp(_reach(task, billets))) if billets else 0.0


def _crosscut(ledger: Ledger, task: SawingTask, job: SlabJob, piece: Piece, strip: Strip) -> list[tuple[Piece, Billet]]:
    """Crosscut a strip into billets."""
    kerf, axis = task.machines.crosscut.kerf, job.frame.axis
    wide = (strip.place, strip.place + task.saws.strip_width(strip.width))
    setting = _on_table(ledger, Tool.CROSSCUT, piece, _rests_on(job, wide, _reach(task, strip.billets)))
    out, last, cuts = [], np.inf, 0
    ordered = sorted(strip.billets, key=lambda b: -b.start)
    for i, billet in enumerate(ordered):
        top = billet.start + task.parts[billet.part].length
        if last - top > SAME_FACE:
            plane = SawPlane(axis, top + kerf / 2, kerf)
            offcut, rest = ledger.named("offcut-", "offcut"), ledger.named("rest-", "billet")
            _, piece = ledger.cut(setting, piece, plane, offcut, rest)
            cuts += 1
        final = i == len(ordered) - 1
        rest = ledger.named("offcut-", "offcut") if final else ledger.named("rest-", "billet")
        plane = SawPlane(axis, billet.start - kerf / 2, kerf)
        over, piece = ledger.cut(setting, piece, plane, ledger.named("billet-", "billet"), rest)
        cuts += 1
        last = billet.start - kerf
        out.append((over, billet))
    ledger.amend(replace(setting, minutes=cuts * (task.machines.crosscut.minutes_per_cut or 0.0)))
    return out


def _narrow(ledger: Ledger, task: SawingTask, job: BilletJob) -> BilletJob:
    """Rip a billet that is wider than its part; the job with its piece and width."""
    part, saw = task.parts[job.billet.part], task.machines.rip
    wide, want = task.saws.strip_width(job.strip.width), task.saws.strip_width(part.width)
    if wide - want < SLIVER:
        return replace(job, width=wide)
    face = _rests_on(job.slab, (job.strip.place, job.strip.place + wide), _reach(task, [job.billet]))
    setting = _on_table(ledger, Tool.RIP, job.piece, face)
    plane = SawPlane(job.slab.frame.lateral, job.strip.place + want + saw.kerf / 2, saw.kerf)
    offcut, billet = ledger.named("offcut-", "offcut"), ledger.named("billet-", "billet")
    _, under = ledger.cut(setting, job.piece, plane, offcut, billet)
    ledger.amend(replace(setting, minutes=minutes_of(part.length, 1, saw.feed, None, saw.minutes_per_cut)))
    return replace(job, piece=under, width=want)


def resaw_all(
    ledger: Ledger, task: SawingTask, waiting: Sequence[BilletJob], stages: Sequence[Stage] = tuple(Stage)
) -> None:
    """Resaw billets that wait: the green ones first."""
    for stage in stages:
        for job in waiting:
            if task.parts[job.billet.part].part.resaw == stage:
                _resaw(ledger, task, job)


def _resaw(ledger: Ledger, task: SawingTask, job: BilletJob) -> None:
    """Resaw a billet to plates from the top down, and grade them as sawn."""
    part, frame, saw = task.parts[job.billet.part], job.slab.frame, task.machines.resaw
    step = part.thickness + saw.kerf
    layers = sorted(job.billet.layers, reverse=True)
    across = (job.strip.place, job.strip.place + job.width)
    stage, fence = Stage(part.part.resaw), Against(_rests_on(job.slab, across, _reach(task, [job.billet])), 0.0)
    drafted = Setting(Tool.RESAW, job.piece.id, False, stage=stage, support=Support.FENCE, against=fence)
    setting = ledger.open_setting(drafted)
    piece, kind, top_of_rest, cuts = job.piece, job.piece.kind, frame.top, 0
    for i, layer in enumerate(layers):
        low = frame.low + layer * step
        top = low + part.thickness
        if top_of_rest - top > SLIVER:
            plane = SawPlane(frame.normal, top + saw.kerf / 2, saw.kerf)
            offcut, rest = ledger.named("offcut-", "offcut"), ledger.named("rest-", kind)
            _, piece = ledger.cut(setting, piece, plane, offcut, rest)
            cuts += 1
            top_of_rest = top
        if layer == 0:
            made = ledger.rename(piece, "plate-", "plate")
        else:
            final = i == len(layers) - 1
            rest = ledger.named("offcut-", "offcut") if final else ledger.named("rest-", kind)
            plane = SawPlane(frame.normal, low - saw.kerf / 2, saw.kerf)
            made, piece = ledger.cut(setting, piece, plane, ledger.named("plate-", "plate"), rest)
            cuts += 1
        ledger.plates.append(_plate(job, part, made.id, layer, top_of_rest - low, low))
        top_of_rest = low - saw.kerf
    if cuts:
        minutes = minutes_of(part.length, cuts, saw.feed, None, saw.minutes_per_cut)
        ledger.amend(replace(setting, minutes=minutes))
    else:
        ledger.drop(setting)


def _plate(job: BilletJob, part: SawnPart, name: str, layer: int, thickness: float, low: float) -> Plate:
    """A plate as sawn, graded; `low` is where its lower face lies through the slab. [mm]"""
    frame = job.slab.frame
    corner = frame.point(job.billet.start, job.strip.place, low)
    edges = (part.length * frame.axis, job.width * frame.lateral, thickness * frame.normal)
    grade = grade_plate(job.slab.log, corner, edges, part.limits)
    return Plate(name, job.billet.part, corner, edges, grade, job.piece.id, layer, part.volume, job.slab.role)
