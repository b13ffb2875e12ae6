"""Going on with a log that is partly sawn: what exists, what of the earlier plan is kept, and carrying out the rest."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pithline.plan.execute.bucked_log import LogLayout
from pithline.plan.execute.ledger import Ledger, Plate
from pithline.plan.execute.shop import SlabJob, resaw_all, saw_into_billets
from pithline.plan.execute.simulate import PieceToSaw, Poser, Simulation
from pithline.plan.execute.slab_faces import parallel_faces, slab_frame
from pithline.plan.execute.slab_layout import lay_out
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
    kept : tuple of Operation
        What is kept of the earlier plan for them.
    names : frozenset of str
        Pieces that exist once these are carried out.
    jobs : tuple of SlabJob
        Slabs laid out anew.
    left : (p,) array
        Plates of each part still wanted after all of these.
    counts : mapping of str to int
        Highest numbers in use, by prefix.
    """

    kept: tuple[Operation, ...]
    names: frozenset[str]
    jobs: tuple[SlabJob, ...]
    left: Array
    counts: Mapping[str, int]


def plan_shop_work(state: SawnState, task: SawingTask, again: bool) -> ShopWork:
    """What to do with slabs and billets in hand: as planned earlier, or laid out anew where that gives more.

    `again` says whether slabs may be laid out anew; not once billets were resawn dried.
    """
    ledger = state.ledger()
    leaves = [name for name in ledger.leaves() if ledger.pieces[name].kind in ("slab", "billet")]
    left = task.left.astype(float).copy()
    _take(left, plates_of(state, ledger, frozenset(ledger.pieces)))
    kept: list[Operation] = []
    names = set(ledger.pieces)
    jobs: list[SlabJob] = []
    for name in leaves:
        own = with_reopened_settings(operations_following(state.history, name), state.history, ledger)
        own, plates = _paying(state, own)
        worth = _worth(_passing_of(plates, len(left)), left, task)
        job = None
        if again and ledger.pieces[name].kind == "slab":
            job = _anew(state, ledger, name, replace(task, left=left))
        # of two that are alike the earlier plan's stands, unless the slab is not the one it was made for
        other = any(face.cut in state.changed for face in ledger.pieces[name].faces)
        if job is not None and _worth(_held(job, len(left)), left, task) > worth + (-1e-9 if other else 1e-9):
            jobs.append(job)
            left -= _held(job, len(left))
            continue
        kept += own
        names |= pieces_made(own)
        _take(left, plates)
    order = {each.id: i for i, each in enumerate(state.history.later)}
    blocks = _blocks(kept)
    blocks.sort(key=lambda block: (block.setting.stage is Stage.DRIED, order.get(block.setting.id, -1)))
    ordered = tuple(each for block in blocks for each in block.operations)
    return ShopWork(ordered, frozenset(names), tuple(jobs), left, dict(ledger.counts))


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


def _take(left: Array, plates: Sequence[Plate]) -> None:
    """Lessen what is still wanted by passing plates."""
    for plate in plates:
        if plate.passes:
            left[plate.part] -= 1.0
    np.maximum(left, 0.0, out=left)


def _passing_of(plates: Sequence[Plate], parts: int) -> Array:
    """Passing plates of each part, (parts,)."""
    have = np.zeros(parts)
    for plate in plates:
        have[plate.part] += plate.passes
    return have


def _held(job: SlabJob, parts: int) -> Array:
    """Plates of each part that a slab is laid out to, (parts,)."""
    have = np.zeros(parts)
    for strip in job.strips:
        for billet in strip.billets:
            have[billet.part] += len(billet.layers)
    return have


def _worth(have: Array, left: Array, task: SawingTask) -> float:
    """What plates of each part count, up to what is still wanted."""
    return float(np.minimum(have, left) @ task.worth)


def _paying(state: SawnState, operations: Operations) -> tuple[list[Operation], list[Plate]]:
    """The operations of settings that still lead to a passing plate, and their plates."""
    ledger = state.ledger()
    apply_operations(ledger, operations, state.kinds)
    plates = plates_of(state, ledger, frozenset(pieces_made(operations)))
    parents = parents_of(ledger.operations)
    lines = {piece for plate in plates if plate.passes for piece in ancestry_of(parents, plate.id)}
    out: list[Operation] = []
    for block in _blocks(operations):
        if any(side in lines for cut in block.cuts for side in cut.sides):
            out += block.operations
    made = pieces_made(out)
    return out, [plate for plate in plates if plate.id in made]


def _anew(state: SawnState, ledger: Ledger, name: str, task: SawingTask) -> SlabJob | None:
    """A slab in hand laid out on the log as it now is known; None where it has no two parallel faces from mill or resaw."""
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
    return SlabJob(log, piece, frame, faces.low.cut, lay_out(log, frame, task), role_of(ledger, name))


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
        return LogLayout(self.state.whole, (), self.logs, tuple(layouts))

    def of_pieces(self, layouts: Sequence[LayoutSetting | None]) -> list[tuple[PlanLog, LayoutSetting | None]]:
        """Each piece as a log of its own, with its layout."""
        each = zip(self.pieces, layouts, strict=True)
        return [(replace(piece.log, piece=piece.piece), layout) for piece, layout in each]

    def execute(self, layouts: Sequence[LayoutSetting | None], poser: Callable[[PlanLog], Poser]) -> Ledger:
        """Saw on: pieces in hand by their layouts, then all slabs, with what is kept of the earlier plan; dried billets last.

        Parameters
        ----------
        layouts : sequence
            Of each piece; None leaves it.
        poser : callable
            Makes the poser of each log.
        """
        ledger = self.state.ledger()
        ledger.counts.update(self.shop.counts)
        simulation = Simulation(ledger, replace(self.task, left=self.shop.left.copy()))
        slabs = list(self.shop.jobs)
        for piece, layout in zip(self.pieces, layouts, strict=True):
            slabs += simulation.saw_settings(PieceToSaw(piece.log, piece.piece, layout, poser(piece.log)))
        waiting = [billet for job in slabs for billet in saw_into_billets(ledger, self.task, job)]
        blocks = _blocks(self.shop.kept)
        for stage in Stage:
            kept = [each for block in blocks if block.setting.stage is stage for each in block.operations]
            apply_operations(ledger, kept, self.state.kinds)
            resaw_all(ledger, self.task, waiting, (stage,))
        ledger.plates[:0] = plates_of(self.state, ledger, self.shop.names)
        return ledger


def remaining_work(state: SawnState, task: SawingTask) -> RemainingWork:
    """What is in hand of a log; once billets were resawn dried, only what is in the shop."""
    shop = plan_shop_work(state, task, not state.dried)
    before = script_layouts(state.history.whole, state.kinds)
    return RemainingWork(state, shop, () if state.dried else remaining_pieces(state, before), task)
