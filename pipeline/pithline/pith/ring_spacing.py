"""Ring spacing: peaks counted along rays from the pith."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, map_coordinates
from scipy.signal import find_peaks

from pithline.pith.outline import FaceOutline

Array = NDArray[np.float64]

RAYS = 72
INNER, OUTER = 0.12, 0.88
"""Rays are read between these parts of the way from the pith to the bark."""
PROMINENT = 0.35
"""A ring stands out by this part of the ray's own spread."""


def ring_spacing(even: Array, place: Array, outline: FaceOutline, scale: float) -> tuple[float, float]:
    """Median spacing of rings and its spread between rays (half the middle half's width). [mm]

    Parameters
    ----------
    even : (h, w) array
        The picture in even light.
    scale : float
        Millimetres in a pixel.
    """
    spacings = []
    for turn in np.arange(RAYS) * (2 * np.pi / RAYS):
        way = np.array([np.cos(turn), np.sin(turn)])
        reach = _to_rim(outline, place, turn)
        along = np.arange(INNER * reach, OUTER * reach, 0.5)
        if len(along) < 40:
            continue
        # three rays side by side, averaged, so that single pores do not count
        side = np.array([-way[1], way[0]])
        rays = [
            map_coordinates(even, (place + along[:, None] * way + shift * side).T[::-1], order=1, mode="nearest")
            for shift in (-1.5, 0.0, 1.5)
        ]
        ray = gaussian_filter1d(np.mean(rays, axis=0), 0.9)
        peaks, _ = find_peaks(ray, prominence=PROMINENT * float(ray.std()))
        if len(peaks) > 3:
            spacings.append(np.median(np.diff(along[peaks])) * scale)
    if not spacings:
        return float("nan"), float("nan")
    quarter, middle, three = np.quantile(spacings, [0.25, 0.5, 0.75])
    return float(middle), float(0.5 * (three - quarter))


def _to_rim(outline: FaceOutline, place: Array, turn: float) -> float:
    way = place + np.array([[np.cos(turn), np.sin(turn)]])
    return 1.0 / float(outline.reach(way, place)[0])
