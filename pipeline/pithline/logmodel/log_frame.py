"""The log frame (docs/formats.md): which way is up, and the axes that follow from it and from the butt."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pithline.errors import InputError
from pithline.logmodel.card import Card
from pithline.units import SCAN_UNITS

Array = NDArray[np.float64]

NEAR_AXIS = np.radians(15.0)
"""The ground counts as plumb to a scan axis within this."""
STANDING = np.radians(30.0)
"""A log whose axis stands within this of up cannot be told which way it is turned."""
DISAGREE = np.radians(2.0)
"""Marks and the scan's vertical may differ by this before it is said."""
CLEAR_OF_PITH = 20.0
"""A 12 o'clock mark nearer to the pith than this tells no direction. [mm]"""


@dataclass(frozen=True, slots=True)
class Frame:
    """Rows of `turn` are the log frame's axes in the working frame, `origin` its origin there. Both in mm."""

    turn: Array
    origin: Array

    def inward(self, points: Array) -> Array:
        """Working frame (…, 3) to log frame."""
        turned: Array = (points - self.origin) @ self.turn.T
        return turned


def millimetres(card: Card) -> float:
    """Millimetres in one unit of the scan. A reference length on the card goes before `scan_units`."""
    if card.reference is not None:
        return card.reference.length / card.reference.in_scan
    if card.scan_units not in SCAN_UNITS:
        raise InputError(f'scan_units "{card.scan_units}" is not known; write one of {", ".join(SCAN_UNITS)}.')
    return SCAN_UNITS[card.scan_units]


def axis_vector(name: str) -> Array:
    """Unit vector of a scan axis such as "+z"."""
    if len(name) != 2 or name[0] not in "+-" or name[1] not in "xyz":
        raise InputError(f'up "{name}" is no scan axis; write one of +x, -x, +y, -y, +z, -z.')
    axis: Array = np.eye(3)["xyz".index(name[1])] * (1.0 if name[0] == "+" else -1.0)
    return axis


def up_vector(card: Card, default_up: str, ground: Array | None) -> tuple[Array, list[str]]:
    """The scan's vertical, and cautions. `ground` is the ground's normal, or None.

    The card's, else the scan axis nearest the ground's normal, else that normal.
    """
    if card.up is not None:
        return axis_vector(card.up), []
    if ground is None:
        return axis_vector(default_up), []
    lead = int(np.argmax(np.abs(ground)))
    nearest = np.eye(3)[lead] * np.sign(ground[lead])
    away = float(np.arccos(np.clip(ground @ nearest, -1.0, 1.0)))
    if away <= NEAR_AXIS:
        return nearest, []
    return ground, [
        f"No scan axis is plumb to the ground ({np.degrees(away):.0f}° off the nearest): up was taken square to the "
        "ground. Put `up` on the card, or twelve_butt and twelve_top."
    ]


@dataclass(frozen=True, slots=True)
class Chord:
    """The centreline's ends `butt` and `top` (3,) in the working frame, and the pith's place on each, or the centre's. [mm]"""

    butt: Array
    top: Array
    pith: tuple[Array, Array]


def log_frame(card: Card, chord: Chord, up: Array, inward: Callable[[Array], Array]) -> tuple[Frame, list[str]]:
    """The log frame with x along the chord from butt to top, and cautions.

    Parameters
    ----------
    card : Card
        For its 12 o'clock marks.
    chord : Chord
    up : (3,) array
        The scan's vertical in the working frame.
    inward : callable
        Scan point to working frame.

    Raises
    ------
    InputError
        If the log stands within 30° of up and no 12 o'clock mark says which way it is turned.
    """
    x = (chord.top - chord.butt) / np.linalg.norm(chord.top - chord.butt)
    marked = _marked_directions(card, chord, x, inward)
    standing = np.arccos(min(abs(float(x @ up)), 1.0)) <= STANDING
    cautions: list[str] = []
    if marked:
        z = np.sum(marked, axis=0)
        z = z - x * (z @ x)
        z /= np.linalg.norm(z)
        cautions += _disagreements(marked, z, None if standing else up - x * (up @ x))
    elif standing:
        raise InputError(
            "the log stands within 30° of the vertical, so the scan cannot tell which side will be up: name the axis that is up where "
            "it lies (--up of `pithline card`, `up` on the card), or put twelve_butt or twelve_top on the card."
        )
    else:
        z = up - x * (up @ x)
        z /= np.linalg.norm(z)
    return Frame(np.stack([x, np.cross(z, x), z]), chord.butt), cautions


def _marked_directions(card: Card, chord: Chord, x: Array, inward: Callable[[Array], Array]) -> list[Array]:
    """Unit vectors square to the axis `x` from the pith to each 12 o'clock mark."""
    marked = []
    for mark, middle in zip((card.twelve_butt, card.twelve_top), chord.pith, strict=True):
        if mark is not None:
            away = inward(np.asarray(mark.xyz, float)) - middle
            away = away - x * (away @ x)
            if np.linalg.norm(away) < CLEAR_OF_PITH:
                raise InputError("a 12 o'clock mark lies on the pith; mark a point of the line well away from it.")
            marked.append(away / np.linalg.norm(away))
    return marked


def _disagreements(marked: list[Array], z: Array, plumb: Array | None) -> list[str]:
    """Cautions where 12 o'clock marks disagree with one another, or `z` from them with the scan's vertical."""
    cautions = []
    if len(marked) == 2 and marked[0] @ marked[1] < np.cos(DISAGREE):
        apart = np.degrees(np.arccos(np.clip(marked[0] @ marked[1], -1, 1)))
        cautions.append(
            f"The 12 o'clock marks of the two ends disagree by {apart:.1f}°; their middle was taken. Check the plumb lines."
        )
    if plumb is not None and plumb @ z < np.cos(DISAGREE) * np.linalg.norm(plumb):
        apart = np.degrees(np.arccos(np.clip(plumb @ z / np.linalg.norm(plumb), -1, 1)))
        cautions.append(f"The 12 o'clock marks stand {apart:.1f}° off the scan's vertical; the marks were taken.")
    return cautions
