"""What a search states of itself: its grid and class in words, and how many layouts it weighed."""

from __future__ import annotations

from collections.abc import Sequence

from pithline.plan.pricing.log_grid import LogGrid
from pithline.plan.pricing.log_oracle import BoltClass
from pithline.plan.problem.context import SearchContext
from pithline.plan.programmes.fan_stacks import FAN_REACH


def layouts_considered(grids: Sequence[LogGrid], looks: int) -> int:
    """Layouts that the programmes weighed, more or less: stacks of every roll, and stacks and corners of every half."""
    total = 0
    for one in grids:
        rolls, depths, corners = one.grid.rolls, len(one.grid.depths), len(one.corners)
        total += rolls * depths * depths // 2 * len(one.rules.menu)
        total += 2 * rolls * corners * (depths * depths // 2 + corners)
    return total * looks


def search_words(grids: Sequence[LogGrid], bolts: BoltClass, context: SearchContext) -> str:
    """The stated grid and class of a search."""
    grid = grids[0].grid
    if not bolts.sawn:
        fans = "bolts left whole"
    else:
        angles = " ".join(f"{angle:g}" for angle in bolts.cradles_deg)
        held = f"in cradles of {angles}°" if angles else ""
        free = f"at multiples of {180 / grid.rolls * max(1, grid.rolls // 18):g}°" if bolts.any_angle else ""
        fans = (
            f"bolts sawn flat on their faces or {' or '.join(one for one in (held, free) if one)}, "
            f"{'on the mill' if bolts.on_mill else 'in the shop'}, no run reaching more than {FAN_REACH:g} mm under "
            "the pith's chord, wood wasted between slabs or not, a bolt parted once by its first slab or not, "
            f"bolt corners rounded outwards to {context.effort.corner_step:g} mm"
        )
    return (
        f"rolls every {180 / grid.rolls:g}°, slab faces every {grid.depth_step:g} mm, thicknesses "
        + " ".join(f"{t:g}" for t in grid.thicknesses)
        + f" mm, across {grid.across_step:g} mm, along {grid.along_step:g} mm; class: slabs of one roll, halves turned 90°, {fans}"
    )
