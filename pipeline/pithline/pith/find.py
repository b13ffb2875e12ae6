"""The pith in a photograph of an end face: found, measured by tape from the outline, with its doubt; or refused."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from skimage.color import rgb2gray

from pithline.errors import FitError
from pithline.pith.outline import FaceOutline, find_outline, outline_of_box
from pithline.pith.ring_spacing import ring_spacing
from pithline.pith.votes import Meeting, coarse_meeting, even_light, meeting, ring_votes, without_strokes

Array = NDArray[np.float64]

WORKING = 1400
"""Pictures are brought to this many pixels on the longer side. A ring of 1.5 mm on a log of 560 mm is then 3 px wide."""
LEAST = 0.30
"""Confidence below which the mark is asked for instead. Set on generated end grain: see docs/fit.md."""
LEAST_SECTORS = 0.6
"""Part of the directions from the pith in which rings must be seen."""
SECTOR_SEES = 0.15
OFF_MIDDLE, LEAST_SURE = 0.15, 0.02
"""Rings whose outermost centre is farther off the middle of the outline, or whose pith is less sure, are none; as parts
of the breadth."""
LEAST_CONTRAST = 0.75
"""Part of the girth at which colours must tell the face from what lies behind."""
BLANK = 0.004
"""A picture whose greys spread less than this, one step of 256, shows nothing."""
RINGS_WITHIN = 0.86
"""Votes count within this part of the way to the outline: what lies farther out is bark."""
INNER = 0.65
"""The first search keeps to this part of the way: inner rings lie about the pith."""
MISLED = 0.004
"""Standard error of a pith on which all gradients agree, as a part of the breadth; it grows as fewer agree, for what
leads them astray, such as strokes of a saw, does so together. Set on generated end grain."""
OUTLINE_ERROR = 0.007
TILT_ERROR = np.radians(5.0)
"""Standard errors of the outline, as a part of the breadth, and of how squarely the camera faced the end. Common
practice, no source: a hand-held camera is a few degrees off square."""
CAMERA_AWAY = 2.5
"""Distance of the camera from the face in breadths of it; common practice for a phone that shows the whole face."""


@dataclass(frozen=True, slots=True)
class PithFound:
    """The pith in a picture.

    Attributes
    ----------
    place : (2,) array
        Column and row of the pith. [px of the picture as analysed]
    outline : FaceOutline
        The outline over bark in the same pixels.
    from_left, from_top : float
        Tape measures from the leftmost and the topmost point over bark. [mm]
    across, down : float
        Breadth over bark as stated, and height as the picture shows it. [mm]
    error : float
        Standard error of the mark per axis. [mm]
    confidence : float
        0: gradients point anywhere; 1: all of them at the pith.
    spacing, spacing_spread : float
        Of the rings; NaN where too few were told apart. [mm]
    """

    place: Array
    outline: FaceOutline
    from_left: float
    from_top: float
    across: float
    down: float
    error: float
    confidence: float
    spacing: float
    spacing_spread: float


def find_pith(picture: Array, across: float, box: tuple[float, float, float, float] | None = None) -> PithFound:
    """The pith of an end face.

    Parameters
    ----------
    picture : (h, w, 3) array
        Colours from 0 to 1, the 12 o'clock line upright, the whole face within it.
    across : float
        Breadth of the face over bark, level through its widest part. [mm]
    box : four floats or None
        Left, top, right and bottom of the face over bark in the picture, where its outline cannot be told from what
        lies behind. [px]

    Raises
    ------
    FitError
        If there are no rings to be seen, or the face is not wholly in the picture.
    """
    grey = rgb2gray(picture)
    if float(grey.std()) < BLANK:
        raise FitError("the photograph shows one colour all over; photograph the whole end face in even light.")
    even = without_strokes(even_light(grey))
    size = np.array(even.shape[::-1], float)
    outline = outline_of_box(box) if box is not None else find_outline(picture, _first_place(even, size))
    if outline.cut > 0.04:
        raise FitError("the end face runs out of the picture; photograph the whole face with some room around it.")
    if outline.contrast < LEAST_CONTRAST:
        raise FitError(
            "the outline of the end face cannot be told from what lies behind it; photograph it against something of "
            "another colour, or give its left, top, right and bottom in pixels with --box."
        )
    found = _meeting_within(even, outline)
    confidence = _confidence(found, outline)
    if confidence < LEAST:
        raise FitError(
            f"no rings that agree on a pith (confidence {confidence:.2f}, at least {LEAST:.2f} is needed): the end may "
            "be waxed, painted or rough. Saw it clean and photograph it again, or mark the pith by eye on the card."
        )
    return _measured(even, outline, found, confidence, across)


def _first_place(even: Array, size: Array) -> Array:
    """A place within the face: where all gradients of the picture meet, wherever its outline may be."""
    return coarse_meeting(ring_votes(even), 0.15 * size, 0.85 * size)


def _meeting_within(even: Array, outline: FaceOutline) -> Meeting:
    """Where the gradients of the wood alone meet: first those of its inner half as they stand, then all with the drift
    of the rings' centres.
    """
    votes = ring_votes(even)
    middle = outline.places.mean(axis=0)
    wood = votes.within(outline.reach(votes.places, middle) < RINGS_WITHIN)
    reach = 0.3 * (outline.high - outline.low)
    inner = wood.within(outline.reach(wood.places, middle) < INNER)
    return meeting(wood, coarse_meeting(inner, middle - reach, middle + reach), outline.reach)


def _confidence(found: Meeting, outline: FaceOutline) -> float:
    """Agreement of the gradients; nought where they cannot be rings.

    Rings show in most directions, which strokes of a saw do not; and the outermost lie about the middle of the outline.
    """
    span = float((outline.high - outline.low).min())
    outermost = found.place + found.drift - outline.places.mean(axis=0)
    if float(np.hypot(*outermost)) > OFF_MIDDLE * span or found.stderr > LEAST_SURE * span:
        return 0.0
    sees = float((found.by_sector > SECTOR_SEES).mean())
    return found.agreement if sees >= LEAST_SECTORS else 0.0


def _measured(even: Array, outline: FaceOutline, found: Meeting, confidence: float, across: float) -> PithFound:
    span = outline.high - outline.low
    scale = across / float(span[0])
    left, top = (found.place - outline.low) * scale
    # a face seen at a slant shows its near half larger: by this the middle of it moves
    slant = 0.25 * np.sin(TILT_ERROR) / CAMERA_AWAY
    error = float(np.hypot(found.stderr * scale, across * np.linalg.norm([OUTLINE_ERROR, slant, MISLED / confidence])))
    spacing, spread = ring_spacing(even, found.place, outline, scale)
    return PithFound(
        found.place, outline, float(left), float(top), across, float(span[1] * scale),
        error, confidence, spacing, spread,
    )  # fmt: skip
