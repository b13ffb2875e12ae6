"""Slabs as they truly lie, filled together with strips so that what comes of all of them makes up whole sets."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pithline.plan.columns.market_model import MarketModel, fills_at, price_family, solve_model
from pithline.plan.execute.slab_marks import LEVELS, NO_RESERVE, PartLimits, SlabWood, billets_of, mark_layers
from pithline.plan.execute.slab_view import (
    LAYOUT_ANGLE_RESERVE,
    LAYOUT_RUNOUT_RESERVE,
    SlabFrame,
    Span,
    layer_count,
    look_at_slab,
    span_of,
)
from pithline.plan.pricing.cutting_planes import MOST_OF_SCALE, Plane
from pithline.plan.pricing.fills import THREADS, Fill, PlateMap, plate_map
from pithline.plan.pricing.price_search import FAR, SeenLayout, Sold, prices_for
from pithline.plan.problem.economics import Economics
from pithline.plan.problem.kinds import PlateKinds
from pithline.plan.problem.log_frame import SURFACE_RESERVE, PlanLog
from pithline.plan.problem.parts import SawnPart, sapwood_kept_out
from pithline.plan.problem.task import SawingTask
from pithline.plan.programmes.slab_strips import PlateWorths
from pithline.plan.programmes.slab_values import FillRules

Array = NDArray[np.float64]
Counts = NDArray[np.int64]
ALONG_STEP = 10.0
"""Places along a slab are tried this far apart. [mm]"""
SOLVED_IN = 2.0
"""Deterministic seconds of the choice among fills."""
STEPS = (0.85, 1.2)


@dataclass(frozen=True, slots=True)
class Billet:
    """Part of a strip: [start, start + length] along, from the strip's inner edge; `layers` are those sawn to plates."""

    part: int
    start: float
    layers: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Strip:
    """A ripped strip from `place` (across) on, `width` wide, with billets along it in rising order."""

    place: float
    width: float
    billets: tuple[Billet, ...]


@dataclass(frozen=True, slots=True)
class SlabPlaces:
    """A slab with the places where plates pass: `marks` (layers, across, along) by part, how many of 100 plates there count.

    `map` has plates by kind.
    """

    frame: SlabFrame
    span: Span
    cells: tuple[float, float]  # steps along and across [mm]
    marks: dict[int, NDArray[np.uint8]]
    map: PlateMap

    def fills(self, worths: PlateWorths) -> list[tuple[float, Fill]]:
        """See `Fillable`."""
        return self.map.fills(worths)

    def strips(self, fill: Fill, kinds: PlateKinds) -> tuple[Strip, ...]:
        """A fill as strips, from the innermost out, each with its billets in rising order along."""
        out: list[Strip] = []
        along, across = self.cells
        parts = kinds.sawn
        for u in sorted(set(fill.strips[:, 0].tolist())):
            rows = fill.strips[fill.strips[:, 0] == u].tolist()
            billets = [
                Billet(p, self.span.start + x * along, tuple(np.flatnonzero(self.marks[p][:, u, x]).tolist()))
                for p, x in ((kinds.part[kind], x) for _, _, kind, x in reversed(rows))
            ]
            widest = max(parts[p].width for p, k in enumerate(self.map.rules.width_class) if k == rows[0][1])
            out.append(Strip(self.span.low + u * across, widest, tuple(billets)))
        return tuple(out)


PlacesCache = dict[bytes, SlabPlaces | None]
"""Places of slabs already seen, by the slabs' faces: of one log, one list of parts, the same saws."""


class Unseen:
    """A slab that was not looked at, where one without places is None."""


UNSEEN = Unseen()


def fill_rules(parts: Sequence[SawnPart], task: SawingTask, cells: tuple[float, float], thickness: float) -> FillRules:
    """Numbers of parts and saws for one slab as it truly lies, in cells (along, across) of these steps. [mm]"""
    saws, (along, across) = task.saws, cells
    cross = max(1, int(np.ceil(saws.crosscut_kerf / along - 1e-6)))
    wide = np.array([int(np.ceil(part.width / across - 1e-6)) for part in parts])
    classes = np.array(sorted(set(wide.tolist())), np.int64)
    return FillRules(
        thickness=np.array([part.thickness for part in parts]),
        cells_along=np.array([int(np.ceil(part.length / along - 1e-6)) + cross for part in parts]),
        cells_across=wide,
        width_class=np.searchsorted(classes, wide),
        class_width=classes,
        menu=np.array([thickness]),
        depth_step=1.0,
        resaw_kerf=saws.resaw_kerf,
        rip_cells=int(np.ceil(saws.rip_kerf / across - 1e-6)),
        spring=0.0,
    )


def places_in(log: PlanLog, frame: SlabFrame, task: SawingTask, reserve: bool, fine: float) -> SlabPlaces | None:
    """Where plates pass in one slab; None where none does.

    Parameters
    ----------
    log : PlanLog
        The wood.
    frame : SlabFrame
        Where the slab lies in it.
    task : SawingTask
        Parts, machines and what they count.
    reserve : bool
        Whether doubts of surface and pith are kept.
    fine : float
        Multiplies the steps of places along and across; 1 for what is carried out.
    """
    span = span_of(log, frame)
    if not span.holds_a_plate:
        return None
    cells = (ALONG_STEP * fine, task.saws.across * fine)
    along, across = cells
    counts = (int((span.end - span.start) / along) + 1, int((span.high - span.low) / across) + 1)
    kinds = task.economics.kinds
    rules = fill_rules(kinds.sawn, task, cells, frame.top - frame.low)
    marks: dict[int, NDArray[np.uint8]] = {}
    view = look_at_slab(log, frame, span, counts, cells)
    seen = view.wood
    wood = SlabWood(
        seen.angle,
        seen.runout,
        seen.slope,
        seen.depth,
        seen.turn,
        seen.sink,
        view.unusable,
        float(view.heights[-1] - view.heights[0]) / (len(view.heights) - 1),
    )
    levels = np.array(NO_RESERVE if log.sure or not reserve else LEVELS)
    cross = int(rules.cells_along[0] - np.ceil(task.parts[0].length / along - 1e-6))
    shape = (len(kinds.part), counts[1], counts[0] + cross)
    plates, weight = np.zeros((*shape, 2), np.int16), np.zeros(shape, np.float32)
    for i, part in enumerate(task.parts):
        layers = layer_count(frame, part, task.saws)
        if layers < 1 or part.width > task.saws.height_max or task.left[i] <= 0:
            continue
        found = np.zeros((layers, counts[1], counts[0]), np.uint8)
        limits = _limits(part, layers, (int(rules.cells_along[i]) - cross, int(rules.cells_across[i])), log.sapwood)
        mark_layers(wood, limits, task.saws.resaw_kerf, log.slope_doubt, levels, found)
        held = view.faces_held(limits.long, limits.wide)
        found[:, : held.shape[0], : held.shape[1]] *= held
        if found.any():
            marks[i] = found
            billets_of(found, plates[i, :, : counts[0]], weight[i, :, : counts[0]])
    if not marks:
        return None
    for i in marks:
        own = kinds.of_part(i)
        if len(own) > 1:
            of_kind = _kinds_at(kinds, i, frame, (span.start, span.low), cells, shape[1:])
            whole, whole_weight = plates[i].copy(), weight[i].copy()
            for kind in own:
                plates[kind] = np.where((of_kind == kind)[:, :, None], whole, 0)
                weight[kind] = np.where(of_kind == kind, whole_weight, 0.0)
    return SlabPlaces(frame, span, cells, marks, plate_map(plates, weight, (0, counts[1]), rules))


def _kinds_at(
    kinds: PlateKinds,
    part: int,
    frame: SlabFrame,
    first: tuple[float, float],
    cells: tuple[float, float],
    shape: tuple[int, ...],
) -> NDArray[np.int64]:
    """Of which kind plates of a part are by the place where they begin, (across, along), anywhere through the slab.

    `first` is the first place along and across, `cells` the steps between places. [mm]
    """
    own, ends = kinds.parts[part], []
    along = (first[0] + np.arange(shape[1]) * cells[0]) * frame.axis[0]
    across = (first[1] + np.arange(shape[0]) * cells[1]) * frame.lateral[0]
    leans = (own.length * frame.axis[0], own.width * frame.lateral[0])
    through = (frame.low * frame.normal[0], frame.top * frame.normal[0])
    for outermost in (min, max):
        lean = sum(float(outermost(one, 0.0)) for one in leans) + float(outermost(through))
        ends.append(across[:, None] + along[None, :] + lean)
    return kinds.at(part, *ends)


def _limits(part: SawnPart, layers: int, size: tuple[int, int], sapwood: float) -> PartLimits:
    limits = part.limits
    steepest = np.pi if limits.ring_angle_max is None else limits.ring_angle_max - LAYOUT_ANGLE_RESERVE
    return PartLimits(
        part.thickness,
        layers,
        *size,
        limits.ring_angle_min + LAYOUT_ANGLE_RESERVE,
        limits.ring_angle_mean + LAYOUT_ANGLE_RESERVE,
        steepest,
        limits.runout_max - LAYOUT_RUNOUT_RESERVE,
        np.pi if limits.slope_max is None else limits.slope_max - LAYOUT_RUNOUT_RESERVE,
        SURFACE_RESERVE + sapwood_kept_out(limits, sapwood),
    )


def slab_key(frame: SlabFrame) -> bytes:
    """A slab's faces, to know it again."""
    faces = [value for normal, offset in frame.bounds for value in (*normal, offset)]
    return np.round(np.array([*frame.axis, *frame.normal, frame.low, frame.top, *faces]), 9).tobytes()


@dataclass(frozen=True, slots=True)
class SlabToFill:
    """A slab of a log, and what was seen of that log's slabs before."""

    log: PlanLog
    frame: SlabFrame
    cache: PlacesCache | None = None

    def places(self, task: SawingTask, reserve: bool, fine: float) -> SlabPlaces | None:
        """Where plates pass, looked up or looked at."""
        if self.cache is None:
            return places_in(self.log, self.frame, task, reserve, fine)
        key = slab_key(self.frame)
        found = self.cache.get(key, UNSEEN)
        if isinstance(found, Unseen):
            found = self.cache[key] = places_in(self.log, self.frame, task, reserve, fine)
        return found


@dataclass(frozen=True, slots=True)
class PlatesInHand:
    """Plates that are sawn already, (P, 2) mated and single, as a `Fillable` that gives them whatever the prices."""

    counts: Counts

    def fills(self, worths: PlateWorths) -> list[tuple[float, Fill]]:
        """What they count at each of some prices, and they themselves."""
        values = worths.mated @ self.counts[:, 0] + worths.single @ self.counts[:, 1]
        fill = Fill(self.counts, np.zeros((0, 4), np.int64))
        return [(float(value), fill) for value in values]


@dataclass(frozen=True, slots=True)
class FillStyle:
    """One way among several to look for fills that make whole sets together.

    `steps` are by what prices are moved to fill each slab in several ways; plates left over count `spares` times what they bring, so
    that a set of which a plate fails finds another.
    """

    steps: tuple[float, ...] = STEPS
    spares: float = 1.0


@dataclass(frozen=True, slots=True)
class FillRequest:
    """How slabs are filled: for what is sold, from which prices of the pools (Q,) on, keeping the log's doubts or not.

    `fine` multiplies the steps at which places are looked at: 1 for what is carried out, more for comparing.
    """

    economics: Economics
    prices: Array
    reserve: bool = True
    fine: float = 1.0
    style: FillStyle = FillStyle()

    @property
    def counted(self) -> Economics:
        """What fills are chosen by: the economics, plates left over counted as the style says."""
        market, spares = self.economics.market, self.style.spares
        if spares == 1.0:
            return self.economics
        return replace(
            self.economics, market=replace(market, loose=spares * market.loose, single=spares * market.single)
        )


@dataclass(frozen=True, slots=True)
class FillChoice:
    """Strips of each slab in order, and the prices (Q,) at which they were chosen."""

    strips: tuple[tuple[Strip, ...], ...]
    prices: Array


def fill_slabs(
    slabs: Sequence[SlabToFill], task: SawingTask, request: FillRequest, sawn: Counts | None = None
) -> FillChoice:
    """Choose strips and billets of all slabs together, by what is sold in the end.

    Parameters
    ----------
    request : what is sold, and prices to begin with
    sawn : (P, 2) mated and single plates by kind that count beside those of the slabs
    """
    with ThreadPoolExecutor(THREADS) as pool:
        places = list(pool.map(lambda slab: slab.places(task, request.reserve, request.fine), slabs))
    some = [one for one in places if one is not None]
    if not some:
        return FillChoice(((),) * len(slabs), request.prices)
    economics = request.counted
    market, costs = economics.market, economics.costs
    there = () if sawn is None else (PlatesInHand(sawn),)
    planes: list[Plane] = []
    sold, layout, closely = Sold(market, costs), SeenLayout((*some, *there), 0.0), request.fine == 1.0
    # any price may be the best one: what few slabs hold has little to do with the prices to begin with
    box = MOST_OF_SCALE if closely else FAR
    best = prices_for(sold, (layout,), planes, request.prices, box, 0.01)[1]
    family = price_family(market, best, request.style.steps)
    if closely:
        # at prices met on the way slabs are filled otherwise, and a plan of few slabs finds its whole sets among such fills
        family += [plane.prices for plane in planes]
    fills = fills_at(some, market, family, costs)
    chosen = _chosen(fills, economics, sawn)
    found = iter(chosen)
    out = []
    for one in places:
        fill = None if one is None else next(found)
        out.append(() if one is None or fill is None else one.strips(fill, task.economics.kinds))
    return FillChoice(tuple(out), best)


def _chosen(fills: Sequence[Sequence[Fill]], economics: Economics, sawn: Counts | None) -> list[Fill | None]:
    """The fill of each slab that is best together."""
    model = MarketModel(economics.market)
    taken = [model.add_fills(1, own) for own in fills]
    for own in taken:
        for i, var in enumerate(own):
            model.model.add_hint(var, int(i == 0))
    model.maximise(sawn)
    solved = solve_model(model, SOLVED_IN, 1)
    if solved is None:
        return [own[0] if own else None for own in fills]
    solver = solved[0]
    return [
        next((fill for fill, var in zip(own, group, strict=True) if solver.boolean_value(var)), None)
        for own, group in zip(fills, taken, strict=True)
    ]
