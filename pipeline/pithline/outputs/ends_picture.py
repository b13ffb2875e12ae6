"""Both ends of a log, flat and seen facing them, to read pith marks from."""

from __future__ import annotations

import io
from dataclasses import dataclass

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from numpy.typing import NDArray

from pithline.logmodel.model import EndPlane, LogModel, clock_direction, radius_at

Array = NDArray[np.float64]

NEAR_END = 20.0
"""Points this near an end plane are shown as its face. [mm]"""
DOTS = 330
"""Points are drawn as dots, so many to the breadth of a face. A picture of dots is quicker drawn than each point by itself."""
CENTIMETRE = 10.0
PLAIN = "#7d6a55"
"""Dots of scans without colours."""


@dataclass(frozen=True, slots=True)
class EndView:
    """An end face in its own plane, as seen facing it with 12 o'clock upright. Lengths in mm.

    Attributes
    ----------
    name : str
        "butt" or "top".
    points : (n, 2) array
        Scan points of the face, as distances from the leftmost (to the right) and topmost (downwards) point over bark.
    colours : (n, 3) array of uint8 or None
    outline : (m, 2) array
        The fitted outline over bark in the same coordinates.
    pith : (2,) array
        The pith line's place in the same coordinates.
    """

    name: str
    points: Array
    colours: NDArray[np.uint8] | None
    outline: Array
    pith: Array


def end_view(model: LogModel, points: Array, colours: NDArray[np.uint8] | None, name: str) -> EndView:
    """The face of one end out of scan points (n, 3) in the log frame."""
    plane, right = (model.butt, -1.0) if name == "butt" else (model.top, 1.0)
    axes = face_axes(plane, right)
    clock = np.linspace(0.0, 2.0 * np.pi, 361)
    x = np.full_like(clock, plane.point[0])
    centre = model.splines(model.centre)(plane.point[0])
    section = centre + radius_at(model, model.radius_over_bark, x, clock)[:, None] * clock_direction(clock)
    # each outline point slides along x onto the end plane
    slide = plane.point[0] - ((section - plane.point[1:]) @ plane.normal[1:]) / plane.normal[0]
    outline = (np.column_stack([slide, section]) - plane.point) @ axes.T
    left, top = outline[:, 0].min(), outline[:, 1].max()
    near = np.abs((points - plane.point) @ plane.normal) < NEAR_END
    flat = (points[near] - plane.point) @ axes.T
    shade = None if colours is None else colours[near]
    return EndView(name, _from_corner(flat, left, top), shade, _from_corner(outline, left, top), np.array([-left, top]))


def ends_png(model: LogModel, points: Array, colours: NDArray[np.uint8] | None, title: str) -> bytes:
    """PNG of both ends over a centimetre grid counted from the leftmost and topmost point over bark.

    What is read off the grid goes onto the log card as it is: `{ from_left = "..", from_top = ".." }`.

    Parameters
    ----------
    model : LogModel
    points : (n, 3) array
        Scan points in the log frame. [mm]
    colours : (n, 3) array of uint8 or None
    title : str
        The log's name.
    """
    with matplotlib.rc_context({"font.size": 8, "svg.hashsalt": "pithline"}):
        # places by hand: a layout engine draws all twice
        figure = Figure(figsize=(15.0, 8.2), dpi=150)
        figure.subplots_adjust(0.04, 0.02, 0.99, 0.87, wspace=0.1)
        figure.suptitle(f"{title}: both ends, each as seen facing it, 12 o'clock upright. Grid: 1 cm.")
        for place, name in enumerate(("butt", "top")):
            _draw(figure.add_subplot(1, 2, place + 1), end_view(model, points, colours, name), model.pith_assumed)
        buffer = io.BytesIO()
        figure.savefig(buffer, format="png", metadata={"Software": None}, pil_kwargs={"compress_level": 2})
    return buffer.getvalue()


def face_axes(plane: EndPlane, right: float) -> Array:
    """Unit vectors (2, 3) in the end plane: to the right as seen facing it, and up along its 12 o'clock line."""
    up = np.array([0.0, 0.0, 1.0])
    up = up - plane.normal * (up @ plane.normal)
    up /= np.linalg.norm(up)
    across = np.cross(up, plane.normal)
    if across[1] * right < 0.0:
        across = -across
    return np.stack([across, up])


def _from_corner(flat: Array, left: float, top: float) -> Array:
    return np.column_stack([flat[:, 0] - left, top - flat[:, 1]])


def _dots(axes: Axes, view: EndView) -> None:
    """The points as a picture of dots, each the mean colour of the points in it."""
    size = float(view.outline.max()) / DOTS
    low = view.points.min(axis=0)
    column, row = np.floor((view.points - low) / size).astype(np.int64).T
    shape = (int(row.max()) + 1, int(column.max()) + 1)
    at = row * shape[1] + column
    count = np.bincount(at, minlength=shape[0] * shape[1])
    image = np.zeros((count.size, 4))
    image[:, :3] = to_rgb(PLAIN)
    if view.colours is not None:
        for channel in range(3):
            total = np.bincount(at, view.colours[:, channel] / 255.0, minlength=count.size)
            image[:, channel] = total / np.maximum(count, 1)
    image[:, 3] = count > 0
    extent = (low[0], low[0] + shape[1] * size, low[1] + shape[0] * size, low[1])
    axes.imshow(image.reshape(*shape, 4), extent=extent, interpolation="nearest", zorder=1)


def _draw(axes: Axes, view: EndView, assumed: bool) -> None:
    if len(view.points):
        _dots(axes, view)
    else:
        words = "the scan shows nothing of this face"
        axes.text(0.5, 0.03, words, transform=axes.transAxes, ha="center", color="#a02020")
    axes.plot(view.outline[:, 0], view.outline[:, 1], color="#20406e", lw=1.0, zorder=3, label="outline over bark")
    across, down = view.outline.max(axis=0)
    axes.plot([view.pith[0]] * 2, [0.0, down], color="#b03a1e", lw=0.8, ls="--", zorder=3, label="12 o'clock line")
    label = "centre, for no pith is marked" if assumed else "pith as on the card"
    axes.plot(*view.pith, marker="+", ms=14, mew=1.2, ls="", color="#b03a1e", zorder=4, label=label)
    room = 3.0 * CENTIMETRE
    axes.set_xlim(-room, across + room)
    axes.set_ylim(down + room, -room)
    axes.set_aspect("equal")
    for axis, most, lines in ((axes.xaxis, across, axes.vlines), (axes.yaxis, down, axes.hlines)):
        fine = np.arange(0.0, most + room, CENTIMETRE)
        reach = (-room, (down if lines == axes.vlines else across) + room)
        # lines, for a hundred ticks take longer to draw than all the rest
        lines(fine, *reach, color="#000000", alpha=0.12, lw=0.4, zorder=2)
        axis.set_ticks(fine[::5], [f"{value / CENTIMETRE:.0f}" for value in fine[::5]])
    axes.grid(which="major", color="#000000", alpha=0.35, lw=0.6, zorder=2)
    axes.xaxis.tick_top()
    axes.xaxis.set_label_position("top")
    axes.set_xlabel("from_left, cm")
    axes.set_ylabel("from_top, cm")
    axes.set_title(f"{view.name} end", loc="left", fontweight="bold")
    axes.legend(loc="lower right", framealpha=0.9)
