"""Mates and instrument sets among the plates of a plan."""

from __future__ import annotations

import functools
import operator
from collections import defaultdict

from pithline.mill.products import Products
from pithline.plan.execute.ledger import Plate
from pithline.plan.problem.parts import SawnPart


def match(plates: list[Plate], parts: tuple[SawnPart, ...]) -> None:
    """Give bookmatched neighbours of one billet each other as mates: passing plates of adjacent layers, in pairs."""
    billets: dict[str, list[Plate]] = defaultdict(list)
    for plate in plates:
        if plate.grade.passes and parts[plate.part].part.bookmatched:
            billets[plate.billet].append(plate)
    for group in billets.values():
        group.sort(key=lambda plate: plate.layer)
        i = 0
        while i + 1 < len(group):
            first, second = group[i], group[i + 1]
            if second.layer == first.layer + 1:
                first.mate, second.mate = second.id, first.id
                i += 2
            else:
                i += 1


def assign_sets(plates: list[Plate], parts: tuple[SawnPart, ...], products: Products) -> dict[str, int]:
    """Gather plates into complete sets, up to the demand; bookmatched parts go in mated pairs. Returns sets by product."""
    by_id = {plate.id: plate for plate in plates}
    made: dict[str, int] = {}
    for product in products.products:
        pools: list[tuple[int, list[list[Plate]]]] = []
        for index, part in enumerate(parts):
            if part.product != product.name:
                continue
            own = [plate for plate in plates if plate.part == index and plate.grade.passes]
            if part.part.bookmatched:
                pairs = [[p, by_id[p.mate]] for p in own if p.mate is not None and p.id < p.mate]
                need = part.part.count // 2
                groups = [
                    functools.reduce(operator.iadd, pairs[k : k + need], [])
                    for k in range(0, len(pairs) - need + 1, need)
                ]
            else:
                need = part.part.count
                groups = [own[k : k + need] for k in range(0, len(own) - need + 1, need)]
            pools.append((index, groups))
        count = min((len(groups) for _, groups in pools), default=0)
        if product.demand is not None:
            count = min(count, product.demand)
        for n in range(count):
            for _, groups in pools:
                for plate in groups[n]:
                    plate.set_id = f"{product.name} {n + 1}"
        made[product.name] = count
    return made
