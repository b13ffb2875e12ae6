"""A piece as it lies, drawn: bed, what holds it with its sizes, its section with the numbers of its sawn faces."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np
from shapely.geometry import Polygon, box
from shapely.ops import unary_union

from pithline.outputs.cut_script.document import Array, Saw, ScriptSetting
from pithline.outputs.cut_script.sawn_pieces import SawnPieces
from pithline.outputs.formatting import Formatter
from pithline.outputs.holding.props import Holding, Prop, PropKind
from pithline.outputs.pdf.page import width_of
from pithline.outputs.pdf.pen import Pen

Place = Callable[[Array], Array]
"""From across and height (..., 2) [mm] to the page. [pt]"""
Box = tuple[float, float, float, float]
"""Left, lower, right and upper edge. [pt]"""
GRAY = {PropKind.FENCE: 0.6, PropKind.STOP: 0.6}
"""Fence and stops are the machine's and darker; blocks are 0.85."""
SMALL = 7.0
"""Type of sizes and face numbers. [pt]"""
SAME_ANGLE = 0.1
"""Cradles nearer than this in angle are one. [deg]"""
INWARD = 8.0
"""How far inside its edge a face's number stands. [pt]"""


class Name(NamedTuple):
    """A face's name: its middle (2,), its width [pt], the text."""

    at: Array
    wide: float
    text: str


def draw_holding(pen: Pen, holding: Holding, place: Place, fmt: Formatter, full: Sequence[Box] = ()) -> None:
    """What holds the piece, then the piece; nothing of one without a section.

    Numbers of faces that would lie on others, or on what is `full` already, are left out.

    Parameters
    ----------
    pen : Pen
        Draws in points of the page.
    holding : Holding
        The piece's section and what holds it. [mm]
    place : callable
        From the section's (n, 2) mm to the page's points.
    fmt : Formatter
        Of lengths.
    full : sequence of Box
        What is drawn there already, in points.
    """
    if holding.section is None:
        return
    for prop in holding.props:
        pen.polygon(place(prop.outline), 0.8, gray=GRAY.get(prop.kind, 0.85))
    pen.outlines((place(ring) for ring in holding.section.outlines), 1.3)
    taken = [spot for prop in holding.props if (spot := _size(pen, prop, place, fmt)) is not None]
    for at, wide, text in face_names(holding, place, [*full, *taken]):
        pen.box(at - np.array([wide / 2.0 + 1.0, SMALL / 2.0]), wide + 2.0, SMALL, 0.0, gray=1.0)
        pen.text(at - np.array([0.0, 0.36 * SMALL]), text, SMALL, anchor=0.5)


def face_names(holding: Holding, place: Place, taken: list[Box]) -> list[Name]:
    """Where the faces' names stand: inside the piece where it is wide enough, else beside it; none over another or over what is `taken`.

    A name for which no place is free is left out: the table has it.
    """
    if holding.section is None:
        return []
    wood = unary_union([Polygon(place(ring)).buffer(0.0) for ring in holding.section.outlines])
    blocks = unary_union([Polygon(place(prop.outline)).buffer(0.0) for prop in holding.props])
    middle, names, full = place(holding.section.points.mean(axis=0)), [], list(taken)
    for face in holding.faces:
        low, high = place(face.edge)
        if float(np.hypot(*(high - low))) < INWARD:
            continue
        text = f"face {face.number}"
        wide, way = width_of(text, SMALL), _square_to(high - low, middle - (low + high) / 2.0)
        reach = INWARD if abs(way[1]) > abs(way[0]) else INWARD + wide / 2.0 - 2.0
        for share, side in ((0.5, 1.0), (0.5, -1.0), (0.75, -1.0), (0.25, -1.0)):
            at = low + share * (high - low) + side * reach * way
            mine = box(at[0] - wide / 2.0, at[1] - SMALL / 2.0, at[0] + wide / 2.0, at[1] + SMALL / 2.0)
            fits = wood.contains(mine) if side > 0.0 else not wood.intersects(mine) and not blocks.intersects(mine)
            if fits and at[1] > SMALL and not any(mine.intersects(box(*other)) for other in full):
                full.append(mine.bounds)
                names.append(Name(np.asarray(at, float), wide, text))
                break
    return names


def _square_to(edge: Array, inside: Array) -> Array:
    """Unit vector (2,) square to an edge, on the side of `inside`."""
    n = np.array([-edge[1], edge[0]]) / max(float(np.hypot(*edge)), 1e-9)
    return n if float(n @ inside) > 0.0 else -n


def _size(pen: Pen, prop: Prop, place: Place, fmt: Formatter) -> Box | None:
    """A block's height at its outer edge, where it is large enough to hold it; the box that the text takes."""
    if prop.kind not in (PropKind.BLOCK, PropKind.CRADLE) or not prop.size:
        return None
    outline = place(prop.outline)
    low, high = outline.min(axis=0), outline.max(axis=0)
    text = fmt.bare(prop.size[-1])
    wide, middle = width_of(text, SMALL), float(low[0] + high[0]) / 2.0
    if wide > high[0] - low[0] or high[1] - low[1] < SMALL:
        return None
    pen.text((middle, low[1] + 2.0), text, SMALL, anchor=0.5)
    return middle - wide / 2.0, float(low[1]), middle + wide / 2.0, float(low[1]) + 2.0 + SMALL


def is_owned(log: SawnPieces, setting: ScriptSetting) -> bool:
    """Whether a setting's cradle is one of those that the shop owns."""
    mill = log.script.inputs.mill
    known = mill.cradles if setting.tool is Saw.MILL else mill.band_saw_cradles
    return setting.against is not None and any(abs(one - setting.against.angle) < SAME_ANGLE for one in known)


def block_words(holding: Holding, fmt: Formatter, owned: bool = False) -> str:
    """The blocks that hold a piece, by their measures; empty where none do. An `owned` cradle need not be made."""
    make = "" if owned else " to be made"
    fitted = [prop for prop in holding.props if prop.kind is PropKind.BLOCK]
    cradle = next((prop for prop in holding.props if prop.kind is PropKind.CRADLE), None)
    if cradle is not None and any(prop.kind is PropKind.FENCE for prop in holding.props):
        foot, top, high = (fmt.bare(abs(one)) for one in cradle.size)
        return f"{'Cradle' if owned else 'Block'}{make}: {foot} thick at the table, {top} at its top, {high} high ({fmt.units})."
    if cradle is not None:
        wide, low, high = (fmt.bare(abs(one)) for one in cradle.size)
        side = "left" if cradle.outline[3, 0] < cradle.outline[2, 0] else "right"
        return (
            f"Cradle{make}: {wide} wide, {low} high at its low side on your {side}, {high} at the other ({fmt.units})."
        )
    if not fitted:
        return ""
    middle = float(np.mean(holding.section.points[:, 0])) if holding.section else 0.0
    sides = [
        f"{'left' if float(prop.outline[:, 0].mean()) < middle else 'right'} {fmt.length(prop.size[-1])} high"
        for prop in fitted
    ]
    return f"Blocks cut to it: {', '.join(sides)}."
