"""Logs that wait lose wood at both ends: what their end checks have grown by until they are sawn is trimmed off.

End checks grow by the relation of `trade.waiting_log`, the appraisal's own. The card's trims cover them as they are at the season's
start; a log that is sawn later is trimmed by as much more as the median check has grown, and a plan's sets lose what reaches into that.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from pithline.mill.products import Products
from pithline.plan.api import Ledger, PlanLog, SawnPart, gather_sets
from pithline.trade.drying import WEEKS_A_MONTH
from pithline.trade.waiting_log import EndChecks

DEEPEST = 300.0
"""No log of a season is trimmed by more than this for having waited. [mm]"""
Sets = Mapping[str, int]


@dataclass(frozen=True, slots=True)
class Waiting:
    """How a log's end checks grow: the relation, months since felling at the season's start, whether the ends were coated."""

    checks: EndChecks
    months: float
    coated: bool

    def trimmed(self, week: int) -> float:
        """What is trimmed off each end, beside the card's trims, of a log sawn in this week of the season. [mm]"""
        now, then = self.months, self.months + (week + 1) / WEEKS_A_MONTH
        return self.checks.length(then, self.coated) - self.checks.length(now, self.coated)


def sets_by_trim(
    ledger: Ledger, parts: tuple[SawnPart, ...], products: Products, log: PlanLog
) -> list[tuple[float, dict[str, int]]]:
    """(deepest trim that leaves them, complete sets) of a plan, deeper and deeper; both ends trimmed alike beyond the card's trims.

    The last trim is infinite. [mm]
    """
    spare = [(_spare(plate.corner, plate.edges, log), plate) for plate in ledger.passing]
    depths = sorted({round(depth, 1) for depth, _ in spare if depth < DEEPEST})
    out: list[tuple[float, dict[str, int]]] = []
    for depth in [*depths, np.inf]:
        kept = [plate for room, plate in spare if room >= depth - 0.1 or room >= DEEPEST]
        sets = {name: n for name, n in gather_sets(kept, parts, products).sets.items() if n}
        if out and out[-1][1] == sets:
            out[-1] = (depth, sets)
        else:
            out.append((depth, sets))
    return out


def _spare(corner: np.ndarray, edges: Sequence[np.ndarray], log: PlanLog) -> float:
    """How much deeper both ends may be trimmed before a plate is met. [mm]"""
    length, width, thickness = edges
    corners = np.array([corner + i * length + j * width + k * thickness for i, j, k in np.ndindex(2, 2, 2)])
    butt = float((-(corners - log.butt.point) @ log.butt.normal).min()) - log.trim_butt
    top = float((-(corners - log.top.point) @ log.top.normal).min()) - log.trim_top
    return max(min(butt, top), 0.0)


def fading(trimmed: Sequence[tuple[float, Sets]], waiting: Waiting, weeks: int) -> tuple[tuple[int, Sets], ...]:
    """(first week, complete sets from then on) of a plan whose log waits; the first from week 0 on."""
    out: list[tuple[int, Sets]] = []
    for week in range(weeks):
        deep = waiting.trimmed(week)
        sets = next(sets for depth, sets in trimmed if deep <= depth or np.isinf(depth))
        if not out or out[-1][1] != sets:
            out.append((week, dict(sets)))
    return tuple(out)
