"""Carry layouts out: settings become cuts, slabs go to the shop, offcuts remain. How pieces lie is asked of a `Poser`."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from pithline.geometry.pieces import Piece
from pithline.plan.execute.bolt_holds import BoltHold, hold_as_sawn
from pithline.plan.execute.ledger import Ledger, NewPiece, SawPlane
from pithline.plan.execute.set_up_order import SetUp, set_up_order
from pithline.plan.execute.shop import DrawnSlab, SlabJob, resaw_all, saw_into_billets
from pithline.plan.execute.slab_faces import SAME_FACE, ParallelFaces, Slabs, parallel_faces, slab_frame
from pithline.plan.execute.slab_fill import FillRequest, PlacesCache, SlabToFill, fill_slabs
from pithline.plan.problem.layout import LayoutSetting, LayoutSlab
from pithline.plan.problem.log_frame import PlanLog
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
    """Why a machine does not take a setting, and where that is; empty where there is nothing to saw."""

    why: str = ""
    where: str = "on the mill"


NO_CRADLE = Refused("no cradle of the shop holds it as it is to be sawn")


class Poser(Protocol):
    """Turns a drawn setting into one that can be sawn."""

    def pose(self, setting: LayoutSetting, piece: Piece) -> PosedSetting | Refused:
        """A log or a half posed on the mill."""
        ...

    def holds(self, setting: LayoutSetting, piece: Piece) -> tuple[BoltHold, ...]:
        """Ways to hold a bolt for a setting, those on the saw that is to take it first, the best first of each."""
        ...

    def pose_bolt(self, setting: LayoutSetting, piece: Piece, hold: BoltHold) -> PosedSetting | Refused:
        """A bolt held by one of its sawn faces."""
        ...


@dataclass(frozen=True, slots=True)
class PieceToSaw:
    """A log, or a piece of one, with the layout it is to be sawn by (None leaves it).

    `cache` holds what was seen in the log's slabs; layouts that share slabs may share it.
    """

    log: PlanLog
    piece: Piece
    layout: LayoutSetting | None
    poser: Poser
    cache: PlacesCache | None = None


WaitingBolt = tuple[PieceToSaw, LayoutSetting, Piece]
"""A bolt with its log and the run that it is to have next."""


def uncut_log() -> Ledger:
    """A ledger with nothing but the log as it was scanned."""
    return Ledger(pieces={"log": Piece("log", "log")}, made_by={"log": None})


@dataclass(frozen=True, slots=True)
class SawnToSlabs:
    """Layouts carried out up to their slabs, which may be filled in several ways from here: the ledger so far, and the slabs."""

    ledger: Ledger
    jobs: tuple[SlabJob, ...]

    def filled(self, task: SawingTask, fill: FillRequest) -> Ledger:
        """The slabs filled and sawn in the shop; the ledger of all of it."""
        return self.sawn_in_shop(task, self.with_strips(task, fill))

    def with_strips(self, task: SawingTask, fill: FillRequest) -> list[SlabJob]:
        """The slabs, each with the strips that are best for all of them together."""
        return filled_jobs(self.jobs, task, fill)

    def sawn_in_shop(self, task: SawingTask, jobs: Sequence[SlabJob]) -> Ledger:
        """The slabs, each with its strips, sawn in the shop, what is resawn dried last; the ledger of all of it."""
        ledger = self.ledger.copied()
        waiting = [job for slab in jobs for job in saw_into_billets(ledger, task, slab)]
        resaw_all(ledger, task, waiting)
        return ledger


def sawn_to_slabs(ledger: Ledger, pieces: Sequence[PieceToSaw], task: SawingTask) -> SawnToSlabs:
    """Saw several logs, crosscut from one, each by its layout, up to their slabs: logs and halves, then all bolts by set-up."""
    simulation = Simulation(ledger, task)
    jobs = [job for piece in pieces for job in simulation.saw_log(piece)]
    jobs += simulation.saw_bolts()
    return SawnToSlabs(ledger, tuple(jobs))


def filled_jobs(
    jobs: Sequence[SlabJob], task: SawingTask, fill: FillRequest, sawn: NDArray[np.int64] | None = None
) -> list[SlabJob]:
    """Slabs with the strips that are best for all of them together; `sawn` (P, 2) plates count beside them."""
    slabs = [SlabToFill(job.log, job.frame, job.cache) for job in jobs]
    chosen = fill_slabs(slabs, task, fill, sawn)
    return [replace(job, strips=strips) for job, strips in zip(jobs, chosen.strips, strict=True)]


@dataclass(slots=True)
class Simulation:
    """Layouts on their way through mill and resaw.

    Attributes
    ----------
    ledger : Ledger
        Grows.
    task : SawingTask
        Machines and parts.
    bolts : list
        Bolts that wait, each with its log and the setting it is to have.
    refused : list of str
        Why machines did not take a setting, each reason once.
    tried : dict of (str, LayoutSetting) to dict
        By log and run, the set-ups that did not take it, each with the reason.
    paths : dict of str to tuple
        By what bolts have come to, the set-ups that took them so far.
    """

    ledger: Ledger
    task: SawingTask
    bolts: list[WaitingBolt] = field(default_factory=list)
    refused: list[str] = field(default_factory=list)
    tried: dict[tuple[str, LayoutSetting], dict[SetUp, Refused]] = field(default_factory=dict)
    paths: dict[str, tuple[SetUp, ...]] = field(default_factory=dict)

    def saw_log(self, start: PieceToSaw) -> list[SlabJob]:
        """The settings of one log and its halves on the mill; their slabs. Bolts wait."""
        queue = [] if start.layout is None else [(start.layout, start.piece)]
        slabs: list[SlabJob] = []
        while queue:
            setting, piece = queue.pop(0)
            if setting.role == "bolt":
                # what a setting broken off left on the bed kept the kind of its piece: held by a face it is a bolt
                self.ledger.pieces[piece.id] = piece = replace(piece, kind="bolt")
                self.bolts.append((start, setting, piece))
                continue
            posed = start.poser.pose(setting, piece)
            if isinstance(posed, Refused):
                self._refuse(posed, piece)
                continue
            following, made = self._saw_setting(start, setting, piece, posed, self.ledger.fresh("set-up-"))
            slabs += made
            queue += following
        return slabs

    def saw_bolts(self) -> list[SlabJob]:
        """All bolts that wait, those of one set-up after one another, in the order that needs fewest set-ups.

        Which set-ups a bolt needs, and which do not take it, shows as it is sawn, so they are sawn once on trial.
        """
        trial = replace(self, ledger=self.ledger.copied(), bolts=list(self.bolts), refused=list(self.refused), paths={})
        slabs, taken = trial._saw_in_order(())
        order = set_up_order(trial.paths.values())
        if taken != list(order):
            return self._saw_in_order(order)[0]
        self.ledger.become(trial.ledger)
        self.bolts, self.refused, self.paths = trial.bolts, trial.refused, trial.paths
        return slabs

    def _saw_in_order(self, order: Sequence[SetUp]) -> tuple[list[SlabJob], list[SetUp]]:
        """All bolts by set-ups as `order` has them, beyond it the one that serves most, flat ones first; slabs, and set-ups used.

        A cradle that a bolt needs once more after another has been in between is set up again.
        """
        slabs: list[SlabJob] = []
        taken: list[SetUp] = []
        planned = list(order)
        while self.bolts:
            held = [self._next_that_is_held(one) for one in self.bolts]
            self.bolts = [one for one, holds in held if holds]
            serves = Counter(key for _, holds in held for key in {hold.set_up for hold in holds})
            if not serves:
                break
            while planned and planned[0] not in serves:
                planned.pop(0)
            flat = [key for key in serves if key[1] == 0.0]
            chosen = planned.pop(0) if planned else max(flat or serves, key=lambda key: (serves[key], -key[1]))
            before = len(slabs)
            slabs += self._one_set_up(chosen)
            if len(slabs) > before:
                taken.append(chosen)
        return slabs, taken

    def _next_that_is_held(self, waiting: WaitingBolt) -> tuple[WaitingBolt, list[BoltHold]]:
        """A bolt with ways to hold it for its next run; runs that no saw takes are passed over for those that follow."""
        start, setting, piece = waiting
        why = None
        while True:
            holds = self._holds(start, setting, piece)
            following = setting.above or setting.below
            if holds or following is None:
                break
            why = why or self._why(start, setting)
            setting = following
        if not holds:
            self._refuse(why or self._why(start, setting), piece)
        return (start, setting, piece), holds

    def _why(self, start: PieceToSaw, setting: LayoutSetting) -> Refused:
        """Why no saw took a run."""
        return next(iter(self.tried.get((start.piece.id, setting), {}).values()), NO_CRADLE)

    def _holds(self, start: PieceToSaw, setting: LayoutSetting, piece: Piece) -> list[BoltHold]:
        """Ways to hold a bolt that were not tried in vain, on one saw: on the next one where the first takes it in none."""
        tried = self.tried.get((start.piece.id, setting), {})
        left = [hold for hold in start.poser.holds(setting, piece) if hold.set_up not in tried]
        return [hold for hold in left if hold.tool is left[0].tool]

    def _one_set_up(self, key: SetUp) -> list[SlabJob]:
        """Every waiting bolt that one set-up can hold, and what it leaves of them, until none is left that it holds."""
        slabs: list[SlabJob] = []
        name = self.ledger.fresh("set-up-")
        first, waiting, self.bolts = True, self.bolts, []
        while waiting:
            start, setting, piece = waiting.pop(0)
            holds = [one for one in self._holds(start, setting, piece) if one.set_up == key]
            hold = hold_as_sawn(holds, start.log.axis, setting.lean)
            if hold is None:
                self.bolts.append((start, setting, piece))
                continue
            posed = start.poser.pose_bolt(setting, piece, hold)
            if isinstance(posed, Refused):
                self.tried.setdefault((start.piece.id, setting), {})[key] = posed
                self.bolts.append((start, setting, piece))
                continue
            if not first and posed.drafted.charged:
                posed = replace(posed, drafted=self._repeated(posed.drafted))
            first = first and not posed.drafted.charged
            following, made = self._saw_setting(start, setting, piece, posed, name)
            slabs += made
            waiting += [(start, child, rest) for child, rest in following]
            path = (*self.paths.pop(piece.id, ()), key)
            self.paths |= {rest.id: path for rest in ([rest for _, rest in following] or [piece])}
        return slabs

    def _repeated(self, drafted: Setting) -> Setting:
        """A further setting of a set-up: it takes the minutes of a repeat."""
        saw = self.task.machines.mill if drafted.tool is Tool.MILL else self.task.machines.resaw
        return replace(drafted, minutes=drafted.minutes - (saw.minutes_per_setting or 0.0) + saw.repeat_minutes)

    def _refuse(self, refused: Refused, piece: Piece) -> None:
        if refused.why and refused.why not in self.refused:
            self.refused.append(refused.why)
            self.ledger.cautions.append(f"a {piece.kind} is left whole, since {refused.where} {refused.why}")

    def _saw_setting(
        self, start: PieceToSaw, setting: LayoutSetting, piece: Piece, posed: PosedSetting, set_up: str
    ) -> tuple[list[tuple[LayoutSetting, Piece]], list[SlabJob]]:
        """One setting's cuts from the top down; the settings that follow with their pieces, and its slabs."""
        ledger, kerf = self.ledger, posed.kerf
        faces = parallel_faces(start.log, piece, posed.normal)
        operation = ledger.open_setting(replace(posed.drafted, set_up=set_up if posed.drafted.charged else ""))
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
            number = len(setting.slabs) - 1 - i if posed.swapped else i
            drawn = DrawnSlab(start.piece.id, setting, number)
            jobs.append(self._slab_job(start, drawn, made, posed.normal, (slab, faces, face)))
        if posed.swapped:
            above, current = current, above
        pairs = ((setting.above, above), (setting.below, current))
        return [(child, rest) for child, rest in pairs if child is not None and rest is not None], jobs

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
        drawn: DrawnSlab,
        made: Piece,
        normal: Array,
        cut: tuple[LayoutSlab, ParallelFaces, str],
    ) -> SlabJob:
        """A slab to be filled; `cut` are its place, the faces of what it was sawn from, and the cut of its lower face."""
        slab, faces, face = cut
        top = slab.top if faces.ceiling is None else min(slab.top, faces.ceiling)
        frame = slab_frame(start.log, made, normal, slab.low, top)
        return SlabJob(start.log, made, frame, face, (), drawn.setting.role, start.cache, drawn)
