"""A page that fills from the top: text is wrapped to the width, and what does not fit goes to the next page."""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path

import matplotlib
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

PAPERS = {"A4": A4, "Letter": LETTER}
PLAIN, BOLD = "DejaVuSans", "DejaVuSans-Bold"
MARGIN = 36.0
MEASURE = re.compile(r"(\d) (?=\d+/\d|(?:mm|in|kg|lb|L)\b)")
"""Where a number and its fraction or unit meet: "1 13/16 in" is never parted at a line's end."""
HELD = "\N{NO-BREAK SPACE}"
LEAD = 1.3  # line height over type size
ROW_LINES = 24  # a table row of more lines is continued as the next row


def fonts() -> None:
    """Make the two faces known; they come with matplotlib and hold accented and Greek letters."""
    for name in (PLAIN, BOLD):
        if name not in pdfmetrics.getRegisteredFontNames():
            pdfmetrics.registerFont(TTFont(name, str(Path(matplotlib.get_data_path()) / "fonts/ttf" / f"{name}.ttf")))


def new_canvas(paper: str, title: str) -> tuple[Canvas, io.BytesIO]:
    """A canvas whose bytes depend on what is drawn alone."""
    fonts()
    out = io.BytesIO()
    canvas = Canvas(out, pagesize=PAPERS[paper], invariant=1, pageCompression=1)
    canvas.setTitle(title)
    canvas.setLineJoin(1)
    return canvas, out


@lru_cache(maxsize=65536)
def width_of(text: str, size: float, bold: bool = False) -> float:
    """Width of one line. [pt]"""
    return pdfmetrics.stringWidth(text, BOLD if bold else PLAIN, size)


def wrap(text: str, width: float, size: float, bold: bool = False) -> list[str]:
    """Lines of at most `width` [pt]; line ends in the text are kept; a word too long for a line is broken."""
    return [line for one in str(text).split("\n") for line in _wrap(one, width, size, bold)]


def _wrap(text: str, width: float, size: float, bold: bool) -> list[str]:
    lines, line = [], ""
    for word in MEASURE.sub(f"\\1{HELD}", text).split(" "):
        while width_of(word, size, bold) > width and len(word) > 1:
            keep = max(n for n in range(1, len(word) + 1) if n == 1 or width_of(word[:n], size, bold) <= width)
            if line:
                lines.append(line)
                line = ""
            lines.append(word[:keep])
            word = word[keep:]
        joined = f"{line} {word}".strip()
        if width_of(joined, size, bold) > width and line:
            lines.append(line)
            joined = word
        line = joined
    return [one.replace(HELD, " ") for one in ([*lines, line] if line or not lines else lines)]


def shortened(text: str, width: float, size: float, bold: bool = False) -> str:
    """The text, or as much of it as fits one line, with an ellipsis."""
    if width_of(text, size, bold) <= width:
        return text
    while text and width_of(text + "…", size, bold) > width:
        text = text[:-1]
    return text + "…"


def _portions(row: Sequence[str], widths: Sequence[float], size: float) -> list[list[str]]:
    """A row in portions of at most `ROW_LINES` lines, so that none is taller than a page."""
    cells = [wrap(cell, width - 6.0, size) for cell, width in zip(row, widths, strict=True)]
    longest = max(len(cell) for cell in cells)
    return [["\n".join(cell[start : start + ROW_LINES]) for cell in cells] for start in range(0, longest, ROW_LINES)]


class Pages:
    """Blocks set one under another; page numbers, `title` and the line `foot` at the foot."""

    def __init__(self, paper: str, title: str, foot: str = "") -> None:
        self.foot = foot
        self.canvas, self.out = new_canvas(paper, title)
        self.width, self.height = PAPERS[paper]
        self.title = title
        self.number = 1
        self.y = self.height - MARGIN
        self.left, self.right = MARGIN, self.width - MARGIN

    @property
    def measure(self) -> float:
        """Width of a line. [pt]"""
        return self.right - self.left

    def room(self, height: float) -> None:
        """Begin a new page unless `height` [pt] is left on this one."""
        if self.y - height < MARGIN + 16.0:
            self.turn()

    def turn(self) -> None:
        """Finish this page and begin the next."""
        self._foot()
        self.canvas.showPage()
        self.number += 1
        self.y = self.height - MARGIN

    def _foot(self) -> None:
        number = f"page {self.number}"
        self.write(self.right - width_of(number, 8.0), MARGIN - 10.0, number, 8.0)
        self.write(self.left, MARGIN - 10.0, shortened(self.title, self.measure - 80.0, 8.0), 8.0)
        self.write(self.left, MARGIN - 20.0, shortened(self.foot, self.measure, 7.0), 7.0)

    def write(self, x: float, y: float, text: str, size: float, bold: bool = False) -> None:
        """One line of text where it is told to stand."""
        self.canvas.setFont(BOLD if bold else PLAIN, size)
        self.canvas.drawString(x, y, text)

    def text(self, text: str, size: float = 11.0, bold: bool = False, indent: float = 0.0, after: float = 3.0) -> None:
        """A paragraph."""
        lines = wrap(text, self.measure - indent, size, bold)
        self.room(min(len(lines), 2) * size * LEAD)
        for line in lines:
            self.room(size * LEAD)
            self.y -= size * LEAD
            self.write(self.left + indent, self.y + 0.25 * size, line, size, bold)
        self.y -= after

    def heading(self, text: str, size: float = 17.0) -> None:
        """A heading, kept with what follows."""
        self.room(size * LEAD * 4.0)
        self.text(text, size, bold=True, after=4.0)
        self.canvas.setLineWidth(1.2)
        self.canvas.line(self.left, self.y + 2.0, self.right, self.y + 2.0)
        self.y -= 4.0

    def step(self, number: int, text: str, size: float = 11.5) -> None:
        """A numbered step: the number stands out, the text hangs."""
        lines = wrap(text, self.measure - 26.0, size)
        self.room(len(lines) * size * LEAD + 4.0)
        self.write(self.left, self.y - size * LEAD + 0.25 * size, str(number), size, bold=True)
        self.text(text, size, indent=26.0)

    def caution(self, text: str) -> None:
        """A caution: a framed line with the word, so that colour is not needed."""
        lines = wrap(text, self.measure - 92.0, 9.5)
        height = len(lines) * 9.5 * LEAD + 7.0
        self.room(height + 4.0)
        self.canvas.setLineWidth(1.4)
        self.canvas.rect(self.left + 2.0, self.y - height, self.measure - 4.0, height)
        self.write(self.left + 8.0, self.y - 9.5 * LEAD, "CAUTION", 9.5, bold=True)
        for index, line in enumerate(lines, 1):
            self.write(self.left + 78.0, self.y - index * 9.5 * LEAD, line, 9.5)
        self.y -= height + 6.0

    def table(self, head: Sequence[str], rows: Sequence[Sequence[str] | str], shares: Sequence[float],
              size: float = 10.0) -> None:  # fmt: skip
        """Ruled rows of wrapped cells; the head (if any) is repeated on a new page.

        A row that is one text spans the width, and stays with the row after it.
        """
        widths = [share / sum(shares) * self.measure for share in shares]
        if head:
            self.room(self._row_height(head, widths, size * 0.9, bold=True) + 60.0)
            self._row(head, widths, size * 0.9, bold=True)
        for number, whole in enumerate(rows):
            if isinstance(whole, str):
                follower = rows[number + 1] if number + 1 < len(rows) else ""
                below = [] if isinstance(follower, str) else _portions(follower, widths, size)[0]
                kept = self._row_height([whole], [self.measure], size, bold=True)
                self._turned_row([whole], [self.measure], size, head, widths, True,
                                 kept + (self._row_height(below, widths, size) if below else 0.0))  # fmt: skip
                continue
            for row in _portions(whole, widths, size):
                self._turned_row(row, widths, size, head, widths, False, self._row_height(row, widths, size))
        self.y -= 8.0

    def _turned_row(self, row: Sequence[str], widths: Sequence[float], size: float, head: Sequence[str],
                    head_widths: Sequence[float], bold: bool, height: float) -> None:  # fmt: skip
        """A row, on a new page under the head again where `height` [pt] is not left."""
        before = self.number
        self.room(height)
        if head and self.number != before:
            self._row(head, head_widths, size * 0.9, bold=True)
        self._row(row, widths, size, bold)

    def _row_height(self, row: Sequence[str], widths: Sequence[float], size: float, bold: bool = False) -> float:
        cells = [wrap(cell, width - 6.0, size, bold) for cell, width in zip(row, widths, strict=True)]
        return max(len(cell) for cell in cells) * size * LEAD + 4.0

    def _row(self, row: Sequence[str], widths: Sequence[float], size: float, bold: bool = False) -> None:
        height = self._row_height(row, widths, size, bold)
        x = self.left
        self.canvas.setLineWidth(0.5)
        for cell, width in zip(row, widths, strict=True):
            self.canvas.rect(x, self.y - height, width, height)
            for index, line in enumerate(wrap(cell, width - 6.0, size, bold), 1):
                self.write(x + 3.0, self.y - index * size * LEAD + 0.1 * size, line, size, bold)
            x += width
        self.y -= height

    def bytes(self) -> bytes:
        """The finished file."""
        self._foot()
        self.canvas.save()
        return self.out.getvalue()
