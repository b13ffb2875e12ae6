"""Scans without scale: the scale from the log's length by tape."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pithline.errors import FitError, InputError
from pithline.logmodel.card import Card, LengthInScan
from pithline.logmodel.log_frame import axis_vector
from pithline.logmodel.model import LogModel
from pithline.scan.log_search import find_log

Array = NDArray[np.float64]

PARTS = (1.0, 0.7, 0.5, 0.35)
"""Parts of the scan's span that the log may take up, tried until one agrees with itself."""
AGREES = 0.2
CLOSE = 2e-4
ROUNDS = 4


def needs_scale(card: Card) -> bool:
    """Whether the card leaves the scale to its tape measure."""
    return card.scan_units == "tape" and card.reference is None


def scaled(points: Array, card: Card, pick: int | None, fit: Callable[[Card], LogModel]) -> Card:
    """The card with a reference length that makes the fitted log as long as its tape says.

    Parameters
    ----------
    points : (n, 3) array
        In scan coordinates.
    fit : callable
        A card with a reference length to the fitted model.

    Raises
    ------
    InputError
        If the card has no tape length.
    FitError
        If no log of any scale is found.
    """
    if card.tape_length is None:
        raise InputError('scan_units is "tape" but the card has no tape.length; measure the log from end to end.')
    bare = replace(card, tape_length=None, tape_girth_butt=None, tape_girth_top=None)
    scale = _first(points, card.tape_length, pick, None if card.up is None else axis_vector(card.up))
    for _ in range(ROUNDS):
        length = fit(_with(bare, scale)).length
        scale *= card.tape_length / length
        if abs(card.tape_length / length - 1.0) < CLOSE:
            break
    return _with(card, scale)


def _with(card: Card, scale: float) -> Card:
    return replace(card, reference=LengthInScan(1000.0, 1000.0 / scale))


def _first(points: Array, length: float, pick: int | None, up: Array | None) -> float:
    """Millimetres in a unit of the scan, to a part in five."""
    low, high = np.quantile(points, [0.002, 0.998], axis=0)
    span, middle = float((high - low).max()), np.median(points, axis=0)
    tried = []
    for part in PARTS:
        scale = length / (part * span)
        try:
            found = find_log((points - middle) * scale, pick, up).rough.length
        except FitError as error:
            reason = error
            continue
        tried.append((abs(np.log(length / found)), scale * length / found))
        if tried[-1][0] < AGREES:
            break
    if not tried:
        raise FitError(f"no scale makes a log {length:.0f} mm long of the scan: {reason}") from reason
    return min(tried)[1]
