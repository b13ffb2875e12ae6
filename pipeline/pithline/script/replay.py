"""Replay of a cut script on the log it carries: pieces, plates, grades, the mill, sums. Never asks the planner."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import manifold3d
import numpy as np
from numpy.typing import NDArray

from pithline.script.finding import Finding
from pithline.script.grades import wood_of
from pithline.script.machine import machine_findings
from pithline.script.pieces import Sawn, piece_volumes, saw
from pithline.script.plates import plate_findings
from pithline.script.set_ups import set_up_findings
from pithline.script.shop import shop_findings
from pithline.script.solid import largest_share, vertices
from pithline.script.structure import structure_findings
from pithline.script.sums import sum_findings

Array = NDArray[np.float64]

__all__ = ["Finding", "ReplayReport", "Sawing", "piece_volumes", "replay", "sawing_of"]

SHARE = 0.005
"""Volumes agree within this share (design section 7)."""


@dataclass(frozen=True, slots=True)
class ReplayReport:
    """What a replay found. Volumes in mm³; `volumes` is the wood of every piece by id."""

    findings: tuple[Finding, ...]
    volumes: dict[str, float]
    kerf_volume: float
    log_volume: float

    @property
    def holds(self) -> bool:
        """Whether nothing was found wrong."""
        return not self.findings


@dataclass(frozen=True, slots=True)
class Sawing:
    """A log as a script's cuts saw it, with what a replay asks of its solids, and what all of that hangs on.

    Attributes
    ----------
    model : dict
        The log model that was sawn.
    steps : tuple
        Cuts with their planes, and settings with what they pose, in order.
    sawn : Sawn
        What the cuts made.
    corners, lengths, lumps : dict
        By piece the vertices (n, 3) of its solid, the reach along the log of what is posed, and the share of the largest lump of what is
        posed on the mill.
    """

    model: dict[str, Any]
    steps: tuple[Any, ...]
    sawn: Sawn
    corners: dict[str, Array]
    lengths: dict[str, float]
    lumps: dict[str, float]

    def is_of(self, document: dict[str, Any]) -> bool:
        """Whether sawing a document anew would give the very same: its model, cuts and settings are those that were sawn."""
        return self.steps == _steps(document) and self.model == document["model"]


def _steps(document: dict[str, Any]) -> tuple[Any, ...]:
    return tuple(
        (one["id"], one["piece"], *map(float, one["normal"]), one["offset"], one["kerf"], one["above"], one["below"])
        if one["op"] == "cut"
        else (one["id"], one["piece"], one["tool"])
        for one in document["operations"]
    )


def sawing_of(document: dict[str, Any]) -> Sawing:
    """Saw the log of a script, from `model` and `operations` alone: usable before pieces, plates and totals are filled in."""
    on_saw = {one["piece"]: one["tool"] for one in document["operations"] if one["op"] == "setting"}
    corners: dict[str, Array] = {}
    lumps: dict[str, float] = {}
    lengths: dict[str, float] = {}

    def look(name: str, solid: manifold3d.Manifold) -> None:
        tool = on_saw.get(name)
        corners[name] = vertices(solid)
        if tool is not None:
            low, _, _, high, _, _ = solid.bounding_box()
            lengths[name] = high - low
        if tool == "mill":
            lumps[name] = largest_share(solid)

    return Sawing(document["model"], _steps(document), saw(document, look), corners, lengths, lumps)


def replay(document: dict[str, Any], sawing: Sawing | None = None) -> ReplayReport:
    """Replay a whole script and hold everything it states against what comes out.

    Parameters
    ----------
    document : dict
        A cut script that keeps its schema (`pithline.script.schema.validate`).
    sawing : Sawing, optional
        Of `sawing_of`, where this very log was sawn by these very cuts already; one of anything else is not looked at, and the log is
        sawn anew.
    """
    if sawing is None or not sawing.is_of(document):
        sawing = sawing_of(document)
    sawn, corners, lumps, lengths = sawing.sawn, sawing.corners, sawing.lumps, sawing.lengths
    findings = (
        *sawn.findings,
        *structure_findings(document, sawn),
        *volume_findings(document, sawn),
        *plate_findings(document, sawn, corners, wood_of(document)),
        *machine_findings(document, sawn, lumps),
        *shop_findings(document, sawn, corners),
        *set_up_findings(document, sawn, lengths),
        *sum_findings(document, sawn),
    )
    return ReplayReport(findings, sawn.volumes, sawn.kerf_volume, sawn.log_volume)


def volume_findings(document: dict[str, Any], sawn: Sawn, share: float = SHARE) -> list[Finding]:
    """Stated volumes of pieces and of the log against those sawn."""
    found, whole = [], sawn.log_volume
    for piece in document["pieces"]:
        name = piece["id"]
        if name not in sawn.volumes:
            continue
        real = sawn.volumes[name]
        if abs(real - piece["volume"]) > max(share * real, 1e-5 * whole):
            words = f"{name} is stated as {piece['volume']:.0f} mm³ but holds {real:.0f}"
            found.append(Finding("piece-volume", name, piece["volume"], real, words))
    total = sum(sawn.volumes[name] for name in sawn.leaves()) + sawn.kerf_volume
    stated = document["totals"]["log_volume"]
    for kind, value in (("balance", total), ("log-volume", whole)):
        if abs(value - stated) > share * whole:
            words = f"totals state a log of {stated:.0f} mm³, {value:.0f} found"
            found.append(Finding(kind, "totals", stated, value, words))
    return found
