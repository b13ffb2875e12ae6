"""How a search tells how far it is, hears that it is to end, and hands out work."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from typing import Any


def _silent(what: str, part: float) -> None:
    """Nobody is told."""


def _never() -> bool:
    return False


def _unheard(value: float, bound: float | None = None) -> None:
    """Nobody is told."""


def _unseen(model: object, plates: object) -> None:
    """Nobody looks."""


Begin = Callable[..., Callable[[], Any]]
"""Begins a piece of work with what it is about; what is returned waits for what it gives."""


def in_turn(work: Callable[..., Any], *about: object) -> Callable[[], Any]:
    """Work that is done once what it gives is asked for."""
    return partial(work, *about)


@dataclass(frozen=True, slots=True)
class Monitor:
    """A handle for whoever has a search done.

    Attributes
    ----------
    tell : callable
        (what is being done, fraction done); hears of every step.
    stopped : callable
        Whether a time limit has run out; the search then goes on with what it has.
    found : callable
        (value, bound): a plan of this value is in hand, and none of its way to crosscut is worth more on the search grid than the
        bound, where one is known of every class yet.
    carried_out : callable
        (log model, [(name, corner (3,), edges (3, 3))]): the plates that pass of the best plan carried out so far. [mm]
    begin : callable
        May begin work in another process.
    low, high : float
        The span of the whole that is watched here.
    suffix : str
        Follows what is being done.
    """

    tell: Callable[[str, float], None] = _silent
    stopped: Callable[[], bool] = _never
    found: Callable[..., None] = _unheard
    carried_out: Callable[..., None] = _unseen
    begin: Begin = in_turn
    low: float = 0.0
    high: float = 1.0
    suffix: str = ""

    def report(self, what: str, part: float) -> None:
        """Tell what is being done, and the fraction done of what is watched here."""
        self.tell(what + self.suffix, self.low + (self.high - self.low) * part)

    def within(self, low: float, high: float, suffix: str = "") -> Monitor:
        """A monitor of one part, from the fraction `low` to `high` of what is watched here."""
        wide = self.high - self.low
        return replace(self, low=self.low + wide * low, high=self.low + wide * high, suffix=self.suffix + suffix)

    def going_on(self) -> Monitor:
        """A monitor of work that is not cut short."""
        return replace(self, stopped=_never)

    def share(self, number: int, of: int, suffix: str = "") -> Monitor:
        """A monitor of one of several like parts."""
        return self.within(number / of, (number + 1) / of, suffix)


SILENT = Monitor()
"""Nobody watches, and nothing is cut short."""
