"""What a carried-out layout comes to: volumes, sets, money; and its pieces and plates in the words of a cut script."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from pithline.logmodel.card import Figure, figure_factor
from pithline.mill.machine import Machines
from pithline.mill.products import Products
from pithline.plan.execute.ledger import Ledger, Plate
from pithline.plan.execute.sets import gather_sets
from pithline.plan.problem.operations import Operation, Setting
from pithline.plan.problem.parts import SawnPart


@dataclass(frozen=True, slots=True)
class Sums:
    """Everything a totals table needs of one carried-out layout.

    Attributes
    ----------
    ledger : Ledger
        What was sawn.
    plates : tuple of Plate
        Its plates with their mates and sets.
    sets : mapping of str to int
        Complete sets by product.
    volumes : mapping of str to float
        Wood of every piece. [mm³]
    log_volume : float
        [mm³]
    parts : tuple of SawnPart
        What plates are of.
    """

    ledger: Ledger
    plates: tuple[Plate, ...]
    sets: Mapping[str, int]
    volumes: Mapping[str, float]
    log_volume: float
    parts: tuple[SawnPart, ...]

    def with_wood(self) -> Sums:
        """Without plates whose pieces hold no wood: of such an earlier script may tell."""
        return replace(self, plates=tuple(plate for plate in self.plates if self.volumes.get(plate.id, 0.0) > 0.0))


def sum_up(
    ledger: Ledger,
    parts: tuple[SawnPart, ...],
    products: Products,
    volumes: Mapping[str, float],
    figures: Sequence[Figure] = (),
) -> Sums:
    """Match mates, gather sets, and keep the volumes of wood beside the ledger; that of "log" is among them. [mm³]

    `figures` are the card's zones.

    Parameters
    ----------
    ledger : Ledger
        What was sawn.
    parts : tuple of SawnPart
        What plates are of, by the number that each plate has.
    products : Products
        Which sets are made of them.
    volumes : mapping of str to float
        Wood of every piece, and of "log". [mm³]
    figures : sequence of Figure
        The card's zones of figured wood.
    """
    gathered = gather_sets([_figured(plate, parts, figures) for plate in ledger.plates], parts, products)
    return Sums(ledger, gathered.plates, gathered.sets, volumes, volumes["log"], parts)


def _figured(plate: Plate, parts: Sequence[SawnPart], figures: Sequence[Figure]) -> Plate:
    """A plate with what its figure multiplies its price by: seen on the widest parts of a product alone."""
    if not figures or not parts[plate.part].widest:
        return plate
    return replace(plate, figure=figure_factor(figures, *plate.stations))


def _sets_value(sums: Sums, prices: Mapping[str, float]) -> float:
    """Sets at their price, times the least factor of figure among each one's widest plates."""
    factors: dict[tuple[str, str], float] = {}
    for plate in sums.plates:
        part = sums.parts[plate.part]
        if plate.set_id is not None and part.widest:
            own = (part.product, plate.set_id)
            factors[own] = min(factors.get(own, np.inf), plate.figure)
    figured = sum((factor - 1.0) * prices[product] for (product, _), factor in factors.items())
    return float(sum(prices[name] * n for name, n in sums.sets.items()) + figured)


def totals(sums: Sums, products: Products, machines: Machines) -> dict[str, Any]:
    """The totals table: volumes mm³, kerf as the log less all pieces that are left, money, minutes."""
    ledger, mill = sums.ledger, machines.mill
    good = [plate for plate in sums.plates if plate.passes]
    left = sum(sums.volumes.get(name, 0.0) for name in ledger.leaves())
    in_plates = sum(sums.volumes.get(plate.id, 0.0) for plate in good)
    prices = {product.name: product.price for product in products.products}
    value = _sets_value(sums, prices)
    loose = loose_value(good, sums.parts, products)
    minutes = ledger.minutes + mill.minutes_per_log
    labour = minutes * mill.hour_rate / 60.0
    in_sets = float(sum(plate.volume for plate in good if plate.set_id is not None))
    volume = float(sum(plate.volume for plate in good))
    return {
        "instrument_volume": volume,
        "plates": len(good),
        "sets": dict(sums.sets),
        "value": value,
        "set_volume": in_sets,
        "loose_volume": volume - in_sets,
        "loose_value": loose,
        "labour": labour,
        "earnings": value + loose - labour,
        "kerf_volume": float(max(sums.log_volume - left, 0.0)),
        "offcut_volume": float(max(left - in_plates, 0.0)),
        "log_volume": float(sums.log_volume),
        "minutes": minutes,
        "settings": ledger.charged,
        "set_ups": ledger.set_ups,
    }


def loose_value(plates: Sequence[Plate], parts: Sequence[SawnPart], products: Products) -> float:
    """What passing plates in no set bring: at their part's price, bookmatched ones in mated pairs, no more than are wanted."""
    total = 0.0
    for product in products.products:
        for part in product.parts:
            own = [plate for plate in plates if parts[plate.part].key == (product.name, part.name)]
            loose = [
                plate for plate in own if plate.set_id is None and (plate.mate is not None or not part.bookmatched)
            ]
            count = len(loose)
            if product.demand is not None:
                count = min(count, product.demand * part.count - sum(plate.set_id is not None for plate in own))
            best = sorted((plate.figure for plate in loose), reverse=True)[
                : count // 2 * 2 if part.bookmatched else count
            ]
            total += part.loose_price * sum(best) / (2 if part.bookmatched else 1)
    return total


def piece_list(ledger: Ledger, volumes: Mapping[str, float]) -> list[dict[str, Any]]:
    """Pieces with kind, maker and volume; a piece that holds no wood is an offcut whatever it was to be."""
    out = []
    for name, piece in ledger.pieces.items():
        volume = max(float(volumes.get(name, 0.0)), 0.0)
        kind = "offcut" if volume <= 0.0 and name not in ledger.used else piece.kind
        out.append({"id": name, "mark": "", "kind": kind, "made_by": ledger.made_by[name], "volume": volume})
    return out


def plate_list(plates: tuple[Plate, ...], parts: tuple[SawnPart, ...]) -> list[dict[str, Any]]:
    """Plates as sawn, with their grades in degrees."""
    out = []
    for plate in plates:
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
                "slope": float(np.degrees(grade.slope)),
                "sapwood": float(grade.sapwood),
                **({"figure": float(plate.figure)} if plate.figure != 1.0 else {}),
                "limits": part.limits.name,
                "passes": bool(grade.passes),
            }
        )
    return out


def weighed(ledger: Ledger, volumes: Mapping[str, float], density: float) -> tuple[Operation, ...]:
    """The operations, settings in the shop with the weight of their pieces' wood; those on the mill weighed theirs with bark.

    Parameters
    ----------
    ledger : Ledger
        What was sawn.
    volumes : mapping of str to float
        Wood of every piece. [mm³]
    density : float
        Of green wood. [kg/m³]
    """
    return tuple(
        replace(each, weight_kg=float(volumes.get(each.piece, 0.0) * 1e-9 * density))
        if isinstance(each, Setting) and each.weight_kg == 0.0
        else each
        for each in ledger.operations
    )
