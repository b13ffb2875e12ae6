"""Pictures of one log for the appraisal, as SVG: its two flanks as outlines, and both ends with the plates in them.

Sizes are mm in the view box, so that all logs of a page drawn to one width of the box share a scale.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pithline.logmodel.model import EndPlane, LogModel, radius_at
from pithline.outputs.ends import end_face

Array = NDArray[np.float64]
Box = tuple[Any, Any]
EDGE = 18.0
NEAR = 150.0
"""Plates that begin within this of an end are drawn on it. [mm]"""


@dataclass(frozen=True, slots=True)
class Pictures:
    """SVG elements: the log from the side and from above, its butt and its top end."""

    side: str
    above: str
    butt: str
    top: str


def pictures_of(model: LogModel, basis: str, boxes: Sequence[Box]) -> Pictures:
    """Draw a log; `boxes` are (corner, edges) of the plates planned, in the log frame."""
    return Pictures(
        flank(model, basis, 0.0, "from the side"),
        flank(model, basis, np.pi / 2, "from above"),
        end(model, "butt", model.butt, basis, boxes),
        end(model, "top", model.top, basis, boxes),
    )


def _path(points: Array) -> str:
    return "M" + "L".join(f"{x:.0f} {y:.0f}" for x, y in points) + "Z"


def flank(model: LogModel, basis: str, clock: float, words: str) -> str:
    """The outline seen square to the plane of a clock angle: bark, two standard errors about it, pith."""
    x = np.linspace(0.0, model.length, 60)
    way = np.array([-np.sin(clock), np.cos(clock)])
    centre = model.splines(model.centre)(x) @ way
    pith = model.splines(model.pith)(x) @ way
    edges = []
    for turn in (0.0, np.pi):
        reach = radius_at(model, model.radius_over_bark, x, np.full(len(x), clock + turn))
        column = round((clock + turn) / (2 * np.pi) * 72) % 72
        doubt = np.interp(x, model.x, model.stderr_radius[:, column])
        sign = 1.0 if turn == 0.0 else -1.0
        edges.append((centre + sign * reach, centre + sign * (reach + 2 * doubt), centre + sign * (reach - 2 * doubt)))
    # "above" looks down on a log whose butt is on the left: +y, on the left of someone facing the butt, lies below
    half = max(float(np.abs(edge).max()) for edges_ in edges for edge in edges_) + EDGE
    body = np.concatenate([np.column_stack([x, -edges[0][0]]), np.column_stack([x, -edges[1][0]])[::-1]])
    bands = [
        _path(np.concatenate([np.column_stack([x, -out]), np.column_stack([x, -inner])[::-1]]))
        for _, out, inner in edges
    ]
    line = "M" + "L".join(f"{a:.0f} {-b:.0f}" for a, b in zip(x, pith, strict=True))
    return (
        f'<svg class="flank {basis.replace(" ", "-")}" role="img" aria-label="the log {words}" '
        f'viewBox="{-EDGE:.0f} {-half:.0f} {model.length + 2 * EDGE:.0f} {2 * half:.0f}">'
        f'<path class="wood" d="{_path(body)}"/><path class="doubt" d="{"".join(bands)}"/>'
        f'<path class="pith" d="{line}"/></svg>'
    )


def end(model: LogModel, name: str, plane: EndPlane, basis: str, boxes: Sequence[Box]) -> str:
    """An end face as seen facing it: bark, wood, the pith with its doubt, and the plates that reach nearest to it."""
    face = end_face(model, name, plane)
    reach = float(np.abs(face.over_bark).max()) + EDGE
    error = float(np.interp(plane.point[0], model.x, model.stderr_pith))
    flip = np.array([1.0, -1.0])
    plates = []
    for corner, edges in boxes:
        length, width, thickness = (np.asarray(edge, float) for edge in edges)
        starts = np.array([corner, corner + length])
        depths = -(starts - plane.point) @ plane.normal
        if depths.min() > NEAR:
            continue
        start = starts[int(np.argmin(depths))]
        section = np.array([start, start + width, start + width + thickness, start + thickness])
        plates.append(_path(face.flat(section) * flip))
    return (
        f'<svg class="end {basis.replace(" ", "-")}" role="img" aria-label="the {name} end" '
        f'viewBox="{-reach:.0f} {-reach:.0f} {2 * reach:.0f} {2 * reach:.0f}">'
        f'<path class="bark" d="{_path(face.over_bark * flip)}"/><path class="wood" d="{_path(face.under_bark * flip)}"/>'
        f'<path class="plate" d="{"".join(plates)}"/>'
        f'<circle class="doubt" r="{2 * error:.1f}"/><path class="pith" d="M-12 0H12M0 -12V12"/></svg>'
    )
