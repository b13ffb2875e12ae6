"""The logs that a scan shows, to choose one of."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pithline.errors import InputError
from pithline.logmodel.card import Card
from pithline.logmodel.log_frame import axis_vector, millimetres
from pithline.logmodel.plausibility import check_span
from pithline.logmodel.scale_by_tape import needs_scale
from pithline.scan.log_search import list_logs

Array = NDArray[np.float64]

SHOWN = 6000


@dataclass(frozen=True, slots=True)
class LogSeen:
    """One log of a scan: `length` and `diameter` roughly, and `points` (k, 3) of it, as seen from above: to the right,
    away, and up. All in mm.
    """

    length: float
    diameter: float
    points: Array


def logs_in_scan(points: Array, card: Card, default_up: str = "+z") -> tuple[LogSeen, ...]:
    """Every log among points (n, 3) in scan coordinates, in the order in which `pick` counts them.

    Raises
    ------
    FitError
        If there is none, or the scan's size is absurd.
    InputError
        If the scan's scale is not known.
    """
    if needs_scale(card):
        raise InputError('scan_units is "tape", which needs one log alone; put a reference length on the card to list.')
    points = np.asarray(points, dtype=np.float64)
    scale = millimetres(card)
    check_span(points, card, scale)
    middle = np.median(points, axis=0)
    up = axis_vector(card.up or default_up)
    lead = np.eye(3)[(int(np.argmax(np.abs(up))) + 1) % 3]
    view = np.stack([lead, np.cross(up, lead), up])
    return tuple(
        LogSeen(rough.length, 2.0 * rough.size, own[:: max(1, len(own) // SHOWN)] @ view.T)
        for own, rough in list_logs((points - middle) * scale, None if card.up is None else up)
    )
