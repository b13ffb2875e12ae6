"""A pen for drawings on a page: every stroke and word says its own weight, so that none depends on the one before."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.colors import to_rgb
from numpy.typing import NDArray
from reportlab.pdfgen.canvas import Canvas

from pithline.outputs.palette import PartLook
from pithline.outputs.pdf.page import BOLD, PLAIN, width_of

Array = NDArray[np.float64]
Point = Sequence[float] | Array
DASHED = (7.0, 2.0)
"""A cut that is still to come."""
DOTTED = (1.0, 3.0)
"""What is not sawn: the rest of a line, an edge that is not there."""
CHAIN = (8.0, 2.0, 2.0, 2.0)
"""A middle line."""
PALE = 0.45
"""How much of a class's colour is laid on paper."""
STRIPES = 4.0
"""From one line of a pattern to the next. [pt]"""


@dataclass(frozen=True, slots=True)
class Pen:
    """Draws on a canvas; coordinates in pt, x to the right, y up."""

    canvas: Canvas

    def line(self, start: Point, end: Point, weight: float = 1.0, dash: Sequence[float] = ()) -> None:
        """A straight line; `weight` [pt], `dash` in lengths on and off."""
        self.canvas.saveState()
        self.canvas.setLineWidth(weight)
        if dash:
            self.canvas.setDash(list(dash))
        self.canvas.line(float(start[0]), float(start[1]), float(end[0]), float(end[1]))
        self.canvas.restoreState()

    def polygon(
        self, points: Array, weight: float = 1.0, gray: float | None = None, dash: Sequence[float] = ()
    ) -> None:
        """A closed outline (n, 2), filled with a `gray` from 0 (black) to 1 where one is given; no stroke of weight 0."""
        if len(points) < 3:
            return
        path = self.canvas.beginPath()
        path.moveTo(float(points[0][0]), float(points[0][1]))
        for point in points[1:]:
            path.lineTo(float(point[0]), float(point[1]))
        path.close()
        self.canvas.saveState()
        self.canvas.setLineWidth(weight)
        if dash:
            self.canvas.setDash(list(dash))
        if gray is not None:
            self.canvas.setFillGray(gray)
        self.canvas.drawPath(path, stroke=int(weight > 0.0), fill=int(gray is not None))
        self.canvas.restoreState()

    def filled(self, points: Array, look: PartLook, weight: float = 0.8) -> None:
        """A closed outline (n, 2) in a class's colour, paled so that words on it are read, under its pattern."""
        low, high = points.min(axis=0), points.max(axis=0)
        canvas, path = self.canvas, self.canvas.beginPath()
        path.moveTo(float(points[0][0]), float(points[0][1]))
        for point in points[1:]:
            path.lineTo(float(point[0]), float(point[1]))
        path.close()
        canvas.saveState()
        canvas.clipPath(path, stroke=0, fill=0)
        red, green, blue = to_rgb(look.colour)
        canvas.setFillColorRGB(*(1.0 - PALE * (1.0 - one) for one in (red, green, blue)))
        canvas.rect(float(low[0]), float(low[1]), float(high[0] - low[0]), float(high[1] - low[1]), stroke=0, fill=1)
        canvas.setStrokeGray(0.35)
        canvas.setLineWidth(0.4)
        self._pattern(look.pattern, low, high)
        canvas.restoreState()
        self.polygon(points, weight)

    def _pattern(self, pattern: int, low: Array, high: Array) -> None:
        """The lines or dots of a pattern over a box; see `pithline.outputs.palette`."""
        (left, bottom), (right, top) = (float(one) for one in low), (float(one) for one in high)
        tall = top - bottom
        if pattern == 1:
            for y in np.arange(bottom + STRIPES / 2.0, top, STRIPES):
                self.canvas.line(left, float(y), right, float(y))
        for x in np.arange(left - tall, right + tall, STRIPES):
            at = float(x)
            if pattern == 2:
                self.canvas.line(at, bottom, at, top)
            if pattern in (3, 5):
                self.canvas.line(at, bottom, at + tall, top)
            if pattern in (4, 5):
                self.canvas.line(at + tall, bottom, at, top)
            if pattern == 6:
                for y in np.arange(bottom + STRIPES / 2.0, top, STRIPES):
                    self.canvas.circle(at, float(y), 0.7, stroke=1, fill=0)

    def outlines(self, rings: Iterable[Array], weight: float = 1.0) -> None:
        """Several closed outlines."""
        for ring in rings:
            self.polygon(ring, weight)

    def box(self, corner: Point, width: float, height: float, weight: float = 1.0, gray: float | None = None) -> None:
        """A rectangle.

        Parameters
        ----------
        corner : (2,)
            Lower left. [pt]
        width, height, weight : float
            Of the rectangle and of its stroke; no stroke of weight 0. [pt]
        gray : float, optional
            Filled with it, 0 black to 1 white.
        """
        x, y = float(corner[0]), float(corner[1])
        self.polygon(np.array([[x, y], [x + width, y], [x + width, y + height], [x, y + height]]), weight, gray)

    def circle(self, middle: Point, radius: float, weight: float = 1.0) -> None:
        """A circle."""
        self.canvas.saveState()
        self.canvas.setLineWidth(weight)
        self.canvas.circle(float(middle[0]), float(middle[1]), radius)
        self.canvas.restoreState()

    def text(self, at: Point, text: str, size: float, bold: bool = False, anchor: float = 0.0) -> None:
        """One line of text in black.

        Parameters
        ----------
        at : (2,)
            On its base line. [pt]
        text : str
            No line ends.
        size : float
            Of the type. [pt]
        bold : bool
            The strong face.
        anchor : float
            Share of its width left of `at`: 0 begins, 0.5 is in the middle, 1 ends there.
        """
        self.canvas.saveState()
        self.canvas.setFillGray(0.0)
        self.canvas.setFont(BOLD if bold else PLAIN, size)
        self.canvas.drawString(float(at[0]) - anchor * width_of(text, size, bold), float(at[1]), text)
        self.canvas.restoreState()
