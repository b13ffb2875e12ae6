"""Going on with a log that is partly sawn: what exists, what of the earlier plan is kept, and carrying out the rest."""

from __future__ import annotations

import itertools
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pithline.geometry.pieces import Piece
from pithline.plan.execute.grade import grade_plate
from pithline.plan.execute.ledger import Ledger, Plate
from pithline.plan.execute.shop import SlabJob, resaw_all, saw_into_billets
from pithline.plan.execute.simulate import PieceToSaw, Poser, Simulation
from pithline.plan.execute.slab_faces import parallel_faces, slab_frame
from pithline.plan.execute.slab_layout import lay_out
from pithline.plan.problem.layout import LayoutSetting
from pithline.plan.problem.log_frame import PlanLog, shorter_log
from pithline.plan.problem.operations import Cut, Operation, Setting, Stage, Tool
from pithline.plan.problem.parts import SawnPart
from pithline.plan.problem.task import SawingTask
from pithline.plan.replan.remaining_pieces import RemainingPiece
from pithline.plan.replan.script_history import (
    Operations,
    SplitScript,
    ancestry_of,
    apply_operations,
    cuts_of,
    ledger_of,
    parents_of,
    pieces_made,
)
from pithline.plan.replan.script_layouts import ROLES, ScriptLayouts, bucking_cuts

Array = NDArray[np.float64]
FACING_COSINE = 0.999
"""A face bounds a plate on a side where their normals agree by this cosine."""
SIZE_TOLERANCE = 0.05
"""A plate that lacks no more than this of its part's size is not too small. [mm]"""


@dataclass(frozen=True, slots=True)
class SawnState:
    """A log as it lies there: what was sawn, and what of the earlier plan is kept because it is in the shop already.

    Attributes
    ----------
    history : SplitScript
        Made and to come.
    kinds : mapping of str to str
        Kind of every piece; spoilt ones are offcuts.
    counts : mapping of str to int
        Highest numbers in use, by prefix.
    plates : tuple of mapping
        As the earlier script has them, of pieces that are still sound.
    changed : frozenset of str
        Cuts that are not where they were planned.
    whole, logs : PlanLog, mapping of str to PlanLog
        The log, and the shorter logs by piece where it was crosscut.
    """

    history: SplitScript
    kinds: Mapping[str, str]
    counts: Mapping[str, int]
    plates: tuple[Mapping[str, Any], ...]
    changed: frozenset[str]
    whole: PlanLog
    parts: tuple[SawnPart, ...]
    logs: Mapping[str, PlanLog]

    @property
    def dried(self) -> bool:
        """Whether billets were resawn dried already: nothing green is sawn after that."""
        return any(isinstance(each, Setting) and each.stage is Stage.DRIED for each in self.history.sawn)

    def ledger(self) -> Ledger:
        """A ledger of what was sawn, plates left out; ids go on after the highest in use."""
        out = ledger_of(self.history.sawn, self.kinds)
        out.counts.update(self.counts)
        return out

    def log_of(self, ledger: Ledger, name: str) -> PlanLog:
        """The log, whole or bucked, that a piece belongs to."""
        line = ancestry_of(parents_of(ledger.operations), name)
        return next((self.logs[piece] for piece in line if piece in self.logs), self.whole)


def with_bucked_logs(state: SawnState) -> SawnState:
    """The state with the shorter logs that crosscuts have made; crosscuts broken off count as done as planned."""
    history = state.history
    if bucking_cuts(history.later):
        ledger = state.ledger()
        bucking = [each for each in history.later if each.tool is Tool.BUCK]
        more = with_reopened_settings(bucking, history, ledger)
        later = tuple(each for each in history.later if each.tool is not Tool.BUCK)
        history = SplitScript((*history.sawn, *more), later, history.kinds)
        state = replace(state, history=history, counts=dict(ledger.counts))
    ledger = state.ledger()
    bucks = {cut.id for cut in bucking_cuts(ledger.operations)}
    logs = {
        name: shorter_log(state.whole, piece) for name, piece in ledger.pieces.items() if ledger.made_by[name] in bucks
    }
    return replace(state, logs=logs)


def operations_following(history: SplitScript, leaf: str) -> list[Operation]:
    """The operations that were to follow on a piece and all that is made of it, in their order."""
    family, out = {leaf}, []
    for each in history.later:
        if each.piece in family:
            out.append(each)
            if isinstance(each, Cut):
                family |= set(each.sides)
    return out


def with_reopened_settings(operations: Operations, history: SplitScript, ledger: Ledger) -> list[Operation]:
    """The operations with a setting of their own before cuts whose setting was broken off."""
    out: list[Operation] = []
    begun = {each.id: each for each in history.sawn if isinstance(each, Setting)}
    new: dict[str, str] = {}
    for each in operations:
        if isinstance(each, Cut) and each.setting in begun:
            old = begun[each.setting]
            if old.id not in new:
                new[old.id] = ledger.fresh("set-")
                out.append(_reopened(old, new[old.id], each.piece, _share(operations, history, old)))
            each = replace(each, setting=new[old.id])
        out.append(each)
    return out


def _share(operations: Operations, history: SplitScript, setting: Setting) -> float:
    """The share of a setting's cuts that is among the operations."""
    cuts = cuts_of(history.whole, setting.id)
    return sum(cut in operations for cut in cuts) / len(cuts)


def _reopened(old: Setting, name: str, piece: str, share: float) -> Setting:
    weight = old.weight_kg if old.tool.takes_setting_up else 0.0
    return replace(old, id=name, piece=piece, minutes=old.minutes * share, weight_kg=weight)


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
    return SlabJob(log, piece, frame, faces.low.cut, lay_out(log, frame, task), _role(ledger, name))


def _role(ledger: Ledger, name: str) -> str:
    """The kind of piece that a slab, or the slab of a billet or plate, was sawn from."""
    for piece in ancestry_of(parents_of(ledger.operations), name):
        if ledger.pieces[piece].kind in ROLES:
            return ledger.pieces[piece].kind
    return "log"


def plates_of(state: SawnState, ledger: Ledger, names: frozenset[str]) -> list[Plate]:
    """The earlier script's plates among `names`, graded anew, their boxes as their faces now lie."""
    cuts = {cut.id: cut for cut in ledger.cuts}
    index = {part.key: i for i, part in enumerate(state.parts)}
    parents = parents_of(ledger.operations)
    out: list[Plate] = []
    for written in state.plates:
        name = written["id"]
        if name not in names or name not in ledger.pieces:
            continue
        number = index[written["product"], written["part"]]
        corner = np.array(written["corner"], float)
        length, width, thickness = (np.array(edge, float) for edge in written["edges"])
        edges = length, width, thickness
        piece = ledger.pieces[name]
        if any(face.cut in state.changed for face in piece.faces):
            corner, edges = _refitted(piece, corner, edges)
        line = ancestry_of(parents, name)
        billet = next((one for one in line if not _resawn(ledger, cuts, one)), line[-1])
        part = state.parts[number]
        grade = grade_plate(state.log_of(ledger, billet), corner, edges, part.limits)
        small = any(
            float(np.linalg.norm(edge)) < size - SIZE_TOLERANCE
            for edge, size in zip(edges, (part.length, part.width, part.thickness), strict=True)
        )
        grade = replace(grade, passes=grade.passes and not small)
        out.append(Plate(name, number, corner, edges, grade, billet, 0, part.volume, _role(ledger, name)))
    return _layered(out, state.parts)


def _resawn(ledger: Ledger, cuts: Mapping[str, Cut], name: str) -> bool:
    """Whether the resaw made a piece."""
    made_by = cuts.get(ledger.made_by[name] or "")
    return made_by is not None and made_by.tool is Tool.RESAW


def _refitted(
    piece: Piece, corner: Array, edges: tuple[Array, Array, Array]
) -> tuple[Array, tuple[Array, Array, Array]]:
    """A plate's box between the faces that its piece has: on each side the innermost, where that comes nearest."""
    sizes = [float(np.linalg.norm(edge)) for edge in edges]
    units = [edge / size for edge, size in zip(edges, sizes, strict=True)]
    ends = np.array([corner + i * edges[0] + j * edges[1] + k * edges[2] for i, j, k in np.ndindex(2, 2, 2)])
    spans = []
    for u, size in zip(units, sizes, strict=True):
        low, high = [], []
        for face in piece.faces:
            n = np.asarray(face.normal)
            lean = float(n @ u)
            if abs(lean) > FACING_COSINE:
                # where the face stands along u, seen from each corner of the box as planned
                places = ends @ u + (face.offset - ends @ n) / lean
                (high if lean > 0.0 else low).append(float(places.min() if lean > 0.0 else places.max()))
        start = float(u @ corner)
        spans.append((max(low, default=start), min(high, default=start + size)))
    new = sum((low * u for (low, _), u in zip(spans, units, strict=True)), np.zeros(3))
    first, second, third = (max(high - low, 0.1) * u for (low, high), u in zip(spans, units, strict=True))
    return new, (first, second, third)


def _layered(plates: Sequence[Plate], parts: tuple[SawnPart, ...]) -> list[Plate]:
    """The plates numbered by their place through their billet, neighbours one apart."""
    billets: dict[str, list[Plate]] = defaultdict(list)
    for plate in plates:
        billets[plate.billet].append(plate)
    layers = {plate.id: plate.layer for plate in plates}
    for group in billets.values():
        normal = group[0].edges[2] / np.linalg.norm(group[0].edges[2])
        low = {
            plate.id: min(float(normal @ plate.corner), float(normal @ (plate.corner + plate.edges[2])))
            for plate in group
        }
        ordered = sorted(group, key=lambda plate: low[plate.id])
        for under, over in itertools.pairwise(ordered):
            gap = low[over.id] - low[under.id] - float(np.linalg.norm(under.edges[2]))
            near = gap < 0.5 * parts[over.part].thickness + RESAW_ROOM
            layers[over.id] = layers[under.id] + (1 if near else 2)
    return [replace(plate, layer=layers[plate.id]) for plate in plates]


RESAW_ROOM = 2.0
"""Neighbours lie a resaw's kerf apart, and what is rounded; plates with another between them lie a plate apart. [mm]"""


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


def execute_remaining(
    state: SawnState,
    work: ShopWork,
    pieces: Sequence[RemainingPiece],
    layouts: Sequence[LayoutSetting | None],
    task: SawingTask,
    poser: Callable[[PlanLog], Poser],
) -> Ledger:
    """Saw on: pieces in hand by their layouts, then all slabs, with what is kept of the earlier plan; dried billets last.

    Parameters
    ----------
    state, work : SawnState, ShopWork
        The log as it lies there, and what is to be done with slabs and billets in hand.
    pieces, layouts : sequences
        Pieces in hand that mill or resaw may take, and the layout of each (None leaves it).
    task : SawingTask
        Machines, parts and what is wanted of them.
    poser : callable
        Makes the poser of each log.
    """
    ledger = state.ledger()
    ledger.counts.update(work.counts)
    simulation = Simulation(ledger, replace(task, left=work.left.copy()))
    slabs = list(work.jobs)
    for piece, layout in zip(pieces, layouts, strict=True):
        slabs += simulation.saw_settings(PieceToSaw(piece.log, piece.piece, layout, poser(piece.log)))
    waiting = [billet for job in slabs for billet in saw_into_billets(ledger, task, job)]
    blocks = _blocks(work.kept)
    for stage in Stage:
        kept = [each for block in blocks if block.setting.stage is stage for each in block.operations]
        apply_operations(ledger, kept, state.kinds)
        resaw_all(ledger, task, waiting, (stage,))
    ledger.plates[:0] = plates_of(state, ledger, work.names)
    return ledger
