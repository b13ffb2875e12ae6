"""One page to judge a fit by: unrolled bark, four sections, taper and sweep, dimensions. PDF and PNG, stable bytes."""

from __future__ import annotations

import io

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from pithline.logmodel import dimensions
from pithline.logmodel.bark_thickness import girth_error
from pithline.logmodel.card import Card
from pithline.logmodel.model import (
    CLOCK_SAMPLES,
    FitFinding,
    LogModel,
    clock_angles,
    clock_direction,
    clock_of,
    radius_at,
)
from pithline.outputs.fit_judgement import COLOURS, banner, mark_on_bark, mark_stations, sections_shown, true_scale

Array = NDArray[np.float64]

SHOWN = 8.0
"""The bark map's colours end at this deviation; what stands out farther is a stub or a swelling. [mm]"""
CELL = 20.0
REACH = 150.0
"""Points farther than this off the outline are not of the log. [mm]"""
SECTION_POINTS = 4000
COLUMNS = (-0.12, 0.36, 0.84)
"""Where the columns of the table stand, as parts of its width."""
WOOD, BARK, RED = "#7d6a55", "#20406e", "#b03a1e"

SECTION_KEY = (
    "Above: bark as scanned (dots), outline over bark (line), wood under bark (dashed); red band: within it the wood under bark lies, two "
    "standard errors, drawn where girth was hidden; cross: pith"
)


def fit_page(model: LogModel, points: Array, card: Card | None = None, title: str = "") -> tuple[bytes, bytes]:
    """The page as PDF and PNG.

    Parameters
    ----------
    model : LogModel
    points : (n, 3) array
        The scan in the log frame; what is not of the log may be among it. [mm]
    card : Card or None
        For its tape measures.
    title : str
        The log's name.
    """
    near, out, clock = _bark_points(model, points)
    with matplotlib.rc_context({"font.size": 7.5, "svg.hashsalt": "pithline", "pdf.fonttype": 42}):
        figure = Figure(figsize=(11.69, 8.27))
        figure.suptitle(f"{title}: the fit to judge".lstrip(": "), fontweight="bold", ha="left", x=0.05, y=0.985)
        # places by hand: a layout engine would take longer than the fit
        grid = figure.add_gridspec(4, 4, height_ratios=(1.15, 1.0, 0.9, 0.34), hspace=0.55, wspace=0.3)
        figure.subplots_adjust(0.05, 0.03, 0.98, 0.845)
        banner(figure, model)
        _bark_map(figure, figure.add_subplot(grid[0, :3]), model, near, out, clock)
        _table(figure.add_subplot(grid[0, 3]), model, card)
        for place, (x, found) in enumerate(sections_shown(model)):
            _section(figure.add_subplot(grid[1, place]), model, near, x, found)
        figure.text(0.05, 0.352, SECTION_KEY, fontsize=7.5)
        _taper(figure.add_subplot(grid[2, :2]), model)
        _sweep(figure.add_subplot(grid[2, 2:]), model)
        for place, index in enumerate((1, 0)):
            true_scale(figure.add_subplot(grid[3, 2 * place : 2 * place + 2]), model, index)
        files = []
        for kind, metadata in (("pdf", {"CreationDate": None, "Producer": None, "Creator": None}), ("png", None)):
            buffer = io.BytesIO()
            figure.savefig(buffer, format=kind, dpi=130, metadata=metadata or {"Software": None})
            files.append(buffer.getvalue())
    return files[0], files[1]


def _bark_points(model: LogModel, points: Array) -> tuple[Array, Array, Array]:
    """Points near the bark between the end planes, their height over the outline, their clock angle."""
    inside = np.ones(len(points), bool)
    for plane in (model.butt, model.top):
        inside &= (points - plane.point) @ plane.normal < -3.0
    points = points[inside]
    if not len(points):
        return np.empty((0, 3)), np.empty(0), np.empty(0)
    fine = np.linspace(model.x[0], model.x[-1], 4 * len(model.x))
    centre = model.splines(model.centre)(fine)
    away = points[:, 1:] - np.column_stack([np.interp(points[:, 0], fine, centre[:, i]) for i in (0, 1)])
    clock = clock_of(away)
    # the outline's own table, read bilinearly: a tenth of a millimetre does not show on the page
    row = np.interp(points[:, 0], model.x, np.arange(len(model.x)))
    column = clock * (CLOCK_SAMPLES / (2.0 * np.pi))
    low, left = np.minimum(row.astype(int), len(model.x) - 2), column.astype(int) % CLOCK_SAMPLES
    s, t = row - low, column - np.floor(column)
    table = model.radius_over_bark
    right = (left + 1) % CLOCK_SAMPLES
    radius = (1 - s) * ((1 - t) * table[low, left] + t * table[low, right])
    radius += s * ((1 - t) * table[low + 1, left] + t * table[low + 1, right])
    out = np.hypot(away[:, 0], away[:, 1]) - radius
    near = np.abs(out) < REACH
    return points[near], out[near], clock[near]


def _bark_map(figure: Figure, axes: Axes, model: LogModel, points: Array, out: Array, clock: Array) -> None:
    """Deviation from the outline over length and clock angle; girth not seen is left grey, stubs are ringed."""
    x_edges = np.arange(0.0, model.length + CELL, CELL)
    clock_edges = np.linspace(0.0, 360.0, CLOCK_SAMPLES + 1)
    degrees = np.degrees(clock)
    bark = (out > -3.0 * SHOWN) & (out < 100.0)
    count = np.histogram2d(points[bark, 0], degrees[bark], (x_edges, clock_edges))[0]
    total = np.histogram2d(points[bark, 0], degrees[bark], (x_edges, clock_edges), weights=out[bark])[0]
    mean = np.divide(total, count, out=np.full(total.shape, np.nan), where=count > 0)
    mean[~_of_the_log(model, mean, x_edges, clock_edges)] = np.nan
    axes.set_facecolor("#c9c9c9")
    shade = axes.pcolormesh(x_edges, clock_edges, mean.T, cmap="RdBu_r", vmin=-SHOWN, vmax=SHOWN, rasterized=True)
    figure.colorbar(shade, ax=axes, label="bark over outline, mm", pad=0.015, fraction=0.04, extend="both")
    for knot in model.suspected_knots:
        axes.plot(knot.x, np.degrees(knot.clock), "o", ms=12, mfc="none", mec=RED, mew=1.5)
    mark_on_bark(axes, model)
    axes.set_yticks(np.arange(0, 361, 90), ["12", "3", "6", "9", "12"])
    axes.set_ylabel("o'clock, facing the butt")
    axes.set_xlabel("from the butt, mm")
    seen = 100.0 * dimensions.coverage(model)
    axes.set_title(
        f"Bark unrolled: {seen:.0f} % of the girth seen, the rest grey; ringed: may be knots", loc="left", fontsize=8
    )


def _of_the_log(model: LogModel, mean: Array, x_edges: Array, clock_edges: Array) -> NDArray[np.bool_]:
    """Cells of the map that are bark, or a suspected knot; what stands out elsewhere is a bearer or dirt."""
    own = np.abs(mean) < 2.0 * SHOWN
    x, clock = 0.5 * (x_edges[1:] + x_edges[:-1]), np.radians(0.5 * (clock_edges[1:] + clock_edges[:-1]))
    for knot in model.suspected_knots:
        radius = float(radius_at(model, model.radius_over_bark, np.array(knot.x), np.array(knot.clock)))
        turn = np.abs(np.angle(np.exp(1j * (clock - knot.clock)))) * radius
        own |= np.hypot((x - knot.x)[:, None], turn) < 0.7 * knot.diameter + CELL
    return own


def _section(axes: Axes, model: LogModel, points: Array, x: float, found: tuple[int, FitFinding] | None) -> None:
    """A section, and what was `found` there, with its number."""
    clock = np.linspace(0.0, 2.0 * np.pi, 361)
    at = np.full(len(clock), x)
    centre, pith = model.splines(model.centre)(x), model.splines(model.pith)(x)
    thick = 0.6 * CELL
    slab = points[np.abs(points[:, 0] - x) < thick]
    slab = slab[:: max(1, len(slab) // SECTION_POINTS)]
    # seen facing the butt: +y is on the left
    axes.plot(-slab[:, 1], slab[:, 2], ".", ms=1.2, color=WOOD, rasterized=True)
    for radii, style in ((model.radius_over_bark, "-"), (model.radius_under_bark, "--")):
        line = centre + radius_at(model, radii, at, clock)[:, None] * clock_direction(clock)
        axes.plot(-line[:, 0], line[:, 1], style, color=BARK, lw=0.9)
    doubt = model.splines(model.stderr_radius)(x)
    hidden = doubt > 1.5 * np.median(doubt)
    angles = clock_angles()
    for sign in (-2.0, 2.0):
        radius = model.splines(model.radius_under_bark)(x) + sign * doubt
        line = centre + radius[:, None] * clock_direction(angles)
        line[~hidden] = np.nan
        axes.plot(-line[:, 0], line[:, 1], color=RED, lw=0.7)
    axes.plot(-pith[0], pith[1], "+", ms=9, mew=1.2, color=RED)
    axes.set_aspect("equal")
    axes.set_title(f"{x:.0f} mm from the butt, facing it", loc="left", fontsize=8)
    if found is not None:
        number, one = found
        colour = COLOURS[model.verdict]
        rim = 0.78 * float(radius_at(model, model.radius_over_bark, np.array(x), np.array(one.clock)))
        at = centre + rim * clock_direction(np.array([one.clock]))[0]
        axes.text(-at[0], at[1], str(number), color=colour, fontweight="bold", fontsize=10, ha="center", va="center")
        for spine in axes.spines.values():
            spine.set(color=colour, linewidth=1.8)
    axes.grid(alpha=0.25, lw=0.4)


def _taper(axes: Axes, model: LogModel) -> None:
    x = np.linspace(0.0, model.length, 200)
    for under, style, name in ((False, "-", "over bark"), (True, "--", "under bark")):
        axes.plot(x, dimensions.diameters(model, x, under), style, color=BARK, lw=1.0, label=name)
    axes.set_xlabel("from the butt, mm")
    axes.set_ylabel("diameter, mm")
    mark_stations(axes, model)
    axes.set_title("Taper: diameter of the circle of the same area", loc="left", fontsize=8)
    axes.legend(loc="best", framealpha=0.9)
    axes.grid(alpha=0.3, lw=0.4)


def _sweep(axes: Axes, model: LogModel) -> None:
    x = np.linspace(0.0, model.length, 200)
    centre, pith = model.splines(model.centre)(x), model.splines(model.pith)(x)
    error = model.splines(model.stderr_centre)(x)
    for index, name, colour in ((1, "up", BARK), (0, "to the left, facing the butt", WOOD)):
        axes.plot(x, centre[:, index], color=colour, lw=1.0, label=f"centre {name}")
        axes.fill_between(x, centre[:, index] - 2 * error, centre[:, index] + 2 * error, color=colour, alpha=0.2, lw=0)
        axes.plot(x, pith[:, index], "--", color=colour, lw=0.9, label=f"pith {name}")
    axes.set_xlabel("from the butt, mm")
    axes.set_ylabel("off the chord, mm")
    mark_stations(axes, model)
    axes.set_title(
        "Bend, drawn larger than it is: centre with two standard errors (band), pith", loc="left", fontsize=8
    )
    low, high = axes.get_ylim()
    axes.set_ylim(low, high + 0.45 * (high - low))  # room for the legend above the lines
    axes.legend(loc="upper center", framealpha=0.9, ncols=2)
    axes.grid(alpha=0.3, lw=0.4)


def dimension_rows(model: LogModel, card: Card | None) -> list[tuple[str, str, str]]:
    """Rows of name, value with two standard errors where there is one, and the card's tape measure."""
    inset = min(dimensions.GIRTH_INSET, 0.5 * model.length)
    rows = [("length", f"{model.length:.0f} ± {model.length_doubt:.0f} mm", _taped(card, "tape_length"))]
    for name, x, tape in (
        ("girth, butt", inset, "tape_girth_butt"),
        ("girth, top", model.length - inset, "tape_girth_top"),
    ):
        doubt = ""
        if card is not None:
            errors = girth_error(card, model.radius_over_bark, model.stderr_radius)
            doubt = f" ± {2.0 * float(np.interp(x, model.x, errors)):.0f}"
        rows.append((name, f"{dimensions.girth(model, x):.0f}{doubt} mm", _taped(card, tape)))
    middle = 0.5 * model.length
    wood = dimensions.volume(model)
    inside = (model.x >= 0) & (model.x <= model.length)
    share = 2.0 * (model.stderr_radius[inside] / model.radius_under_bark[inside]).mean()
    return [
        *rows,
        ("diameter, butt", f"{dimensions.diameter_butt(model):.0f} mm", ""),
        ("diameter, top", f"{dimensions.diameter_top(model):.0f} mm", ""),
        ("taper", f"{dimensions.taper_mm_per_m(model):.1f} mm/m", ""),
        ("sweep", f"{dimensions.sweep(model):.0f} mm", ""),
        ("ovality, middle", f"{100 * dimensions.ovality(model, middle):.1f} %", ""),
        ("girth seen", f"{100 * dimensions.coverage(model):.0f} %", ""),
        ("wood under bark", f"{wood / 1e6:.0f} ± {2.0 * share * wood / 1e6:.0f} L", ""),
        ("pith", "assumed" if model.pith_assumed else f"± {2 * float(model.stderr_pith.mean()):.0f} mm", ""),
        ("bark", "assumed" if model.bark_assumed else "from the card", ""),
        ("may be knots", f"{len(model.suspected_knots)}", ""),
    ]


def _taped(card: Card | None, name: str) -> str:
    value = None if card is None else getattr(card, name)
    return "" if value is None else f"{value:.0f} mm"


def _table(axes: Axes, model: LogModel, card: Card | None) -> None:
    axes.axis("off")
    rows = dimension_rows(model, card)
    axes.set_title("Dimensions, ± two standard errors", loc="left", fontsize=8)
    for place, text in zip(COLUMNS, ("", "fit", "tape"), strict=True):
        axes.text(place, 0.97, text, transform=axes.transAxes, fontweight="bold", va="top")
    for number, row in enumerate(rows):
        for place, text in zip(COLUMNS, row, strict=True):
            axes.text(place, 0.9 - number * 0.068, text, transform=axes.transAxes, va="top")
