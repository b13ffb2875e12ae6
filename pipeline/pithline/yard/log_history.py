"""What a card tells of a log's past that nobody can see: how long it has lain, and how likely it holds metal."""

from __future__ import annotations

from datetime import date

from pithline.files.priors import Priors
from pithline.logmodel.card import Card
from pithline.trade.drying import WEEKS_A_MONTH

UNTOLD_MONTHS = 2.0
"""Months since felling where the card names no day; invented."""


def months_since(felled: str | None, today: date) -> float | None:
    """Months from felling to `today`, `None` where the card names no day."""
    if felled is None:
        return None
    return max((today - date.fromisoformat(felled)).days / 7.0 / WEEKS_A_MONTH, 0.0)


def grew_near_people(card: Card) -> bool:
    """Whether it is a yard or fence-line tree, in which metal is likely."""
    return (card.grown or "forest") != "forest"


def metal_chance(card: Card, priors: Priors) -> float:
    """The chance that the log holds metal, by where it grew and whether its ends are stained."""
    return priors.metal.of(grew_near_people(card), bool(card.stain))
