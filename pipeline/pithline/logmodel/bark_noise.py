"""How sure a cell's mean is: noise that averages away, and bark texture that does not, shared by neighbouring cells."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

LEAST_WEIGHT = 0.3
"""Cells with less weight of points than this tell nothing."""
LEAST_TEXTURE = 0.0007
"""Least deviation of texture, in radii: no bark is smoother than 0.2 mm on a log of 560 mm."""
ALONG_MOST, ROUND_MOST = 0.8, 0.4
"""Texture is followed this far along the log and round it. [radii] What goes together over more is the log's form."""
SURE = 2.0
"""Correlations below this many of their own errors are noise."""
LEAST_PAIRS = 50


@dataclass(frozen=True, slots=True)
class BarkNoise:
    """`point` variance of one point within its cell, `texture` the variance that a cell's bark adds, neighbours counted in. [mm²]"""

    point: float
    texture: float

    def of_cells(self, weight: Array) -> Array:
        """Variance of cells' means by the weight of points in them, as if cells were independent. [mm²]"""
        return self.point / np.maximum(weight, LEAST_WEIGHT) + self.texture


def bark_noise(weight: Array, miss: Array, point: float, sizes: tuple[float, float], radius: float) -> BarkNoise:
    """Noise and texture of the bark from what a surface leaves of it.

    As ridges run along the log, neighbouring cells are not independent: for what is wider than texture a cell counts as one whose
    variance is the sum of its covariances with all others, which is the texture's spectral density at long waves.

    Parameters
    ----------
    weight, miss : (stations, clocks) arrays
        Weight of points in each cell, and their mean distance from the surface. [mm]
    point : float
        Variance of points within a cell. [mm²]
    sizes : two floats
        Size of a cell along the log and round it. [mm]
    radius : float
        [mm]
    """
    least = (LEAST_TEXTURE * radius) ** 2
    seen = weight > LEAST_WEIGHT
    if seen.sum() < LEAST_PAIRS:
        return BarkNoise(point, max(least, point))
    sure = np.where(seen, 1.0 / (point / np.maximum(weight, LEAST_WEIGHT) + least), 0.0)
    # one cell must not speak for all: the best seen count alike
    sure = np.minimum(sure, 2.0 * float(np.median(sure[seen])))
    excess = float((sure * (miss**2 - point / np.maximum(weight, LEAST_WEIGHT))).sum() / sure.sum())
    along = _reach(sure, miss, 0, int(ALONG_MOST * radius / sizes[0]))
    round_ = _reach(sure, miss, 1, int(ROUND_MOST * radius / sizes[1]))
    # what near neighbours share is texture, however noisy a single cell is
    alone = max(excess, along.first, round_.first, least)
    return BarkNoise(point, alone * along.cells * round_.cells)


@dataclass(frozen=True, slots=True)
class _Reach:
    """Covariance `first` of next neighbours one way [mm²], and over how many `cells` that way they go together."""

    first: float
    cells: float


def _reach(sure: Array, miss: Array, axis: int, most: int) -> _Reach:
    """Followed lag by lag until neighbours no longer go together beyond chance."""
    spread = float((sure * miss**2).sum() / sure.sum())
    covariances: list[float] = []
    for lag in range(1, most + 1):
        if axis == 0:
            here, there = slice(None, -lag), slice(lag, None)
            pair, product = sure[here] * sure[there], miss[here] * miss[there]
        else:
            pair, product = sure * np.roll(sure, lag, axis=1), miss * np.roll(miss, lag, axis=1)
        if (pair > 0).sum() < LEAST_PAIRS:
            break
        covariance = float((pair * product).sum() / pair.sum())
        chance = spread * float(np.sqrt((pair**2).sum())) / float(pair.sum())
        if covariance < SURE * chance:
            break
        covariances.append(covariance)
    if not covariances:
        return _Reach(0.0, 1.0)
    # a noisy cell's own variance says nothing of its texture; the next neighbour's covariance bounds it from below
    return _Reach(covariances[0], 1.0 + 2.0 * sum(covariances) / covariances[0] * _own(covariances))


def _own(covariances: list[float]) -> float:
    """First neighbour's covariance as a part of the cell's own, by the fall from the first to the second."""
    if len(covariances) < 2:
        return 0.5
    return float(np.clip(covariances[1] / covariances[0], 0.3, 1.0))
