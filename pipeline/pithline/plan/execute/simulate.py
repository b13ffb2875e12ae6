"""Carry layouts out: settings become cuts, slabs go to the shop, offcuts remain. How pieces lie is asked of a `Poser`."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from pithline.geometry.pieces import Piece
from pithline.plan.execute.ledger import Ledger, NewPiece, SawPlane
from pithline.plan.execute.shop import SlabJob, minutes_of, resaw_all, saw_into_billets
from pithline.plan.execute.slab_faces import SAME_FACE, ParallelFaces, Slabs, fit_slabs, parallel_faces, slab_frame
from pithline.plan.execute.slab_layout import SlabCache, lay_out
from pithline.plan.problem.layout import LayoutSetting, LayoutSlab
from pithline.plan.problem.log_frame import PlanLog, normal_at
from pithline.plan.problem.operations import BladePlace, Setting, Tool
from pithline.plan.problem.task import SawingTask

Array = NDArray[np.float64]
CHILD = {"log": "half", "half": "bolt", "bolt": "bolt"}
"""What is left beside the slabs of a setting, by the setting's role."""


@dataclass(frozen=True, slots=True)
class PosedSetting:
    """How a setting's cuts truly lie.

    Attributes
    ----------
    normal : (3,) array
        Of the cuts, unit, log frame.
    slabs : tuple of LayoutSlab
        As the saw can set them; offsets are n·X, from the top down. [mm]
    kerf : float
        [mm]
    drafted : Setting
        The operation, without its id.
    blades : tuple of (offset, BladePlace)
        Where the mill's blade stands for the cut at each offset n·X; empty off the mill.
    swapped : bool
        Whether the piece was posed upside down: what the layout calls above then lies below.
    """

    normal: Array
    slabs: Slabs
    kerf: float
    drafted: Setting
    blades: tuple[tuple[float, BladePlace], ...] = ()
    swapped: bool = False

    def plane(self, offset: float) -> SawPlane:
        """The cut whose kerf's centre lies at n·X = `offset`. [mm]"""
        nearest = min(self.blades, key=lambda one: abs(one[0] - offset), default=None)
        return SawPlane(self.normal, offset, self.kerf, None if nearest is None else nearest[1])


@dataclass(frozen=True, slots=True)
class Refused:
    """Why no machine takes a setting; empty where there is nothing to saw."""

    why: str = ""


class Poser(Protocol):
    """Turns a drawn setting into one that can be sawn."""

    def pose(self, setting: LayoutSetting, piece: Piece) -> PosedSetting | Refused:
        """Pose a piece for a setting."""
        ...


@dataclass(frozen=True, slots=True)
class DrawnPoser:
    """Takes every setting exactly as drawn, on a saw of one kerf: for the practice layout and for comparing layouts."""

    log: PlanLog
    kerf: float
    minutes_per_setting: float = 0.0
    feed: float | None = None

    def pose(self, setting: LayoutSetting, piece: Piece) -> PosedSetting:
        """Normal and offsets as drawn."""
        normal = normal_at(self.log.axis, setting.clock)
        base = float(self.log.origin @ normal)
        slabs = tuple(LayoutSlab(s.low + base, s.thickness) for s in setting.slabs)
        slabs = fit_slabs(slabs, parallel_faces(self.log, piece, normal), self.kerf)
        minutes = minutes_of(self.log.reach, 2 * len(slabs), self.feed, self.minutes_per_setting)
        return PosedSetting(normal, slabs, self.kerf, Setting(Tool.MILL, piece.id, True, minutes))


@dataclass(frozen=True, slots=True)
class PieceToSaw:
    """A log, or a piece of one, with the layout it is to be sawn by (None leaves it).

    `cache` holds what was seen in the log's slabs; layouts that share slabs may share it.
    """

    log: PlanLog
    piece: Piece
    layout: LayoutSetting | None
    poser: Poser
    cache: SlabCache | None = None


def uncut_log() -> Ledger:
    """A ledger with nothing but the log as it was scanned."""
    return Ledger(pieces={"log": Piece("log", "log")}, made_by={"log": None})


def execute_layout(
    log: PlanLog,
    layout: LayoutSetting,
    task: SawingTask,
    poser: Poser,
    reserve: bool = True,
    cache: SlabCache | None = None,
) -> Ledger:
    """Saw a whole log by its layout: mill settings first, then bolts in the shop, slabs, and what is resawn dried last.

    Parameters
    ----------
    log, layout : PlanLog, LayoutSetting
        What is sawn, and how it was drawn.
    task : SawingTask
        Machines, parts and what is wanted of them.
    poser : Poser
        How pieces lie.
    reserve : bool
        Keep the doubts of surface and pith while slabs are laid out.
    cache : dict, optional
        What was seen in the log's slabs; read and filled.
    """
    return execute_layouts(uncut_log(), (PieceToSaw(log, log.piece, layout, poser, cache),), task, reserve)


def execute_layouts(ledger: Ledger, pieces: Sequence[PieceToSaw], task: SawingTask, reserve: bool = True) -> Ledger:
    """Saw several logs, crosscut from one, each by its layout; the shop's work comes after all mill work.

    `reserve` keeps the doubts of surface and pith while slabs are laid out.
    """
    simulation = Simulation(ledger, replace(task, left=task.left.astype(float).copy()), reserve)
    slabs = [job for piece in pieces for job in simulation.saw_settings(piece)]
    waiting = [job for slab in slabs for job in saw_into_billets(ledger, task, slab)]
    resaw_all(ledger, task, waiting)
    return ledger


@dataclass(slots=True)
class Simulation:
    """Layouts on their way through mill and resaw.

    Attributes
    ----------
    ledger : Ledger
        Grows.
    task : SawingTask
        Its `left` is lessened by the plates that slabs are laid out to.
    reserve : bool
        As for `execute_layouts`.
    refused : list of str
        Why machines did not take a setting, each reason once.
    """

    ledger: Ledger
    task: SawingTask
    reserve: bool = True
    refused: list[str] = field(default_factory=list)

    def saw_settings(self, start: PieceToSaw) -> list[SlabJob]:
        """The settings of one log, or of a piece of it, on mill and resaw; its slabs."""
        queue = [] if start.layout is None else [(start.layout, start.piece)]
        later: list[tuple[LayoutSetting, Piece]] = []
        slabs: list[SlabJob] = []
        while queue or later:
            on_mill = bool(queue)
            setting, piece = queue.pop(0) if queue else later.pop(0)
            posed = start.poser.pose(setting, piece)
            if isinstance(posed, Refused):
                self._refuse(posed, piece)
                continue
            milled = posed.drafted.tool is Tool.MILL
            if on_mill and not milled:
                later.append((setting, piece))
                continue
            above, below, made = self._saw_setting(start, setting, piece, posed)
            slabs.extend(made)
            if posed.swapped:
                above, below = below, above
            for child, rest in ((setting.above, above), (setting.below, below)):
                if child is not None and rest is not None:
                    (queue if milled else later).insert(len(queue) if milled else 0, (child, rest))
        return slabs

    def _refuse(self, refused: Refused, piece: Piece) -> None:
        if refused.why and refused.why not in self.refused:
            self.refused.append(refused.why)
            self.ledger.cautions.append(f"a {piece.kind} is left whole, since on the mill {refused.why}")

    def _saw_setting(
        self, start: PieceToSaw, setting: LayoutSetting, piece: Piece, posed: PosedSetting
    ) -> tuple[Piece | None, Piece | None, list[SlabJob]]:
        """One setting's cuts from the top down; what is left above and below, and its slabs."""
        ledger, kerf = self.ledger, posed.kerf
        faces = parallel_faces(start.log, piece, posed.normal)
        operation = ledger.open_setting(posed.drafted)
        above: Piece | None = None
        current: Piece | None = piece
        last = np.inf if faces.ceiling is None else faces.ceiling
        jobs: list[SlabJob] = []
        for i, slab in enumerate(posed.slabs):
            if current is None:  # the slab before lay on a face: the piece ends there
                break
            if last - slab.top > SAME_FACE:
                over, current = ledger.cut(
                    operation,
                    current,
                    posed.plane(slab.top + kerf / 2),
                    self._left_above(setting, posed, first=i == 0),
                    ledger.named("rest-", piece.kind),
                )
                above = over if i == 0 else above
            if faces.low is not None and faces.carries(slab):
                made, current, face = ledger.rename(current, "slab-", "slab"), None, faces.low.cut
            else:
                rest = self._left_below(setting, posed, piece.kind, final=i == len(posed.slabs) - 1)
                plane = posed.plane(slab.low - kerf / 2)
                made, current = ledger.cut(operation, current, plane, ledger.named("slab-", "slab"), rest)
                face = ledger.made_by[made.id] or ""
            last = slab.low - kerf
            jobs.append(self._slab_job(start, setting, made, posed.normal, (slab, faces, face)))
        return above, current, jobs

    def _left_above(self, setting: LayoutSetting, posed: PosedSetting, first: bool) -> NewPiece:
        """What a cut over a slab leaves: what is sawn on by another setting, or a bolt or an offcut that stays."""
        if not first:
            return self.ledger.named("offcut-", "offcut")
        following = setting.below if posed.swapped else setting.above
        child, unused = CHILD[setting.role], "bolt" if setting.role != "bolt" else "offcut"
        return self.ledger.named(f"{child}-", child if following is not None else unused)

    def _left_below(self, setting: LayoutSetting, posed: PosedSetting, kind: str, final: bool) -> NewPiece:
        """What a cut under a slab leaves on the bed."""
        if not final:
            return self.ledger.named("rest-", kind)
        following = setting.above if posed.swapped else setting.below
        child = CHILD[setting.role]
        return self.ledger.named(f"{child}-", child if following is not None else "bolt")

    def _slab_job(
        self,
        start: PieceToSaw,
        setting: LayoutSetting,
        made: Piece,
        normal: Array,
        cut: tuple[LayoutSlab, ParallelFaces, str],
    ) -> SlabJob:
        """A slab laid out to strips; `cut` are its place, the faces of what it was sawn from, and the cut of its lower face."""
        slab, faces, face = cut
        top = slab.top if faces.ceiling is None else min(slab.top, faces.ceiling)
        frame = slab_frame(start.log, made, normal, slab.low, top)
        task = self.task if setting.prices is None else replace(self.task, worth=np.array(setting.prices))
        strips = lay_out(start.log, frame, task, reserve=self.reserve, cache=start.cache)
        for strip in strips:
            for billet in strip.billets:
                self.task.left[billet.part] -= len(billet.layers)
        return SlabJob(start.log, made, frame, face, strips, setting.role)
