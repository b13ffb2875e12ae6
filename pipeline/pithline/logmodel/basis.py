"""The surface of a log: harmonics of clock angle whose coefficients are splines along x, and what is expected of them.

r(x, θ) = a₀(x) + a₁(x)·e(θ) + Σ aₖ(x) cos kθ + bₖ(x) sin kθ, each coefficient a cubic B-spline in x. Expected of
each is a Gaussian process along x: that is what bridges girth the scan does not show.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import BSpline

Array = NDArray[np.float64]

KNOT = 80.0
"""Distance of the knots along x. [mm]"""
DEGREE = 3
FREE = 2
"""Size and centreline are free to follow a polynomial of this degree along x; only what departs from it is held down."""
HELD = 4.0
"""How many coefficients the first expectation of a harmonic's spread counts for against the log's own."""
FAR, NEAR, LOCAL = 3000.0, 400.0, 0.1
"""How far along x an outline's harmonics keep their course, how far their local part does [mm], and that part's share."""
BEND = 500.0
"""How far along x a departure of size or centreline keeps its course. [mm]"""


@dataclass(frozen=True, slots=True)
class SurfaceBasis:
    """Knots along x and the number of harmonics of clock angle."""

    knots: Array
    harmonics: int

    @property
    def columns(self) -> int:
        """Spline coefficients of one harmonic's cosine or sine."""
        return len(self.knots) - DEGREE - 1

    @property
    def rows(self) -> int:
        """1, cos θ, −sin θ, cos 2θ, sin 2θ, …"""
        return 2 * self.harmonics + 1

    @property
    def order(self) -> NDArray[np.int64]:
        """Order of the harmonic in each row. (rows,)"""
        return (np.arange(self.rows) + 1) // 2

    def along(self, x: Array) -> Array:
        """B-splines at x: (len(x), columns). Beyond the knots they go on as polynomials."""
        inside = np.clip(x, self.knots[DEGREE], self.knots[-DEGREE - 1])
        splines: Array = BSpline.design_matrix(inside, self.knots, DEGREE).toarray()
        return splines

    def around(self, clock: Array) -> Array:
        """Harmonics at clock angles: (len(clock), rows). Row 1 is the centre's z (cos θ), row 2 its y (−sin θ)."""
        out = np.ones((len(clock), self.rows))
        for k in range(1, self.harmonics + 1):
            out[:, 2 * k - 1], out[:, 2 * k] = np.cos(k * clock), np.sin(k * clock)
        out[:, 2] *= -1.0
        return out

    @property
    def places(self) -> Array:
        """Where along x each spline has its weight (Greville points). (columns,)"""
        return np.array([self.knots[i + 1 : i + 1 + DEGREE].mean() for i in range(self.columns)])


def make_basis(low: float, high: float, harmonics: int, knot: float = KNOT) -> SurfaceBasis:
    """SurfaceBasis over x from `low` to `high`. [mm]"""
    inner = np.linspace(low, high, max(int(np.ceil((high - low) / knot)), 1) + 1)
    step = inner[1] - inner[0]
    rim = step * np.arange(1, DEGREE + 1)
    return SurfaceBasis(np.concatenate([low - rim[::-1], inner, high + rim]), harmonics)


def _matern(away: Array, reach: float) -> Array:
    """Correlation (1 + d) exp(−d), d = √3 |Δx| / reach: once differentiable, so a crook is not smoothed away."""
    d = np.sqrt(3.0) * np.abs(away) / reach
    correlation: Array = (1.0 + d) * np.exp(-d)
    return correlation


@dataclass(frozen=True, slots=True)
class Prior:
    """Expected deviations of the harmonics' coefficients.

    `shape` (columns, columns) inverse correlations: of size and centre, whose smooth part is free, and of the
    outline's harmonics; `spread` (harmonics + 1,) their standard deviations, learnt from the log itself. [mm]
    """

    size_shape: Array
    form_shape: Array
    spread: Array

    def precision(self, basis: SurfaceBasis) -> Array:
        """(rows · columns)² matrix, coefficients ordered row by row."""
        n = basis.columns
        out = np.zeros((basis.rows * n, basis.rows * n))
        for row, k in enumerate(basis.order):
            shape = self.size_shape if k < 2 else self.form_shape
            out[row * n : row * n + n, row * n : row * n + n] = shape / self.spread[k] ** 2
        return out

    def learnt(self, basis: SurfaceBasis, values: Array, covariance: Array, first: Array) -> Prior:
        """The spreads that make coefficients `values` (rows, columns) with their covariance most likely (one EM step).

        The first expectation (harmonics + 1,) counts like HELD coefficients: a log seen in part may hide more than it
        shows.
        """
        n = basis.columns
        total, count = HELD * first**2, np.full(basis.harmonics + 1, HELD)
        for row, k in enumerate(basis.order):
            shape = self.size_shape if k < 2 else self.form_shape
            block = covariance[row * n : row * n + n, row * n : row * n + n]
            total[k] += values[row] @ shape @ values[row] + np.sum(shape * block)
            count[k] += n - FREE - 1 if k < 2 else n
        return Prior(self.size_shape, self.form_shape, np.sqrt(total / count))


def make_prior(basis: SurfaceBasis, radius: float) -> Prior:
    """What is expected of a log of that radius before its own outline is learnt. [mm]

    Ovality keeps its direction along a log, flutes and swellings less so: of a harmonic's variance four fifths reach
    far and a fifth is local.
    """
    away = basis.places[:, None] - basis.places[None, :]
    nugget = 1e-4 * np.eye(basis.columns)
    local = np.asarray(np.linalg.inv(_matern(away, BEND) + nugget), np.float64)
    line = np.vander(basis.places / 1000.0 - np.mean(basis.places) / 1000.0, FREE + 1)
    carried = local @ line
    size = local - carried @ np.linalg.solve(line.T @ carried, carried.T)
    form = np.linalg.inv((1.0 - LOCAL) * _matern(away, FAR) + LOCAL * _matern(away, NEAR) + 10 * nugget)
    return Prior(size, np.asarray(form, np.float64), first_spread(basis.harmonics, radius))


def first_spread(harmonics: int, radius: float) -> Array:
    """Spread expected of each harmonic's coefficients before the log is seen. (harmonics + 1,) [mm]

    Common practice, no source: logs are some percent oval; flutes are rarer and lower.
    """
    order = np.arange(harmonics + 1)
    share = np.interp(order, [2, 3, 4, 7, 10, 20], [0.02, 0.008, 0.006, 0.004, 0.002, 0.001])
    return np.where(order < 2, 0.01, share) * radius
