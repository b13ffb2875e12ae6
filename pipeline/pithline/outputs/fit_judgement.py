"""The fit's own judgement on its page: in words and colour, at the stations concerned, and the bend at true scale."""

from __future__ import annotations

import textwrap

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from numpy.typing import NDArray

from pithline.logmodel.model import FitFinding, LogModel

Array = NDArray[np.float64]

COLOURS = {"sound": "#1b6b3a", "look here": "#a85b00", "scan again": "#a3201d"}
WORDS = {
    "sound": "SOUND: what the outline leaves of the scan is noise and bark.",
    "look here": "LOOK HERE",
    "scan again": "SCAN AGAIN",
}
PLACED = ("outline", "left out", "layers")
"""Findings that have a place on the bark; the others are of the whole log."""
LINES, WIDTH = 4, 148
"""Lines of words under the verdict at most, and characters in each."""
NEAREST_SHOWN = 0.06
"""Sections lie farther apart than this part of the length."""
USUAL_SECTIONS = (0.08, 0.36, 0.64, 0.92)
WOOD, BARK = "#7d6a55", "#20406e"


def banner(figure: Figure, model: LogModel) -> None:
    """The verdict as a coloured bar over the page, with the words of what was found, numbered as on the bark."""
    colour = COLOURS[model.verdict]
    figure.patches.append(
        Rectangle((0.05, 0.935), 0.93, 0.026, transform=figure.transFigure, facecolor=colour, edgecolor="none")
    )
    figure.text(0.056, 0.948, WORDS[model.verdict], color="white", fontweight="bold", fontsize=9, va="center")
    lines = [
        line
        for number, one in enumerate(model.findings, 1)
        for line in textwrap.wrap(f"{number}  {_here(one.words)}", WIDTH, subsequent_indent="    ")
    ]
    if not lines:
        lines = [_doubt_words(model)]
    if len(lines) > LINES:
        lines = [*lines[: LINES - 1], "…  the rest is printed by the command, and stands in log-model.json"]
    figure.text(0.056, 0.930, "\n".join(lines), color=colour, fontsize=7.5, va="top", linespacing=1.25)


def _here(words: str) -> str:
    """Words of a finding as they are said on the page that they send to."""
    return words.replace(": look at fit.png there.", ": look there.").replace(": look at fit.png, and", ": look, and")


def _doubt_words(model: LogModel) -> str:
    """How sure the outline is where bark was seen and where it was hidden."""
    inside = (model.x >= 0.0) & (model.x <= model.length)
    errors = 2.0 * model.stderr_radius[inside]
    return (
        f"Two standard errors of the wood under bark: {np.median(errors):.1f} mm at most places, {np.quantile(errors, 0.99):.1f} mm at the "
        "worst."
    )


def placed(model: LogModel) -> list[tuple[int, FitFinding]]:
    """Findings with a place on the bark, and their numbers."""
    return [(number, one) for number, one in enumerate(model.findings, 1) if one.kind in PLACED]


def mark_on_bark(axes: Axes, model: LogModel) -> None:
    """Ring what was found on the map of the bark, with its number."""
    colour = COLOURS[model.verdict]
    for number, one in placed(model):
        axes.plot(one.x, np.degrees(one.clock), "s", ms=17, mfc="none", mec=colour, mew=2.0, zorder=5)
        axes.annotate(
            str(number), (one.x, np.degrees(one.clock)), (12, 8), textcoords="offset points", color=colour, fontweight="bold",
            fontsize=10, zorder=6, bbox={"boxstyle": "circle,pad=0.15", "fc": "white", "ec": colour},
        )  # fmt: skip


def mark_stations(axes: Axes, model: LogModel) -> None:
    """A line at every station concerned, on a chart along the log."""
    for _, one in placed(model):
        axes.axvline(one.x, color=COLOURS[model.verdict], lw=1.0, ls=(0, (4, 3)), zorder=0)


def sections_shown(model: LogModel) -> list[tuple[float, tuple[int, FitFinding] | None]]:
    """Four stations to draw, rising: those of findings first, and the usual ones that lie farthest from them. [mm]"""
    shown: list[tuple[float, tuple[int, FitFinding] | None]] = []
    for number, one in placed(model):
        at = float(np.clip(one.x, 0.02 * model.length, 0.98 * model.length))
        if all(abs(at - other) > NEAREST_SHOWN * model.length for other, _ in shown) and len(shown) < len(
            USUAL_SECTIONS
        ):
            shown.append((at, (number, one)))
    usual = [part * model.length for part in USUAL_SECTIONS]
    while len(shown) < len(USUAL_SECTIONS):
        away = [
            min((abs(at - other) for other, _ in shown), default=at) if at not in dict(shown) else -1.0 for at in usual
        ]
        shown.append((usual[int(np.argmax(away))], None))
    return sorted(shown, key=lambda one: one[0])


def true_scale(axes: Axes, model: LogModel, index: int) -> None:
    """The log from the side (`index` 1) or from above (0), as long as it is thick: outline, centreline, chord."""
    x = np.linspace(0.0, model.length, 200)
    centre = model.splines(model.centre)(x)[:, index]
    error = 2.0 * model.splines(model.stderr_centre)(x)
    high, low = (0, 36) if index == 1 else (54, 18)
    radii = model.splines(model.radius_over_bark)(x)
    axes.fill_between(x, centre - radii[:, low], centre + radii[:, high], color=WOOD, alpha=0.18, lw=0)
    axes.fill_between(x, centre - error, centre + error, color=BARK, alpha=0.35, lw=0)
    axes.plot(x, centre, color=BARK, lw=0.9)
    axes.plot([0.0, model.length], [0.0, 0.0], color="#000000", lw=0.5, ls=":")
    axes.set_aspect("equal", anchor="W")
    axes.axis("off")
    view = "from the side" if index == 1 else "from above"
    axes.text(
        0.0, 1.45 * float(radii[:, high].max()), f"The bend at true scale, {view}: centre and its two standard errors, chord dotted",
        fontsize=8, va="bottom",
    )  # fmt: skip
