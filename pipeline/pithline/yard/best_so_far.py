"""What a search holds by now, said beside what it is doing."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass


@dataclass(slots=True)
class BestSoFar:
    """A progress line that also says the best plan in hand and what none on the search grid can exceed, both net of charges.

    `unit` names what they are counted in.
    """

    tell: Callable[[str, float], None]
    unit: str
    best: float | None = None
    most: float | None = None

    def __call__(self, what: str, part: float) -> None:
        """Say what is being done, and the fraction done."""
        words = what
        if self.best is not None:
            words += f": best so far {self.best:.1f} {self.unit}"
            if self.most is not None and self.most > self.best:  # refined below the grid, a plan may pass its bound
                words += f", at most {self.most:.1f} {self.unit}"
            words += ", net of charges"
        self.tell(words, part)

    def found(self, value: float, bound: float | None = None) -> None:
        """A plan of this value is in hand; on the search grid none of its class is worth more than the bound."""
        self.best = value if self.best is None else max(self.best, value)
        if bound is not None:
            self.most = bound if self.most is None else max(bound, self.most)
