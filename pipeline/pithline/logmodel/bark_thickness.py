"""Bark: its thickness along the radius, from the card or the species' relation, and its doubt."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pithline.errors import InputError
from pithline.logmodel.card import Card
from pithline.logmodel.species import species_of

Array = NDArray[np.float64]

BARK_VARIES = 0.055
"""Bark measured at a point varies round the girth by this part of its thickness. From memory."""


def bark_thickness(card: Card, outline: Array) -> tuple[Array, Array]:
    """Thickness of the bark and its standard error at each station, (n, 1) each, from over-bark radii (n, 72). [mm]

    Raises
    ------
    InputError
        If the card's bark leaves no wood.
    """
    thickness = card.bark_thickness
    if thickness is not None:
        if thickness >= float(outline.min()):
            raise InputError(
                f"bark.thickness is {thickness:.0f} mm but the log's radius only {float(outline.min()):.0f} mm; "
                "correct it."
            )
        whole = np.full((len(outline), 1), thickness)
        return whole, BARK_VARIES * whole
    species = species_of(card.species)
    size = np.sqrt((outline**2).mean(axis=1, keepdims=True))
    return (1.0 - species.bark_ratio) * size, species.bark_ratio_error * size


def girth_error(card: Card, outline: Array, stderr_radius: Array) -> Array:
    """Standard error (n,) of a girth over bark: that of the radii with the bark's own doubt left out. [mm]

    `outline` and `stderr_radius` are (n, 72). Errors of hidden girth are counted as if they all went one way.
    """
    _, bark = bark_thickness(card, outline)
    error: Array = 2.0 * np.pi * np.sqrt(np.maximum(stderr_radius**2 - bark**2, 0.0)).mean(axis=1)
    return error
