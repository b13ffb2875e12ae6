"""Colours and patterns that tell products, parts and sets apart, on paper and on the screen alike.

The colours keep apart in every common kind of colour blindness, and the pattern tells them where there is no colour.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

COLOURS = ("#16306e", "#7fc4ad", "#7a3f86", "#4f86c2", "#c9487c", "#f3ecc4", "#2b2b2b", "#a8bf4a")
PATTERNS = 7
"""0 plain, 1 level, 2 upright, 3 and 4 slanting lines, 5 crossed, 6 dots."""
NEUTRAL = "#d9d4c8"
"""Of what is in no class."""


class PartLook(NamedTuple):
    """How a class is drawn: its colour, its pattern's number."""

    colour: str
    pattern: int


def looks(names: Iterable[str]) -> dict[str, PartLook]:
    """A look for every name, sorted, so that a script's names look alike on all its pages."""
    return {
        name: PartLook(COLOURS[place % len(COLOURS)], place % PATTERNS) for place, name in enumerate(sorted(set(names)))
    }
