"""The log frame of design section 2: which way is up, which end is the butt, and the axes that follow."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pithline.errors import InputError
from pithline.logmodel.card import Card, ScanPoint

Array = NDArray[np.float64]

UNITS = {"m": 1000.0, "cm": 10.0, "mm": 1.0, "in": 25.4, "ft": 304.8}
NEAR_AXIS = np.radians(15.0)
"""The ground counts as plumb to a scan axis within this."""
STANDING = np.radians(30.0)
DISAGREE = np.radians(2.0)


@dataclass(frozen=True, slots=True)
class Frame:
    """Rows of `turn` are the log frame's axes in the working frame, `origin` its origin there. Both in mm."""

    turn: Array
    origin: Array

    def inward(self, points: Array) -> Array:
        """Working frame (…, 3) to log frame."""
        return (points - self.origin) @ self.turn.T


def millimetres(card: Card) -> float:
    """Millimetres in one unit of the scan. A reference length on the card goes before `scan_units`."""
    if card.reference is not None:
        return card.reference.length / card.reference.in_scan
    if card.scan_units not in UNITS:
        raise InputError(f'scan_units "{card.scan_units}" is not known; write one of {", ".join(UNITS)}.')
    return UNITS[card.scan_units]


def axis_vector(name: str) -> Array:
    """Unit vector of a scan axis such as "+z"."""
    if len(name) != 2 or name[0] not in "+-" or name[1] not in "xyz":
        raise InputError(f'up "{name}" is no scan axis; write one of +x, -x, +y, -y, +z, -z.')
    return np.eye(3)["xyz".index(name[1])] * (1.0 if name[0] == "+" else -1.0)


def up_vector(card: Card, default_up: str, ground: Array | None) -> tuple[Array, list[str]]:
    """The scan's vertical by the design's rule, and cautions. `ground` is the ground's normal, or None."""
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


def butt_is_low(card: Card, ends: tuple[Array, Array], radii: tuple[float, float], axis: Array, inward) -> bool:
    """Whether the butt is the low end along `axis`.

    Parameters
    ----------
    ends : two (3,) arrays
        The centreline's low and high end in the working frame. [mm]
    radii : two floats
        Mean radius near each. [mm]
    inward : callable
        Scan point to working frame.
    """
    if card.butt is not None:
        lead = int(np.argmax(np.abs(axis)))
        return bool((axis[lead] > 0) == (card.butt == "min"))
    for mark, of_butt in (
        (card.pith_butt, True),
        (card.pith_top, False),
        (card.twelve_butt, True),
        (card.twelve_top, False),
    ):
        if isinstance(mark, ScanPoint):
            point = inward(np.asarray(mark.xyz, float))
            return bool((abs((point - ends[0]) @ axis) < abs((point - ends[1]) @ axis)) == of_butt)
    return radii[0] >= radii[1]


def log_frame(
    card: Card, butt: Array, top: Array, up: Array, pith: tuple[Array, Array], inward
) -> tuple[Frame, list[str]]:
    """The log frame with x from `butt` to `top`, ends of the centreline in the working frame, and cautions.

    `pith` holds the pith's place on each end, or the centre's where it is not known.

    Raises
    ------
    InputError
        If the log stands within 30° of up and no 12 o'clock mark says which way it is turned.
    """
    x = (top - butt) / np.linalg.norm(top - butt)
    marked = []
    for mark, middle in ((card.twelve_butt, pith[0]), (card.twelve_top, pith[1])):
        if mark is not None:
            away = inward(np.asarray(mark.xyz, float)) - middle
            away = away - x * (away @ x)
            if np.linalg.norm(away) < 20.0:
                raise InputError("a 12 o'clock mark lies on the pith; mark a point of the line well away from it.")
            marked.append(away / np.linalg.norm(away))
    cautions = []
    upright = np.arccos(min(abs(float(x @ up)), 1.0)) > STANDING
    if marked:
        z = np.sum(marked, axis=0)
        z = z - x * (z @ x)
        z /= np.linalg.norm(z)
        if len(marked) == 2 and marked[0] @ marked[1] < np.cos(DISAGREE):
            apart = np.degrees(np.arccos(np.clip(marked[0] @ marked[1], -1, 1)))
            cautions.append(
                f"The 12 o'clock marks of the two ends disagree by {apart:.1f}°; their middle was taken. Check the "
                "plumb lines."
            )
        plumb = up - x * (up @ x)
        if upright and plumb @ z < np.cos(DISAGREE) * np.linalg.norm(plumb):
            apart = np.degrees(np.arccos(np.clip(plumb @ z / np.linalg.norm(plumb), -1, 1)))
            cautions.append(f"The 12 o'clock marks stand {apart:.1f}° off the scan's vertical; the marks were taken.")
    elif not upright:
        raise InputError(
            "the log stands within 30° of the vertical, so the scan cannot tell which side will be up; put twelve_butt "
            "or twelve_top on the card, or correct `up`."
        )
    else:
        z = up - x * (up @ x)
        z /= np.linalg.norm(z)
    return Frame(np.stack([x, np.cross(z, x), z]), butt), cautions
