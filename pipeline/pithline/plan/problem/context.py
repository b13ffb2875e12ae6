"""What is asked of a search."""

from __future__ import annotations

from dataclasses import dataclass, replace

from pithline.mill.machine import Machines
from pithline.plan.problem.effort import Effort
from pithline.plan.problem.layout import NO_LOCKS, Locks
from pithline.plan.problem.objective import Objective, ObjectiveWeights, objective_weights
from pithline.plan.problem.parts import SawnPart
from pithline.plan.problem.task import SawingTask


@dataclass(frozen=True, slots=True)
class SearchContext:
    """What is asked of a search, the same for every log and view of the parts that it looks at.

    Attributes
    ----------
    task : SawingTask
        Machines, parts, what a plate of each counts, and how many are wanted.
    objective : Objective
        What is made most of.
    effort : Effort
        How finely it looks.
    seed : int
        Of the master.
    bucking : bool
        Whether a log may be crosscut first.
    locks : Locks
        What the sawyer has decided already.
    """

    task: SawingTask
    objective: Objective
    effort: Effort
    seed: int = 1
    bucking: bool = True
    locks: Locks = NO_LOCKS

    @property
    def parts(self) -> tuple[SawnPart, ...]:
        """All parts that may be sawn."""
        return self.task.parts

    @property
    def machines(self) -> Machines:
        """What they are sawn with."""
        return self.task.machines

    @property
    def demanded(self) -> bool:
        """Whether of some part only so many are wanted."""
        return any(part.demand is not None for part in self.parts)

    @property
    def free(self) -> tuple[SawnPart, ...]:
        """The parts of which any number is wanted."""
        return tuple(part for part in self.parts if part.demand is None)

    def weights(self, reach: float, view: tuple[SawnPart, ...] | None = None) -> ObjectiveWeights:
        """What the objective makes of all parts, or of some, in a log `reach` mm long."""
        return objective_weights(self.objective, self.parts if view is None else view, self.machines, reach)

    def for_parts(self, view: tuple[SawnPart, ...]) -> SearchContext:
        """The same asked of some of the parts."""
        return replace(self, task=self.task.for_parts(view))

    def with_locks(self, locks: Locks) -> SearchContext:
        """The same asked under other locks."""
        return replace(self, locks=locks)
