"""What is asked of a search."""

from __future__ import annotations

from dataclasses import dataclass, replace

from pithline.mill.machine import Machines
from pithline.plan.problem.economics import Economics, Objective
from pithline.plan.problem.effort import Effort
from pithline.plan.problem.layout import NO_LOCKS, Locks
from pithline.plan.problem.parts import SawnPart
from pithline.plan.problem.task import SawingTask


@dataclass(frozen=True, slots=True)
class SearchContext:
    """What is asked of a search, the same for every log that it looks at.

    Attributes
    ----------
    task : SawingTask
        Machines, parts, what is sold of them, and how many are wanted.
    effort : Effort
        How finely it looks.
    seed : int
        Of the master.
    bucking : bool
        Whether a log may be crosscut first.
    locks : Locks
        What the sawyer has decided already.
    money : Economics, optional
        What plans earn, whatever is made most of; None where nothing has a price.
    """

    task: SawingTask
    effort: Effort
    seed: int = 1
    bucking: bool = True
    locks: Locks = NO_LOCKS
    money: Economics | None = None

    @property
    def objective(self) -> Objective:
        """What is made most of."""
        return self.task.economics.objective

    @property
    def economics(self) -> Economics:
        """What is sold, and what work costs."""
        return self.task.economics

    @property
    def parts(self) -> tuple[SawnPart, ...]:
        """All parts that may be sawn."""
        return self.task.parts

    @property
    def machines(self) -> Machines:
        """What they are sawn with."""
        return self.task.machines

    def with_locks(self, locks: Locks) -> SearchContext:
        """The same asked under other locks."""
        return replace(self, locks=locks)

    def with_effort(self, effort: Effort) -> SearchContext:
        """The same asked with another effort."""
        return replace(self, effort=effort)
