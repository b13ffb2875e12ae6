"""A plan as a cut script: the ledger's operations, pieces and plates put in the words of design section 6."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from pithline.mill.products import Products
from pithline.plan.execute.ledger import Ledger
from pithline.plan.execute.sets import assign_sets, match
from pithline.plan.problem.parts import SawnPart


@dataclass(frozen=True, slots=True)
class Sums:
    """Everything a totals table needs of one carried-out layout."""

    ledger: Ledger
    volumes: Mapping[str, float]
    log_volume: float
    sets: Mapping[str, int]


def settle(
    ledger: Ledger, parts: tuple[SawnPart, ...], products: Products, volumes: Mapping[str, float], log_volume: float
) -> Sums:
    """Match mates, gather sets, and keep the volumes of wood beside the ledger."""
    match(ledger.plates, parts)
    return Sums(ledger, volumes, log_volume, assign_sets(ledger.plates, parts, products))


def totals(sums: Sums, products: Products) -> dict[str, Any]:
    """The totals table: volumes mm³, kerf as the log less all pieces that are left."""
    ledger = sums.ledger
    good = [plate for plate in ledger.plates if plate.grade.passes]
    leaves = ledger.leaves()
    left = sum(sums.volumes.get(name, 0.0) for name in leaves)
    in_plates = sum(sums.volumes.get(plate.id, 0.0) for plate in good)
    prices = {product.name: product.price for product in products.products}
    return {
        "instrument_volume": float(sum(plate.volume for plate in good)),
        "plates": len(good),
        "sets": dict(sums.sets),
        "value": float(sum(prices[name] * n for name, n in sums.sets.items())),
        "kerf_volume": float(max(sums.log_volume - left, 0.0)),
        "offcut_volume": float(max(left - in_plates, 0.0)),
        "log_volume": float(sums.log_volume),
        "minutes": ledger.minutes,
        "settings": ledger.charged,
    }


def piece_list(ledger: Ledger, volumes: Mapping[str, float]) -> list[dict[str, Any]]:
    """Pieces with kind, maker and volume; a piece that holds no wood is an offcut whatever it was to be."""
    out = []
    for name, piece in ledger.pieces.items():
        volume = max(float(volumes.get(name, 0.0)), 0.0)
        kind = "offcut" if volume <= 0.0 and name not in ledger.used else piece.kind
        out.append({"id": name, "mark": "", "kind": kind, "made_by": ledger.made_by[name], "volume": volume})
    return out


def plate_list(ledger: Ledger, parts: tuple[SawnPart, ...]) -> list[dict[str, Any]]:
    """Plates as sawn, with their grades in degrees."""
    out = []
    for plate in ledger.plates:
        part, grade = parts[plate.part], plate.grade
        out.append(
            {
                "id": plate.id,
                "product": part.product,
                "part": part.part.name,
                "set_id": plate.set_id,
                "mate": plate.mate,
                "corner": [float(v) for v in plate.corner],
                "edges": [[float(v) for v in edge] for edge in plate.edges],
                "volume": float(plate.volume),
                "ring_angle": {"min": float(np.degrees(grade.ring_min)), "mean": float(np.degrees(grade.ring_mean))},
                "runout": float(np.degrees(grade.runout)),
                "limits": part.limits.name,
                "passes": bool(grade.passes),
            }
        )
    return out


def plain(value: Any) -> Any:
    """The same data with numpy's numbers and arrays made plain."""
    if isinstance(value, Mapping):
        return {key: plain(one) for key, one in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(one) for one in value]
    if isinstance(value, np.generic):
        return value.item()
    if isinstance(value, np.ndarray):
        return value.tolist()
    return value


def weigh(ledger: Ledger, volumes: Mapping[str, float], density: float) -> None:
    """Weights of settings in the shop, from the wood of their pieces; settings on the mill weighed theirs with bark."""
    for operation in ledger.operations:
        if operation["op"] == "setting" and operation["weight_kg"] == 0.0:
            operation["weight_kg"] = float(volumes.get(operation["piece"], 0.0) * 1e-9 * density)
