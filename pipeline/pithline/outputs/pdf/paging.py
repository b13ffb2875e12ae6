"""Blocks that are never parted, laid out on as few pages as hold them, so that no page holds a leftover."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from reportlab.platypus import Flowable, PageBreak

from pithline.outputs.pdf.flow import height_of_story
from pithline.outputs.pdf.page import height_of, measure_of

SPARE = 1.0
"""What a page must have left, for the library's own rounding. [pt]"""

Block = Sequence[Sequence[Flowable]]
"""The same content in one or more sizes, the largest first; what lies on a page keeps together."""


class Cost(NamedTuple):
    """What is made least of, in this order: pages, steps down in size, unevenness (the squares of what pages leave free)."""

    pages: int = 0
    smaller: int = 0
    uneven: float = 0.0

    def plus(self, other: Cost) -> Cost:
        """Both."""
        return Cost(self.pages + other.pages, self.smaller + other.smaller, self.uneven + other.uneven)


class _Page(NamedTuple):
    """Blocks from `first` up to `end` on one page: the size taken of each, and what this costs."""

    first: int
    end: int
    size: int
    cost: Cost


def paged(blocks: Sequence[Block], paper: str) -> list[Flowable]:
    """The blocks in their order with page breaks between: the fewest pages, then the largest sizes, then pages filled alike.

    Parameters
    ----------
    blocks : sequence of Block
        Each stays on one page; only one that is taller than a page flows on, and then has its pages to itself.
    paper : str
        "A4" or "Letter".

    Returns
    -------
    list of Flowable
        Starts at the top of a page.
    """
    width, room = measure_of(paper), height_of(paper) - SPARE
    tall = [[_Tall(height_of_story(story, width), story[-1].getSpaceAfter()) for story in block] for block in blocks]
    best: list[tuple[Cost, _Page | None]] = [(Cost(), None)]
    for end in range(1, len(blocks) + 1):
        found = [(best[page.first][0].plus(page.cost), page) for page in _pages_to(tall, end, room)]
        best.append(min(found, key=lambda one: one[0]))
    pages: list[_Page] = []
    while (page := best[pages[-1].first if pages else len(blocks)][1]) is not None:
        pages.append(page)
    story: list[Flowable] = []
    for page in reversed(pages):
        story += [PageBreak()] if story else []
        for block in blocks[page.first : page.end]:
            story += block[min(page.size, len(block) - 1)]
    return story


class _Tall(NamedTuple):
    """How tall a block stands, and the room that it asks for before the next. [pt]"""

    height: float
    after: float


def _pages_to(tall: Sequence[Sequence[_Tall]], end: int, room: float) -> Iterator[_Page]:
    """Every page whose last block is the one before `end`, each at the largest size that fits. [pt]"""
    least, size = min((one.height, size) for size, one in enumerate(tall[end - 1]))
    if least > room:
        pages = math.ceil(least / room)
        yield _Page(end - 1, end, size, Cost(pages, size, (pages * room - least) ** 2))
        return
    for first in range(end - 1, -1, -1):
        for size in range(max(len(one) for one in tall[first:end])):
            taken = [one[min(size, len(one) - 1)] for one in tall[first:end]]
            filled = sum(one.height + one.after for one in taken) - taken[-1].after
            if filled <= room:
                yield _Page(first, end, size, Cost(1, size, (room - filled) ** 2))
                break
        else:
            return
