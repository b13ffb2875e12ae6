"""The classes of layouts that a search asks about, and which of them are worth it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pithline.plan.pricing.class_search import ClassFound, Look, ValuedLogs, look_at
from pithline.plan.pricing.cutting_planes import affordable
from pithline.plan.pricing.log_oracle import BoltClass
from pithline.plan.pricing.price_search import FAR_OFF
from pithline.plan.problem.context import SearchContext
from pithline.plan.problem.effort import wood_of
from pithline.plan.problem.log_frame import PlanLog
from pithline.plan.problem.monitor import SILENT, Monitor

Array = NDArray[np.float64]


def bolt_classes(context: SearchContext, on_mill: bool) -> tuple[BoltClass, ...]:
    """Classes from the least work to the most: bolts left, one cradle alone (each of them), all cradles, any angle."""
    mill, resaw = context.machines.mill, context.machines.resaw
    saw = mill if on_mill else resaw
    left = BoltClass("bolts left", sawn=False)
    if not context.locks.bolts:
        return (left,)
    least = max(mill.blade_min, mill.clamp_room) + mill.kerf / 2.0 if on_mill else 0.0

    def of(name: str, angles: tuple[float, ...], free: bool = False) -> BoltClass:
        return BoltClass(name, angles, free, on_mill=on_mill, least_flat=least)

    out = [left, *(of(f"cradle {angle:g}°", (angle,)) for angle in saw.cradles_deg)]
    if len(saw.cradles_deg) > 1 and context.effort.every_class:
        out.append(of("all cradles", saw.cradles_deg))
    if saw.cradle_any and (context.effort.every_class or not saw.cradles_deg):
        out.append(of("any angle", saw.cradles_deg, True))
    return tuple(out)


def contending(
    valued: ValuedLogs,
    classes: Sequence[BoltClass],
    start: Array,
    beaten: Mapping[bool, float],
    monitor: Monitor = SILENT,
) -> tuple[list[BoltClass], dict[str, Look]]:
    """The classes worth a search; and looks had at some of them, by name.

    Of those with one cradle alone only the one that promises most is, and none that promises less than was found another way.

    Parameters
    ----------
    valued : ValuedLogs
        The logs, and what is asked of them.
    classes : sequence of BoltClass
        From the least work to the most.
    start : (Q,) array
        Prices of the pools to look at.
    beaten : mapping of bool to float
        By whether bolts are sawn, what a class must promise.
    monitor : Monitor
        Hears which is looked at; may stop it, when the class of least work will do.
    """
    single = _single(classes)
    asked = [one for one in classes if one.sawn in beaten]
    if len(single) < 2 and not asked:
        return list(classes), {}
    prices = affordable(valued.task.economics.market, start)
    looks: dict[str, Look] = {}
    for one in dict.fromkeys((*single, *asked)):
        if monitor.stopped():
            return list(classes[:1]), looks
        monitor.report(f"looking at {one.name}", 0.0)
        looks[one.name] = look_at(valued.task, valued, one, prices)
    best = max(single, key=lambda one: looks[one.name].bound, default=None)
    log_cost = valued.task.economics.log_cost
    return [
        one
        for one in classes
        if (one not in single or one is best)
        and (one not in asked or looks[one.name].bound - log_cost >= beaten[one.sawn])
    ], looks


def _single(classes: Sequence[BoltClass]) -> list[BoltClass]:
    """Those of one cradle alone."""
    return [one for one in classes if len(one.cradles_deg) == 1 and not one.any_angle]


def may_promise_more(bolts: BoltClass, asked: Sequence[BoltClass], classes: Sequence[BoltClass]) -> bool:
    """Whether another class of one cradle may be asked after this one, of those that are searched; see `promising_more`."""
    single = _single(asked)
    together = any(len(one.cradles_deg) > 1 or one.any_angle for one in classes)
    return bolts in single and not together and len(set(single) & set(classes)) <= 1


@dataclass(frozen=True, slots=True)
class Promise:
    """A class and a look at it."""

    bolts: BoltClass
    look: Look


def promising_more(
    valued: ValuedLogs,
    found: ClassFound,
    value: float,
    asked: Sequence[BoltClass],
    classes: Sequence[BoltClass],
    bounds: Mapping[str, float],
) -> Promise | None:
    """The class of one cradle that promises more than the one searched, at the prices that this one came to; None where none does.

    The first look may mislead. Where the best layout found is far under its bound, another class that may hold a better one will do.

    Parameters
    ----------
    valued : ValuedLogs
        The logs, and what is asked of them.
    found : ClassFound
        The class searched.
    value : float
        Of the best layout found of it.
    asked : sequence of BoltClass
        All classes.
    classes : sequence of BoltClass
        Those that are searched; where all cradles together are among them, they hold what each cradle alone gives.
    bounds : mapping of str to float
        By class, what looks had at it have proven already: a class that cannot promise more is not looked at again.
    """
    if not may_promise_more(found.bolts, asked, classes):
        return None
    single = _single(asked)
    least = value if value < (1.0 - FAR_OFF) * found.bound else found.bound
    others = [one for one in single if one not in classes and bounds.get(one.name, np.inf) > least]
    looks = [Promise(one, look_at(valued.task, valued, one, found.prices)) for one in others]
    best = max(looks, key=lambda one: one.look.bound, default=None)
    return best if best is not None and best.look.bound > least else None


SMALL = 150e6
"""A look at logs of no more wood than this takes about half a second. [mm³]"""
SMALL_UNDER, FAR_UNDER = 0.03, 0.06
"""Small logs are looked at anew near the best prices where the best layout is this share under the bound, others where it is the second;
one log of any size is looked at with its plans told apart where it is the first."""


def small(logs: Sequence[PlanLog]) -> bool:
    """Whether looks at these logs take so little time that many may be had."""
    return sum(map(wood_of, logs)) <= SMALL


def far_under(logs: Sequence[PlanLog], bound: float, value: float, log_cost: float, apart: bool = False) -> bool:
    """Whether the best layout of a class is so far under its bound that more looks are worth their time.

    Parameters
    ----------
    logs : sequence of PlanLog
        Those that are sawn.
    bound, value : float
        Of the class, and of its best layout.
    log_cost : float
        What the log's own minutes cost; shares are those stated of a plan, net of it.
    apart : bool
        Whether looks are asked that tell plans apart, which a log of any size is worth.
    """
    most = bound - log_cost
    close = SMALL_UNDER if apart or small(logs) else FAR_UNDER
    return most > 0.0 and bound - value > close * most
