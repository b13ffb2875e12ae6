"""One surface through all stations at once: penalised, reweighted least squares over cells of x and clock angle."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve
from scipy.linalg.lapack import dpotri

from pithline.logmodel.bark_noise import LEAST_WEIGHT, BarkNoise, bark_noise
from pithline.logmodel.basis import SurfaceBasis, make_basis
from pithline.logmodel.kernels import CellGrid, SurfaceGrid, radial_residuals, weighted_cell_means
from pithline.logmodel.model import CLOCK_SAMPLES, clock_angles, clock_direction
from pithline.logmodel.prior import Prior, make_prior

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

STATION = 20.0
"""Stations of a model lie no farther apart than this. [mm]"""
CELL, MOST_CELLS = 0.075, 400
"""Cells that points are averaged in are so long [radii], but no more than so many stand in a row."""
FINE = 360
"""Clock angles of the table that residuals are read from."""
FINE_STEP = 10.0
"""Stations of that table. [mm]"""
TUKEY = 4.0
"""Points farther off than this many standard deviations weigh nothing (Tukey's biweight)."""
LONGEST_STEP = 0.2
"""Size and centre move no farther in one step. [radii]"""
LEAST_SCALE, MOST_SCALE = 0.0015, 0.07
"""Spread of points about the surface that is believed. [radii]"""


@dataclass(frozen=True, slots=True)
class KnownPoints:
    """Points (m, 3) of a surface known otherwise than by bark that was seen, and the covariance (m, m) of how far out they lie. [mm]"""

    points: Array
    covariance: Array


@dataclass(frozen=True, slots=True)
class Surface:
    """A fitted surface over stations `x` (n,), in mm: `coefficients` (rows, columns) of `basis`, their `covariance`.

    `scale` is the spread of points about it, `cells` (n, 72) the points' weight in each cell, `miss` (n, 72) their mean
    residual, `noise` that of the bark, `prior` what was learnt of the log.
    """

    basis: SurfaceBasis
    x: Array
    coefficients: Array
    covariance: Array
    scale: float
    cells: Array
    miss: Array
    noise: BarkNoise
    prior: Prior

    @property
    def radius(self) -> float:
        """Median over the stations. [mm]"""
        return float(np.median(self.rows_at(self.x)[:, 0]))

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
        grid = np.arange(self.x[0], self.x[-1] + FINE_STEP, FINE_STEP)
        clocks = np.arange(FINE + 1, dtype=np.float64) * (2.0 * np.pi / FINE)
        table = self.radii(grid, clocks)
        surface = SurfaceGrid(float(grid[0]), FINE_STEP, np.ascontiguousarray(self.centre(grid)), table)
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


def first_surface(ends: tuple[float, float], along: Array, centre: Array, radius: Array, harmonics: int) -> Surface:
    """A surface of round sections, to start a fit from.

    Parameters
    ----------
    ends : two floats
        From where to where it reaches. [mm]
    along : (k,) array
        Stations at which the sections are given, rising; beyond them the ends hold. [mm]
    centre, radius : (k, 2) and (k,) arrays
        Centre (y, z) and radius of the sections there. [mm]
    harmonics : int
        Of clock angle, that the surface can take.
    """
    size, (low, high) = float(np.median(radius)), ends
    x = np.linspace(low, high, min(int(np.ceil((high - low) / (CELL * size))), MOST_CELLS) + 1)
    basis = make_basis(low, high, size, harmonics)
    places = np.clip(basis.places, along[0], along[-1])
    coefficients = np.zeros((basis.rows, basis.columns))
    for row, values in ((0, radius), (1, centre[:, 1]), (2, centre[:, 0])):
        coefficients[row] = np.interp(places, along, values)
    empty = np.zeros((len(x), CLOCK_SAMPLES))
    nothing = np.zeros((coefficients.size,) * 2)
    noise = BarkNoise((MOST_SCALE * size) ** 2, 0.0)
    prior = make_prior(basis, size, coefficients[:3])
    return Surface(basis, x, coefficients, nothing, MOST_SCALE * size, empty, empty, noise, prior)


def with_harmonics(surface: Surface, harmonics: int) -> Surface:
    """A surface that can take more harmonics, with what it has learnt of those it had."""
    basis = replace(surface.basis, harmonics=harmonics)
    coefficients = np.zeros((basis.rows, basis.columns))
    coefficients[: surface.basis.rows] = surface.coefficients
    prior = make_prior(basis, surface.radius, surface.prior.anchor)
    prior.variance[: len(surface.prior.variance)] = surface.prior.variance
    nothing = np.zeros((coefficients.size,) * 2)
    return replace(surface, basis=basis, coefficients=coefficients, covariance=nothing, prior=prior)


def on_stations(surface: Surface, points: Array) -> Surface:
    """The surface with its cells about the stations of a model, and points (m, 3) of bark averaged anew in them."""
    x = stations(surface.x[0], surface.x[-1])
    out, clock = surface.residuals(points)
    cells = CellGrid(float(x[0]), float(x[1] - x[0]), len(x), CLOCK_SAMPLES)
    limit = TUKEY * surface.scale
    total, miss, _ = weighted_cell_means(np.ascontiguousarray(points[:, 0]), out, clock, limit, cells)
    return replace(surface, x=x, cells=total, miss=miss)


def fit_surface(
    points: Array, start: Surface, rounds: int, widest: float, known: KnownPoints | None = None, least: float = 0.0
) -> Surface:
    """Fit a surface to points (m, 3) of bark, from `start` and what it has learnt of the log.

    Parameters
    ----------
    points : (m, 3) array
        [mm]
    start : Surface
    rounds : int
        Reweightings; from the second on the log's own roughness of form is learnt too.
    widest : float
        Residuals beyond this weigh nothing in the first round. [mm]
    known : KnownPoints or None
        What else is known of it.
    least : float
        Residuals within this weigh something in every round. [mm]
    """
    surface, points = start, np.ascontiguousarray(points)
    limit = widest
    for turn in range(rounds):
        surface = _step(points, surface, limit, known, learn=0 < turn < rounds - 1)
        limit = max(TUKEY * surface.scale, least)
    return surface


def _step(points: Array, surface: Surface, limit: float, known: KnownPoints | None, learn: bool) -> Surface:
    """One Gauss-Newton step: weigh the points, average them in cells, solve for all stations at once."""
    out, clock = surface.residuals(points)
    x, basis, grid, size = surface.x, surface.basis, clock_angles(), surface.radius
    scale = _scale(out[np.abs(out) < limit], size)
    step = float(x[1] - x[0])
    cells = CellGrid(float(x[0]), step, len(x), CLOCK_SAMPLES)
    total, miss, within = weighted_cell_means(np.ascontiguousarray(points[:, 0]), out, clock, limit, cells)
    sizes = (step, size * 2.0 * np.pi / CLOCK_SAMPLES)
    noise = bark_noise(total, miss, within if within > 0.0 else scale**2, sizes, size)
    if not surface.cells.any():  # what a first surface leaves is its own misfit, not bark
        noise = BarkNoise(noise.point, min(noise.texture, scale**2))
    target = surface.radii(x, grid) + miss + surface.centre(x) @ clock_direction(grid).T
    certainty = np.where(total > LEAST_WEIGHT, 1.0 / noise.of_cells(total), 0.0)
    matrix, right = _normal_equations(basis, x, certainty, target)
    if known is not None:
        more, also = _known_equations(surface, known)
        matrix, right = matrix + more, right + also
    factor = cho_factor(matrix + surface.prior.precision(basis) + 1e-9 * np.eye(len(matrix)), lower=True)
    solved = cho_solve(factor, right + surface.prior.pull(basis)).reshape(basis.rows, basis.columns)
    covariance = _inverse(factor[0])
    if _moved(surface.coefficients, solved) > LONGEST_STEP * size:
        solved, learn = _held_back(surface, matrix, right, LONGEST_STEP * size), False
    prior = surface.prior.learnt(basis, solved, covariance) if learn else surface.prior
    return Surface(basis, x, solved, covariance, scale, total, miss, noise, prior)


def _moved(before: Array, after: Array) -> float:
    """How far size or centre move at most. [mm]"""
    return float(np.abs(after[:3] - before[:3]).max())


def _held_back(surface: Surface, matrix: Array, right: Array, most: float) -> Array:
    """The step taken anew with size and centre tied to where they are, by so much: beyond it its straight lines do not hold.

    Only what little girth leaves open is held back; the step is repeated from there. [mm]
    """
    basis, before = surface.basis, surface.coefficients
    tied = np.zeros(basis.rows * basis.columns)
    tied[: 3 * basis.columns] = (0.5 * most) ** -2.0
    held = matrix + surface.prior.precision(basis) + np.diag(tied)
    solved = cho_solve(cho_factor(held, lower=True), right + surface.prior.pull(basis) + tied * before.ravel())
    out: Array = solved.reshape(basis.rows, basis.columns)
    return out


def _known_equations(surface: Surface, known: KnownPoints) -> tuple[Array, Array]:
    """AᵀV⁻¹A and AᵀV⁻¹t of known points."""
    basis, x = surface.basis, known.points[:, 0]
    out, clock = surface.residuals(known.points)
    target = surface.radii_along(x, clock) + out + (surface.centre(x) * clock_direction(clock)).sum(axis=1)
    design = (basis.around(clock)[:, :, None] * basis.along(x)[:, None, :]).reshape(len(x), -1)
    sure = np.linalg.solve(known.covariance, np.column_stack([design, target]))
    return design.T @ sure[:, :-1], design.T @ sure[:, -1]


def _inverse(lower: Array) -> Array:
    """Inverse (k, k) of a symmetric matrix from its Cholesky factor, below the diagonal of `lower`."""
    half: Array = np.tril(dpotri(lower, lower=True)[0])
    return half + np.tril(half, -1).T


def _scale(out: Array, radius: float) -> float:
    """Spread of the points about the surface by the median. [mm]"""
    if len(out) < 10:
        return MOST_SCALE * radius
    spread = 1.4826 * float(np.median(np.abs(out - np.median(out))))
    return float(np.clip(spread, LEAST_SCALE * radius, MOST_SCALE * radius))


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
