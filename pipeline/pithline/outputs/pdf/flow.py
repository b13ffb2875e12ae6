"""What a page is filled with: headings, paragraphs, steps, cautions, tables and drawings, as the PDF library flows them."""

from __future__ import annotations

import re
from abc import ABC, abstractmethod
from collections.abc import Sequence
from html import escape
from typing import Any

from reportlab.lib.styles import ParagraphStyle
from reportlab.platypus import CondPageBreak, Flowable, KeepTogether, Paragraph, Spacer, Table

from pithline.outputs.pdf.page import BOLD, PLAIN, fonts, width_of
from pithline.outputs.pdf.pen import Pen

LEAD, TABLE_LEAD = 1.3, 1.2
"""Line height over type size; in a table, whose rows are ruled, less."""
MEASURE = re.compile(r"(\d) (?=\d+/\d|(?:mm|in|kg|lb|L|min|h|°)\b)")
"""Where a number and its fraction or unit meet: "1 13/16 in" is never parted at a line's end."""
STRONG = re.compile(r"\*\*(.+?)\*\*")
CAUTION_SIZE = 9.5
FAR_DOWN = 1e6
"""More room than any page has. [pt]"""
PADDING, BAND_PADDING = 3.0, 4.0
"""Left and right in a table's cell, and in a panel's title. [pt]"""
BESIDE, MOST_TITLE = 0.72, 0.7
"""Type of the words beside a title over the title's, and the most of the width that a title takes."""


class Drawing(Flowable, ABC):
    """A drawing of its own size; a subclass draws in `sketch`, with (0, 0) in its lower left corner."""

    def __init__(self, width: float, height: float) -> None:
        super().__init__()
        self.width, self.height = width, height

    def draw(self) -> None:
        """Called by the PDF library once the drawing has its place."""
        self.sketch(Pen(self.canv))

    @abstractmethod
    def sketch(self, pen: Pen) -> None:
        """The drawing itself."""


class Prose(Paragraph):
    """A paragraph that is broken into lines once for a width: tables and pages ask for its height again and again."""

    _known: tuple[float, tuple[float, float]] | None = None

    def wrap(self, availWidth: float, availHeight: float) -> tuple[float, float]:
        """Called by the PDF library: width and height. [pt]"""
        if self._known is None or self._known[0] != availWidth or not hasattr(self, "blPara"):
            self._known = availWidth, super().wrap(availWidth, availHeight)
        return self._known[1]


def style(size: float, bold: bool = False, **more: Any) -> ParagraphStyle:
    """Type of a paragraph of `size` [pt]; `more` as the PDF library names it."""
    fonts()
    settings: dict[str, Any] = {"fontName": BOLD if bold else PLAIN, "fontSize": size, "leading": size * LEAD,
                                "splitLongWords": 1, "allowWidows": 0, "allowOrphans": 0, "bulletFontName": PLAIN}  # fmt: skip
    return ParagraphStyle(f"{size}{bold}", **(settings | more))


def markup(text: str) -> str:
    """Plain text as the PDF library takes it: only **strong** is markup, measures are kept whole, line ends stay."""
    whole = MEASURE.sub("\\1\N{NO-BREAK SPACE}", escape(text, quote=False)).replace("\n", "<br/>")
    return STRONG.sub(r"<b>\1</b>", whole)


def paragraph(text: str, size: float = 11.0, bold: bool = False, **more: Any) -> Paragraph:
    """A paragraph that parts between pages where it must."""
    return Prose(markup(text), style(size, bold, **({"spaceAfter": 3.0} | more)))


def heading(text: str, size: float = 17.0, room: float = 90.0) -> list[Flowable]:
    """A ruled heading with at least `room` [pt] under it on its page."""
    rule = Table([[Prose(markup(text), style(size, True))]], style=[
        ("LINEBELOW", (0, 0), (-1, -1), 1.2, "black"), ("LEFTPADDING", (0, 0), (-1, -1), 0.0),
        ("TOPPADDING", (0, 0), (-1, -1), 0.0), ("BOTTOMPADDING", (0, 0), (-1, -1), 3.0),
    ], spaceAfter=5.0)  # fmt: skip
    return [CondPageBreak(room), rule]


def step(number: int, text: str, size: float = 11.5) -> Flowable:
    """A numbered step: the number stands out, the text hangs."""
    body = f'<bullet bulletIndent="0"><b>{number}</b></bullet>{markup(text)}'
    return KeepTogether(
        [Prose(body, style(size, leftIndent=26.0, bulletFontName=BOLD, bulletFontSize=size, spaceAfter=4.0))]
    )


def caution(text: str) -> Flowable:
    """A caution: a framed line with the word, so that colour is not needed."""
    row = [Prose("CAUTION", style(CAUTION_SIZE, True)), Prose(markup(text), style(CAUTION_SIZE))]
    return Table([row], colWidths=[72.0, None], spaceAfter=6.0, style=[
        ("BOX", (0, 0), (-1, -1), 1.4, "black"), ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("TOPPADDING", (0, 0), (-1, -1), 1.0), ("BOTTOMPADDING", (0, 0), (-1, -1), 4.0),
    ])  # fmt: skip


def table(
    head: Sequence[str], rows: Sequence[Sequence[str] | str], widths: Sequence[float], size: float = 10.0
) -> Table:
    """Ruled rows of wrapped cells, the head repeated on every page.

    Parameters
    ----------
    head : sequence of str
        One text a column; empty for none.
    rows : sequence
        A text a column each; a row that is one text spans the width, and stays with the row after it.
    widths : sequence of float
        Of the columns. [pt]
    size : float
        Of the type; the head's is a little less. [pt]

    Returns
    -------
    Table
        Flows from page to page between rows; only a row taller than a page is parted.
    """
    plain, strong, top = (
        style(type_size, bold, leading=TABLE_LEAD * type_size)
        for type_size, bold in ((size, False), (size, True), (size * 0.9, True))
    )
    cells: list[list[Any]] = [[Prose(markup(one), top) for one in head]] if head else []
    commands: list[tuple[Any, ...]] = [
        ("GRID", (0, 0), (-1, -1), 0.5, "black"), ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LEFTPADDING", (0, 0), (-1, -1), PADDING), ("RIGHTPADDING", (0, 0), (-1, -1), PADDING),
        ("TOPPADDING", (0, 0), (-1, -1), 1.0), ("BOTTOMPADDING", (0, 0), (-1, -1), 3.0),
    ]  # fmt: skip
    last = len(rows) + len(cells) - 1
    for row in rows:
        line = len(cells)
        if isinstance(row, str):
            cells.append([Prose(markup(row), strong), *[""] * (len(widths) - 1)])
            commands += [("SPAN", (0, line), (-1, line)), ("NOSPLIT", (0, line), (-1, min(line + 1, last)))]
        else:
            cells.append([Prose(markup(one), plain) for one in row])
    return Table(cells, colWidths=list(widths), repeatRows=1 if head else 0, splitInRow=1, style=commands, spaceAfter=6.0,
                 hAlign="LEFT")  # fmt: skip


def bullets(texts: Sequence[str], size: float = 9.5) -> list[Flowable]:
    """Rules or notes, one a line."""
    made = style(size, leftIndent=11.0, spaceAfter=1.5, bulletFontSize=size)
    return [Prose(f'<bullet bulletIndent="1">•</bullet>{markup(one)}', made) for one in texts]


def side_by_side(parts: Sequence[Sequence[Flowable]], widths: Sequence[float]) -> Table:
    """Columns of flowables that stay on one page."""
    return Table([[list(part) for part in parts]], colWidths=list(widths), hAlign="LEFT", style=[
        ("VALIGN", (0, 0), (-1, -1), "TOP"), ("NOSPLIT", (0, 0), (-1, -1)), ("LEFTPADDING", (0, 0), (-1, -1), 0.0),
        ("RIGHTPADDING", (0, 0), (-1, -1), 0.0), ("TOPPADDING", (0, 0), (-1, -1), 0.0), ("BOTTOMPADDING", (0, 0), (-1, -1), 0.0),
    ])  # fmt: skip


def band(text: str, beside: str, width: float, size: float = 13.0) -> Table:
    """The title of a panel on a gray band, with a few words at its right."""
    right = style(size * BESIDE, alignment=2)
    left = min(width_of(text, size, True) + 2.0 * BAND_PADDING + 1.0, MOST_TITLE * width)
    return Table([[Prose(markup(text), style(size, True)), Prose(markup(beside), right)]], colWidths=[left, width - left],
                 spaceAfter=3.0, style=[
        ("BACKGROUND", (0, 0), (-1, -1), "#dddddd"), ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
        ("LEFTPADDING", (0, 0), (-1, -1), BAND_PADDING), ("RIGHTPADDING", (0, 0), (-1, -1), BAND_PADDING),
        ("TOPPADDING", (0, 0), (-1, -1), 0.0), ("BOTTOMPADDING", (0, 0), (-1, -1), 3.0),
    ])  # fmt: skip


def shares(width: float, *parts: float) -> list[float]:
    """A width divided in the ratio of its parts."""
    return [width * part / sum(parts) for part in parts]


def height_of_story(story: Sequence[Flowable], width: float) -> float:
    """How tall flowables stand under one another on a page of their own. [pt]"""
    tall, before = 0.0, 0.0
    for place, one in enumerate(story):
        tall += max(before, one.getSpaceBefore()) if place else 0.0
        tall += one.wrap(width, FAR_DOWN)[1]
        before = one.getSpaceAfter()
    return tall


def gap(height: float) -> Spacer:
    """Room left free. [pt]"""
    return Spacer(1.0, height)
