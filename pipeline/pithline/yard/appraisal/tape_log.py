"""A log drawn up from tape measures alone: a cone of two girths, bowed as a string told, its doubts from the priors."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pithline.errors import InputError
from pithline.files.priors import Priors
from pithline.logmodel.bark_thickness import BARK_VARIES
from pithline.logmodel.card import MARK_ERROR, Card, PithMark, ScanPoint, TapeMark
from pithline.logmodel.dimensions import GIRTH_INSET
from pithline.logmodel.model import CLOCK_SAMPLES, EndPlane, LogModel, clock_direction
from pithline.logmodel.pith_line import UNMARKED_SHARE, WANDER_SHARE
from pithline.logmodel.species import species_of
from pithline.yard.appraisal.log_knowledge import TapedDoubts

Array = NDArray[np.float64]
BEYOND = 115.0
STEP = 20.0
SWEEP_MOST = 0.2
"""A bow of more than this share of the length is no log but a slip of the tape."""
ARMS_OFF = 0.25
"""Two opposite arms that differ from the diameter of the girth by more than this share of it are one too."""
ARMS_ERROR = 0.012
"""What an oval section adds to the error of a pith told by arms, as a share of the radius; invented."""


def needs(card: Card) -> None:
    """Refuse a card with neither scan nor the tape measures to do without.

    Raises
    ------
    InputError
        Names what is missing.
    """
    have = {"length": card.tape_length, "girth_butt": card.tape_girth_butt, "girth_top": card.tape_girth_top}
    missing = [name for name, value in have.items() if value is None]
    if missing:
        raise InputError(
            f"[tape] lacks {', '.join(missing)}; a log without a scan is known by its length and both girths, "
            "add them or name a scan."
        )
    assert card.tape_length is not None
    if card.tape_length <= 2.5 * GIRTH_INSET:
        raise InputError(f"[tape] length is {card.tape_length:.0f} mm, too short for girths 100 mm in from each end.")
    for name, mark in (("butt", card.pith_butt), ("top", card.pith_top)):
        if isinstance(mark, ScanPoint):
            raise InputError(f"[pith] {name} is a point of a scan, but the card names no scan; measure it by tape.")


def bow_of(card: Card, read: Mapping[str, Any], priors: Priors) -> tuple[Array, float]:
    """The bow at mid-length as known, (2,) in (y, z), and its standard deviation each way. [mm]

    Raises
    ------
    InputError
        If the sweep is more than a log can have.
    """
    tape = read.get("tape", {})
    sweep, clock = tape.get("sweep"), tape.get("sweep_clock_deg")
    assert card.tape_length is not None
    if sweep is not None and sweep > SWEEP_MOST * card.tape_length:
        raise InputError(
            f"[tape] sweep is {sweep:.0f} mm on a log of {card.tape_length:.0f} mm, more than a fifth of its length; measure it again."
        )
    if sweep is None:
        return np.zeros(2), priors.sweep_unseen * card.tape_length / np.sqrt(2.0)
    if clock is None:  # its size is known, but not which way it goes
        return np.zeros(2), float(np.hypot(sweep / np.sqrt(2.0), priors.string_error))
    return sweep * clock_direction(np.radians(clock)), priors.string_error


def mark_offset(mark: PithMark | None, radius: float, end: str) -> tuple[Array, float] | None:
    """A pith mark as an offset (y, z) from the centre of a round end, and its standard error; `None` for no mark.

    Raises
    ------
    InputError
        If two opposite arms do not agree with the girth.
    """
    if mark is None or isinstance(mark, ScanPoint):
        return None
    left = 1.0 if end == "butt" else -1.0  # facing the butt, +y is on the left
    error = float(np.hypot(MARK_ERROR, ARMS_ERROR * radius))
    if isinstance(mark, TapeMark):
        return np.array([left * (radius - mark.from_left), radius - mark.from_top]), error
    for near, far, one, other in ((mark.up, mark.down, "up", "down"), (mark.left, mark.right, "left", "right")):
        if near is not None and far is not None and abs(near + far - 2.0 * radius) > ARMS_OFF * 2.0 * radius:
            raise InputError(
                f"[pith] {end}: {one} and {other} make {near + far:.0f} mm across, but by its girth that end is {2.0 * radius:.0f} mm; "
                "measure both again, over bark."
            )
    across, across_error = _one_way(mark.left, mark.right, radius)
    up, up_error = _one_way(mark.up, mark.down, radius)
    # an arm is shorter where the other way is off the centre
    offset = np.array([left * across, up])
    return offset, float(np.hypot(error, 0.5 * max(across_error, up_error)))


def _one_way(near: float | None, far: float | None, radius: float) -> tuple[float, float]:
    """Offset towards `near` from its arm, the opposite one, or both; and what is not known of it."""
    if near is not None and far is not None:
        return 0.5 * (far - near), 0.0
    if near is not None:
        return radius - near, 0.03 * radius
    if far is not None:
        return far - radius, 0.03 * radius
    return 0.0, UNMARKED_SHARE * radius


def tape_model(card: Card, read: Mapping[str, Any], priors: Priors) -> tuple[LogModel, TapedDoubts]:
    """The log model, and what the tape leaves open.

    Raises
    ------
    InputError
        If a measure is missing or leaves no wood.
    """
    needs(card)
    assert card.tape_length and card.tape_girth_butt and card.tape_girth_top
    length = card.tape_length
    x = np.linspace(-BEYOND, length + BEYOND, int(np.ceil((length + 2 * BEYOND) / STEP)) + 1)
    share = (x - GIRTH_INSET) / (length - 2.0 * GIRTH_INSET)
    radius = ((1.0 - share) * card.tape_girth_butt + share * card.tape_girth_top) / (2.0 * np.pi)
    species = species_of(card.species)
    if card.bark_thickness is not None:
        bark, bark_error = np.full(len(x), card.bark_thickness), np.full(len(x), BARK_VARIES * card.bark_thickness)
    else:
        bark, bark_error = (1.0 - species.bark_ratio) * radius, species.bark_ratio_error * radius
    if (radius - bark).min() <= 0.0:
        raise InputError("[tape] the girths leave no wood under the bark; correct them.")
    shape = np.asarray(priors.section_shape)
    size = float(np.linalg.norm(shape))
    weights = shape / size if size > 0.0 else np.eye(len(shape))[0]
    bow, bow_sd = bow_of(card, read, priors)
    t = np.clip(2.0 * x / length - 1.0, -1.0, 1.0)
    centre = (1.0 - t**2)[:, None] * bow
    at_ends = [radius[np.argmin(np.abs(x - at))] for at in (0.0, length)]
    marks = [
        mark_offset(mark, float(r), end)
        for mark, r, end in zip((card.pith_butt, card.pith_top), at_ends, ("butt", "top"), strict=True)
    ]
    for mark, at, end in zip(marks, (0.0, length), ("butt", "top"), strict=True):
        wood = float(np.interp(at, x, radius - bark))
        if mark is not None and float(np.linalg.norm(mark[0])) >= wood:
            raise InputError(
                f"[pith] {end} lies outside the wood of an end {2.0 * wood:.0f} mm across; measure it again."
            )
    offset, error = _pith(marks, card, x, length, float(radius.mean()), priors)
    pith = centre + offset
    wide = np.repeat(radius[:, None], CLOCK_SAMPLES, axis=1)
    surface = wide * size
    sapwood = card.sapwood_thickness
    model = LogModel(
        x=x,
        centre=centre,
        pith=pith,
        radius_over_bark=wide,
        radius_under_bark=wide - bark[:, None],
        envelope=wide + 2.0 * surface,
        coverage=np.zeros(len(x)),
        stderr_centre=bow_sd * (1.0 - t**2),
        stderr_pith=np.hypot(error, bow_sd * (1.0 - t**2)),
        stderr_radius=np.hypot(surface, bark_error[:, None]),
        length=length,
        butt=EndPlane(np.array([0.0, *pith[np.argmin(np.abs(x))]]), np.array([-1.0, 0.0, 0.0])),
        top=EndPlane(np.array([length, *pith[np.argmin(np.abs(x - length))]]), np.array([1.0, 0.0, 0.0])),
        scan_to_log=np.eye(4),
        pith_assumed=marks == [None, None],
        bark_assumed=card.bark_thickness is None,
        sapwood_thickness=species.sapwood_most if sapwood is None else sapwood,
        sapwood_assumed=sapwood is None,
        spiral=card.spiral,
    )
    return model, TapedDoubts(bow_sd, weights)


def _pith(
    marks: list[tuple[Array, float] | None], card: Card, x: Array, length: float, radius: float, priors: Priors
) -> tuple[Array, Array]:
    """Offset (n, 2) of the pith from the centre and its standard error (n,), as design section 3 reads one or two marks."""
    butt, top = marks
    t = np.clip(x / length, 0.0, 1.0)
    if butt is None and top is None:
        return np.zeros((len(x), 2)), np.full(len(x), priors.pith_unmarked * radius)
    if butt is not None and top is not None:
        errors = [card.pith_error if card.pith_error is not None else one[1] for one in (butt, top)]
        offset = (1.0 - t)[:, None] * butt[0] + t[:, None] * top[0]
        return offset, np.hypot((1.0 - t) * errors[0], t * errors[1])
    one, away = (butt, t) if butt is not None else (top, 1.0 - t)
    assert one is not None
    own = card.pith_error if card.pith_error is not None else one[1]
    return np.repeat(one[0][None], len(x), axis=0), np.hypot(own, WANDER_SHARE * radius * away)
