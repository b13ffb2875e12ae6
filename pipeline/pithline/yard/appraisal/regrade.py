"""A carried-out layout graded again on a drawn log, and what it then brings.

The grid is coarser than that of a plan's own grade (design section 4), for a plan is regraded on hundreds of logs: some 60 mm
along and 25 mm across, edges included, on the mid-plane and both faces. Ring angle, runout and bark change slowly along a
log; docs/appraisal.md says how often the two grades differ. The ends of a log do not move between draws, so the trims a plan has
kept clear of stay clear.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pithline.geometry.boxes import box_grid
from pithline.logmodel.card import Defect
from pithline.logmodel.model import clock_direction
from pithline.mill.products import Limits
from pithline.plan.api import Economics, Ledger, PlanLog, Plate, SawnPart, plate_counts
from pithline.wood.kernels import box_figures
from pithline.wood.unusable import end_of, in_defect, station_of

Array = NDArray[np.float64]
ALONG, ACROSS = 60.0, 25.0


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a plan gives on one log: passing volume [mm³], complete sets, what these and plates left over sell for, plates that pass.

    `sales` are in money, or in litres by the objective where nothing has a price.
    """

    volume: float
    sets: Mapping[str, int]
    sales: float
    plates: int


@dataclass(frozen=True, slots=True)
class Planned:
    """Planned plates with what regrading needs of each, worked out once."""

    plates: tuple[Plate, ...]
    parts: tuple[SawnPart, ...]
    limits: tuple[Limits, ...]
    grids: tuple[tuple[int, int, float], ...]  # points along and across, width [mm]
    faces: tuple[Array, ...]  # points of both faces, (n, 3)
    spans: Array  # (plates, 2): stations between which each lies
    corners: Array  # (plates, 8, 3)
    ends: Array  # (plates, 2, m, 3): points along the edges of the end at the corner, and of the other end


def planned(ledger: Ledger, parts: tuple[SawnPart, ...]) -> Planned:
    """The plates that a carried-out layout counts on."""
    plates = tuple(plate for plate in ledger.plates if plate.passes)
    grids, faces, corners = [], [], []
    for plate in plates:
        length, width, thickness = plate.edges
        across = float(np.linalg.norm(width))
        n, m = int(np.ceil(np.linalg.norm(length) / ALONG)) + 1, int(np.ceil(across / ACROSS)) + 1
        grids.append((max(n, 2), max(m, 2), across))
        face = box_grid(plate.corner, length, width, ACROSS).reshape(-1, 3)
        faces.append(np.concatenate([face, face + thickness]))
        corners.append(plate.corner + _SIGNS @ np.array(plate.edges))
    at = np.array(corners).reshape(-1, 8, 3)
    spans = np.column_stack([at[..., 0].min(axis=1), at[..., 0].max(axis=1)])
    limits = tuple(parts[plate.part].limits for plate in plates)
    m = max((grid[1] for grid in grids), default=2)
    step = np.linspace(0.0, 1.0, m)[:, None]
    ends = np.array([_end_points(plate, step) for plate in plates]).reshape(-1, 2, 2 * m, 3)
    return Planned(plates, parts, limits, tuple(grids), tuple(faces), spans, at, ends)


def _end_points(plate: Plate, step: Array) -> list[Array]:
    """Points along both long edges of each end of a plate, `step` (m, 1) of its width, (2m, 3) each."""
    length, width, thickness = plate.edges
    return [
        np.concatenate([near + step * width, near + step * width + thickness])
        for near in (plate.corner, plate.corner + length)
    ]


_SIGNS = np.array([[i, j, k] for i in (0, 1) for j in (0, 1) for k in (0, 1)], float)


def passing(log: PlanLog, own: Planned) -> NDArray[np.bool_]:
    """Which planned plates pass on `log`, (n,)."""
    out = np.array([_graded(log, own, i) for i in range(len(own.plates))], bool)
    for defect in log.defects:
        near = np.flatnonzero(out & _near(log, own, defect))
        if defect.kind == "check":
            out[near] = ~_crossed(log, defect, own, near)
            continue
        for i in near:
            out[i] = not in_defect(defect, log.model, log.field, own.faces[i]).any()
    return out


def _graded(log: PlanLog, own: Planned, i: int) -> bool:
    """Whether a plate keeps its limits and lies in wood clear of bark and pith."""
    plate, limits = own.plates[i], own.limits[i]
    n, m, across = own.grids[i]
    least, mean, runout, inside, pith, saps, first, last, slope, greatest = box_figures(
        plate.corner, plate.edges, (n, m, 2), log.sapwood, log.exact
    )
    if least < limits.ring_angle_min or mean < limits.ring_angle_mean or runout > limits.runout_max:
        return False
    if limits.slope_max is not None and slope > limits.slope_max:
        return False
    if limits.ring_angle_max is not None and greatest > limits.ring_angle_max:
        return False
    if inside < 0.0 or pith < log.pith_radius - 1e-6:
        return False
    if not saps or limits.sapwood == "any":
        return True
    return limits.sapwood == "edge" and bool(min(last, 1.0 - first) * across <= limits.sapwood_edge)


def _near(log: PlanLog, own: Planned, defect: Defect) -> NDArray[np.bool_]:
    """Which plates a defect can reach, (n,): by station, and for a knot or metal by the side of the pith it lies on."""
    slack = defect.margin + 5.0
    if defect.kind not in ("knot", "metal"):
        # ends stand up to some degrees off square
        reach = (defect.length or 0.0) + slack + 60.0
        return own.spans[:, 0] <= reach if defect.end == "butt" else own.spans[:, 1] >= log.model.length - reach
    x = defect.x if defect.x is not None else (log.model.length if defect.end == "top" else 0.0)
    half = (defect.diameter or 0.0) * 0.6 + slack
    pith = station_of(log.field, np.array([x]), log.field.pith)[0]
    out = (own.corners[..., 1:] - pith) @ clock_direction(defect.clock or 0.0)
    aside = np.abs((own.corners[..., 1:] - pith) @ clock_direction((defect.clock or 0.0) + np.pi / 2))
    width = own.corners[..., 1:].max(axis=1) - own.corners[..., 1:].min(axis=1)
    reachable: NDArray[np.bool_] = (
        (own.spans[:, 0] - half <= x) & (x <= own.spans[:, 1] + half) & (out.max(axis=1) > -half)
    )
    reachable &= aside.min(axis=1) <= half + np.linalg.norm(width, axis=1)
    return reachable


def _crossed(log: PlanLog, check: Defect, own: Planned, which: NDArray[np.intp]) -> NDArray[np.bool_]:
    """Which of the plates `which` have an end check: thinner than any grid, it is met where points lie on both its sides."""
    point, inward = end_of(check, log.model)
    depth = (own.corners[which] - point) @ inward
    reached = which[depth.min(axis=1) <= (check.length or 0.0) + check.margin]
    out = np.zeros(len(own.plates), bool)
    if len(reached):
        far = (own.corners[reached][:, (0, 4)] - point) @ inward
        # the end of the plate that lies nearer to the log's end
        points = own.ends[reached, (far[:, 1] < far[:, 0]).astype(int)]
        away = points[..., 1:] - station_of(log.field, points[..., 0].ravel(), log.field.pith).reshape(
            *points.shape[:2], 2
        )
        way = clock_direction(check.clock or 0.0)
        side = away @ np.array([-way[1], way[0]])
        ahead = away @ way > 0.0
        low = np.where(ahead, side, np.inf).min(axis=1)
        high = np.where(ahead, side, -np.inf).max(axis=1)
        out[reached] = (low <= check.margin) & (high >= -check.margin)
    return out[which]


def outcome(mask: NDArray[np.bool_], own: Planned, sold: Economics) -> Outcome:
    """What the plates that pass are sold for at their best, sets made up anew."""
    market, counts = sold.market, plate_counts(own.plates, sold.kinds, mask)
    sales, sets = market.worth(counts[:, 0], counts[:, 1])
    names = list(dict.fromkeys(part.product for part in own.parts))
    kept = [plate.volume for plate, good in zip(own.plates, mask, strict=True) if good]
    return Outcome(
        float(sum(kept)),
        {name: int(sets[market.product == k].sum()) for k, name in enumerate(names)},
        sales,
        int(mask.sum()),
    )


def brings(log: PlanLog, own: Planned, sold: Economics, figure: float = 1.0) -> Outcome:
    """What planned plates bring on `log`, prices times what figure makes of them."""
    got = outcome(passing(log, own), own, sold)
    return got if figure == 1.0 else replace(got, sales=got.sales * figure)
