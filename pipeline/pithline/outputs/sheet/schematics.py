"""Pictures that hold for any log: a piece against the fence, on the table, in V-blocks; and a log in its cradle."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from pithline.outputs.paper import Pages, width_of
from pithline.outputs.reading import Script
from pithline.outputs.sheet.lines import polygon
from pithline.outputs.words import Words

WAYS = 92.0  # pt, height of the row of pictures
BUCK = 120.0


def ways_of_lying(pages: Pages) -> None:
    """Four small pictures: resaw against the fence, rip on the table, a bolt in V-blocks, the V across an edge."""
    pages.room(WAYS)
    each = pages.measure / 4.0
    base = pages.y - WAYS + 26.0
    for number, (draw, words) in enumerate(((_fence, "flat to the fence"), (_table, "face down on the table"),
                                            (_blocks, "in V-blocks"), (_vee, "V across the edge"))):  # fmt: skip
        left = pages.left + number * each
        draw(pages, left + each / 2.0, base)
        pages.write(left + each / 2.0 - width_of(words, 8.0) / 2.0, base - 18.0, words, 8.0)
    pages.y -= WAYS


def _blade(pages: Pages, x: float, base: float) -> None:
    pages.canvas.setLineWidth(1.0)
    pages.canvas.setDash(5, 2)
    pages.canvas.line(x, base - 6.0, x, base + 58.0)
    pages.canvas.setDash()


def _bar(pages: Pages, x: float, base: float) -> None:
    pages.canvas.setLineWidth(1.6)
    pages.canvas.line(x - 50.0, base, x + 50.0, base)


def _fence(pages: Pages, x: float, base: float) -> None:
    """The fence at the left, the billet flat to it, the distance from the face to the kerf's near side."""
    canvas = pages.canvas
    _bar(pages, x, base)
    canvas.setFillGray(0.8)
    canvas.rect(x - 42.0, base, 12.0, 46.0, fill=1)
    canvas.setFillGray(0.0)
    canvas.setLineWidth(1.2)
    canvas.rect(x - 30.0, base, 42.0, 50.0)
    _blade(pages, x - 8.0, base)
    canvas.setLineWidth(0.5)
    canvas.line(x - 30.0, base + 28.0, x - 8.0, base + 28.0)
    for end in (x - 30.0, x - 8.0):
        canvas.line(end, base + 25.0, end, base + 31.0)
    pages.write(x - 62.0, base + 38.0, "fence", 6.5)
    pages.write(x - 4.0, base + 53.0, "blade", 6.5)


def _table(pages: Pages, x: float, base: float) -> None:
    canvas = pages.canvas
    _bar(pages, x, base)
    canvas.setLineWidth(1.2)
    polygon(canvas, np.array([[x - 44.0, base], [x + 42.0, base], [x + 36.0, base + 16.0], [x - 38.0, base + 16.0]]))
    _blade(pages, x + 22.0, base)
    pages.write(x + 26.0, base + 51.0, "blade", 6.5)
    pages.write(x - 36.0, base + 3.0, "named face down", 6.5)


def _blocks(pages: Pages, x: float, base: float) -> None:
    canvas = pages.canvas
    _bar(pages, x, base)
    canvas.setFillGray(0.8)
    for way in (-1.0, 1.0):
        polygon(canvas, np.array([[x, base], [x + 42.0 * way, base], [x + 42.0 * way, base + 26.0]]), fill=1)
    canvas.setFillGray(0.0)
    canvas.setLineWidth(1.2)
    arc = np.radians(np.linspace(32.0, 148.0, 20))
    polygon(
        canvas, np.array([[x, base + 3.0], *np.column_stack([x + 52.0 * np.cos(arc), base + 3.0 + 52.0 * np.sin(arc)])])
    )
    _blade(pages, x, base)


def _vee(pages: Pages, x: float, base: float) -> None:
    """A billet on edge with the V over its plates; the point at the butt, left."""
    canvas = pages.canvas
    canvas.setLineWidth(1.2)
    canvas.rect(x - 48.0, base + 8.0, 96.0, 34.0)
    canvas.setLineWidth(0.4)
    for row in range(1, 5):
        canvas.line(x - 48.0, base + 8.0 + row * 6.8, x + 48.0, base + 8.0 + row * 6.8)
    canvas.setLineWidth(2.0)
    canvas.lines([(x - 34.0, base + 25.0, x + 34.0, base + 8.0), (x - 34.0, base + 25.0, x + 34.0, base + 42.0)])
    pages.write(x - 48.0, base + 45.0, "butt", 6.5)


def buck_view(pages: Pages, reading: Script, words: Words, setting: Mapping[str, Any],
              cuts: Sequence[tuple[str, float]]) -> None:  # fmt: skip
    """The log from its right side, butt at the left, on two cradles, with its cuts."""
    pages.room(BUCK)
    low, high = reading.stretch(setting["piece"])
    stations = np.linspace(low, high, 21)
    right, up = np.array([0.0, -1.0, 0.0]), np.array([0.0, 0.0, 1.0])
    spans = np.array([reading.section(setting["piece"], float(x), right, up).bounds for x in stations])[:, [1, 3]]
    scale = min((pages.measure - 40.0) / (high - low), (BUCK - 44.0) / float(np.ptp(spans)))
    origin = np.array([pages.left + 20.0, pages.y - BUCK + 26.0])

    def spot(x: float, height: float) -> np.ndarray:
        return origin + scale * np.array([x - low, height - spans.min()])

    canvas = pages.canvas
    canvas.setLineWidth(1.3)
    lower, upper = ([spot(x, span[side]) for x, span in zip(stations, spans, strict=True)] for side in (0, 1))
    polygon(canvas, np.array([*lower, *upper[::-1]]))
    canvas.setFillGray(0.8)
    for share in (0.2, 0.8):
        at = low + share * (high - low)
        foot = spot(at, float(np.interp(at, stations, spans[:, 0])))
        polygon(canvas, np.array([foot, *(foot + np.array([[12.0, -12.0], [-12.0, -12.0]]))]), fill=1)
    canvas.setFillGray(0.0)
    for name, along in cuts:
        x = spot(low + along, float(spans.max()))
        canvas.setLineWidth(1.0)
        canvas.setDash(5, 2)
        canvas.line(x[0], x[1] + 4.0, x[0], origin[1] - 4.0)
        canvas.setDash()
        text = f"cut {name}: {words.length(along)}"
        pages.write(x[0] - width_of(text, 8.0, True) / 2.0, x[1] + 7.0, text, 8.0, bold=True)
    pages.write(pages.left + 20.0, pages.y - BUCK + 4.0, "From the right, butt end at the left, in a cradle.", 8.0)
    pages.y -= BUCK
