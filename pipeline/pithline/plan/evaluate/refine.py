"""Refinement below the grid: the best layout's rolls and offsets moved in small steps, each trial carried out on the machines.

What the mill can set (steps of roll, lift and blade height) takes some of what the grid promised; a trial counts only the
plates that pass once all that is rounded. Slabs along an older face of their piece stay along it: turning them would cost
a setting.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np

from pithline.plan.execute.bucked_log import LogLayout
from pithline.plan.execute.ledger import Ledger
from pithline.plan.execute.slab_layout import SlabCache
from pithline.plan.problem.layout import LayoutSetting

SAME_DIRECTION = 1e-6
Path = tuple[str, ...]
Move = Callable[[LayoutSetting], LayoutSetting]
Carry = Callable[[LogLayout, list[SlabCache]], Ledger]


def refine(
    log_layout: LogLayout,
    carry: Carry,
    value: Callable[[Ledger], float],
    trials: int,
    roll_step: float,
    height_step: float,
    stopped: Callable[[], bool],
    progress: Callable[[float, float], None],
    turn: bool = True,
) -> tuple[LogLayout, Ledger]:
    """The sawing after the moves that each gained, and it carried out; the same one where none does.

    Parameters
    ----------
    carry : carries a sawing out; its memories, one a log, may be read and filled.
    value : of what was carried out; −inf refuses it.
    trials : most sawings carried out.
    roll_step : by which settings are turned. [rad]
    height_step : by which slabs are shifted. [mm]
    progress : told the fraction done and the value so far.
    turn : whether a log may be turned whole.
    """
    seen: list[SlabCache] = [{} for _ in log_layout.layouts]
    ledger = carry(log_layout, seen)
    best, highest, left = log_layout, value(ledger), trials
    for i, layout in enumerate(log_layout.layouts):
        if layout is None:
            continue
        for move in _moves(layout, roll_step, height_step, turn):
            if left == 0 or stopped():
                return best, ledger
            left -= 1
            progress(1.0 - left / trials, highest)
            here = best.layouts[i]
            assert here is not None
            layouts = (*best.layouts[:i], move(here), *best.layouts[i + 1 :])
            tried = replace(best, layouts=layouts)
            memory = [dict(one) for one in seen]
            made = carry(tried, memory)
            found = value(made)
            if found > highest + 1e-9:
                best, highest, ledger, seen = tried, found, made, memory
    return best, ledger


def _moves(layout: LayoutSetting, roll_step: float, height_step: float, turn: bool) -> Iterator[Move]:
    """Changes to try of one log's layout, in a fixed order: the whole log's turns, then each setting's, thickest slabs first.

    A half is turned with all that follows of it, but for slabs along the first setting's face.
    """
    if turn:
        for by in (roll_step, -roll_step):
            yield lambda whole, by=by: turned(whole, by)
    paths = [path for path in _paths(layout) if not _along(layout, path)]
    for path in sorted(paths, key=lambda p: (-sum(s.thickness for s in _at(layout, p).slabs), p)):
        for by in (height_step, -height_step):
            yield lambda whole, by=by, path=path: _with(whole, path, lambda one: _shifted(one, by))
        if _at(layout, path).role == "bolt":
            for by in (roll_step, -roll_step):
                yield lambda whole, by=by, path=path: _with(whole, path, lambda one: _rolled(one, by))
        elif _at(layout, path).role == "half":
            for by in (roll_step, -roll_step):
                yield lambda whole, by=by, path=path: _with(whole, path, lambda one: turned(one, by, whole.clock))


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


def _with(setting: LayoutSetting, path: Path, change: Move) -> LayoutSetting:
    if not path:
        return change(setting)
    return replace(setting, **{path[0]: _with(getattr(setting, path[0]), path[1:], change)})


def _rolled(setting: LayoutSetting, by: float) -> LayoutSetting:
    return replace(setting, clock=float(np.mod(setting.clock + by, 2 * np.pi)))


def _shifted(setting: LayoutSetting, by: float) -> LayoutSetting:
    return replace(setting, slabs=tuple(replace(slab, low=slab.low + by) for slab in setting.slabs))


def turned(layout: LayoutSetting, by: float, along: float | None = None) -> LayoutSetting:
    """A layout turned about the pith's chord, but for slabs that run along those of clock angle `along`. [rad]"""
    above, below = (one if one is None else turned(one, by, along) for one in (layout.above, layout.below))
    stays = along is not None and abs(np.sin(layout.clock - along)) < SAME_DIRECTION
    return replace(layout if stays else _rolled(layout, by), above=above, below=below)
