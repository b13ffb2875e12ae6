"""A script's cuts carried out on the log solid, one piece at a time: what is made, from what, with which faces."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import manifold3d
import numpy as np
from numpy.typing import NDArray

from pithline.script.finding import Finding
from pithline.script.solid import CLOCKS, cut, log_solid, sawdust

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
    return _carried_out(document, clocks, look, weighs_dust=True)


def _carried_out(document: dict[str, Any], clocks: int, look: Look | None, weighs_dust: bool) -> Sawn:
    """As `saw`; with a kerf's volume only where sawdust is weighed."""
    log = log_solid(document["model"], clocks)
    sawing = _Sawing(Sawn(log_volume=log.volume()), {}, look, weighs_dust)
    sawing.enter("log", log, _Origin(None, None, ()))
    for operation in document["operations"]:
        if operation["op"] == "cut":
            sawing.cut(operation)
    return sawing.sawn


def piece_volumes(document: dict[str, Any], clocks: int = CLOCKS) -> dict[str, float]:
    """Volume of wood of every piece, by id, from `model` and `operations` alone. [mm³]

    Usable before `pieces[].volume` and `totals` are filled in; kerf is the log's volume less that of what no cut used.
    """
    return _carried_out(document, clocks, look=None, weighs_dust=False).volumes


def _face(operation: dict[str, Any], side: str) -> SawnFace:
    normal = np.asarray(operation["normal"], float)
    sign = -1.0 if side == "above" else 1.0
    return SawnFace(sign * normal, sign * operation["offset"] - operation["kerf"] / 2.0, operation["id"])


@dataclass(frozen=True, slots=True)
class _Origin:
    """Where a piece comes from: the piece and the cut, none of the log; and all its sawn faces."""

    parent: str | None
    made_by: str | None
    faces: tuple[SawnFace, ...]


@dataclass(frozen=True, slots=True)
class _Sawing:
    """What the cuts made so far, the solids not yet used, who looks at each as it is made, whether sawdust is weighed."""

    sawn: Sawn
    live: dict[str, manifold3d.Manifold]
    look: Look | None
    weighs_dust: bool

    def enter(self, name: str, solid: manifold3d.Manifold, origin: _Origin) -> None:
        """Note one more piece."""
        self.live[name] = solid
        sawn = self.sawn
        sawn.volumes[name] = max(0.0, solid.volume())
        sawn.parent[name], sawn.made_by[name], sawn.faces[name] = origin.parent, origin.made_by, origin.faces
        if self.look is not None:
            self.look(name, solid)

    def cut(self, operation: dict[str, Any]) -> None:
        """Saw a piece in two, or note why it cannot be."""
        sawn, name, piece = self.sawn, operation["id"], operation["piece"]
        if piece not in self.live:
            why = "used" if piece in sawn.used_by else "unknown"
            words = f"{name} cuts {piece}, which is {why} by then"
            sawn.findings.append(Finding(f"piece-{why}", name, piece, why, words))
            return
        solid, plane = self.live.pop(piece), (operation["normal"], operation["offset"], operation["kerf"])
        above, below = cut(solid, *plane)
        sawn.used_by[piece] = name
        if self.weighs_dust:
            sawn.kerf_volume += sawdust(solid, *plane)
        for side, solid in (("above", above), ("below", below)):
            made = operation[side]
            if made in sawn.volumes:
                words = f"{name} makes {made} a second time"
                sawn.findings.append(Finding("piece-twice", name, made, made, words))
                continue
            self.enter(made, solid, _Origin(piece, name, (*sawn.faces[piece], _face(operation, side))))
