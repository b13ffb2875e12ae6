"""Plates of an earlier script that are sawn, or kept to be: graded anew, their boxes as their faces now lie."""

from __future__ import annotations

import itertools
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pithline.geometry.pieces import Piece
from pithline.plan.execute.grade import grade_plate
from pithline.plan.execute.ledger import Ledger, Plate
from pithline.plan.problem.operations import Cut, Tool
from pithline.plan.problem.parts import SawnPart
from pithline.plan.replan.sawn_state import SawnState
from pithline.plan.replan.script_history import (
    ancestry_of,
    parents_of,
)
from pithline.plan.replan.script_layouts import ROLES

Array = NDArray[np.float64]
FACING_COSINE = 0.999
"""A face bounds a plate on a side where their normals agree by this cosine."""
SIZE_TOLERANCE = 0.05
"""A plate that lacks no more than this of its part's size is not too small. [mm]"""


def role_of(ledger: Ledger, name: str) -> str:
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
        out.append(Plate(name, number, corner, edges, grade, billet, 0, part.volume, role_of(ledger, name)))
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
        low: list[float] = []
        high: list[float] = []
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
