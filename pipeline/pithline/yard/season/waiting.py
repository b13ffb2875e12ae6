"""Logs that wait lose wood at both ends: what their end checks have grown by until they are sawn is trimmed off.

End checks grow by the relation of `trade.waiting_log`, the appraisal's own. The card's trims cover them as they are at the season's
start; a log that is sawn later is trimmed by as much more as the median check has grown. The season is cut into windows, growing longer as
checks grow slower; a plan is carried out once for each window, trimmed for its last week, and may be sawn until then.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from pithline.trade.drying import WEEKS_A_MONTH
from pithline.trade.waiting_log import EndChecks

WINDOWS = (4, 16)
"""Weeks in which a window ends; the last ends with the season."""
STEP = 0.5
"""Trims are rounded up to this. [mm]"""


@dataclass(frozen=True, slots=True)
class Waiting:
    """How a log's end checks grow: the relation, months since felling at the season's start, whether the ends were coated."""

    checks: EndChecks
    months: float
    coated: bool

    def grown(self, week: int) -> float:
        """What checks have grown by at the end of a week of the season, 0 the first. [mm]"""
        then = self.months + (week + 1) / WEEKS_A_MONTH
        return self.checks.length(then, self.coated) - self.checks.length(self.months, self.coated)

    def trims(self, weeks: int) -> tuple[float, ...]:
        """What each end is trimmed by beside the card's trims, window by window of a season of so many weeks. [mm]"""
        ends = [*(week for week in WINDOWS if week < weeks), weeks]
        return tuple(dict.fromkeys(math.ceil(self.grown(week - 1) / STEP - 1e-9) * STEP for week in ends))

    def last_week(self, trim: float, weeks: int) -> int:
        """The last week of the season in which a log so trimmed is trimmed enough."""
        return max((week for week in range(weeks) if self.grown(week) <= trim + 1e-9), default=-1)
