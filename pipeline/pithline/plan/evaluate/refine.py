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
from pithline.plan.problem.layout import LayoutSetting
from pithline.plan.problem.monitor import SILENT, Monitor

SAME_DIRECTION = 1e-6
"""Cuts whose directions differ by less (sine) run along each other."""
Path = tuple[str, ...]
Move = Callable[[LayoutSetting], LayoutSetting]
Trial = Callable[[LogLayout], tuple[float, Ledger]]
Ahead = Callable[[LogLayout], Callable[[], tuple[float, Ledger]]]


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
    log_layout: LogLayout, here: Trial, steps: RefineSteps, monitor: Monitor = SILENT, ahead: Ahead | None = None
) -> tuple[LogLayout, Ledger]:
    """The layout after the moves that each gained, and it carried out; the same one where none does.

    Parameters
    ----------
    log_layout : LogLayout
        Where it begins.
    here : callable
        Carries a layout out, and tells what it is likely to be worth; −inf refuses it.
    steps : RefineSteps
        What is tried.
    monitor : Monitor
        Hears the value so far, and how far it is.
    ahead : callable, optional
        Begins a trial elsewhere, and returns what waits for it. The move after the one that is tried here is then tried meanwhile, as
        if that one gained nothing; where it gains, the trial ahead is worth nothing and is made again. So what is found is the same.
    """
    highest, ledger = here(log_layout)
    best, left = log_layout, steps.trials
    moves = [(i, move) for i, one in enumerate(log_layout.layouts) if one is not None for move in _moves(one, steps)]
    waiting: Callable[[], tuple[float, Ledger]] | None = None
    for number, (i, move) in enumerate(moves[: steps.trials]):
        if monitor.stopped():
            break
        left -= 1
        monitor.found(highest)
        monitor.report("refining", 1.0 - left / steps.trials)
        tried = _moved(best, i, move)
        if waiting is not None:
            (worth, made), waiting = waiting(), None
        else:
            if ahead is not None and left > 0 and number + 1 < len(moves):
                waiting = ahead(_moved(best, *moves[number + 1]))
            worth, made = here(tried)
        if worth > highest + LEAST_GAIN:
            best, highest, ledger, waiting = tried, worth, made, None
    return best, ledger


def _moved(log_layout: LogLayout, number: int, move: Move) -> LogLayout:
    """The layout with that of one log moved."""
    own = log_layout.layouts[number]
    assert own is not None
    return replace(log_layout, layouts=(*log_layout.layouts[:number], move(own), *log_layout.layouts[number + 1 :]))


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
