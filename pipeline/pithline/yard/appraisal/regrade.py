"""A carried-out layout graded again on a drawn log, and what it then brings.

The grid is coarser than that of a plan's own grade (design section 4): some 20 mm, edges included, for a plan is regraded on
hundreds of logs. On the log as fitted both grades agree but for plates at a limit.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pithline.logmodel.card import Defect
from pithline.logmodel.model import clock_direction
from pithline.mill.products import Products
from pithline.plan.frame import PlanLog
from pithline.plan.grade import grade_plate
from pithline.plan.ledger import Ledger, Plate
from pithline.plan.parts import SawnPart
from pithline.plan.sets import assign_sets, match
from pithline.wood.unusable import end_of, station_of

Array = NDArray[np.float64]
PITCH = 20.0


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a layout gives on one log: passing volume [mm³], complete sets, their price, plates that pass."""

    volume: float
    sets: Mapping[str, int]
    value: float
    plates: int


@dataclass(frozen=True, slots=True)
class Verdict:
    """One of the two grades a plate can have here."""

    passes: bool


_YES, _NO = Verdict(True), Verdict(False)


def passing(log: PlanLog, plates: list[Plate], parts: tuple[SawnPart, ...]) -> NDArray[np.bool_]:
    """Which plates pass on `log`, (n,)."""
    checks = [defect for defect in log.defects if defect.kind == "check"]
    others = [defect for defect in log.defects if defect.kind != "check"]
    bare = replace(log, defects=())
    out = np.zeros(len(plates), bool)
    for i, plate in enumerate(plates):
        low, high = _span(plate)
        near = tuple(defect for defect in others if _reaches(log, defect, low, high))
        one = replace(bare, defects=near) if near else bare
        if not grade_plate(one, plate.corner, plate.edges, parts[plate.part].limits, PITCH).passes:
            continue
        out[i] = not any(_crosses(log, check, plate) for check in checks if _reaches(log, check, low, high))
    return out


def _span(plate: Plate) -> tuple[float, float]:
    """Stations between which a plate lies."""
    edges = np.array([float(edge[0]) for edge in plate.edges])
    start = float(plate.corner[0])
    return start + float(edges[edges < 0].sum()), start + float(edges[edges > 0].sum())


def _crosses(log: PlanLog, check: Defect, plate: Plate) -> bool:
    """Whether a plate has an end check: thinner than any grid, it is met where points lie on both sides of its plane."""
    point, inward = end_of(check, log.model)
    length, width, thickness = plate.edges
    signs = np.array([[i, j, k] for i in (0, 1) for j in (0, 1) for k in (0, 1)], float)
    corners = plate.corner + signs @ np.array([length, width, thickness])
    depth = (corners - point) @ inward
    reach = (check.length or 0.0) + check.margin
    if depth.min() > reach:
        return False
    # the end of the plate that lies nearer to the log's end, cut back to where the check ends
    across = np.linspace(0.0, 1.0, max(int(np.ceil(np.linalg.norm(width) / PITCH)) + 1, 2))
    near = plate.corner if depth[0] < depth[4] else plate.corner + length
    points = np.concatenate([near + across[:, None] * width, near + across[:, None] * width + thickness])
    away = points[:, 1:] - station_of(log.field, points[:, 0], log.field.pith)
    way = clock_direction(check.clock or 0.0)
    side = (away @ np.array([-way[1], way[0]]))[away @ way > 0.0]
    return bool(len(side) and side.min() <= check.margin and side.max() >= -check.margin)


def _reaches(log: PlanLog, defect: Defect, low: float, high: float) -> bool:
    """Whether a defect can lie within stations low … high."""
    slack = defect.margin + 5.0
    if defect.kind in ("knot", "metal"):
        half = (defect.diameter or 0.0) * 0.6 + slack
        x = defect.x if defect.x is not None else (log.model.length if defect.end == "top" else 0.0)
        return bool(low - half <= x <= high + half)
    # ends stand up to some degrees off square
    reach = (defect.length or 0.0) + slack + 60.0
    return low <= reach if defect.end == "butt" else high >= log.model.length - reach


def outcome(mask: NDArray[np.bool_], plates: list[Plate], parts: tuple[SawnPart, ...], products: Products) -> Outcome:
    """Volume, complete sets and their price of the plates that pass."""
    copies = [
        replace(plate, grade=_YES if good else _NO, mate=None, set_id=None)
        for plate, good in zip(plates, mask, strict=True)
    ]
    match(copies, parts)
    sets = assign_sets(copies, parts, products)
    prices = {product.name: product.price for product in products.products}
    return Outcome(
        float(sum(plate.volume for plate, good in zip(plates, mask, strict=True) if good)),
        sets,
        float(sum(prices[name] * n for name, n in sets.items())),
        int(mask.sum()),
    )


def planned(ledger: Ledger) -> list[Plate]:
    """The plates that a carried-out layout counts on."""
    return [plate for plate in ledger.plates if plate.grade.passes]


def brings(log: PlanLog, plates: list[Plate], parts: tuple[SawnPart, ...], products: Products) -> Outcome:
    """What planned plates bring on `log`."""
    return outcome(passing(log, plates, parts), plates, parts, products)
