"""What is expected of a log's outline: a Gaussian process along x for each harmonic, its strength learnt from the log itself.

The variance of a harmonic's coefficients is of two parts: one that keeps its course over many radii (ovality keeps its direction
along a log) and one that changes within some (flutes, swellings, the root of a branch). Size and centreline are free to follow a
polynomial; only what departs from it is expected to be small. All of it is in radii, so that a log and its enlarged copy are
expected alike. What is not seen is bridged by it, and its doubt told.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import eigh, null_space

from pithline.logmodel.basis import SurfaceBasis

Array = NDArray[np.float64]

FREE = 2
"""Size and centreline follow a polynomial of this degree along x freely…"""
ABOUT = 0.3
"""… but for this deviation from the rough log's: where little girth was seen, size and centre hardly tell apart. [radii]"""
LINE_REACH = (1.8, 6.0)
FORM_REACH = (4.0, 25.0)
"""How far along x the near and the far part keep their course, of size and centreline, and of the outline's harmonics. [radii]
Measured on four real stems (tests/truth/stems.py): a harmonic's correlation falls to a half within 3 to 5 radii, and half of its
variance does not fall over 20."""
NUGGET = 1e-3
"""Part of the near variance that each spline has to itself."""
EXPECTED_NEAR = (0.004, 0.004, 0.014, 0.011, 0.008, 0.005, 0.003, 0.003, 0.002, 0.002, 0.0015)
EXPECTED_FAR = (0.010, 0.030, 0.020, 0.013, 0.009, 0.006, 0.004, 0.004, 0.002, 0.002, 0.0015)
"""Standard deviations expected of the coefficients by order before the log is seen. [radii] Of the harmonics measured on four real
stems (R 125 to 145 mm); published studies of log form find ovality alike, 4 to 5 % (from memory, no figure seen)."""
FIRST_LINE = (0.02, 0.10)
"""Where learning begins for size and centreline. [radii] Loose, for a stiff start takes its own misfit for bark."""
HELD = 6.0
"""How many coefficients that expectation counts for against the log's own: stems differ from one another by a factor of two."""
LINE_HELD = 1.0
ROUGHNESS_HELD = 4.0
"""And the roughness that all harmonics of a log share."""
LEARNING_STEPS = 8


@dataclass(frozen=True, slots=True)
class Told:
    """Independent quantities of coefficients (m,): their `squares` [mm²], and what `part` of each the log itself has told."""

    squares: Array
    part: Array


@dataclass(frozen=True, slots=True)
class Expectation:
    """Near and far variance [mm²] of the harmonics of one group, and how they act on the coefficients along x.

    `modes` (columns, m) take coefficients to m independent quantities whose variances are near + far · `ratio` (m,).
    """

    modes: Array
    ratio: Array

    def precision(self, near: float, far: float) -> Array:
        """Inverse covariance (columns, columns) of a row's coefficients."""
        inverse: Array = (self.modes / (near + far * self.ratio)) @ self.modes.T
        return inverse

    def told(self, values: Array, covariance: Array, variance: Array) -> Told:
        """What the log has told of a row's coefficients `values` (columns,), which are known to a `covariance`.

        `variance` (2,) near and far, is what was expected of them.
        """
        squares: Array = (self.modes.T @ values) ** 2
        left = np.einsum("ij,ij->j", self.modes, covariance @ self.modes)
        return Told(squares, np.clip(1.0 - left / (variance[0] + variance[1] * self.ratio), 0.0, 1.0))


@dataclass(frozen=True, slots=True)
class Prior:
    """Expectations of size and centreline (`line`) and of the outline (`form`); `variance` and `first` (harmonics + 1, 2) near and
    far variance of each order, as learnt and as expected before. [mm²]

    `anchor` (3, columns) are the coefficients of size and centre that the log is roughly expected at, and `hold` (columns, columns)
    the inverse covariance of polynomials about them.
    """

    line: Expectation
    form: Expectation
    variance: Array
    first: Array
    anchor: Array
    hold: Array

    def precision(self, basis: SurfaceBasis) -> Array:
        """(rows · columns)² matrix, coefficients ordered row by row."""
        n = basis.columns
        out = np.zeros((basis.rows * n, basis.rows * n))
        for row, order in enumerate(basis.order):
            block = slice(row * n, row * n + n)
            out[block, block] = self._of(order).precision(*self.variance[order])
            if order < 2:
                out[block, block] += self.hold
        return out

    def pull(self, basis: SurfaceBasis) -> Array:
        """Right-hand side (rows · columns,) that goes with `precision`."""
        out = np.zeros((basis.rows, basis.columns))
        out[:3] = self.anchor @ self.hold
        return out.ravel()

    def _of(self, order: int) -> Expectation:
        return self.line if order < 2 else self.form

    def learnt(self, basis: SurfaceBasis, values: Array, covariance: Array) -> Prior:
        """The variances that make coefficients `values` (rows, columns) with their covariance most likely, or nearly so.

        A quantity that the log tells in part counts as that part of one (D. J. C. MacKay, "Bayesian interpolation", Neural
        Computation 4, 1992); the maximum is found by the multiplicative steps of H. Zhou, L. Hu, J. Zhou and K. Lange, "MM
        algorithms for variance components models", J. Comput. Graph. Stat. 28, 2019, which keep variances positive (both from
        memory).
        """
        told = [self._told(basis, values, covariance, order) for order in range(basis.harmonics + 1)]
        # a log that is smooth in what it shows of all harmonics is likely so in what it hides: they share one roughness
        forms = [
            (one, self.first[order, 0] + self.first[order, 1] * self.form.ratio)
            for order, one in enumerate(told)
            if order > 1
        ]
        squares = sum(float((one.squares / first).sum()) for one, first in forms)
        parts = sum(float(one.part.sum()) for one, _ in forms)
        roughness = (ROUGHNESS_HELD + squares) / (ROUGHNESS_HELD + parts)
        variance = self.variance.copy()
        for order, one in enumerate(told):
            ratio, held = self._of(order).ratio, LINE_HELD if order < 2 else HELD
            first = self.first[order] * (1.0 if order < 2 else roughness)
            for _ in range(LEARNING_STEPS):
                total = variance[order, 0] + variance[order, 1] * ratio
                for place, share in enumerate((np.ones_like(total), ratio)):
                    now = variance[order, place]
                    up = float((share * one.squares / total**2).sum()) + held * first[place] / now**2
                    down = float((share * one.part / total).sum()) + held / now
                    variance[order, place] = now * np.sqrt(up / down)
        return replace(self, variance=variance)

    def _told(self, basis: SurfaceBasis, values: Array, covariance: Array, order: int) -> Told:
        """What the log has told of one order of harmonics, its rows summed."""
        n, found = basis.columns, []
        for row in np.flatnonzero(basis.order == order):
            block = covariance[row * n : row * n + n, row * n : row * n + n]
            found.append(self._of(order).told(values[row], block, self.variance[order]))
        return Told(np.sum([one.squares for one in found], axis=0), np.sum([one.part for one in found], axis=0))


def make_prior(basis: SurfaceBasis, radius: float, anchor: Array) -> Prior:
    """What is expected of a log of about that radius before it is seen. [mm]

    `anchor` (3, columns) are coefficients of size and centre of the rough log.
    """
    places = basis.places
    powers = np.vander((places - places.mean()) / max(float(np.ptp(places)), 1.0), FREE + 1)
    orders = np.minimum(np.arange(basis.harmonics + 1), len(EXPECTED_NEAR) - 1)
    first = radius**2 * np.column_stack([np.array(EXPECTED_NEAR)[orders], np.array(EXPECTED_FAR)[orders]]) ** 2
    variance = first.copy()
    variance[:2] = (radius * np.array(FIRST_LINE)) ** 2
    contrasts = null_space(powers.T)
    line = _expectation(places, radius, LINE_REACH, np.asarray(contrasts, np.float64))
    form = _expectation(places, radius, FORM_REACH, np.eye(len(places)))
    free = np.linalg.qr(powers)[0]
    hold = free @ free.T / (len(places) * (ABOUT * radius) ** 2)
    return Prior(line, form, variance, first, anchor, np.asarray(hold, np.float64))


def _expectation(places: Array, radius: float, reach: tuple[float, float], contrasts: Array) -> Expectation:
    """Near and far correlation made diagonal together, in the space of `contrasts` (columns, m)."""
    away = np.abs(places[:, None] - places[None, :])
    near, far = (contrasts.T @ _matern(away, radius * one) @ contrasts for one in reach)
    near = near + NUGGET * np.eye(len(near))
    ratio, vectors = eigh(far, near)
    return Expectation(contrasts @ vectors, np.maximum(ratio, 0.0))


def _matern(away: Array, reach: float) -> Array:
    """Correlation (1 + d) exp(−d), d = √3 Δx / reach: once differentiable, so a crook is not smoothed away."""
    d = np.sqrt(3.0) * away / reach
    correlation: Array = (1.0 + d) * np.exp(-d)
    return correlation
