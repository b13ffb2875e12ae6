"""A search that was asked to end early says so in its script."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any


@dataclass(slots=True)
class StopSignal:
    """Whether a search is to end, and whether it ever heard that it was."""

    asked: Callable[[], bool] | None
    heard: bool = False

    def __call__(self) -> bool:
        """Whether to end now; once it was, it stays so."""
        self.heard = self.heard or (self.asked is not None and self.asked())
        return self.heard

    def mark(self, script: dict[str, Any]) -> None:
        """Say in a script that its search was cut short, where it was."""
        if self.heard:
            script["proof"]["status"] = "cut short"
            script["cautions"].append("the search was cut short; this is the best plan found until then")
