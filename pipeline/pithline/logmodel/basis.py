"""The surface of a log: harmonics of clock angle whose coefficients are splines along x.

r(x, θ) = a₀(x) + a₁(x)·e(θ) + Σ aₖ(x) cos kθ + bₖ(x) sin kθ, each coefficient a cubic B-spline in x.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import BSpline

Array = NDArray[np.float64]

DEGREE = 3
KNOT_RADII = 0.3
"""Distance of the knots along x, in radii: flare and flutes change over a good part of a radius…"""
MOST_SPANS = 45
"""… but no more spans than this: a slim log's form changes slowly, and the work grows with their third power."""


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
        """B-splines at x: (len(x), columns). Beyond the knots they stay as at the last."""
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


def make_basis(low: float, high: float, radius: float, harmonics: int) -> SurfaceBasis:
    """Basis over x from `low` to `high` of a log of about that radius. [mm]"""
    spans = int(np.ceil((high - low) / (KNOT_RADII * radius)))
    inner = np.linspace(low, high, min(max(spans, 1), MOST_SPANS) + 1)
    step = inner[1] - inner[0]
    rim = step * np.arange(1, DEGREE + 1)
    return SurfaceBasis(np.concatenate([low - rim[::-1], inner, high + rim]), harmonics)
