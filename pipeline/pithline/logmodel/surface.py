"""One surface through all stations at once: penalised, reweighted least squares over cells of x and clock angle."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve
from scipy.linalg.lapack import dpotri

from pithline.logmodel.basis import Prior, SurfaceBasis, make_basis, make_prior
from pithline.logmodel.kernels import CellGrid, SurfaceGrid, radial_residuals, weighted_cell_means
from pithline.logmodel.model import CLOCK_SAMPLES, clock_angles, clock_direction

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

STATION = 20.0
FINE = 360
"""Clock angles of the table that residuals are read from."""
TUKEY = 4.0
"""Points farther off than this many standard deviations weigh nothing (Tukey's biweight)."""
LEAST_SCALE, MOST_SCALE = 0.5, 9.0


@dataclass(frozen=True, slots=True)
class Surface:
    """A fitted surface over stations `x` (n,), in mm: `coefficients` (rows, columns) of `basis`, their `covariance`.

    `scale` is the spread of points about it, `cells` (n, 72) the points' weight in each cell, `miss` (n, 72) their mean
    residual.
    """

    basis: SurfaceBasis
    x: Array
    coefficients: Array
    covariance: Array
    scale: float
    cells: Array
    miss: Array

    def rows_at(self, x: Array) -> Array:
        """Harmonics' coefficients at x: (len(x), rows)."""
        return self.basis.along(x) @ self.coefficients.T

    def centre(self, x: Array) -> Array:
        """Centreline (y, z) at x: (len(x), 2)."""
        return self.rows_at(x)[:, [2, 1]]

    def radii(self, x: Array, clock: Array) -> Array:
        """Radius about the centreline over the grid x × clock: (len(x), len(clock))."""
        rows = self.rows_at(x)
        rows[:, 1:3] = 0.0
        return rows @ self.basis.around(clock).T

    def radii_along(self, x: Array, clock: Array) -> Array:
        """Radius about the centreline at each of x and clock (k,) together: (k,)."""
        rows = self.rows_at(x)
        rows[:, 1:3] = 0.0
        radius: Array = (rows * self.basis.around(clock)).sum(axis=1)
        return radius

    def residuals(self, points: Array) -> tuple[Array, Array]:
        """Radial distance outside the surface and clock angle about the centreline, of points (m, 3)."""
        step = 10.0
        grid = np.arange(self.x[0], self.x[-1] + step, step)
        clocks = np.arange(FINE + 1, dtype=np.float64) * (2.0 * np.pi / FINE)
        table = self.radii(grid, clocks)
        surface = SurfaceGrid(float(grid[0]), step, np.ascontiguousarray(self.centre(grid)), table)
        out, clock = radial_residuals(np.ascontiguousarray(points), surface)
        return out, clock

    def stderr(self) -> tuple[Array, Array]:
        """Standard errors of the radii about the centreline (n, 72) and of the centreline (n,). [mm]"""
        along, around = self.basis.along(self.x), self.basis.around(clock_angles())
        n, rows = self.basis.columns, self.basis.rows
        blocks = self.covariance.reshape(rows, n, rows, n)
        # covariance of the harmonics at each station: (stations, rows, rows)
        at = np.einsum("sj,ajbk,sk->sab", along, blocks, along, optimize=True)
        centre = np.sqrt(np.maximum(at[:, 1, 1] + at[:, 2, 2], 0.0) / 2.0)
        return np.sqrt(np.maximum(np.einsum("ta,sab,tb->st", around, at, around, optimize=True), 0.0)), centre


def stations(low: float, high: float) -> Array:
    """Evenly spaced stations at most STATION apart from low to high. [mm]"""
    return np.linspace(low, high, int(np.ceil((high - low) / STATION)) + 1)


def first_surface(x: Array, along: Array, centre: Array, radius: Array, harmonics: int) -> Surface:
    """A surface of round sections, to start a fit from.

    Parameters
    ----------
    x : (n,) array
        Stations of the surface, evenly spaced. [mm]
    along : (k,) array
        Stations at which the sections are given, rising; beyond them the ends hold. [mm]
    centre, radius : (k, 2) and (k,) arrays
        Centre (y, z) and radius of the sections there. [mm]
    harmonics : int
        Of clock angle, that the surface can take.
    """
    basis = make_basis(x[0], x[-1], harmonics)
    places = np.clip(basis.places, along[0], along[-1])
    coefficients = np.zeros((basis.rows, basis.columns))
    for row, values in ((0, radius), (1, centre[:, 1]), (2, centre[:, 0])):
        coefficients[row] = np.interp(places, along, values)
    empty = np.zeros((len(x), CLOCK_SAMPLES))
    return Surface(basis, x, coefficients, np.zeros((coefficients.size,) * 2), MOST_SCALE, empty, empty)


def fit_surface(points: Array, start: Surface, rounds: int, widest: float, prior: Prior | None = None) -> Surface:
    """Fit a surface to points (m, 3) of bark, from `start`.

    Parameters
    ----------
    rounds : int
        Reweightings; from the third on the log's own roughness of outline is learnt too.
    widest : float
        Residuals beyond this weigh nothing in the first round. [mm]
    """
    surface, basis, points = start, start.basis, np.ascontiguousarray(points)
    middle = float(np.median(start.rows_at(start.x)[:, 0]))
    prior = make_prior(basis, middle) if prior is None else prior
    first = prior.spread
    limit = widest
    for turn in range(rounds):
        surface = _step(points, surface, prior, limit, doubt=turn >= 2 or turn == rounds - 1)
        limit = TUKEY * surface.scale
        if turn >= 2 and turn < rounds - 1:
            prior = prior.learnt(basis, surface.coefficients, surface.covariance, first)
    return surface


def _step(points: Array, surface: Surface, prior: Prior, limit: float, doubt: bool) -> Surface:
    """One Gauss-Newton step: weigh the points, average them in cells, solve for all stations at once.

    Without `doubt` the covariance stays as it was.
    """
    out, clock = surface.residuals(points)
    scale = _scale(out[np.abs(out) < limit])
    x = surface.x
    cells = CellGrid(float(x[0]), float(x[1] - x[0]), len(x), CLOCK_SAMPLES)
    total, miss = weighted_cell_means(np.ascontiguousarray(points[:, 0]), out, clock, limit, cells)
    basis, grid = surface.basis, clock_angles()
    target = surface.radii(x, grid) + miss + surface.centre(x) @ clock_direction(grid).T
    noise = _cell_variance(total, miss, scale)
    certainty = np.where(total > 0.3, 1.0 / noise, 0.0)
    matrix, right = _normal_equations(basis, x, certainty, target)
    factor = cho_factor(matrix + prior.precision(basis) + 1e-9 * np.eye(len(matrix)), lower=True)
    solved = cho_solve(factor, right).reshape(basis.rows, basis.columns)
    covariance = _inverse(factor[0]) if doubt else surface.covariance
    return Surface(basis, x, solved, covariance, scale, total, miss)


def _inverse(lower: Array) -> Array:
    """Inverse (k, k) of a symmetric matrix from its Cholesky factor, below the diagonal of `lower`."""
    half: Array = np.tril(dpotri(lower, lower=True)[0])
    return half + np.tril(half, -1).T


def _scale(out: Array) -> float:
    if len(out) < 10:
        return MOST_SCALE
    return float(np.clip(1.4826 * np.median(np.abs(out - np.median(out))), LEAST_SCALE, MOST_SCALE))


def _cell_variance(total: Array, miss: Array, scale: float) -> Array:
    """Variance of a cell's mean: noise that averages away, and bark texture that does not, shared by neighbours.

    Texture is the spread of well-filled cells beyond the noise; as ridges run along the log, neighbouring cells do not
    count as independent: the variance is scaled by the sum of their correlations.
    """
    full = total > max(3.0, 0.5 * float(np.median(total[total > 0.3]))) if (total > 0.3).any() else total > 0.3
    if full.sum() < 50:
        return scale**2 / np.maximum(total, 0.3) + 1.0
    spread = 1.4826 * float(np.median(np.abs(miss[full])))
    noise = scale**2 / total[full].mean()
    texture = max(spread**2 - noise, 0.04)
    clipped = np.where(full, np.clip(miss, -3 * spread, 3 * spread), 0.0)
    power = (clipped**2).sum() / full.sum()
    shared = 1.0
    for dx in range(0, 6):
        for dt in range(-2, 3):
            if (dx, dt) <= (0, 0):
                continue
            other = np.roll(clipped, dt, axis=1)[dx:]
            both = full[: len(full) - dx] & np.roll(full, dt, axis=1)[dx:]
            if both.sum() > 50:
                correlation = (clipped[: len(full) - dx] * other)[both].sum() / both.sum() / power
                shared += 2.0 * max(correlation, 0.0)
    variance: Array = (scale**2 / np.maximum(total, 0.3) + texture) * shared
    return variance


def _normal_equations(basis: SurfaceBasis, x: Array, certainty: Array, target: Array) -> tuple[Array, Array]:
    """AᵀWA and AᵀWt of the tensor basis on the grid, without ever forming A."""
    along, around = basis.along(x), basis.around(clock_angles())
    pairs = (around[:, :, None] * around[:, None, :]).reshape(len(around), -1)
    by_station = (certainty @ pairs).reshape(len(x), basis.rows, basis.rows)
    n = basis.columns
    matrix = np.zeros((basis.rows, n, basis.rows, n))
    for j in range(n):
        touched = np.flatnonzero(along[:, j])
        reach = slice(max(0, j - 3), min(n, j + 4))
        scaled = along[touched, j, None] * along[touched, reach]
        matrix[:, j, :, reach] = np.einsum("sk,sab->abk", scaled, by_station[touched], optimize=True)
    right = along.T @ ((certainty * target) @ around)
    return matrix.reshape(basis.rows * n, -1), right.T.ravel()
