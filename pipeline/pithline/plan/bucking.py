"""Crosscutting a log into shorter logs first: where, and whether it pays.

A bent log sawn whole wastes what its pith bows off the blade plane; two shorter logs each have a chord of their own. Where
to cut follows from the parts: a shorter log should hold whole parts end to end. Places are compared by the exact
programmes on a rough grid; the few best are then searched like any log.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pithline.mill.machine import Machines
from pithline.plan.aims import Effort
from pithline.plan.candidates import first_columns, search
from pithline.plan.carry import Poser, Shop, carry_out_each, opened
from pithline.plan.frame import BUCK_CLEAR, PlanLog, bow, shorter_log
from pithline.plan.layout import Setting
from pithline.plan.ledger import Ledger
from pithline.plan.looking import build_tables
from pithline.plan.master import Aim
from pithline.plan.parts import SawnPart
from pithline.plan.strips import Memory

Array = NDArray[np.float64]
BENT = 8.0
"""A log whose pith bows less than this off its chord is not worth crosscutting. [mm]"""
ROUGH = Effort("rough", 6, 20.0, 1, 1, 1, 1, 1.0, depth_step=5.0, face_step=20.0)
ALIKE = 30.0
"""Places nearer than this to each other are one. [mm]"""
PLACES = 10
"""Places compared in one log."""
SPARE = 10.0
"""What a shorter log has beyond the parts it is to hold, for ends that are not square. [mm]"""


@dataclass(frozen=True, slots=True)
class Sawing:
    """A log, or the shorter logs it is crosscut into from butt to top, each with its layout (None: left as it is).

    `places` are the crosscuts' kerf centres along the pith's chord of the whole log, from its butt end. [mm]
    """

    whole: PlanLog
    places: tuple[float, ...]
    logs: tuple[PlanLog, ...]
    layouts: tuple[Setting | None, ...]


def bucked(whole: PlanLog, places: Sequence[float], kerf: float, weight: float) -> tuple[Ledger, tuple[PlanLog, ...]]:
    """Crosscut a log square to its pith's chord in one setting; the ledger with it, and the logs from butt to top.

    Parameters
    ----------
    places : kerf centres along the chord from the butt end, rising. [mm]
    weight : of the log with its bark. [kg]
    """
    ledger = opened()
    if not places:
        return ledger, (whole,)
    setting = ledger.setting("buck", "log", True, 0.0, support="cradle", against=None)
    setting["weight_kg"] = weight
    rest, base = ledger.pieces["log"], float(whole.axis @ whole.origin)
    made = []
    for number, place in enumerate(places, start=1):
        last = number == len(places)
        above = (f"log-{number + 1}" if last else ledger.fresh("rest-"), "log")
        rest, below = ledger.cut(setting, rest, whole.axis, base + place, kerf, above, (f"log-{number}", "log"))
        made.append(below)
    return ledger, tuple(shorter_log(whole, piece) for piece in (*made, rest))


def carry_sawing(
    sawing: Sawing,
    shop: Shop,
    poser: Callable[[PlanLog], Poser],
    weight: float,
    reserve: bool = True,
    memories: Sequence[Memory | None] | None = None,
) -> Ledger:
    """Carry a sawing out, crosscuts first; `poser` makes one for each log, `memories` hold what was seen in each."""
    ledger, logs = bucked(sawing.whole, sawing.places, shop.machines.buck.kerf, weight)
    return carry_out_each(
        ledger,
        [(log, layout, poser(log)) for log, layout in zip(logs, sawing.layouts, strict=True)],
        shop,
        reserve,
        memories,
    )


def places_worth(
    log: PlanLog,
    parts: tuple[SawnPart, ...],
    machines: Machines,
    aim: Aim,
    late: Callable[[], bool],
    progress: Callable[[str, float], None],
) -> list[tuple[float, tuple[float, ...]]]:
    """Ways to crosscut a log that may pay, best first: (rough value net of charges, places); () leaves it whole.

    A log too long for the mill is never left whole.
    """
    too_long = log.reach > machines.mill.log_length_max
    if not too_long and bow(log) < BENT:
        return [(0.0, ())]
    free = tuple(p for p in parts if p.demand is None) or parts
    worth = np.array([w for w, p in zip(aim.worth, parts, strict=True) if p in free])
    aim = replace(aim, worth=worth)
    kerf, most = machines.buck.kerf, machines.mill.log_length_max
    valued: dict[tuple[float, float], float] = {}

    def value(low: float, high: float, one: PlanLog) -> float:
        key = (round(low, 3), round(high, 3))
        if key not in valued:
            valued[key] = _rough(one, free, machines, aim)
        return valued[key]

    out: list[tuple[float, tuple[float, ...]]] = []
    whole = (value(0.0, log.reach, log), ())
    if not too_long:
        out.append(whole)
    best = whole if not too_long else (-np.inf, ())
    pieces = 1
    while pieces < MOST_LOGS and not late():
        tried = _one_cut_more(log, best[1] if best[0] > -np.inf else (), free, machines, kerf)
        found: list[tuple[float, tuple[float, ...]]] = []
        for i, places in enumerate(tried):
            progress("where to crosscut", i / len(tried))
            _, logs = bucked(log, places, kerf, 0.0)
            marks = (0.0, *places, log.reach)
            total = sum(value(a, b, one) for (a, b), one in zip(itertools.pairwise(marks), logs, strict=True))
            total -= aim.charge
            found.append((total, places))
            if late():
                break
        fits = [one for one in found if max(np.diff((0.0, *one[1], log.reach))) <= most]
        out += fits
        better = max(fits or found, default=(-np.inf, ()))
        if better[0] <= best[0] + aim.charge:
            break
        best = better
        pieces += 1
    return sorted(out, key=lambda one: (-round(one[0], 9), one[1]))


MOST_LOGS = 4


def _one_cut_more(
    log: PlanLog, places: tuple[float, ...], parts: tuple[SawnPart, ...], machines: Machines, kerf: float
) -> list[tuple[float, ...]]:
    """The places with one more, in the log that bows most or is too long."""
    _, logs = bucked(log, places, kerf, 0.0)
    marks = (0.0, *places, log.reach)
    long = [b - a for a, b in itertools.pairwise(marks)]
    worst = max(
        range(len(logs)), key=lambda i: (long[i] > machines.mill.log_length_max, bow(logs[i]) * (long[i] > 0), -i)
    )
    if long[worst] <= machines.mill.log_length_max and bow(logs[worst]) < BENT:
        return []
    more = _places(logs[worst], parts, machines)
    return [tuple(sorted((*places, marks[worst] + one))) for one in more]


def _places(log: PlanLog, parts: tuple[SawnPart, ...], machines: Machines) -> list[float]:
    """Places in one log where what is below or above just holds whole parts, and its middle; the most even cuts first."""
    cell = ROUGH.along_step
    lengths = sorted({np.ceil((p.length + machines.crosscut.kerf) / cell) * cell for p in parts})
    shortest = min(p.length for p in parts)
    sums: set[float] = set()
    for count in range(1, int(log.reach / lengths[0]) + 1):
        sums |= {sum(some) for some in itertools.combinations_with_replacement(lengths, count)}
        if len(sums) > 400:
            break
    half = machines.buck.kerf / 2 + BUCK_CLEAR + SPARE
    found = [log.reach / 2]
    found += [log.trim_butt + one + half for one in sorted(sums)]
    found += [log.reach - log.trim_top - one - half for one in sorted(sums)]
    least = max(machines.mill.log_length_min, shortest + 2 * half)
    out: list[float] = []
    for place in sorted(found, key=lambda p: abs(p - log.reach / 2)):
        if least <= place <= log.reach - least and all(abs(place - other) >= ALIKE for other in out):
            out.append(float(place))
    return out[:PLACES]


def _rough(log: PlanLog, parts: tuple[SawnPart, ...], machines: Machines, aim: Aim) -> float:
    """The best layout's value on the rough grid, net of charges."""
    if log.clear < min(p.length for p in parts):
        return 0.0
    tables = build_tables(log, parts, aim, machines, ROUGH, lambda what, part: None)
    if not tables.values.any():
        return 0.0
    best = first_columns(search(tables), list(range(ROUGH.rolls)), 1)
    return best[0].promise if best else 0.0
