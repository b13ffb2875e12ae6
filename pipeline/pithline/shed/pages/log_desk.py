"""What one page on one log holds: the card as it lies there, and a change with its effect on the fit."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from pithline.errors import InputError, PithlineError
from pithline.outputs.formatting import Formatter
from pithline.shed.card_edit import CardText, open_card, save
from pithline.shed.card_form import effect_words
from pithline.shed.fitting import shown_fit
from pithline.shed.parts import say
from pithline.shed.state import Shed


@dataclass(slots=True)
class LogDesk:
    """One page on one log: what it showed last, and what a touch now means.

    Attributes
    ----------
    touch : "pith" or "twelve"
    effect : list of str
        What the last change did, in sentences.
    pending : dict
        Pith of an end where it was just put [mm on the face], until the fit that knows it is there.
    changes : int
        So many changes were made from this page; only the last one tells its effect.
    tell : callable
        Says a sentence on this page, whatever of it was drawn anew meanwhile.
    """

    shed: Shed
    name: str
    touch: str = "pith"
    effect: list[str] = field(default_factory=list)
    pending: dict[str, list[float]] = field(default_factory=dict)
    changes: int = 0
    redraw: Callable[[], None] = lambda: None
    tell: Callable[..., None] = say

    @property
    def card(self) -> CardText:
        """The card as it lies there now."""
        path = self.shed.yard.log(self.name).card
        if path is None:
            raise InputError(f"{self.name} has no card yet; begin it in the yard.")
        return open_card(path)

    @property
    def fmt(self) -> Formatter:
        """How measures are written."""
        return Formatter(self.shed.units)

    async def change(self, card: CardText, seen: Mapping[str, Any]) -> None:
        """Save a changed card and show what it does to the fit."""
        before = shown_fit(self.shed.yard, self.name)
        save(card, seen)
        self.changes += 1
        mine = self.changes
        self.effect = ["Saved; the log is being fitted anew …"]
        self.redraw()
        self.tell(self.effect[0])
        found = await self.shed.fit(self.name)
        if mine != self.changes:
            return  # another change was made meanwhile: it tells what both did
        self.pending.clear()
        if "fault" in found:
            self.effect = [f"Saved, but the log cannot be fitted so: {found['fault']}"]
        else:
            self.effect = effect_words(before["facts"] if before else None, found, self.fmt.length)
        self.redraw()
        self.tell(" ".join(self.effect[:2]), fault="fault" in found)


async def told(work: Awaitable[Any]) -> None:
    """Await work; a fault of the user's is told."""
    try:
        await work
    except PithlineError as error:
        say(str(error), fault=True)
