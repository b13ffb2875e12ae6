"""The practice layout: how a log is customarily quartersawn, on the same log with the same code (docs/method.md).

Common practice with no source; its sizes are configuration.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pithline.mill.practice_sizes import Practice
from pithline.plan.crosscut_search import BENT
from pithline.plan.evaluate.judge import Judge, plate_counts
from pithline.plan.evaluate.spare_cuts import in_shop
from pithline.plan.execute.bucked_log import LogLayout, crosscut_log
from pithline.plan.execute.drawn_poser import DrawnPoser
from pithline.plan.execute.ledger import Ledger, Plate
from pithline.plan.execute.simulate import PieceToSaw, SawnToSlabs, sawn_to_slabs
from pithline.plan.execute.slab_fill import FillRequest, PlacesCache
from pithline.plan.problem.context import SearchContext
from pithline.plan.problem.effort import bolts_on_mill
from pithline.plan.problem.layout import LayoutSetting, LayoutSlab
from pithline.plan.problem.log_frame import PlanLog, clock_of_normal, pith_bow

Array = NDArray[np.float64]
QUARTER = np.pi / 2
Flitches = tuple[int, int, int, int]
NO_FLITCHES: Flitches = (0, 0, 0, 0)


@dataclass(frozen=True, slots=True)
class PracticeResult:
    """The two practice layouts, carried out as drawn: slabs alone, and with the bolts in radial flitches; the latter's layout."""

    slabs: Ledger
    with_bolts: Ledger
    log_layout: LogLayout


def _flitches(base: float, count: int, thickness: float) -> LayoutSetting | None:
    """A chain of radial flitches at equal angles in the bolt between clock angles `base` and `base` + 90°."""
    node: LayoutSetting | None = None
    for k in range(count, 0, -1):
        direction = base + QUARTER * k / (count + 1)
        node = LayoutSetting(
            float(np.mod(direction + QUARTER, 2 * np.pi)),
            (LayoutSlab(-thickness / 2, thickness),),
            above=node,
            role="bolt",
        )
    return node


def practice_layout(sizes: Practice, flitches: Flitches) -> LayoutSetting:
    """The layout at the scanned roll; `flitches` in the bolts that begin at 0°, 90°, 180° and 270°, 0 leaves one whole."""

    def bolt(quadrant: int) -> LayoutSetting | None:
        return _flitches(quadrant * QUARTER, flitches[quadrant], sizes.flitch) if flitches[quadrant] else None

    def half(clock: float, above: int, below: int) -> LayoutSetting:
        return LayoutSetting(
            clock, (LayoutSlab(-sizes.half_slab / 2, sizes.half_slab),), bolt(above), bolt(below), "half"
        )

    # the upper half's face is square to 0°; turned, 90° is up: above it lies the bolt from 0° to 90°, below that from 270°
    return LayoutSetting(
        0.0,
        (LayoutSlab(-sizes.centre_slab / 2, sizes.centre_slab),),
        half(QUARTER, 0, 3),
        half(3 * QUARTER, 2, 1),
        "log",
    )


def practice(
    whole: PlanLog, context: SearchContext, sizes: Practice, prices: Array, places: tuple[float, ...] | None = None
) -> PracticeResult:
    """Carry the practice layout out, filled for the objective as well as its slabs allow; billets that nobody buys stay in their slab.

    A bent log is sawn whole or crosscut in half, whichever gives more. One that the mill cannot take whole is crosscut at `places`
    [mm along its chord]; with None it is sawn whole.

    Parameters
    ----------
    whole : PlanLog
        The log.
    context : SearchContext
        What is asked.
    sizes : Practice
        Of slabs and flitches.
    prices : (Q,) array
        Of the pools of plates, to begin with.
    places : tuple of float, optional
        Where it is crosscut.
    """
    tried = [places or ()]
    if places is None and pith_bow(whole) >= BENT:
        tried.append((whole.reach / 2.0,))
    drawn = [_drawn_at(whole, context, sizes, prices, each) for each in tried]
    if len(drawn) > 1:
        worth = [one.worth(prices) for one in drawn]
        drawn = [one for one, about in zip(drawn, worth, strict=True) if about >= max(worth) - ALIKE * abs(max(worth))]
    plain = practice_layout(sizes, NO_FLITCHES)
    found = [one.carried_out(plain, prices) for one in drawn]
    return max(found, key=lambda one: Judge(context).worth(one.with_bolts))


ROUGHLY = 2.0
"""Multiplies the steps at which slabs are looked at where customary layouts are compared; those taken are filled finely."""
ALIKE = 0.1
"""Whole and crosscut logs of which one promises less than the other by no more than this share are both filled finely."""


@dataclass(frozen=True, slots=True)
class _Drawn:
    """The practice layout of a log, or of the logs crosscut from it, and what it is carried out with."""

    log_layout: LogLayout
    context: SearchContext
    posers: tuple[DrawnPoser, ...]

    @property
    def layouts(self) -> list[LayoutSetting]:
        """By log; none is left."""
        return [layout for layout in self.log_layout.layouts if layout is not None]

    def nothing_seen(self) -> list[PlacesCache]:
        """What was seen in each log's slabs, before any was looked at."""
        return [{} for _ in self.posers]

    def fill(self, prices: Array, fine: float = 1.0) -> FillRequest:
        """How slabs are filled; nothing is kept for what a log leaves in doubt."""
        return FillRequest(self.context.economics, prices, reserve=False, fine=fine)

    def sawn(self, layouts: Sequence[LayoutSetting], seen: Sequence[PlacesCache]) -> SawnToSlabs:
        """Layouts of the logs carried out up to their slabs."""
        at, task = self.log_layout, self.context.task
        pieces = [
            PieceToSaw(log, log.piece, layout, poser, cache)
            for log, layout, poser, cache in zip(at.logs, layouts, self.posers, seen, strict=True)
        ]
        return sawn_to_slabs(crosscut_log(at.whole, at.places, task.machines.buck.kerf, 0.0)[0], pieces, task)

    def roughly(self, layouts: Sequence[LayoutSetting], prices: Array, seen: Sequence[PlacesCache]) -> Ledger:
        """What comes of layouts whose slabs are looked at roughly."""
        return self.sawn(layouts, seen).filled(self.context.task, self.fill(prices, ROUGHLY))

    def worth(self, prices: Array) -> float:
        """What the layout is about worth."""
        return Judge(self.context).worth(self.roughly(self.layouts, prices, self.nothing_seen()))

    def carried_out(self, plain: LayoutSetting, prices: Array) -> PracticeResult:
        """The layout filled finely, beside `plain` slabs."""
        seen = self.nothing_seen()
        slabs, whole = (self.of_use(one, prices, seen) for one in ([plain] * len(self.layouts), self.layouts))
        return PracticeResult(slabs, whole, self.log_layout)

    def of_use(self, layouts: Sequence[LayoutSetting], prices: Array, seen: Sequence[PlacesCache]) -> Ledger:
        """What comes of layouts, but for billets that nobody buys."""
        slabs, task = self.sawn(layouts, seen), self.context.task
        return in_shop(slabs, slabs.with_strips(task, self.fill(prices)), Judge(self.context), task).ledger


def _drawn_at(
    whole: PlanLog, context: SearchContext, sizes: Practice, prices: Array, places: tuple[float, ...]
) -> _Drawn:
    """The practice layout of a log crosscut at some places, each bolt in as many flitches as suit it."""
    machines = context.machines
    logs = crosscut_log(whole, places, machines.buck.kerf, 0.0)[1]
    posers = tuple(DrawnPoser(log, machines, bolts_on_mill(log, machines)) for log in logs)
    plain = _Drawn(LogLayout(whole, places, logs, (practice_layout(sizes, NO_FLITCHES),) * len(logs)), context, posers)
    seen = plain.nothing_seen()
    by_count = [
        plain.roughly([practice_layout(sizes, (count, count, count, count))] * len(logs), prices, seen)
        for count in sizes.flitches
    ]
    layouts = tuple(practice_layout(sizes, _better_flitches(log, by_count, sizes, context, prices)) for log in logs)
    return replace(plain, log_layout=replace(plain.log_layout, layouts=layouts))


def _better_flitches(
    log: PlanLog, by_count: Sequence[Ledger], sizes: Practice, context: SearchContext, prices: Array
) -> Flitches:
    """How many flitches each bolt of one log is better sawn into, its plates at prices of the pools."""
    mated, single = context.economics.market.plate_prices(prices)
    best = [(0.0, 0)] * 4
    for count, ledger in zip(sizes.flitches, by_count, strict=True):
        own: list[list[Plate]] = [[], [], [], []]
        for plate in ledger.passing:
            if plate.role == "bolt" and bool(log.piece.holds(plate.middle[None])[0]):
                middle = plate.middle - log.origin
                away = middle - (middle @ log.axis) * log.axis
                own[int(clock_of_normal(away) // QUARTER) % 4].append(plate)
        for quadrant, plates in enumerate(own):
            counts = plate_counts(plates, context.economics.kinds, np.ones(len(plates), bool))
            worth = float(counts[:, 0] @ mated + counts[:, 1] @ single)
            if worth > best[quadrant][0]:
                best[quadrant] = (worth, count)
    a, b, c, d = (count for _, count in best)
    return a, b, c, d
