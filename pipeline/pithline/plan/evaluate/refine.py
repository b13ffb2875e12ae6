"""Refinement below the grid: the best layout's rolls and offsets moved in small steps, each trial carried out on the machines.

What the mill can set (steps of roll, lift and blade height) takes some of what the grid promised; a trial counts only the
plates that pass once all that is rounded. Slabs along an older face of their piece stay along it: turning them would cost
a setting.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from pithline.plan.execute.bucked_log import LogLayout
from pithline.plan.execute.ledger import Ledger
from pithline.plan.execute.slab_fill import PlacesCache
from pithline.plan.problem.layout import LayoutSetting
from pithline.plan.problem.monitor import SILENT, Monitor

SAME_DIRECTION = 1e-6
"""Cuts whose directions differ by less (sine) run along each other."""
Path = tuple[str, ...]
Move = Callable[[LayoutSetting], LayoutSetting]
Execute = Callable[[LogLayout, list[PlacesCache]], Ledger]


@dataclass(frozen=True, slots=True)
class RefineSteps:
    """What refinement may try.

    Attributes
    ----------
    trials : int
        Most layouts carried out.
    roll : float
        By which settings are turned. [rad]
    height : float
        By which slabs are shifted. [mm]
    turn : bool
        Whether a log may be turned whole.
    """

    trials: int
    roll: float
    height: float
    turn: bool = True


def refine(
    log_layout: LogLayout,
    execute: Execute,
    value: Callable[[Ledger], float],
    steps: RefineSteps,
    monitor: Monitor = SILENT,
) -> tuple[LogLayout, Ledger]:
    """The layout after the moves that each gained, and it carried out; the same one where none does.

    Parameters
    ----------
    log_layout : LogLayout
        Where it begins.
    execute : callable
        Carries a layout out; its caches, one a log, may be read and filled.
    value : callable
        Of what was carried out; −inf refuses it.
    steps : RefineSteps
        What is tried.
    monitor : Monitor
        Hears the value so far, and how far it is.
    """
    seen: list[PlacesCache] = [{} for _ in log_layout.layouts]
    ledger = execute(log_layout, seen)
    best, highest, left = log_layout, value(ledger), steps.trials
    for i, layout in enumerate(log_layout.layouts):
        if layout is None:
            continue
        for move in _moves(layout, steps):
            if left == 0 or monitor.stopped():
                return best, ledger
            left -= 1
            monitor.found(highest)
            monitor.report("refining", 1.0 - left / steps.trials)
            here = best.layouts[i]
            assert here is not None
            tried = replace(best, layouts=(*best.layouts[:i], move(here), *best.layouts[i + 1 :]))
            caches = [dict(one) for one in seen]
            made = execute(tried, caches)
            worth = value(made)
            if worth > highest + LEAST_GAIN:
                best, highest, ledger, seen = tried, worth, made, caches
    return best, ledger


LEAST_GAIN = 1e-9
"""A move that gains less gains nothing."""


def _moves(layout: LayoutSetting, steps: RefineSteps) -> Iterator[Move]:
    """Changes to try of one log's layout, in a fixed order: the whole log's turns, then each setting's, thickest slabs first.

    A half is turned with all that follows of it, but for slabs along the first setting's face.
    """
    if steps.turn:
        for by in (steps.roll, -steps.roll):
            yield partial(turned, by=by)
    paths = [path for path in _paths(layout) if not _along(layout, path)]
    for path in sorted(paths, key=lambda p: (-sum(s.thickness for s in _at(layout, p).slabs), p)):
        for by in (steps.height, -steps.height):
            yield partial(_move_at, path=path, change=partial(_shifted, by=by))
        role = _at(layout, path).role
        for by in (steps.roll, -steps.roll):
            if role == "bolt":
                yield partial(_move_at, path=path, change=partial(_rolled, by=by))
            elif role == "half":
                yield partial(_half_turned, path=path, by=by)


def _half_turned(whole: LayoutSetting, path: Path, by: float) -> LayoutSetting:
    return _move_at(whole, path, partial(turned, by=by, along=whole.clock))


def _paths(setting: LayoutSetting, path: Path = ()) -> Iterator[Path]:
    yield path
    for side in ("above", "below"):
        child = getattr(setting, side)
        if child is not None:
            yield from _paths(child, (*path, side))


def _at(setting: LayoutSetting, path: Path) -> LayoutSetting:
    for side in path:
        setting = getattr(setting, side)
    return setting


def _along(layout: LayoutSetting, path: Path) -> bool:
    """Whether a setting's cuts run along those of an earlier one."""
    here = _at(layout, path)
    return any(abs(np.sin(here.clock - _at(layout, path[:n]).clock)) < SAME_DIRECTION for n in range(len(path)))


def _move_at(setting: LayoutSetting, path: Path, change: Move) -> LayoutSetting:
    """The layout with the setting at a path changed."""
    if not path:
        return change(setting)
    child: LayoutSetting = _move_at(getattr(setting, path[0]), path[1:], change)
    return replace(setting, above=child) if path[0] == "above" else replace(setting, below=child)


def _rolled(setting: LayoutSetting, by: float) -> LayoutSetting:
    return replace(setting, clock=float(np.mod(setting.clock + by, 2 * np.pi)))


def _shifted(setting: LayoutSetting, by: float) -> LayoutSetting:
    return replace(setting, slabs=tuple(replace(slab, low=slab.low + by) for slab in setting.slabs))


def turned(layout: LayoutSetting, by: float, along: float | None = None) -> LayoutSetting:
    """A layout turned about the pith's chord, but for slabs that run along those of clock angle `along`. [rad]"""
    above, below = (one if one is None else turned(one, by, along) for one in (layout.above, layout.below))
    stays = along is not None and abs(np.sin(layout.clock - along)) < SAME_DIRECTION
    return replace(layout if stays else _rolled(layout, by), above=above, below=below)
