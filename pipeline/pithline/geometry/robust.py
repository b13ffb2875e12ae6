"""Least squares that outliers do not pull: the one reweighting loop of the package, and its weights."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Generic, TypeVar

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
T = TypeVar("T")

TUKEY_WIDTH = 4.685
"""Tukey's biweight of this many standard deviations keeps 95 % of the efficiency of least squares on normal errors (P. J. Huber,
Robust Statistics, 1981; from memory)."""


@dataclass(frozen=True, slots=True)
class Reweighted(Generic[T]):
    """What was `found`, its residuals `miss` (n,), and the `weight` (n,) that it was solved with."""

    found: T
    miss: Array
    weight: Array


def reweighted(
    start: T,
    residuals: Callable[[T], Array],
    weigh: Callable[[Array, Array | None], Array],
    solve: Callable[[T, Array, Array], T | None],
    rounds: int,
) -> Reweighted[T] | None:
    """Iteratively reweighted least squares.

    Parameters
    ----------
    start : T
        First parameters, of any type.
    residuals : callable
        Parameters to the residual of each of n data. (n,)
    weigh : callable
        (residuals (n,), weights of the round before (n,) or None) to weights (n,).
    solve : callable
        (parameters, their residuals, weights) to better parameters, or None where too little is left.
    rounds : int
        How often; one at least.

    Returns
    -------
    Reweighted, or None where `solve` gave up.
    """
    found, weight = start, None
    miss = residuals(found)
    for _ in range(rounds):
        weight = weigh(miss, weight)
        better = solve(found, miss, weight)
        if better is None:
            return None
        found, miss = better, residuals(better)
    assert weight is not None, "one round at least"
    return Reweighted(found, miss, weight)


def tukey(miss: Array, width: float) -> Array:
    """Tukey's biweight: from 1 down to nothing at `width`, and nothing beyond."""
    weight: Array = np.clip(1.0 - (miss / width) ** 2, 0.0, None) ** 2
    return weight


def cauchy(miss: Array, width: float) -> Array:
    """Cauchy's weight: from 1 down to a half at `width`, never nothing."""
    weight: Array = 1.0 / (1.0 + (miss / width) ** 2)
    return weight


def spread(miss: Array) -> float:
    """Standard deviation of normal residuals about 0, by the median of their sizes."""
    return 1.4826 * float(np.median(np.abs(miss)))
