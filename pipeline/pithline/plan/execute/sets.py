"""Mates and instrument sets among the plates of a plan."""

from __future__ import annotations

import itertools
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace

from pithline.mill.products import Product, Products
from pithline.plan.execute.ledger import Plate
from pithline.plan.problem.parts import SawnPart, first_alike


@dataclass(frozen=True, slots=True)
class GatheredSets:
    """Plates with their mates and sets, in the order they were given, and complete sets by product."""

    plates: tuple[Plate, ...]
    sets: dict[str, int]


def gather_sets(plates: Sequence[Plate], parts: tuple[SawnPart, ...], products: Products) -> GatheredSets:
    """Match mates and gather passing plates into complete sets, up to the demand; bookmatched parts go in mated pairs.

    Figured plates go together, and into sets first. What is more figured than any set needs is left over, to be sold by itself. Plates of
    parts that are alike are dealt out among these, whichever each was sawn for.
    """
    matched = _dealt_out(match_mates(plates, parts), parts)
    set_of: dict[str, str] = {}
    sets: dict[str, int] = {}
    for product in products.products:
        pools = _pools(matched, parts, product)
        count = min((len(pool.units) // pool.taken for pool in pools), default=0)
        if product.demand is not None:
            count = min(count, product.demand)
        figures = [min((pool.figure(n) for pool in pools if pool.widest), default=1.0) for n in range(count)]
        for pool in pools:
            for n, plates_of_set in enumerate(pool.shared_out(figures)):
                set_of |= {plate.id: f"{product.name} {n + 1}" for plate in plates_of_set}
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


def _dealt_out(plates: Sequence[Plate], parts: tuple[SawnPart, ...]) -> tuple[Plate, ...]:
    """The plates, those of parts that are alike dealt out among them as sets take them, the most figured first."""
    alike, part_of = first_alike(parts), dict[str, int]()
    for first in sorted({one for n, one in enumerate(alike) if one != n}):
        each = [n for n, one in enumerate(alike) if one == first for _ in range(_taken(parts[n]))]
        own = [plate for plate in plates if plate.passes and alike[plate.part] == first]
        for unit, number in zip(_units(own, parts[first]), itertools.cycle(each), strict=False):
            part_of |= {plate.id: number for plate in unit}
    return tuple(replace(plate, part=part_of[plate.id]) if plate.id in part_of else plate for plate in plates)


@dataclass(frozen=True, slots=True)
class _Pool:
    """What sets may take of one part: plates, or mated pairs, the most figured first; how many of these a set takes."""

    units: list[tuple[Plate, ...]]
    taken: int
    widest: bool

    def figure(self, n: int) -> float:
        """The least factor of what the n-th set takes where each takes the most figured units that are left."""
        return min(_figure(unit) for unit in self.units[n * self.taken : (n + 1) * self.taken])

    def shared_out(self, figures: Sequence[float]) -> list[list[Plate]]:
        """The plates of each set, given how figured it is, falling: the least figured that will do, those of the last set first."""
        left, out = list(self.units), []
        if len({_figure(unit) for unit in left}) > 1:
            for least in reversed(figures):
                own = [n for n, unit in enumerate(left) if _figure(unit) >= least][-self.taken :]
                out.append([plate for n in own for plate in left[n]])
                left = [unit for n, unit in enumerate(left) if n not in own]
            return out[::-1]
        return [
            [plate for unit in left[n * self.taken : (n + 1) * self.taken] for plate in unit]
            for n in range(len(figures))
        ]


def _figure(unit: Sequence[Plate]) -> float:
    return min(plate.figure for plate in unit)


def _taken(part: SawnPart) -> int:
    """How many plates of a part, or mated pairs, one set takes."""
    return part.part.count // 2 if part.part.bookmatched else part.part.count


def _units(plates: Sequence[Plate], part: SawnPart) -> list[tuple[Plate, ...]]:
    """What sets may take of plates of one part: each, or each mated pair; the most figured first."""
    own = sorted(plates, key=lambda plate: -plate.figure)
    if not part.part.bookmatched:
        return [(plate,) for plate in own]
    by_id = {plate.id: plate for plate in own}
    pairs = [(plate, by_id[plate.mate]) for plate in own if plate.mate is not None and plate.id < plate.mate]
    return sorted(pairs, key=lambda pair: -_figure(pair))


def _pools(plates: Sequence[Plate], parts: tuple[SawnPart, ...], product: Product) -> list[_Pool]:
    """What sets of a product may take of each of its parts."""
    pools: list[_Pool] = []
    for index, part in enumerate(parts):
        if part.product == product.name:
            own = [plate for plate in plates if plate.part == index and plate.passes]
            pools.append(_Pool(_units(own, part), _taken(part), part.widest))
    return pools
