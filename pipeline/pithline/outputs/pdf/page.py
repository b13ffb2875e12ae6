"""Paper sizes, fonts, and documents whose pages fill from the top with a foot under each."""

from __future__ import annotations

import io
from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any

import matplotlib
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import BaseDocTemplate, Flowable, Frame, PageTemplate

PAPERS = {"A4": A4, "Letter": LETTER}
"""Width and height of a sheet. [pt]"""
PLAIN, BOLD = "DejaVuSans", "DejaVuSans-Bold"
MM = 72.0 / 25.4
"""Points to a millimetre."""
MARGIN = 36.0
"""Left, right and top of a page: half an inch, which every printer reaches. [pt]"""
FOOT = 16.0
"""What the page's foot takes above the margin. [pt]"""


def fonts() -> None:
    """Make the two faces known; they come with matplotlib and hold accented and Greek letters."""
    for name in (PLAIN, BOLD):
        if name not in pdfmetrics.getRegisteredFontNames():
            pdfmetrics.registerFont(TTFont(name, str(Path(matplotlib.get_data_path()) / "fonts/ttf" / f"{name}.ttf")))
    pdfmetrics.registerFontFamily(PLAIN, normal=PLAIN, bold=BOLD, italic=PLAIN, boldItalic=BOLD)


def new_canvas(size: tuple[float, float], title: str) -> tuple[Canvas, io.BytesIO]:
    """A canvas of pages of one `size` [pt] for drawing freely; its bytes depend on what is drawn alone."""
    fonts()
    out = io.BytesIO()
    canvas = Canvas(out, pagesize=size, invariant=1, pageCompression=1)
    canvas.setTitle(title)
    canvas.setLineJoin(1)
    return canvas, out


def measure_of(paper: str) -> float:
    """Width of a line of text. [pt]"""
    return PAPERS[paper][0] - 2.0 * MARGIN


def height_of(paper: str) -> float:
    """What a page holds from top to foot. [pt]"""
    return PAPERS[paper][1] - 2.0 * MARGIN - FOOT


class _NumberedCanvas(Canvas):
    """A canvas that knows how many pages there are by the time it writes their feet."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._kept: list[dict[str, Any]] = []
        self.foot: tuple[str, str] = ("", "")
        self.foot_width = 0.0

    def showPage(self) -> None:
        """Keep the page until all are drawn."""
        self._kept.append(dict(self.__dict__))
        self._startPage()  # type: ignore[attr-defined]  # what the library's own recipe for page counts calls

    def save(self) -> None:
        """Write the feet, then the file."""
        for number, state in enumerate(self._kept, 1):
            self.__dict__.update(state)
            self._write_foot(number, len(self._kept))
            super().showPage()
        super().save()

    def _write_foot(self, number: int, of: int) -> None:
        title, line = self.foot
        width = self.foot_width
        page = f"page {number} of {of}"
        for text, size, y, room in ((title, 8.0, MARGIN - 10.0, 110.0), (line, 7.0, MARGIN - 20.0, 0.0)):
            self.setFont(PLAIN, size)
            self.drawString(MARGIN, y, shortened(text, width - 2.0 * MARGIN - room, size))
        self.setFont(PLAIN, 8.0)
        self.drawRightString(width - MARGIN, MARGIN - 10.0, page)


def document(story: Sequence[Flowable], paper: str, title: str, foot: str) -> bytes:
    """A PDF of flowing pages; `title` with the page's number, and `foot`, stand under each.

    The same story gives the same bytes.
    """
    return _built(story, paper, title, foot, [_frame(MARGIN, measure_of(paper), paper)])


def columns_document(story: Sequence[Flowable], paper: str, title: str, foot: str, gutter: float) -> bytes:
    """A PDF of flowing pages in two columns; the same story gives the same bytes.

    Parameters
    ----------
    story : sequence of Flowable
        What fills the columns, the left one of a page first.
    paper : str
        "A4" or "Letter".
    title, foot : str
        Stand under each page, the title with the page's number.
    gutter : float
        Between the columns. [pt]
    """
    width = (measure_of(paper) - gutter) / 2.0
    return _built(story, paper, title, foot, [_frame(left, width, paper) for left in (MARGIN, MARGIN + width + gutter)])


def _frame(left: float, width: float, paper: str) -> Frame:
    return Frame(left, MARGIN + FOOT, width, height_of(paper), 0.0, 0.0, 0.0, 0.0)


def _built(story: Sequence[Flowable], paper: str, title: str, foot: str, frames: list[Frame]) -> bytes:
    fonts()
    out, (width, height) = io.BytesIO(), PAPERS[paper]

    def begin(canvas: Any, _: Any) -> None:
        canvas.foot, canvas.foot_width = (title, foot), width
        canvas.setLineJoin(1)

    made = BaseDocTemplate(
        out, pagesize=(width, height), invariant=1, pageCompression=1, title=title,
        pageTemplates=[PageTemplate("page", frames, onPage=begin, pagesize=(width, height))],
    )  # fmt: skip
    made.build(list(story), canvasmaker=_NumberedCanvas)
    return out.getvalue()


@lru_cache(maxsize=65536)
def width_of(text: str, size: float, bold: bool = False) -> float:
    """Width of one line. [pt]"""
    fonts()
    return float(pdfmetrics.stringWidth(text, BOLD if bold else PLAIN, size))


def shortened(text: str, width: float, size: float, bold: bool = False) -> str:
    """The text, or as much of it as fits one line of `width` [pt], with an ellipsis."""
    if width_of(text, size, bold) <= width:
        return text
    while text and width_of(text + "…", size, bold) > width:
        text = text[:-1]
    return text + "…"
