"""Carry a layout out: settings become cuts, slabs go to the shop, offcuts remain. Posing is asked of a `Poser`."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from pithline.geometry.pieces import Piece
from pithline.mill.machine import Machines
from pithline.plan.execute.ledger import Ledger
from pithline.plan.execute.shop import SlabJob, minutes_of, rename_piece, resaw, saw_into_billets
from pithline.plan.execute.slab_layout import Saws, SlabCache, SlabFrame, lay_out
from pithline.plan.problem.layout import LayoutSetting, LayoutSlab
from pithline.plan.problem.log_frame import PlanLog, normal_at
from pithline.plan.problem.parts import SawnPart

Array = NDArray[np.float64]
PARALLEL_COSINE = np.cos(np.radians(0.02))
"""Faces within this of a normal are parallel to it; others, a lift step off, only bound a slab."""
SNAP_DISTANCE = 16.0
"""A slab whose face lies this near to a parallel sawn face (mm) uses that face instead of a cut of its own."""


@dataclass(frozen=True, slots=True)
class PosedSetting:
    """How a setting's cuts truly lie: unit normal, and the slabs' faces as the saw can set them."""

    normal: Array
    slabs: tuple[LayoutSlab, ...]  # offsets are n·X, from the top down
    tool: str
    kerf: float
    charged: bool
    entry: dict  # more keys of the setting's operation
    per_cut: Callable[[Piece, float], dict]  # extra keys of a cut
    minutes: float
    swapped: bool = False  # the piece was posed upside down: what the layout calls above lies below


class Poser(Protocol):
    """Turns a drawn setting into one that can be sawn; None where no machine takes it."""

    def pose(self, setting: LayoutSetting, piece: Piece, ledger: Ledger) -> PosedSetting | None:
        """Pose a piece for a setting."""
        ...


@dataclass(frozen=True, slots=True)
class Shop:
    """What carrying out needs besides the log."""

    machines: Machines
    parts: tuple[SawnPart, ...]
    worth: Array
    left: Array  # plates of each part still wanted

    @property
    def saws(self) -> Saws:
        """Kerfs and limits that shape strips."""
        m = self.machines
        return Saws(m.resaw.kerf, m.rip.kerf, m.crosscut.kerf, m.resaw.height_max)


@dataclass(frozen=True, slots=True)
class ParallelFace:
    """A sawn face parallel to a setting's cuts but for a hair: the height n·X to which the piece holds wood all along."""

    cut: str
    height: float


def parallel_faces(log: PlanLog, piece: Piece, normal: Array) -> tuple[ParallelFace | None, ParallelFace | None]:
    """The piece's faces parallel to `normal`: the one that bounds it from below, and from above."""
    low = high = None
    lateral = np.cross(normal, log.axis)
    reach = float(log.field.radius.max())
    corners = [log.origin + a * log.reach * log.axis + b * reach * lateral for a in (0.0, 1.0) for b in (-1.0, 1.0)]
    for face in piece.faces:
        n = np.asarray(face.normal)
        lean = float(n @ normal)
        if abs(lean) < PARALLEL_COSINE:
            continue
        sign = 1.0 if lean > 0 else -1.0
        # a face leans by up to a lift step over its length: its height is where it comes nearest to the wood
        height = sign * min(face.offset - float((n - sign * normal) @ corner) for corner in corners)
        if lean < 0:
            low = ParallelFace(face.cut, height)
        else:
            high = ParallelFace(face.cut, height)
    return low, high


def snap_to_faces(slabs: tuple[LayoutSlab, ...], low: float | None, high: float | None) -> tuple[LayoutSlab, ...]:
    """Slabs moved onto a parallel sawn face where they lie near to it, thickness kept."""
    out = list(slabs)
    if low is not None and out and abs(out[-1].low - low) < SNAP_DISTANCE:
        out[-1] = LayoutSlab(low, out[-1].thickness)
    if high is not None and out and abs(high - out[0].top) < SNAP_DISTANCE:
        out[0] = LayoutSlab(high - out[0].thickness, out[0].thickness)
    return tuple(out)


CLOSE_GAP = 6.0
"""Slabs of one setting nearer than this beyond their kerf are moved together to share it. [mm]"""


def close_gaps(slabs: tuple[LayoutSlab, ...], kerf: float, low: float | None = None) -> tuple[LayoutSlab, ...]:
    """Slabs from the top down, neighbours moved together where less than `CLOSE` would be wasted between them.

    They move up to the topmost; where the lowest rests on a sawn face at `low`, down to that one.
    """
    down = low is not None and bool(slabs) and abs(slabs[-1].low - low) < 0.3
    out: list[LayoutSlab] = []
    for slab in reversed(slabs) if down else slabs:
        if out and down and abs(slab.low - kerf - out[-1].top) < CLOSE_GAP:
            slab = LayoutSlab(out[-1].top + kerf, slab.thickness)
        elif out and not down and abs(out[-1].low - kerf - slab.top) < CLOSE_GAP:
            slab = LayoutSlab(out[-1].low - kerf - slab.thickness, slab.thickness)
        out.append(slab)
    return tuple(reversed(out)) if down else tuple(out)


def fit_slabs(
    slabs: tuple[LayoutSlab, ...], low: ParallelFace | None, high: ParallelFace | None, kerf: float
) -> tuple[LayoutSlab, ...]:
    """Slabs moved onto parallel sawn faces and onto each other where they lie near."""
    floor = None if low is None else low.height
    return close_gaps(snap_to_faces(slabs, floor, None if high is None else high.height), kerf, floor)


def slab_frame(log: PlanLog, piece: Piece, normal: Array, low: float, top: float) -> SlabFrame:
    """The frame of a slab between two faces square to `normal`."""
    axis = log.axis - (log.axis @ normal) * normal
    axis /= np.linalg.norm(axis)
    # bucked faces are ends, which the log itself keeps clear
    sides = [f for f in piece.faces if f not in log.piece.faces]
    bounds = tuple((np.asarray(f.normal), f.offset) for f in sides if abs(np.dot(f.normal, normal)) < PARALLEL_COSINE)
    return SlabFrame(axis, normal, np.cross(normal, axis), low, top, bounds)


def execute_layout(
    log: PlanLog,
    layout: LayoutSetting,
    shop: Shop,
    poser: Poser,
    reserve: bool = True,
    memory: SlabCache | None = None,
) -> Ledger:
    """Saw a whole layout: mill settings first, then bolts in the shop, slabs, and what is resawn dried last.

    Layouts that share slabs may share a `memory` of what was seen in them.
    """
    ledger = uncut_log()
    return execute_layouts(ledger, ((log, layout, poser),), shop, reserve, (memory,))


def uncut_log() -> Ledger:
    """A ledger with nothing but the log as it was scanned."""
    whole = Piece("log", "log")
    return Ledger(pieces={"log": whole}, made_by={"log": None})


def execute_layouts(
    ledger: Ledger,
    logs: Sequence[tuple[PlanLog, LayoutSetting | None, Poser]],
    shop: Shop,
    reserve: bool = True,
    memories: Sequence[SlabCache | None] | None = None,
) -> Ledger:
    """Saw several logs, crosscut from one, each by its layout (None leaves it); the shop's work comes after all mill work.

    `memories` hold what was seen in each log's slabs.
    """
    left = shop.left.astype(float).copy()
    waiting = []
    slabs = [
        (log, saw_settings(log, ledger, log.piece, layout, shop, left, poser, reserve, memory))
        for (log, layout, poser), memory in zip(logs, memories or [None] * len(logs), strict=True)
    ]
    for log, made in slabs:
        waiting += [
            (log, job) for slab in made for job in saw_into_billets(log, ledger, shop.machines, slab, shop.parts)
        ]
    resaw_all(ledger, waiting, shop)
    return ledger


def resaw_all(
    ledger: Ledger, waiting: Sequence[tuple[PlanLog, tuple]], shop: Shop, stages: Sequence[str] = ("green", "dried")
) -> None:
    """Resaw billets that wait, each of the log beside it: the green ones first."""
    for stage in stages:
        for log, (job, made, strip, width, billet) in waiting:
            if shop.parts[billet.part].part.resaw == stage:
                resaw(log, ledger, shop.machines, job, made, strip, width, billet, shop.parts)


def saw_settings(
    log: PlanLog,
    ledger: Ledger,
    start: Piece,
    layout: LayoutSetting | None,
    shop: Shop,
    left: Array,
    poser: Poser,
    reserve: bool,
    memory: SlabCache | None,
) -> list[SlabJob]:
    """The settings of one log, or of a piece of it, on mill and resaw; its slabs. `left` is lessened by their plates."""
    queue: list[tuple[LayoutSetting, Piece]] = [] if layout is None else [(layout, start)]
    later: list[tuple[LayoutSetting, Piece]] = []
    slabs: list[SlabJob] = []
    while queue or later:
        on_mill = bool(queue)
        setting, piece = queue.pop(0) if queue else later.pop(0)
        posed = poser.pose(setting, piece, ledger)
        if posed is None:
            continue
        if on_mill and posed.tool != "mill":
            later.append((setting, piece))
            continue
        above, below, made = _saw_setting(log, ledger, setting, piece, posed, shop, left, reserve, memory)
        slabs.extend(made)
        if posed.swapped:
            above, below = below, above
        for child, rest in ((setting.above, above), (setting.below, below)):
            if child is not None and rest is not None:
                (queue if posed.tool == "mill" else later).insert(
                    0 if posed.tool != "mill" else len(queue), (child, rest)
                )
    return slabs


def _saw_setting(
    log: PlanLog,
    ledger: Ledger,
    setting: LayoutSetting,
    piece: Piece,
    posed: PosedSetting,
    shop: Shop,
    left: Array,
    reserve: bool,
    memory: SlabCache | None,
) -> tuple[Piece | None, Piece | None, list[SlabJob]]:
    """One setting's cuts from the top down; returns what is left above and below, and its slabs."""
    low_face, high_face = parallel_faces(log, piece, posed.normal)
    entry = ledger.setting(posed.tool, piece.id, posed.charged, posed.minutes, **posed.entry)
    kerf, normal, kind = posed.kerf, posed.normal, piece.kind
    worth = shop.worth if setting.prices is None else np.array(setting.prices)
    over_next, under_next = (setting.below, setting.above) if posed.swapped else (setting.above, setting.below)
    child = {"log": "half", "half": "bolt", "bolt": "bolt"}[setting.role]
    above: Piece | None = None
    below: Piece | None = None
    jobs: list[SlabJob] = []
    current, last = piece, np.inf
    face_cut = high_face.cut if high_face is not None else None
    if high_face is not None:
        last = high_face.height
    for i, slab in enumerate(posed.slabs):
        if current is None:  # the slab before lay on a face: the piece ends there
            break
        first, final = i == 0, i == len(posed.slabs) - 1
        if last - slab.top > 0.3:
            if first:
                name = (
                    ledger.fresh(child + "-"),
                    child if over_next is not None else ("bolt" if setting.role != "bolt" else "offcut"),
                )
            else:
                name = (ledger.fresh("offcut-"), "offcut")
            over, current = ledger.cut(
                entry,
                current,
                normal,
                slab.top + kerf / 2,
                kerf,
                name,
                (ledger.fresh("rest-"), kind),
                **posed.per_cut(current, slab.top + kerf / 2),
            )
            if first:
                above = over
        if low_face is not None and slab.low - low_face.height < 0.3:
            made, current = current, None
            made = _as_slab(ledger, made)
            face_cut = low_face.cut
        else:
            rest = (
                (ledger.fresh(child + "-"), child if under_next is not None else "bolt")
                if final
                else (ledger.fresh("rest-"), kind)
            )
            made, current = ledger.cut(
                entry,
                current,
                normal,
                slab.low - kerf / 2,
                kerf,
                (ledger.fresh("slab-"), "slab"),
                rest,
                **posed.per_cut(current, slab.low - kerf / 2),
            )
            face_cut = ledger.made_by[made.id]
        last = slab.low - kerf
        top = min(slab.top, high_face.height) if high_face is not None else slab.top
        frame = slab_frame(log, made, normal, slab.low, top)
        strips = lay_out(log, frame, shop.parts, worth, left, shop.saws, reserve, memory=memory)
        for strip in strips:
            for billet in strip.billets:
                left[billet.part] -= len(billet.layers)
        jobs.append(SlabJob(made, frame, face_cut or "", strips, shop.saws, setting.role))
    below = current
    return above, below, jobs


def _as_slab(ledger: Ledger, piece: Piece) -> Piece:
    """What is left between the last cut and an old face is a slab: rename it where it was made."""
    made = Piece(piece.id, "slab", piece.faces)
    rename_piece(ledger, piece, made, "slab-")
    return made


@dataclass(frozen=True, slots=True)
class DrawnPoser:
    """Takes every setting exactly as drawn, on a saw of one kerf: for the practice layout and for comparing layouts."""

    log: PlanLog
    kerf: float
    minutes_per_setting: float = 0.0
    feed: float | None = None

    def pose(self, setting: LayoutSetting, piece: Piece, ledger: Ledger) -> PosedSetting | None:
        """Normal and offsets as drawn."""
        normal = normal_at(self.log.axis, setting.clock)
        base = float(self.log.origin @ normal)
        slabs = tuple(LayoutSlab(s.low + base, s.thickness) for s in setting.slabs)
        slabs = fit_slabs(slabs, *parallel_faces(self.log, piece, normal), self.kerf)
        minutes = minutes_of(self.log.reach, 2 * len(slabs), self.feed, self.minutes_per_setting)
        return PosedSetting(normal, slabs, "mill", self.kerf, True, {}, lambda p, o: {}, minutes)
