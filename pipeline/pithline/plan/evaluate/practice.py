"""The practice layout: how a log is customarily quartersawn, on the same log with the same code (design section 5).

Common practice with no source; its sizes are configuration.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pithline.mill.practice_sizes import Practice
from pithline.plan.execute.bucked_log import crosscut_log
from pithline.plan.execute.ledger import Ledger
from pithline.plan.execute.simulate import DrawnPoser, PieceToSaw, execute_layout, execute_layouts
from pithline.plan.execute.slab_layout import SlabCache
from pithline.plan.problem.layout import LayoutSetting, LayoutSlab
from pithline.plan.problem.log_frame import PlanLog, clock_of_normal
from pithline.plan.problem.task import SawingTask

QUARTER = np.pi / 2


@dataclass(frozen=True, slots=True)
class PracticeResult:
    """The two practice layouts, carried out as drawn: slabs alone, and with the bolts in radial flitches; the latter's layouts."""

    slabs: Ledger
    with_bolts: Ledger
    layouts: tuple[LayoutSetting, ...]


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


def practice_layout(sizes: Practice, flitches: tuple[int, int, int, int]) -> LayoutSetting:
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


def practice(whole: PlanLog, places: tuple[float, ...], task: SawingTask, sizes: Practice) -> PracticeResult:
    """Carry the practice layout out; the number of flitches is the better one, bolt by bolt, by instrument volume.

    A log that the mill cannot take whole is first crosscut at `places`. [mm along its chord]
    """
    mill, kerf = task.machines.mill, task.machines.buck.kerf
    logs = crosscut_log(whole, places, kerf, 0.0)[1]
    posers = [DrawnPoser(log, mill.kerf, mill.minutes_per_setting, mill.feed) for log in logs]
    seen: list[SlabCache] = [{} for _ in logs]
    layouts = tuple(
        practice_layout(sizes, _flitches_worth(log, task, sizes, poser, cache))
        for log, poser, cache in zip(logs, posers, seen, strict=True)
    )
    plain = practice_layout(sizes, (0, 0, 0, 0))

    def executed(each: tuple[LayoutSetting, ...]) -> Ledger:
        ledger = crosscut_log(whole, places, kerf, 0.0)[0]
        pieces = [
            PieceToSaw(log, log.piece, layout, poser, cache)
            for log, layout, poser, cache in zip(logs, each, posers, seen, strict=True)
        ]
        return execute_layouts(ledger, pieces, task, reserve=False)

    return PracticeResult(executed((plain,) * len(logs)), executed(layouts), layouts)


def _flitches_worth(
    log: PlanLog, task: SawingTask, sizes: Practice, poser: DrawnPoser, seen: SlabCache
) -> tuple[int, int, int, int]:
    """How many flitches each bolt of one log is best sawn into."""
    best = [(0.0, 0)] * 4
    for count in sizes.flitches:
        ledger = execute_layout(log, practice_layout(sizes, (count,) * 4), task, poser, reserve=False, cache=seen)
        for quadrant, volume in enumerate(_by_quadrant(log, ledger)):
            if volume > best[quadrant][0]:
                best[quadrant] = (volume, count)
    a, b, c, d = (count for _, count in best)
    return a, b, c, d


def _by_quadrant(log: PlanLog, ledger: Ledger) -> list[float]:
    """Passing volume of the bolts' plates, by quarter turn about the chord."""
    out = [0.0] * 4
    for plate in ledger.passing:
        if plate.role != "bolt":
            continue
        middle = plate.middle - log.origin
        away = middle - (middle @ log.axis) * log.axis
        out[int(clock_of_normal(away) // QUARTER) % 4] += plate.volume
    return out
