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

__all__ = ["Finding", "ReplayReport", "piece_volumes", "replay"]

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


def replay(document: dict[str, Any]) -> ReplayReport:
    """Replay a whole script and hold everything it states against what comes out.

    Parameters
    ----------
    document : dict
        A cut script that keeps its schema (`pithline.script.schema.validate`).
    """
    plates = {one["id"] for one in document["plates"]}
    on_saw = {one["piece"]: one["tool"] for one in document["operations"] if one["op"] == "setting"}
    corners: dict[str, Array] = {}
    lumps: dict[str, float] = {}
    lengths: dict[str, float] = {}

    def look(name: str, solid: manifold3d.Manifold) -> None:
        tool = on_saw.get(name)
        if name in plates or tool not in (None, "mill"):
            corners[name] = vertices(solid)
        if tool is not None:
            low, _, _, high, _, _ = solid.bounding_box()
            lengths[name] = high - low
        if tool == "mill":
            lumps[name] = largest_share(solid)

    sawn = saw(document, look)
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
