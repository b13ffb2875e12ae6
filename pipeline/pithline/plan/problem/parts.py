"""Parts as the planner sees them: green sizes to saw, limits, what each plate counts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pithline.logmodel.species import species_of
from pithline.mill.products import Limits, Part, Product, Products
from pithline.trade.shrinkage import sawn_size


@dataclass(frozen=True, slots=True)
class SawnPart:
    """One part with the size it must be sawn to (green, mm) so that no ring angle its limits allow leaves it small."""

    product: str
    part: Part
    limits: Limits
    length: float
    width: float
    thickness: float
    volume: float  # mm³ one plate counts, at its own green size
    demand: int | None  # plates, not sets
    price: float
    widest: bool = True  # of its product: what figure is seen on

    @property
    def key(self) -> tuple[str, str]:
        """Product and part name."""
        return self.product, self.part.name


def sawn_parts(products: Products, species: str) -> tuple[SawnPart, ...]:
    """All parts of a products file in the order of the file."""
    out = []
    kind = species_of(species)
    for product in products.products:
        for part in product.parts:
            limits = products.limits_of(product, part)
            sizes = [sawn_size(part, angle, kind, products) for angle in (limits.ring_angle_mean, np.pi / 2)]
            length, width, thickness = (max(size[i] for size in sizes) for i in range(3))
            own = sizes[1]
            demand = None if product.demand is None else product.demand * part.count
            out.append(
                SawnPart(
                    product.name,
                    part,
                    limits,
                    length,
                    width,
                    thickness,
                    own[0] * own[1] * own[2],
                    demand,
                    price_of(product, part),
                    part.width >= max(one.width for one in product.parts),
                )
            )
    return tuple(out)


def first_alike(parts: Sequence[SawnPart]) -> tuple[int, ...]:
    """Of each part the number of the first one that plates may be of as well: of the same product, sawn and sold alike; itself, mostly.

    Top and back of a dulcimer differ in name alone. What is sawn as one serves as the other.
    """
    first: dict[tuple[object, ...], int] = {}
    out = []
    for number, one in enumerate(parts):
        part = one.part
        sold = (part.bookmatched, part.resaw, part.loose_price, one.widest)
        key = (one.product, one.limits, one.length, one.width, one.thickness, one.volume, *sold)
        out.append(first.setdefault(key, number))
    return tuple(out)


def price_of(product: Product, part: Part) -> float:
    """A plate's share of its set's price, by volume."""
    whole = sum(one.volume * one.count for one in product.parts)
    return product.price * part.volume / whole if whole > 0 else 0.0


def sapwood_kept_out(limits: Limits, sapwood: float) -> float:
    """How deep under the bark plates of these limits must begin, where the sapwood is `sapwood` thick. [mm]

    Sapwood along one edge: a plate lies about radially, so its outer edge may stand that far out in the sapwood and no further.
    """
    if limits.sapwood == "any":
        return 0.0
    return sapwood if limits.sapwood == "none" else max(0.0, sapwood - limits.sapwood_edge)
