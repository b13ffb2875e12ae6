"""By money a search by sets runs too: what it finds stands beside, filled for money, so that no plan by sets earns more than the plan.

A search by money stands on prices of single plates, and on a small log whole sets make up the value.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from pithline.errors import PlanError
from pithline.plan.api import SILENT, Candidate, Monitor, Objective, PlanLog, SearchContext, search_candidates
from pithline.yard.aside import Aside, Begun, asked_to_end
from pithline.yard.prepared_log import PreparedLog
from pithline.yard.request import Request
from pithline.yard.watch import PlanWatch

FEW_PARTS = 12
"""Where more parts compete, sets are easily made up by money too, and a search by sets takes the longest: it looks less closely."""
LESS_OF_MASTER = 0.3
"""Of the master's deterministic time, for that."""
WHILE_WAITING = 0.5
"""Seconds between two looks at whether to end."""


@dataclass(slots=True)
class SearchBySets:
    """A log to be searched by sets: in another process meanwhile where there is one, else once it is asked for."""

    log: PlanLog
    context: SearchContext
    aside: Aside
    begun: Begun[list[Candidate]] | None = None

    @classmethod
    def of(cls, own: PreparedLog, request: Request, aside: Aside) -> SearchBySets:
        """What is asked by money, asked by sets."""
        effort = replace(request.effort, beside=0)
        if len(own.parts) > FEW_PARTS:
            effort = replace(effort, nearby=0, master=LESS_OF_MASTER * effort.master)
        case = own.case(replace(request, objective=Objective.SETS, effort=effort))
        return cls(case.log, case.context, aside)

    def begin(self) -> None:
        """Begin it, where another process takes it."""
        if self.aside.apart:
            self.begun = self.aside.begin(_searched_aside, self.log, self.context)

    def found(self, beside: Candidate, watch: PlanWatch) -> list[Candidate]:
        """Its layouts, beside one found by money; none where the watch wants an end first.

        Parameters
        ----------
        beside : Candidate
            What is proven of the plan by money.
        watch : PlanWatch
            Hears how far it is.
        """
        monitor = replace(watch.monitor, found=SILENT.found).within(0.37, 0.68, ", by sets too")
        if self.begun is None:
            found = [] if watch.stopped() else _searched(self.log, self.context, monitor)
        else:
            while not watch.stopped() and not self.begun.ready(WHILE_WAITING):
                monitor.report("searching", 0.5)
            if watch.stopped():
                self.aside.end_early()
                return []
            found = self.begun()
        return [
            replace(one, value=0.0, bound=beside.bound, prices=beside.prices, status="found by sets", searched=False)
            for one in found
        ]


def _searched_aside(log: PlanLog, context: SearchContext) -> list[Candidate]:
    """The layouts, found in another process."""
    return [] if asked_to_end() else _searched(log, context, Monitor(stopped=asked_to_end))


def _searched(log: PlanLog, context: SearchContext, monitor: Monitor) -> list[Candidate]:
    """The layouts; none where no setting pays by sets, for one does by money."""
    try:
        return search_candidates(log, context, monitor)
    except PlanError:
        return []
