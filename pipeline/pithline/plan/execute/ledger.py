"""What a plan has sawn so far: operations, pieces, plates, with ids in working order."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from pithline.geometry.pieces import Piece

Array = NDArray[np.float64]


@dataclass(slots=True)
class Plate:
    """A plate that was sawn, log frame."""

    id: str
    part: int
    corner: Array
    edges: tuple[Array, Array, Array]
    grade: object
    billet: str
    layer: int
    volume: float
    role: str = "log"  # of the setting whose slab it came from
    mate: str | None = None
    set_id: str | None = None


@dataclass(slots=True)
class Ledger:
    """Grows while a layout is carried out; nothing is ever taken back."""

    operations: list[dict] = field(default_factory=list)
    pieces: dict[str, Piece] = field(default_factory=dict)
    made_by: dict[str, str | None] = field(default_factory=dict)
    used: set[str] = field(default_factory=set)
    boxes: dict[str, float] = field(default_factory=dict)
    plates: list[Plate] = field(default_factory=list)
    counts: dict[str, int] = field(default_factory=dict)
    cautions: list[str] = field(default_factory=list)

    @property
    def minutes(self) -> float:
        """Time of all settings so far. [min]"""
        return float(sum(o["minutes"] for o in self.operations if o["op"] == "setting"))

    @property
    def charged(self) -> int:
        """Charged settings so far."""
        return sum(bool(o["charged"]) for o in self.operations if o["op"] == "setting")

    def fresh(self, prefix: str) -> str:
        """Next id with this prefix."""
        self.counts[prefix] = self.counts.get(prefix, 0) + 1
        return f"{prefix}{self.counts[prefix]}"

    def setting(
        self, tool: str, piece: str, charged: bool, minutes: float, stage: str = "green", **more: object
    ) -> dict:
        """Open a setting of a piece on a machine."""
        entry = {
            "op": "setting",
            "id": self.fresh("set-"),
            "tool": tool,
            "piece": piece,
            "stage": stage,
            "weight_kg": 0.0,
            "minutes": minutes,
            "charged": charged,
            "checks": [],
            "cautions": [],
            **more,
        }
        self.operations.append(entry)
        return entry

    def cut(
        self,
        setting: dict,
        piece: Piece,
        normal: Array,
        offset: float,
        kerf: float,
        above: tuple[str, str],
        below: tuple[str, str],
        **more: object,
    ) -> tuple[Piece, Piece]:
        """Part a piece in two; `above` and `below` are (id, kind)."""
        cut = self.fresh("cut-")
        self.used.add(piece.id)
        over = piece.above(normal, offset, kerf, cut, *above)
        under = piece.below(normal, offset, kerf, cut, *below)
        for one in (over, under):
            self.pieces[one.id] = one
            self.made_by[one.id] = cut
        self.operations.append(
            {
                "op": "cut",
                "id": cut,
                "tool": setting["tool"],
                "setting": setting["id"],
                "piece": piece.id,
                "normal": [float(v) for v in normal],
                "offset": float(offset),
                "kerf": float(kerf),
                **more,
                "above": over.id,
                "below": under.id,
            }
        )
        return over, under

    def leaves(self) -> list[str]:
        """Pieces nothing more is done with."""
        return [name for name in self.pieces if name not in self.used]
