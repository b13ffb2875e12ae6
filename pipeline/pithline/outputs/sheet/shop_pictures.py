"""Pictures that hold for any log: a piece against the fence, on the table, in V-blocks; and a log in its cradle."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pithline.outputs.cut_script.document import ScriptSetting
from pithline.outputs.cut_script.sawn_log import LEVEL, UPRIGHT
from pithline.outputs.pdf.flow import Drawing
from pithline.outputs.pdf.pen import DASHED, Pen
from pithline.outputs.print_job import PrintJob

WAYS_HEIGHT, BUCK_HEIGHT = 92.0, 120.0
"""Of the row of pictures, and of the log to be crosscut. [pt]"""
SMALL = 6.5
"""Type within the small pictures. [pt]"""
CRADLES = (0.2, 0.8)
"""Where the log's two supports are drawn, as shares of its length."""


class WaysOfLying(Drawing):
    """Four small pictures: resaw against the fence, rip on the table, a bolt in V-blocks, the V across an edge."""

    def __init__(self, width: float) -> None:
        super().__init__(width, WAYS_HEIGHT)

    def sketch(self, pen: Pen) -> None:
        """Side by side, each over its words."""
        pictures = ((_fence, "flat to the fence"), (_table, "face down on the table"), (_blocks, "in V-blocks"),
                    (_vee, "V across the edge"))  # fmt: skip
        each = self.width / len(pictures)
        for number, (draw, words) in enumerate(pictures):
            x = number * each + each / 2.0
            draw(pen, x, 26.0)
            pen.text((x, 8.0), words, 8.0, anchor=0.5)


def _blade(pen: Pen, x: float, base: float) -> None:
    pen.line((x, base - 6.0), (x, base + 58.0), 1.0, DASHED)


def _bar(pen: Pen, x: float, base: float) -> None:
    pen.line((x - 50.0, base), (x + 50.0, base), 1.6)


def _fence(pen: Pen, x: float, base: float) -> None:
    """The fence at the left, the billet flat to it, the distance from the face to the kerf's near side."""
    _bar(pen, x, base)
    pen.box((x - 42.0, base), 12.0, 46.0, gray=0.8)
    pen.box((x - 30.0, base), 42.0, 50.0, 1.2)
    _blade(pen, x - 8.0, base)
    pen.line((x - 30.0, base + 28.0), (x - 8.0, base + 28.0), 0.5)
    for end in (x - 30.0, x - 8.0):
        pen.line((end, base + 25.0), (end, base + 31.0), 0.5)
    pen.text((x - 62.0, base + 38.0), "fence", SMALL)
    pen.text((x - 4.0, base + 53.0), "blade", SMALL)


def _table(pen: Pen, x: float, base: float) -> None:
    _bar(pen, x, base)
    pen.polygon(np.array([[x - 44.0, base], [x + 42.0, base], [x + 36.0, base + 16.0], [x - 38.0, base + 16.0]]), 1.2)
    _blade(pen, x + 22.0, base)
    pen.text((x + 26.0, base + 51.0), "blade", SMALL)
    pen.text((x - 36.0, base + 3.0), "named face down", SMALL)


def _blocks(pen: Pen, x: float, base: float) -> None:
    _bar(pen, x, base)
    for way in (-1.0, 1.0):
        pen.polygon(np.array([[x, base], [x + 42.0 * way, base], [x + 42.0 * way, base + 26.0]]), gray=0.8)
    arc = np.radians(np.linspace(32.0, 148.0, 20))
    round_side = np.column_stack([x + 52.0 * np.cos(arc), base + 3.0 + 52.0 * np.sin(arc)])
    pen.polygon(np.array([[x, base + 3.0], *round_side]), 1.2)
    _blade(pen, x, base)


def _vee(pen: Pen, x: float, base: float) -> None:
    """A billet on edge with the V over its plates; the point at the butt, left."""
    pen.box((x - 48.0, base + 8.0), 96.0, 34.0, 1.2)
    for row in range(1, 5):
        pen.line((x - 48.0, base + 8.0 + row * 6.8), (x + 48.0, base + 8.0 + row * 6.8), 0.4)
    for side in (8.0, 42.0):
        pen.line((x - 34.0, base + 25.0), (x + 34.0, base + side), 2.0)
    pen.text((x - 48.0, base + 45.0), "butt", SMALL)


class BuckView(Drawing):
    """The log from its right side, butt at the left, on two cradles, with its cuts by name and place along it. [mm]"""

    def __init__(self, job: PrintJob, setting: ScriptSetting, cuts: Sequence[tuple[str, float]], width: float) -> None:
        super().__init__(width, BUCK_HEIGHT)
        self.log, self.fmt, self.setting, self.cuts = job.log, job.fmt, setting, cuts

    def sketch(self, pen: Pen) -> None:
        """Outline, cradles, cuts."""
        stretch = self.log.stretch(self.setting.piece)
        stations = np.linspace(stretch.low, stretch.high, 21)
        bounds = [self.log.section(self.setting.piece, float(x), LEVEL, UPRIGHT).bounds for x in stations]
        spans = np.array([(one[1], one[3]) for one in bounds])
        scale = min((self.width - 40.0) / stretch.length, (BUCK_HEIGHT - 44.0) / float(np.ptp(spans)))
        origin = np.array([20.0, 26.0])

        def place(x: float, height: float) -> np.ndarray:
            return origin + scale * np.array([x - stretch.low, height - spans.min()])

        lower, upper = ([place(x, span[side]) for x, span in zip(stations, spans, strict=True)] for side in (0, 1))
        pen.polygon(np.array([*lower, *upper[::-1]]), 1.3)
        for share in CRADLES:
            at = stretch.low + share * stretch.length
            foot = place(at, float(np.interp(at, stations, spans[:, 0])))
            pen.polygon(np.array([foot, *(foot + np.array([[12.0, -12.0], [-12.0, -12.0]]))]), gray=0.8)
        for name, along in self.cuts:
            top = place(stretch.low + along, float(spans.max()))
            pen.line((top[0], top[1] + 4.0), (top[0], origin[1] - 4.0), 1.0, (5.0, 2.0))
            pen.text((top[0], top[1] + 7.0), f"cut {name}: {self.fmt.length(along)}", 8.0, bold=True, anchor=0.5)
        pen.text((20.0, 4.0), "From the right, butt end at the left, in a cradle.", 8.0)
