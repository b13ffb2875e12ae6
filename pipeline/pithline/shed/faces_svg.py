"""An end face to be touched: its picture to scale, the outline, the pith, the 12 o'clock line. One unit is a millimetre."""

from __future__ import annotations

import html
from collections.abc import Mapping
from typing import Any

ARM = 22.0
"""Of the cross that marks a pith. [mm]"""


def face_svg(face: Mapping[str, Any], end: str, picture: str, marked: bool) -> str:
    """The face as SVG.

    Parameters
    ----------
    face : mapping
        As `fitting` tells it.
    end : str
        "butt" or "top".
    picture : str
        Address of its picture.
    marked : bool
        Whether the card marks its pith.
    """
    room, wide, high = float(face["room"]), float(face["wide"]), float(face["high"])
    outline = "M" + "L".join(f"{x} {y}" for x, y in face["outline"]) + "Z"
    (px, py), (tx, ty) = face["pith"], face["twelve"]
    cross = f"M{px - ARM} {py}H{px + ARM}M{px} {py - ARM}V{py + ARM}"
    words = f"{end} end, {'pith marked' if marked else 'pith not marked'}; touch it to set a mark, or use the arrow buttons below"
    unseen = "" if face["seen"] else f'<path class="unseen" d="{outline}"/>'
    dashes = "" if marked else 'stroke-dasharray="5 4"'
    return (
        f'<svg viewBox="{-room} {-room} {wide + 2 * room} {high + 2 * room}" role="img" aria-label="{html.escape(words)}">'
        f'{unseen}<image href="{html.escape(picture)}" x="{-room}" y="{-room}" width="{wide + 2 * room + 2}" '
        f'height="{high + 2 * room + 2}" '
        f'preserveAspectRatio="xMinYMin meet"/>'
        f'<path class="outline" d="{outline}"/><path class="line12" d="M{px} {py}L{tx} {ty}"/>'
        f'<text x="{tx + 6}" y="{ty + 24}" font-size="20">12</text>'
        f'<path class="halo" d="{cross}"/><path class="cross" d="{cross}" {dashes}/></svg>'
    )
