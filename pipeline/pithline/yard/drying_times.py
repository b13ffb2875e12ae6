"""How long what was sawn dries, by the one relation of `trade.drying`: plates by their own thickness, dried parts by their billet's."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from pithline.mill.products import Products
from pithline.plan.api import Ledger, SawnPart
from pithline.trade.drying import Drying

Billets = Mapping[tuple[str, str], float]
"""The thickest billet of each (product, part). [mm]"""


def drying_weeks(products: Products, name: str, drying: Drying, billets: Billets) -> int:
    """Whole weeks from the saw until a set of a product can be delivered: those of its thickest piece."""
    product = next(one for one in products.products if one.name == name)
    thickest = max(
        billets.get((name, part.name), part.thickness) if part.resaw == "dried" else part.thickness
        for part in product.parts
    )
    return math.ceil(drying.weeks(thickest) - 1e-9)


def mean_months(ledger: Ledger, parts: Sequence[SawnPart], drying: Drying) -> float:
    """Months that passing plates dry on average, by volume; 0 where none passes."""
    billets = billet_thickness(ledger, parts)
    volume = total = 0.0
    for plate in ledger.passing:
        part = parts[plate.part]
        dried = part.part.resaw == "dried"
        thickness = billets.get(part.key, part.thickness) if dried else part.thickness
        volume += plate.volume
        total += plate.volume * drying.months(thickness)
    return total / volume if volume > 0.0 else 0.0


def billet_thickness(ledger: Ledger, parts: Sequence[SawnPart]) -> dict[tuple[str, str], float]:
    """The thickest billet of each (product, part), as far as its plates reach across it. [mm]"""
    parent = {side: cut.piece for cut in ledger.cuts for side in cut.sides}
    reach: dict[tuple[str, str, str], list[float]] = {}
    for plate in ledger.plates:
        billet = plate.id
        while billet in parent and ledger.pieces[billet].kind != "billet":
            billet = parent[billet]
        edge, corner = plate.edges[2], plate.corner
        size = math.sqrt(sum(v * v for v in edge))
        at = sum(a * b for a, b in zip(corner, edge, strict=True)) / size
        reach.setdefault((*parts[plate.part].key, billet), []).extend((at, at + size))
    out: dict[tuple[str, str], float] = {}
    for (product, part, _), ends in reach.items():
        out[product, part] = max(out.get((product, part), 0.0), max(ends) - min(ends))
    return out
