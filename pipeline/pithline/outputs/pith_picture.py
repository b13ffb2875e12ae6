"""The photograph of an end face with the pith, the outline and rings as they were found drawn into it."""

from __future__ import annotations

import io

import matplotlib
import numpy as np
from matplotlib.figure import Figure
from numpy.typing import NDArray

from pithline.pith.find import PithFound

Array = NDArray[np.float64]

RED, BLUE = "#d62a12", "#1f5fd0"
RINGS = (0.2, 0.4, 0.6, 0.8)
"""Where on the way from the pith to the bark rings are drawn, to be held against the grain."""
SIDE = 11.0
"""Longer side of the picture. [in]"""


def pith_png(picture: Array, found: PithFound, title: str) -> bytes:
    """PNG of the picture (h, w, 3) with what was found in it and the tape measures for the card."""
    height, width = picture.shape[:2]
    size = np.array([width, height]) * SIDE / max(width, height)
    with matplotlib.rc_context({"font.size": 11, "svg.hashsalt": "pithline"}):
        figure = Figure(figsize=(size[0], size[1] + 1.0), dpi=110)
        axes = figure.add_axes((0.0, 0.0, 1.0, size[1] / (size[1] + 1.0)))
        axes.imshow(picture, interpolation="bilinear")
        axes.set_axis_off()
        outline = np.vstack([found.outline.places, found.outline.places[:1]])
        axes.plot(*outline.T, color=BLUE, lw=1.8)
        for part in RINGS:
            # a ring keeps the outline's form about a centre that moves from the pith to the outline's middle
            ring = found.place + part * (outline - found.place)
            axes.plot(*ring.T, color=RED, lw=1.0, ls=(0, (6, 4)))
        (left, top), (right, bottom) = found.outline.low, found.outline.high
        x, y = found.place
        axes.plot(x, y, "+", ms=30, mew=2.6, color=RED, zorder=6)
        arrow = {"arrowstyle": "<->", "color": "white", "lw": 2.0, "shrinkA": 0, "shrinkB": 14}
        axes.annotate("", (left, y), (x, y), arrowprops=arrow)
        axes.annotate("", (x, top), (x, y), arrowprops=arrow)
        for at in (left, right):
            axes.plot([at, at], [top, bottom], color=BLUE, lw=0.8, ls=":")
        axes.plot([left, right], [top, top], color=BLUE, lw=0.8, ls=":")
        box = {"boxstyle": "round", "fc": "white", "ec": "none", "alpha": 0.85}
        axes.text(0.5 * (left + x), y, f"{found.from_left:.0f} mm", ha="center", va="center", bbox=box)
        axes.text(x, 0.5 * (top + y), f"{found.from_top:.0f} mm", ha="center", va="center", bbox=box)
        axes.set_xlim(-0.5, width - 0.5)
        axes.set_ylim(height - 0.5, -0.5)
        figure.text(0.02, 1.0 - 0.22 / (size[1] + 1.0), title, va="top", fontweight="bold")
        figure.text(0.02, 1.0 - 0.55 / (size[1] + 1.0), _words(found), va="top", linespacing=1.3, fontsize=9.5)
        buffer = io.BytesIO()
        figure.savefig(buffer, format="png", metadata={"Software": None})
    return buffer.getvalue()


def _words(found: PithFound) -> str:
    rings = (
        "rings too faint to count"
        if np.isnan(found.spacing)
        else f"rings about {found.spacing:.1f} mm apart (± {found.spacing_spread:.1f})"
    )
    return (
        f"pith ± {found.error:.0f} mm, confidence {found.confidence:.2f}; {rings}; over bark {found.across:.0f} mm wide, "
        f"{found.down:.0f} mm high.\nRed: pith and the run of rings it implies. Blue: outline over bark. "
        "Do they follow the wood? Else mark the pith by eye."
    )
