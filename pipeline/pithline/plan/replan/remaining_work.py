"""Going on with a log that is partly sawn: what exists, what of the earlier plan is kept, and carrying out the rest."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pithline.plan.evaluate.judge import plate_counts
from pithline.plan.execute.bucked_log import LogLayout
from pithline.plan.execute.ledger import Ledger
from pithline.plan.execute.shop import SlabJob, resaw_all, saw_into_billets
from pithline.plan.execute.simulate import PieceToSaw, Poser, SawnToSlabs, Simulation, filled_jobs
from pithline.plan.execute.slab_faces import parallel_faces, slab_frame
from pithline.plan.execute.slab_fill import FillRequest, PlacesCache
from pithline.plan.problem.layout import LayoutSetting
from pithline.plan.problem.log_frame import PlanLog
from pithline.plan.problem.operations import Cut, Operation, Setting, Stage
from pithline.plan.problem.task import SawingTask
from pithline.plan.replan.remaining_pieces import RemainingPiece
from pithline.plan.replan.sawn_plates import plates_of, role_of
from pithline.plan.replan.sawn_state import SawnState, operations_following, with_reopened_settings
from pithline.plan.replan.script_history import (
    Operations,
    ancestry_of,
    apply_operations,
    parents_of,
    pieces_made,
)
from pithline.plan.replan.script_layouts import ROLES, ScriptLayouts, script_layouts

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class ShopWork:
    """Slabs and billets in hand.

    Attributes
    ----------
    kept : mapping of str to tuple of Operation
        What is kept of the earlier plan for each, by piece.
    jobs : mapping of str to SlabJob
        Slabs that may be filled anew instead, by piece.
    ready : frozenset of str
        Pieces that exist already.
    order : mapping of str to int
        Place of each operation in the earlier plan.
    counts : mapping of str to int
        Highest numbers in use, by prefix.
    """

    kept: Mapping[str, tuple[Operation, ...]]
    jobs: Mapping[str, SlabJob]
    ready: frozenset[str]
    order: Mapping[str, int]
    counts: Mapping[str, int]


def plan_shop_work(state: SawnState) -> ShopWork:
    """What may be done with slabs and billets in hand: as planned earlier, or slabs filled anew, unless billets were resawn dried."""
    ledger = state.ledger()
    leaves = [name for name in ledger.leaves() if ledger.pieces[name].kind in ("slab", "billet")]
    kept: dict[str, tuple[Operation, ...]] = {}
    jobs: dict[str, SlabJob] = {}
    for name in leaves:
        own = with_reopened_settings(operations_following(state.history, name), state.history, ledger)
        kept[name] = tuple(_paying(state, own))
        if not state.dried and ledger.pieces[name].kind == "slab":
            job = _anew(state, ledger, name)
            if job is not None:
                jobs[name] = job
    order = {each.id: i for i, each in enumerate(state.history.later)}
    return ShopWork(kept, jobs, frozenset(ledger.pieces), order, dict(ledger.counts))


@dataclass(frozen=True, slots=True)
class _Block:
    """A setting with its cuts."""

    setting: Setting
    cuts: list[Cut]

    @property
    def operations(self) -> Operations:
        return self.setting, *self.cuts


def _blocks(operations: Operations) -> list[_Block]:
    out: list[_Block] = []
    for each in operations:
        if isinstance(each, Setting):
            out.append(_Block(each, []))
        else:
            out[-1].cuts.append(each)
    return out


def _paying(state: SawnState, operations: Operations) -> list[Operation]:
    """The operations of settings that still lead to a passing plate."""
    ledger = state.ledger()
    apply_operations(ledger, operations, state.kinds)
    plates = plates_of(state, ledger, frozenset(pieces_made(operations)))
    parents = parents_of(ledger.operations)
    lines = {piece for plate in plates if plate.passes for piece in ancestry_of(parents, plate.id)}
    out: list[Operation] = []
    for block in _blocks(operations):
        if any(side in lines for cut in block.cuts for side in cut.sides):
            out += block.operations
    return out


def _anew(state: SawnState, ledger: Ledger, name: str) -> SlabJob | None:
    """A slab in hand on the log as it now is known; None where it has no two parallel faces from mill or resaw."""
    log, piece = state.log_of(ledger, name), ledger.pieces[name]
    cuts = {cut.id: cut for cut in ledger.cuts}
    newest = next((face for face in reversed(piece.faces) if cuts[face.cut].tool.on_mill_or_resaw), None)
    if newest is None:
        return None
    normal = np.asarray(cuts[newest.cut].normal, float)
    normal /= np.linalg.norm(normal)
    faces = parallel_faces(log, piece, normal)
    if faces.low is None or faces.high is None:
        return None
    frame = slab_frame(log, piece, normal, faces.low.height, faces.high.height)
    return SlabJob(
        log, piece, frame, faces.low.cut, (), role_of(ledger, name), {}
    )  # looked at once for all ways to saw on


def remaining_pieces(state: SawnState, before: ScriptLayouts) -> tuple[RemainingPiece, ...]:
    """The pieces in hand that mill or resaw may still take: what lies on the bed, then logs, halves and bolts."""
    ledger = state.ledger()
    last = state.history.sawn[-1]
    on_bed = last.below if isinstance(last, Cut) else ""

    def order(name: str) -> tuple[bool, int]:
        return name != on_bed, ROLES.index(ledger.pieces[name].kind)

    found = sorted((name for name in ledger.leaves() if ledger.pieces[name].kind in ROLES), key=order)
    logs = {name: state.log_of(ledger, name) for name in found}
    return tuple(RemainingPiece(logs[name], ledger.pieces[name], before.layout(logs[name], name)) for name in found)


@dataclass(frozen=True, slots=True)
class SawnOnToSlabs(SawnToSlabs):
    """A log that is open sawn on up to its slabs, those in hand that are filled anew among them.

    Attributes
    ----------
    state : SawnState
        The log as it lay there.
    blocks : tuple of _Block
        What is kept of the earlier plan, those of dried billets last.
    names : frozenset of str
        Pieces that are there, or come of what is kept.
    """

    state: SawnState
    blocks: tuple[_Block, ...]
    names: frozenset[str]

    def with_strips(self, task: SawingTask, fill: FillRequest) -> list[SlabJob]:
        """The slabs, each with the strips that are best for all of them together, and for what is there or comes of what is kept."""
        ledger = self.state.ledger()
        apply_operations(ledger, [each for block in self.blocks for each in block.operations], self.state.kinds)
        plates = plates_of(self.state, ledger, self.names)
        passing = np.array([plate.passes for plate in plates], bool)
        return filled_jobs(self.jobs, task, fill, plate_counts(plates, task.economics.kinds, passing))

    def sawn_in_shop(self, task: SawingTask, jobs: Sequence[SlabJob]) -> Ledger:
        """The slabs, each with its strips, sawn in the shop beside what is kept, dried billets last; the ledger of all of it."""
        done = self.ledger.copied()
        waiting = [billet for job in jobs for billet in saw_into_billets(done, task, job)]
        for stage in Stage:
            own = [each for block in self.blocks if block.setting.stage is stage for each in block.operations]
            apply_operations(done, own, self.state.kinds)
            resaw_all(done, task, waiting, (stage,))
        done.plates[:0] = plates_of(self.state, done, self.names)
        return done


@dataclass(frozen=True, slots=True)
class RemainingWork:
    """Everything in hand of a log that is open.

    Attributes
    ----------
    state : SawnState
        The log as it lies there.
    shop : ShopWork
        What is to be done with slabs and billets.
    pieces : tuple of RemainingPiece
        Those that mill or resaw may still take.
    task : SawingTask
        Machines, parts and what is wanted of them, what is sawn among it.
    """

    state: SawnState
    shop: ShopWork
    pieces: tuple[RemainingPiece, ...]
    task: SawingTask

    @property
    def logs(self) -> tuple[PlanLog, ...]:
        """Of each piece, the log it belongs to."""
        return tuple(each.log for each in self.pieces)

    @property
    def before(self) -> tuple[LayoutSetting | None, ...]:
        """What the earlier plan did with each piece."""
        return tuple(each.before for each in self.pieces)

    def layout(self, layouts: Sequence[LayoutSetting | None]) -> LogLayout:
        """A layout of each piece, as one of the log."""
        logs = tuple(log for log, _ in self.of_pieces(layouts))
        return LogLayout(self.state.whole, (), logs, tuple(layouts))

    def of_pieces(self, layouts: Sequence[LayoutSetting | None]) -> list[tuple[PlanLog, LayoutSetting | None]]:
        """Each piece as a log of its own, with its layout."""
        each = zip(self.pieces, layouts, strict=True)
        return [(replace(piece.log, piece=piece.piece), layout) for piece, layout in each]

    @property
    def slabs_in_hand(self) -> bool:
        """Whether there are slabs that may be filled anew."""
        return bool(self.shop.jobs)

    def gone_on(self) -> Ledger:
        """The earlier plan sawn to its end as it was written, as far as it still leads to plates that pass; these graded anew."""
        state, ledger = self.state, self.state.ledger()
        ahead: set[str] = set()
        for name in ledger.leaves():
            if ledger.pieces[name].kind != "offcut":
                ahead |= {each.id for each in operations_following(state.history, name)}
        later = [each for each in state.history.later if each.id in ahead]
        operations = _paying(state, with_reopened_settings(later, state.history, ledger))
        apply_operations(ledger, operations, state.kinds)
        ledger.plates[:0] = plates_of(state, ledger, self.shop.ready | pieces_made(operations))
        return ledger

    def saw(
        self,
        layouts: Sequence[LayoutSetting | None],
        poser: Callable[[PlanLog], Poser],
        again: bool = False,
        caches: Sequence[PlacesCache | None] | None = None,
    ) -> SawnOnToSlabs:
        """Saw on up to the slabs: pieces in hand by their layouts.

        Parameters
        ----------
        layouts : sequence
            Of each piece; None leaves it.
        poser : callable
            Makes the poser of each log.
        again : bool
            Whether slabs in hand are filled anew, in place of what the earlier plan did with them.
        caches : sequence, optional
            What was seen in the slabs of each piece; read and filled.
        """
        ledger, shop = self.state.ledger(), self.shop
        ledger.counts.update(shop.counts)
        simulation = Simulation(ledger, self.task)
        slabs: list[SlabJob] = []
        for piece, layout, cache in zip(self.pieces, layouts, caches or [None] * len(self.pieces), strict=True):
            slabs += simulation.saw_log(PieceToSaw(piece.log, piece.piece, layout, poser(piece.log), cache))
        slabs += simulation.saw_bolts()
        redone = dict(shop.jobs) if again else {}
        kept = [each for name, own in shop.kept.items() if name not in redone for each in own]
        blocks = sorted(
            _blocks(kept), key=lambda one: (one.setting.stage is Stage.DRIED, shop.order.get(one.setting.id, -1))
        )
        names = shop.ready | pieces_made(kept)
        return SawnOnToSlabs(ledger, (*redone.values(), *slabs), self.state, tuple(blocks), names)


def remaining_work(state: SawnState, task: SawingTask) -> RemainingWork:
    """What is in hand of a log; once billets were resawn dried, only what is in the shop."""
    shop = plan_shop_work(state)
    before = script_layouts(state.history.whole, state.kinds)
    return RemainingWork(state, shop, () if state.dried else remaining_pieces(state, before), task)
