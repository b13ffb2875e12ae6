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
from pithline.plan.execute.shop import SlabJob, saw_into_billets
from pithline.plan.execute.simulate import Poser, Shop, parallel_faces, resaw_all, saw_settings, slab_frame
from pithline.plan.execute.slab_layout import lay_out
from pithline.plan.problem.layout import LayoutSetting
from pithline.plan.problem.log_frame import PlanLog, shorter_log
from pithline.plan.problem.parts import SawnPart
from pithline.plan.replan.remaining_pieces import RemainingPiece
from pithline.plan.replan.script_history import SplitScript, ancestry_of, apply_operations, ledger_of, parents_of
from pithline.plan.replan.script_layouts import ROLES, ScriptLayouts

Array = NDArray[np.float64]
FACING_COSINE = 0.999
"""A face bounds a plate on a side where their normals agree by this cosine."""
SIZE_TOLERANCE = 0.05
"""A plate that lacks no more than this of its part's size is not too small. [mm]"""


@dataclass(frozen=True, slots=True)
class SawnState:
    """A log as it lies there: what was sawn, and what of the earlier plan is kept because it is in the shop already."""

    history: SplitScript
    kinds: Mapping[str, str]
    counts: Mapping[str, int]
    plates: tuple[Mapping[str, Any], ...]  # as the earlier script has them, of pieces that are still sound
    changed: frozenset[str]  # cuts that are not where they were planned
    whole: PlanLog
    parts: tuple[SawnPart, ...]
    logs: Mapping[str, PlanLog]  # shorter logs by piece, where the log was crosscut

    def ledger(self) -> Ledger:
        """A ledger of what was sawn, plates left out; ids go on after the highest in use."""
        out = ledger_of(self.history.sawn, self.kinds)
        out.counts.update(self.counts)
        return out

    def log_of(self, ledger: Ledger, name: str) -> PlanLog:
        """The log, whole or bucked, that a piece belongs to."""
        line = ancestry_of(parents_of(ledger.operations), name)
        return next((self.logs[one] for one in line if one in self.logs), self.whole)


def with_bucked_logs(state: SawnState) -> SawnState:
    """The state with the shorter logs that crosscuts have made; crosscuts broken off count as done as planned."""
    cuts = [one for one in state.history.later if one["op"] == "cut" and one["tool"] == "buck"]
    if cuts:
        ledger = state.ledger()
        more = with_reopened_settings(
            [one for one in state.history.later if one.get("tool") == "buck"], state.history, ledger
        )
        later = tuple(one for one in state.history.later if one.get("tool") != "buck")
        history = SplitScript((*state.history.sawn, *more), later, state.history.kinds)
        state = replace(state, history=history, counts=dict(ledger.counts))
    ledger = state.ledger()
    bucks = {one["id"] for one in ledger.operations if one["op"] == "cut" and one["tool"] == "buck"}
    logs = {
        name: shorter_log(state.whole, piece) for name, piece in ledger.pieces.items() if ledger.made_by[name] in bucks
    }
    return replace(state, logs=logs)


def operations_following(history: SplitScript, leaf: str) -> list[dict[str, Any]]:
    """The operations that were to follow on a piece and all that is made of it, in their order."""
    family, out = {leaf}, []
    for one in history.later:
        if one["op"] == "setting":
            if one["piece"] in family:
                out.append(one)
        elif one["piece"] in family:
            family |= {one["above"], one["below"]}
            out.append(one)
    return out


def with_reopened_settings(
    operations: Sequence[dict[str, Any]], history: SplitScript, ledger: Ledger
) -> list[dict[str, Any]]:
    """The operations with a setting of their own before cuts whose setting was broken off."""
    out: list[dict[str, Any]] = []
    opened = {one["id"]: one for one in history.sawn if one["op"] == "setting"}
    new: dict[str, str] = {}
    for one in operations:
        if one["op"] == "cut" and one["setting"] in opened:
            old = opened[one["setting"]]
            if old["id"] not in new:
                new[old["id"]] = ledger.fresh("set-")
                cuts = [cut for cut in (*history.sawn, *history.later) if cut.get("setting") == old["id"]]
                share = sum(cut in operations for cut in cuts) / len(cuts)
                entry = {**old, "id": new[old["id"]], "piece": one["piece"], "minutes": old["minutes"] * share}
                out.append({**entry, "weight_kg": 0.0} if old["tool"] not in ("mill", "buck") else entry)
            one = {**one, "setting": new[old["id"]]}
        out.append(one)
    return out


@dataclass(frozen=True, slots=True)
class ShopWork:
    """Slabs and billets in hand: operations kept for them, the plates these and the history give, slabs laid out anew."""

    kept: tuple[dict[str, Any], ...]
    names: frozenset[str]  # of pieces that exist once these are carried out
    jobs: tuple[tuple[PlanLog, SlabJob], ...]
    left: Array  # plates of each part still wanted after all of these
    counts: Mapping[str, int]


def plan_shop_work(state: SawnState, shop: Shop, again: bool) -> ShopWork:
    """What to do with slabs and billets in hand: as planned earlier, or laid out anew where that gives more.

    Parameters
    ----------
    again : whether slabs may be laid out anew; not once billets were resawn dried
    """
    ledger = state.ledger()
    leaves = [name for name in ledger.leaves() if ledger.pieces[name].kind in ("slab", "billet")]
    left = shop.left.astype(float).copy()
    _take(left, plates_of(state, ledger, frozenset(ledger.pieces)))
    kept: list[dict[str, Any]] = []
    names = set(ledger.pieces)
    jobs: list[tuple[PlanLog, SlabJob]] = []
    for name in leaves:
        own = with_reopened_settings(operations_following(state.history, name), state.history, ledger)
        own, plates = _paying(state, own)
        worth = _worth(plates, left, shop)
        job = None
        if again and ledger.pieces[name].kind == "slab":
            job = _anew(state, ledger, name, shop, left)
        # of two that are alike the earlier plan's stands, unless the slab is not the one it was made for
        other = any(face.cut in state.changed for face in ledger.pieces[name].faces)
        if job is not None and _job_worth(job[1], left, shop) > worth + (-1e-9 if other else 1e-9):
            jobs.append(job)
            for strip in job[1].strips:
                for billet in strip.billets:
                    left[billet.part] -= len(billet.layers)
            continue
        kept += own
        names |= {one[side] for one in own if one["op"] == "cut" for side in ("above", "below")}
        _take(left, plates)
    order = {one["id"]: i for i, one in enumerate(state.history.later)}
    blocks = _blocks(kept)
    blocks.sort(key=lambda block: (block[0]["stage"] == "dried", order.get(block[0]["id"], -1)))
    return ShopWork(
        tuple(one for block in blocks for one in block), frozenset(names), tuple(jobs), left, dict(ledger.counts)
    )


def _blocks(operations: Sequence[dict[str, Any]]) -> list[list[dict[str, Any]]]:
    """Settings each with its cuts."""
    out: list[list[dict[str, Any]]] = []
    for one in operations:
        if one["op"] == "setting":
            out.append([one])
        else:
            out[-1].append(one)
    return out


def _take(left: Array, plates: Sequence[Plate]) -> None:
    for plate in plates:
        if plate.grade.passes:
            left[plate.part] -= 1.0
    np.maximum(left, 0.0, out=left)


def _worth(plates: Sequence[Plate], left: Array, shop: Shop) -> float:
    """What passing plates count, up to what is still wanted."""
    have = np.zeros(len(left))
    for plate in plates:
        have[plate.part] += plate.grade.passes
    return float(np.minimum(have, left) @ shop.worth)


def _job_worth(job: SlabJob, left: Array, shop: Shop) -> float:
    have = np.zeros(len(left))
    for strip in job.strips:
        for billet in strip.billets:
            have[billet.part] += len(billet.layers)
    return float(np.minimum(have, left) @ shop.worth)


def _paying(state: SawnState, operations: list[dict[str, Any]]) -> tuple[list[dict[str, Any]], list[Plate]]:
    """The operations of settings that still lead to a passing plate, and their plates."""
    ledger = state.ledger()
    apply_operations(ledger, operations, state.kinds)
    made = {one[side] for one in operations if one["op"] == "cut" for side in ("above", "below")}
    plates = plates_of(state, ledger, frozenset(made))
    parents = parents_of(ledger.operations)
    lines = {one for plate in plates if plate.grade.passes for one in ancestry_of(parents, plate.id)}
    out: list[dict[str, Any]] = []
    for block in _blocks(operations):
        if any(cut[side] in lines for cut in block[1:] for side in ("above", "below")):
            out += block
    made = {one[side] for one in out if one["op"] == "cut" for side in ("above", "below")}
    return out, [plate for plate in plates if plate.id in made]


def _anew(state: SawnState, ledger: Ledger, name: str, shop: Shop, left: Array) -> tuple[PlanLog, SlabJob] | None:
    """A slab in hand laid out on the log as it now is known; None where it has no two parallel faces from mill or resaw."""
    log, piece = state.log_of(ledger, name), ledger.pieces[name]
    cuts = {one["id"]: one for one in ledger.operations if one["op"] == "cut"}
    newest = next((face for face in reversed(piece.faces) if cuts[face.cut]["tool"] in ("mill", "resaw")), None)
    if newest is None:
        return None
    normal = np.asarray(cuts[newest.cut]["normal"], float)
    normal /= np.linalg.norm(normal)
    low, high = parallel_faces(log, piece, normal)
    if low is None or high is None:
        return None
    frame = slab_frame(log, piece, normal, low.height, high.height)
    strips = lay_out(log, frame, shop.parts, shop.worth, left, shop.saws)
    return log, SlabJob(piece, frame, low.cut, strips, shop.saws, _role(ledger, name))


def _role(ledger: Ledger, name: str) -> str:
    """The kind of piece that a slab, or the slab of a billet or plate, was sawn from."""
    for one in ancestry_of(parents_of(ledger.operations), name):
        if ledger.pieces[one].kind in ROLES:
            return ledger.pieces[one].kind
    return "log"


def plates_of(state: SawnState, ledger: Ledger, names: frozenset[str]) -> list[Plate]:
    """The earlier script's plates among `names`, graded anew, their boxes as their faces now lie."""
    parents = parents_of(ledger.operations)
    cuts = {one["id"]: one for one in ledger.operations if one["op"] == "cut"}
    index = {part.key: i for i, part in enumerate(state.parts)}
    out: list[Plate] = []
    for one in state.plates:
        if one["id"] not in names or one["id"] not in ledger.pieces:
            continue
        number = index[one["product"], one["part"]]
        corner, edges = np.array(one["corner"], float), tuple(np.array(edge, float) for edge in one["edges"])
        piece = ledger.pieces[one["id"]]
        if any(face.cut in state.changed for face in piece.faces):
            corner, edges = _refitted(piece, corner, edges)
        line = ancestry_of(parents, one["id"])
        made = {name: cuts.get(ledger.made_by[name] or "", {}).get("tool") for name in line}
        billet = next((name for name in line if made[name] != "resaw"), line[-1])
        part = state.parts[number]
        grade = grade_plate(state.log_of(ledger, billet), corner, edges, part.limits)
        small = any(
            float(np.linalg.norm(edge)) < size - SIZE_TOLERANCE
            for edge, size in zip(edges, (part.length, part.width, part.thickness), strict=True)
        )
        grade = replace(grade, passes=grade.passes and not small)
        out.append(Plate(one["id"], number, corner, edges, grade, billet, 0, part.volume, _role(ledger, one["id"])))
    _layer(out, state.parts)
    return out


def _refitted(piece: Piece, corner: Array, edges: tuple[Array, ...]) -> tuple[Array, tuple[Array, Array, Array]]:
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


def _layer(plates: Sequence[Plate], parts: tuple[SawnPart, ...]) -> None:
    """Number the plates of every billet by their place through it, neighbours one apart."""
    billets: dict[str, list[Plate]] = defaultdict(list)
    for plate in plates:
        billets[plate.billet].append(plate)
    for group in billets.values():
        normal = group[0].edges[2] / np.linalg.norm(group[0].edges[2])
        low = {
            plate.id: min(float(normal @ plate.corner), float(normal @ (plate.corner + plate.edges[2])))
            for plate in group
        }
        ordered = sorted(group, key=lambda plate: low[plate.id])
        for one, plate in itertools.pairwise(ordered):
            gap = low[plate.id] - low[one.id] - float(np.linalg.norm(one.edges[2]))
            plate.layer = one.layer + (1 if gap < 0.5 * parts[plate.part].thickness + 2.0 else 2)


def remaining_pieces(state: SawnState, before: ScriptLayouts) -> tuple[RemainingPiece, ...]:
    """The pieces in hand that mill or resaw may still take: what lies on the bed, then logs, halves and bolts."""
    ledger = state.ledger()
    last = state.history.sawn[-1]["below"]

    def order(name: str) -> tuple[bool, int]:
        return name != last, ROLES.index(ledger.pieces[name].kind)

    found = sorted((name for name in ledger.leaves() if ledger.pieces[name].kind in ROLES), key=order)
    logs = {name: state.log_of(ledger, name) for name in found}
    return tuple(RemainingPiece(logs[name], ledger.pieces[name], before.layout(logs[name], name)) for name in found)


def execute_remaining(
    state: SawnState,
    bench: ShopWork,
    rests: Sequence[RemainingPiece],
    layouts: Sequence[LayoutSetting | None],
    shop: Shop,
    poser: Callable[[PlanLog], Poser],
) -> Ledger:
    """Saw on: pieces in hand by their layouts, then all slabs, with what is kept of the earlier plan; dried billets last."""
    ledger = state.ledger()
    ledger.counts.update(bench.counts)
    left = bench.left.copy()
    slabs: list[tuple[PlanLog, SlabJob]] = list(bench.jobs)
    for rest, layout in zip(rests, layouts, strict=True):
        made = saw_settings(rest.log, ledger, rest.piece, layout, shop, left, poser(rest.log), True, None)
        slabs += [(rest.log, job) for job in made]
    waiting = [
        (log, one) for log, job in slabs for one in saw_into_billets(log, ledger, shop.machines, job, shop.parts)
    ]
    blocks = _blocks(bench.kept)
    for stage in ("green", "dried"):
        apply_operations(ledger, [one for block in blocks if block[0]["stage"] == stage for one in block], state.kinds)
        resaw_all(ledger, waiting, shop, (stage,))
    ledger.plates[:0] = plates_of(state, ledger, bench.names)
    return ledger
