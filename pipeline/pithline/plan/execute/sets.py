"""Mates and instrument sets among the plates of a plan."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace

from pithline.mill.products import Product, Products
from pithline.plan.execute.ledger import Plate
from pithline.plan.problem.parts import SawnPart


@dataclass(frozen=True, slots=True)
class GatheredSets:
    """Plates with their mates and sets, in the order they were given, and complete sets by product."""

    plates: tuple[Plate, ...]
    sets: dict[str, int]


def gather_sets(plates: Sequence[Plate], parts: tuple[SawnPart, ...], products: Products) -> GatheredSets:
    """Match mates and gather passing plates into complete sets, up to the demand; bookmatched parts go in mated pairs."""
    matched = match_mates(plates, parts)
    set_of: dict[str, str] = {}
    sets: dict[str, int] = {}
    for product in products.products:
        pools = _pools(matched, parts, product)
        count = min((len(pool) for pool in pools), default=0)
        if product.demand is not None:
            count = min(count, product.demand)
        for n in range(count):
            set_of |= {plate.id: f"{product.name} {n + 1}" for pool in pools for plate in pool[n]}
        sets[product.name] = count
    return GatheredSets(tuple(replace(plate, set_id=set_of.get(plate.id)) for plate in matched), sets)


def match_mates(plates: Sequence[Plate], parts: tuple[SawnPart, ...]) -> tuple[Plate, ...]:
    """The plates, bookmatched neighbours of one billet mated: passing plates of adjacent layers, in pairs."""
    billets: dict[str, list[Plate]] = defaultdict(list)
    for plate in plates:
        if plate.passes and parts[plate.part].part.bookmatched:
            billets[plate.billet].append(plate)
    mates: dict[str, str] = {}
    for group in billets.values():
        group.sort(key=lambda plate: plate.layer)
        i = 0
        while i + 1 < len(group):
            first, second = group[i], group[i + 1]
            if second.layer == first.layer + 1:
                mates[first.id], mates[second.id] = second.id, first.id
                i += 2
            else:
                i += 1
    return tuple(replace(plate, mate=mates.get(plate.id)) for plate in plates)


def _pools(plates: Sequence[Plate], parts: tuple[SawnPart, ...], product: Product) -> list[list[list[Plate]]]:
    """Of each part of a product, the groups of plates that one set takes."""
    by_id = {plate.id: plate for plate in plates}
    pools: list[list[list[Plate]]] = []
    for index, part in enumerate(parts):
        if part.product != product.name:
            continue
        own = [plate for plate in plates if plate.part == index and plate.passes]
        own.sort(key=lambda plate: -plate.figure)  # figured plates go together, and into sets first
        need = part.part.count
        if part.part.bookmatched:
            pairs = [(plate, by_id[plate.mate]) for plate in own if plate.mate is not None and plate.id < plate.mate]
            own, need = [plate for pair in pairs for plate in pair], 2 * (need // 2)
        pools.append([own[k : k + need] for k in range(0, len(own) - need + 1, need)])
    return pools
