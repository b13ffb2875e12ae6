"""Cubic splines that are made again and again over the same places: the figures of scipy's, without what it checks and solves anew."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.linalg.lapack import dgtsv

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class ClosedPlaces:
    """Places (n,) of periodic splines, the last a turn after the first, with what of their equations hangs on the places alone.

    The slopes at all places but the last two are solved for twice (as scipy's `CubicSpline` does): for the values, and for the slope at
    the last but one, which is 1 in `of_last`.
    """

    steps: Array  # (n - 1,)
    lower: Array  # of the matrix, (n - 3,)
    middle: Array  # (n - 2,)
    upper: Array  # (n - 3,)
    of_last: Array  # (n - 2,)

    def slopes(self, values: Array) -> Array:
        """Slopes (n, m) of the splines through values (n, m), the last row the first again."""
        step = self.steps[:, None]
        rise = np.diff(values, axis=0) / step
        want = np.empty((len(step), values.shape[1]))
        want[1:] = 3 * (step[1:] * rise[:-1] + step[:-1] * rise[1:])
        want[0] = 3 * (step[0] * rise[-1] + step[-1] * rise[0])
        first = solved(self.lower, self.middle, self.upper, want[:-1])
        one, other, of_last = self.steps[-2], self.steps[-1], self.of_last
        last = (want[-1] - one * first[0] - other * first[-1]) / (
            2 * (other + one) + one * of_last[0] + other * of_last[-1]
        )
        found = np.empty(values.shape)
        found[:-2] = first + last * of_last[:, None]
        found[-2] = last
        found[-1] = found[0]
        return found

    def pieces(self, values: Array) -> Array:
        """Coefficients (4, n - 1, m) of the splines through values (n, m), of the cube first, from each place to the next."""
        step, slopes = self.steps[:, None], self.slopes(values)
        rise = np.diff(values, axis=0) / step
        turn = (slopes[:-1] + slopes[1:] - 2 * rise) / step
        return np.stack((turn / step, (rise - slopes[:-1]) / step - turn, slopes[:-1], values[:-1]))


def closed_places(places: NDArray[Any]) -> ClosedPlaces:
    """Places (n,) of periodic splines, five or more, rising."""
    steps: Array = np.diff(np.asarray(places, float))
    lower, upper = steps[1:-1], np.concatenate([steps[-1:], steps[:-3]])
    middle = 2 * np.concatenate([[steps[-1] + steps[0]], steps[:-2] + steps[1:-1]])
    want = np.zeros((len(middle), 1))
    want[0], want[-1] = -steps[0], -steps[-3]
    return ClosedPlaces(steps, lower, middle, upper, solved(lower, middle, upper, want)[:, 0])


def natural_slopes(places: NDArray[Any], values: Array) -> Array:
    """Slopes (n, m) of natural splines through values (n, m) at their own places (n,), three or more, rising."""
    steps: Array = np.diff(np.asarray(places, float))
    step = steps[:, None]
    rise = np.diff(values, axis=0) / step
    middle = 2 * np.concatenate([steps[:1], steps[:-1] + steps[1:], steps[-1:]])
    lower, upper = np.append(steps[1:], steps[-1]), np.append(steps[0], steps[:-1])
    want = np.empty(values.shape)
    want[1:-1] = 3 * (step[1:] * rise[:-1] + step[:-1] * rise[1:])
    want[0], want[-1] = 3 * (values[1] - values[0]), 3 * (values[-1] - values[-2])
    found = solved(lower, middle, upper, want)
    # the last is read at the end of the last piece, where rounding leaves it a hair beside what was solved for
    last = (found[-2] + found[-1] - 2 * rise[-1]) / steps[-1]
    square, cube = (rise[-1] - found[-2]) / steps[-1] - last, last / steps[-1]
    found[-1] = found[-2] + square * steps[-1] * 2 + cube * (steps[-1] * steps[-1]) * 3
    return found


def solved(lower: Array, middle: Array, upper: Array, want: Array) -> Array:
    """Of equations with three diagonals, (n,) and beside it (n - 1,), the unknowns (n, m) that give `want` (n, m)."""
    found: Array = dgtsv(lower, middle, upper, want)[3]
    return found
