"""A script's cuts carried out on the log solid, one piece at a time: what is made, from what, with which faces."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import manifold3d
import numpy as np
from numpy.typing import NDArray

from pithline.script.finding import Finding
from pithline.script.solid import CLOCKS, cut, log_solid

Array = NDArray[np.float64]
Look = Callable[[str, manifold3d.Manifold], None]


@dataclass(frozen=True, slots=True)
class SawnFace:
    """A face left by a cut: the piece lies where normal·X ≤ offset (log frame, outward unit normal)."""

    normal: Array
    offset: float
    cut: str


@dataclass(slots=True)
class Sawn:
    """Everything the cuts make of the log. Volumes of wood in mm³; `parent` and `faces` by piece id."""

    log_volume: float
    kerf_volume: float = 0.0
    volumes: dict[str, float] = field(default_factory=dict)
    parent: dict[str, str | None] = field(default_factory=dict)
    made_by: dict[str, str | None] = field(default_factory=dict)
    faces: dict[str, tuple[SawnFace, ...]] = field(default_factory=dict)
    used_by: dict[str, str] = field(default_factory=dict)
    findings: list[Finding] = field(default_factory=list)

    def line(self, piece: str) -> list[str]:
        """The piece and all it was sawn from, the log last."""
        found: list[str] = []
        at: str | None = piece
        while at is not None:
            found.append(at)
            at = self.parent.get(at)
        return found

    def leaves(self) -> list[str]:
        """Pieces that no cut used."""
        return [name for name in self.volumes if name not in self.used_by]


def saw(document: dict[str, Any], look: Look | None = None, clocks: int = CLOCKS) -> Sawn:
    """Carry out every cut of `document` on its model's log; stated volumes are not read.

    `look(piece, solid)` is called once for each piece, the log first, while its solid is at hand; afterwards the solid
    is let go. A cut of a piece that is used up or was never made is a finding, and skipped.
    """
    log = log_solid(document["model"], clocks)
    sawn = Sawn(log_volume=log.volume())
    live: dict[str, manifold3d.Manifold] = {}
    _enter(sawn, live, "log", log, None, None, (), look)
    for one in document["operations"]:
        if one["op"] != "cut":
            continue
        piece = one["piece"]
        if piece not in live:
            why = "used" if piece in sawn.used_by else "unknown"
            sawn.findings.append(
                Finding(f"piece-{why}", one["id"], piece, why, f"{one['id']} cuts {piece}, which is {why} by then")
            )
            continue
        above, below, dust = cut(live.pop(piece), one["normal"], one["offset"], one["kerf"])
        sawn.used_by[piece] = one["id"]
        sawn.kerf_volume += dust
        for side, solid in (("above", above), ("below", below)):
            if one[side] in sawn.volumes:
                words = f"{one['id']} makes {one[side]} a second time"
                sawn.findings.append(Finding("piece-twice", one["id"], one[side], one[side], words))
                continue
            face = _face(one, side)
            _enter(sawn, live, one[side], solid, piece, one["id"], (*sawn.faces[piece], face), look)
    return sawn


def piece_volumes(document: dict[str, Any], clocks: int = CLOCKS) -> dict[str, float]:
    """Volume of wood of every piece, by id, from `model` and `operations` alone. [mm³]

    Usable before `pieces[].volume` and `totals` are filled in; kerf is the log's volume less that of what no cut used.
    """
    return saw(document, clocks=clocks).volumes


def _face(operation: dict[str, Any], side: str) -> SawnFace:
    normal = np.asarray(operation["normal"], float)
    sign = -1.0 if side == "above" else 1.0
    return SawnFace(sign * normal, sign * operation["offset"] - operation["kerf"] / 2.0, operation["id"])


def _enter(
    sawn: Sawn,
    live: dict[str, manifold3d.Manifold],
    name: str,
    solid: manifold3d.Manifold,
    parent: str | None,
    made_by: str | None,
    faces: tuple[SawnFace, ...],
    look: Look | None,
) -> None:
    live[name] = solid
    sawn.volumes[name] = max(0.0, solid.volume())
    sawn.parent[name], sawn.made_by[name], sawn.faces[name] = parent, made_by, faces
    if look is not None:
        look(name, solid)
