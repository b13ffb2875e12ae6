"""Pictures of one log for the appraisal, as SVG: its two flanks as outlines, and both ends with the plates in them.

Sizes are mm in the view box, so that all logs of a page drawn to one width of the box share a scale.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

from pithline.logmodel.model import CLOCK_SAMPLES, EndPlane, LogModel, radius_at
from pithline.outputs.ends import end_face
from pithline.outputs.html_page import macro

Array = NDArray[np.float64]
Box = tuple[Any, Any]
"""A plate's corner (3,) and edges (3, 3), in the log frame."""
MARGIN = 18.0
"""Round a picture. [mm]"""
NEAR = 150.0
"""Plates that begin within this of an end are drawn on it. [mm]"""
STATIONS = 60
"""Points along a flank."""
TEMPLATE = "reports/log_pictures.svg"


@dataclass(frozen=True, slots=True)
class Pictures:
    """SVG elements: the log from the side and from above, its butt and its top end."""

    side: Markup
    above: Markup
    butt: Markup
    top: Markup


STYLE = (
    "<style>path,circle{vector-effect:non-scaling-stroke}.wood{fill:#e9d6b1;stroke:#5b4636;stroke-width:1.5}"
    ".bark{fill:#5b4636}.flank.tape .wood{stroke-dasharray:5 4}.doubt{fill:#7a4fa3;fill-opacity:.28;stroke:none}"
    ".pith{stroke:#9c2418;stroke-width:1.5;fill:none}.plate{fill:#fff;fill-opacity:.65;stroke:#2b1e16;stroke-width:.6}</style>"
)
"""For a picture that no style sheet reaches."""


def standing_alone(picture: Markup) -> str:
    """A picture as a file of its own."""
    head, _, rest = str(picture).strip().partition(">")
    return f'{head.replace("<svg ", """<svg xmlns="http://www.w3.org/2000/svg" """, 1)}>{STYLE}{rest}'


class FlankPicture(NamedTuple):
    """What a flank's picture holds: paths as SVG has them, the view box, how the log was seen, from where it is seen."""

    basis: str
    words: str
    box: str
    wood: str
    doubt: str
    pith: str


class EndPicture(NamedTuple):
    """What an end's picture holds; `doubt` is the radius of the pith's."""

    basis: str
    words: str
    box: str
    bark: str
    wood: str
    plates: str
    doubt: str


class FlankEdge(NamedTuple):
    """One edge of a flank (n,): the bark, and two standard errors outside and inside it. [mm]"""

    bark: Array
    outer: Array
    inner: Array


def pictures_of(model: LogModel, basis: str, boxes: Sequence[Box]) -> Pictures:
    """Draw a log; `boxes` are (corner, edges) of the plates planned, in the log frame."""
    flank, end = macro(TEMPLATE, "flank"), macro(TEMPLATE, "end")
    return Pictures(
        flank(flank_of(model, basis, 0.0, "from the side")),
        flank(flank_of(model, basis, np.pi / 2, "from above")),
        end(end_view_of(model, model.butt, basis, boxes)),
        end(end_view_of(model, model.top, basis, boxes)),
    )


def flank_of(model: LogModel, basis: str, clock: float, words: str) -> FlankPicture:
    """The outline seen square to the plane of a clock angle [rad]: bark, two standard errors about it, pith."""
    x = np.linspace(0.0, model.length, STATIONS)
    way = np.array([-np.sin(clock), np.cos(clock)])
    centre = np.asarray(model.splines(model.centre)(x) @ way, float)
    upper, lower = (_edge(model, x, centre, clock, side) for side in (1.0, -1.0))
    # "above" looks down on a log whose butt is on the left: +y, on the left of someone facing the butt end, lies below
    half = max(float(np.abs(line).max()) for edge in (upper, lower) for line in edge) + MARGIN
    return FlankPicture(
        basis=basis.replace(" ", "-"),
        words=words,
        box=f"{-MARGIN:.0f} {-half:.0f} {model.length + 2 * MARGIN:.0f} {2 * half:.0f}",
        wood=_closed(_there_and_back(x, -upper.bark, -lower.bark)),
        doubt="".join(_closed(_there_and_back(x, -edge.outer, -edge.inner)) for edge in (upper, lower)),
        pith=_open(np.column_stack([x, -(model.splines(model.pith)(x) @ way)])),
    )


def _edge(model: LogModel, x: Array, centre: Array, clock: float, side: float) -> FlankEdge:
    """The edge of a flank on the `side` (1 or -1) of its clock angle."""
    angle = clock if side > 0.0 else clock + np.pi
    reach = radius_at(model, model.radius_over_bark, x, np.full(len(x), angle))
    column = round(angle / (2 * np.pi) * CLOCK_SAMPLES) % CLOCK_SAMPLES
    doubt = np.interp(x, model.x, model.stderr_radius[:, column])
    return FlankEdge(
        *(np.asarray(centre + side * (reach + more), float) for more in (0.0 * doubt, 2.0 * doubt, -2.0 * doubt))
    )


def end_view_of(model: LogModel, plane: EndPlane, basis: str, boxes: Sequence[Box]) -> EndPicture:
    """An end face as seen facing it: bark, wood, the pith with its doubt, and the plates that reach nearest to it."""
    name = "butt" if plane is model.butt else "top"
    face = end_face(model, name, plane)
    reach = float(np.abs(face.over_bark).max()) + MARGIN
    error = float(np.interp(plane.point[0], model.x, model.stderr_pith))
    flip = np.array([1.0, -1.0])
    return EndPicture(
        basis=basis.replace(" ", "-"),
        words=name,
        box=f"{-reach:.0f} {-reach:.0f} {2 * reach:.0f} {2 * reach:.0f}",
        bark=_closed(face.over_bark * flip),
        wood=_closed(face.under_bark * flip),
        plates="".join(_closed(face.flat(section) * flip) for section in _sections(plane, boxes)),
        doubt=f"{2 * error:.1f}",
    )


def _sections(plane: EndPlane, boxes: Sequence[Box]) -> Iterable[Array]:
    """The end of each plate that is near an end plane, (4, 3)."""
    for corner, edges in boxes:
        length, width, thickness = (np.asarray(edge, float) for edge in edges)
        starts = np.array([corner, corner + length])
        depths = -(starts - plane.point) @ plane.normal
        if depths.min() <= NEAR:
            start = starts[int(np.argmin(depths))]
            yield np.array([start, start + width, start + width + thickness, start + thickness])


def _there_and_back(x: Array, one: Array, other: Array) -> Array:
    """An outline (2n, 2) between two lines over the same stations."""
    return np.concatenate([np.column_stack([x, one]), np.column_stack([x, other])[::-1]])


def _open(points: Array) -> str:
    return "M" + "L".join(f"{x:.0f} {y:.0f}" for x, y in points)


def _closed(points: Array) -> str:
    return _open(points) + "Z"
