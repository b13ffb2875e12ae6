"""Layouts that looks near the best prices showed, each by itself: of a small log many are carried out beside the best on the grid.

The grid tells layouts of a small or doubtful log apart poorly: few whole sets make up its worth, and machines that round, and wood
that is not known, take some of them away. What a layout is likely to be worth shows once it is carried out, which takes a small log's
machines a tenth of a second.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace

import numpy as np

from pithline.plan.class_answers import CLOSE_LOOKS, WaySearch, master_task
from pithline.plan.columns.way_master import MasterAnswer, choose_ways
from pithline.plan.pricing.class_search import ClassFound, Look
from pithline.plan.pricing.log_grid import GridSlab
from pithline.plan.pricing.log_oracle import Way
from pithline.plan.problem.layout import LayoutSetting

FIRSTS = 3
"""Layouts of each look, the best by first settings."""


def looked_layouts(
    search: WaySearch, searched: Sequence[ClassFound], most: int, met: Collection[LayoutSetting | None] = ()
) -> list[tuple[ClassFound, MasterAnswer]]:
    """The layouts of looks that sell best on the grid, each with its class, best first.

    Each is the best way of its look as it stands, which a master need not have taken: it chooses only how slabs are filled, and leaves
    settings that do not pay.

    Parameters
    ----------
    search : WaySearch
        A log that is sawn whole.
    searched : sequence of ClassFound
        What looks at each class showed.
    most : int
        Layouts at most.
    met : collection of LayoutSetting or None
        Layouts that are known already.
    """
    known = set(met)
    tried: set[Way[GridSlab]] = set()
    out = []
    for found in searched:
        for look in found.looks:
            for way in _ways_of(look, found.bound):
                if way in tried:
                    continue
                tried.add(way)
                answer = _alone(search, found, way)
                if answer is not None and any(answer.layouts) and answer.layouts[0] not in known:
                    known.add(answer.layouts[0])
                    out.append((found, answer))
    return sorted(out, key=lambda one: -one[1].value)[:most]


def _ways_of(look: Look, bound: float) -> list[Way[GridSlab]]:
    """The best layouts of a look whose bound is near the least one, by first settings."""
    if look.bound > bound + CLOSE_LOOKS * abs(bound):
        return []
    return [_best_alone(way) for way in look.ways[0][:FIRSTS]]


def _best_alone(way: Way[GridSlab]) -> Way[GridSlab]:
    """A way with the best way to go on, and no other."""
    above, below = (tuple(map(_best_alone, side[:1])) for side in (way.above, way.below))
    return replace(way, above=above, below=below)


def _alone(search: WaySearch, found: ClassFound, way: Way[GridSlab]) -> MasterAnswer | None:
    """What one layout sells on the grid."""
    return choose_ways(master_task(search, found, [[way]], np.inf), search.context.effort.master, search.context.seed)
