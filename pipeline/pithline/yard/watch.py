"""What a search holds by now, said beside what it is doing; and whether it was asked to end early."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from pithline.plan.api import Monitor


@dataclass(slots=True)
class PlanWatch:
    """Stands between a search and whoever watches it.

    It adds the best plan in hand, and what none on the search grid can exceed, both net of charges, to what is told; it never goes
    back in how much is done, though a search may find more to look at on the way; and it remembers that it was ever asked to end.

    Attributes
    ----------
    outer : Monitor
        Whoever watches.
    unit : str
        What plans are counted in.
    coming : callable, optional
        The worth of a plan that is being made meanwhile, or None until it is in hand; asked before anything is told.
    """

    outer: Monitor
    unit: str
    best: float | None = None
    most: float | None = None
    heard: bool = False
    done: float = 0.0
    coming: Callable[[], float | None] | None = None

    @property
    def monitor(self) -> Monitor:
        """What the search tells, and asks."""
        return Monitor(self.tell, self.stopped, self.found, self.outer.carried_out, self.outer.begin)

    def tell(self, what: str, part: float) -> None:
        """Say what is being done, and the fraction done."""
        value = None if self.coming is None else self.coming()
        if value is not None:
            self.coming = None
            self.found(value)
        words = what
        if self.best is not None:
            words += f": best so far {self.best:.1f} {self.unit}"
            if self.most is not None and self.most > self.best:  # refined below the grid, a plan may pass its bound
                words += f", at most {self.most:.1f} {self.unit}"
            words += ", net of charges"
        self.done = max(self.done, part)
        self.outer.report(words, self.done)

    def found(self, value: float, bound: float | None = None) -> None:
        """A plan of this value is in hand; on the search grid none of its way to crosscut is worth more than the bound."""
        self.best = value if self.best is None else max(self.best, value)
        if bound is not None:
            self.most = bound if self.most is None else max(bound, self.most)
        self.outer.found(self.best, self.most)

    def stopped(self) -> bool:
        """Whether to end now; once it was, it stays so."""
        self.heard = self.heard or self.outer.stopped()
        return self.heard

    def mark(self, script: dict[str, Any]) -> None:
        """Say in a script that its search was cut short, where it was."""
        if self.heard:
            script["proof"]["status"] = "cut short"
            script["cautions"].append("the search was cut short; this is the best plan found until then")
