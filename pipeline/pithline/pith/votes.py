"""Ring-gradient voting: every pixel of the end grain says by its gradient in which direction the pith lies."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter
from skimage.feature import structure_tensor

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

EVEN = 14.0
"""Light is evened over this many pixels: wider than a ring, narrower than a shadow."""
FINE, PATCH = 1.2, 4.0
"""Pixels over which gradients are taken, and over which they agree on one direction."""
STEP = 4
"""One vote is kept of this many pixels each way."""
AGREE = np.radians(7.0)
"""A vote counts for a place that lies this near its own line (standard deviation of the weight)."""
WHITEN_MOST = 1.0
"""Strokes of one direction, as a saw leaves them, are cut down to this many times the usual strength (the median) of a direction."""
SECTORS = 16
ROUNDS = 12
SEARCHED = 1600
"""Votes that the search over a grid of places asks."""
JUDGED = 0.6
"""Agreement is judged within this part of the way to the bark: the edge of the sapwood is no proof of rings."""


@dataclass(frozen=True, slots=True)
class Votes:
    """Places (n, 2) as column and row, unit ring normals (n, 2) of arbitrary sign, weights (n,). [px]"""

    places: Array
    normals: Array
    weights: Array

    def within(self, mask: Mask) -> Votes:
        """The votes where `mask` (n,) holds."""
        return Votes(self.places[mask], self.normals[mask], self.weights[mask])


@dataclass(frozen=True, slots=True)
class Meeting:
    """Where votes meet: the pith's `place` (2,), its standard error [px], and how far the votes agree.

    Rings of an eccentric log are not about one centre: theirs moves from the pith to the middle of the face by `drift`
    (2,) over the way from the pith to the bark. `agreement` is 0 for directions by chance and 1 where every vote of
    the inner wood points at its ring's centre; `by_sector` (SECTORS,) is the same for the votes in each direction from the pith.
    """

    place: Array
    drift: Array
    stderr: float
    agreement: float
    by_sector: Array


def even_light(grey: Array) -> Array:
    """Local contrast (h, w) of a grey picture: shadows and the colour of the heartwood taken out."""
    away = grey - gaussian_filter(grey, EVEN)
    strength = np.sqrt(gaussian_filter(away**2, EVEN))
    even: Array = away / (strength + 0.25 * float(np.median(strength)) + 1e-6)
    return even


def without_strokes(even: Array) -> Array:
    """The picture with directions that stand out of its spectrum cut down.

    Rings hold every direction alike; a saw's strokes hold one. Works on amplitudes by 3° of direction.
    """
    spectrum = np.fft.rfft2(even * _window(even.shape))
    fy = np.fft.fftfreq(even.shape[0])[:, None]
    fx = np.fft.rfftfreq(even.shape[1])[None, :]
    turned = np.mod(np.arctan2(fy, fx), np.pi)
    band = (np.hypot(fx, fy) > 0.02) & (np.hypot(fx, fy) < 0.35)
    cell = np.minimum((turned / np.radians(3.0)).astype(int), 59)
    power = np.bincount(cell[band], (np.abs(spectrum) ** 2)[band], 60) / np.maximum(
        np.bincount(cell[band], None, 60), 1
    )
    usual = float(np.median(power))
    factor = np.sqrt(np.minimum(1.0, WHITEN_MOST * usual / np.maximum(power, 1e-12)))
    return np.fft.irfft2(spectrum * np.where(band, factor[cell], 1.0), even.shape)


def _window(shape: tuple[int, int]) -> Array:
    """A window that leaves the middle alone and lets the rim of the picture fade."""
    sides = []
    for length in shape:
        t = np.minimum(np.arange(length), np.arange(length)[::-1]) / (0.06 * length)
        sides.append(np.clip(t, 0.0, 1.0))
    return sides[0][:, None] * sides[1][None, :]


def ring_votes(even: Array, mask: Mask | None = None) -> Votes:
    """Votes of a picture of even light (h, w), within `mask` where one is given.

    The direction of a vote is the leading direction of the structure tensor about its pixel, its weight how far the
    gradients there agree on it.
    """
    rows, columns = np.mgrid[STEP : even.shape[0] - STEP : STEP, STEP : even.shape[1] - STEP : STEP]
    tensor: Sequence[Array] = structure_tensor(gaussian_filter(even, FINE), sigma=PATCH, order="rc")
    rr, rc, cc = (part[rows, columns].ravel() for part in tensor)
    turned = 0.5 * np.arctan2(2.0 * rc, cc - rr)
    spread = np.hypot(cc - rr, 2.0 * rc)
    energy = rr + cc
    weights = spread / (energy + float(np.median(energy)) * 0.5 + 1e-12)
    places = np.column_stack([columns.ravel(), rows.ravel()]).astype(float)
    votes = Votes(places, np.column_stack([np.cos(turned), np.sin(turned)]), weights)
    return votes if mask is None else votes.within(mask[rows.ravel(), columns.ravel()])


def coarse_meeting(votes: Votes, low: Array, high: Array) -> Array:
    """The place (column, row) between the corners `low` and `high` at which most votes point."""
    thin = _thinned(votes, SEARCHED)
    span = float((high - low).max())
    place, step, reach = 0.5 * (low + high), span / 24.0, span / 2.0
    for _ in range(3):
        columns = np.arange(max(low[0], place[0] - reach), min(high[0], place[0] + reach) + 1e-9, step)
        rows = np.arange(max(low[1], place[1] - reach), min(high[1], place[1] + reach) + 1e-9, step)
        grid = np.stack(np.meshgrid(columns, rows), axis=-1).reshape(-1, 2)
        place = grid[int(np.argmax([_score(thin, trial) for trial in grid]))]
        reach, step = 1.5 * step, step / 3.0
    return place


def meeting(votes: Votes, place: Array, way_out: Callable[[Array, Array], Array]) -> Meeting:
    """Where the votes meet, from a first `place`.

    Least squares on the angles between votes and the directions to their rings' centres, for pith and drift together,
    reweighted by a redescending weight (Gauss-Newton).

    Parameters
    ----------
    way_out : callable
        (places (n, 2), pith (2,)) to each place's part of the way from the pith to the outline, (n,).
    """
    drift = np.zeros(2)
    for turn in range(ROUNDS):
        rho = way_out(votes.places, place)
        step = _step(votes, place, drift, rho, 2.0 if turn < 4 else 1.0).sum(axis=0)
        place, drift = place + step[:2], drift + step[2:]
        if float(np.abs(step).max()) < 0.02:
            break
    rho = way_out(votes.places, place)
    inner = rho < JUDGED
    by_sector, _ = _by_sector(votes.within(inner), place, (place + rho[:, None] * drift)[inner])
    return Meeting(place, drift, _stderr(votes, place, drift, rho), float(np.mean(by_sector)), by_sector)


def _thinned(votes: Votes, most: int) -> Votes:
    every = max(1, len(votes.weights) // most)
    # an odd stride does not fall in step with the rows
    chosen = np.zeros(len(votes.weights), bool)
    chosen[:: every | 1] = True
    return votes.within(chosen)


def _sines(votes: Votes, centres: Array) -> tuple[Array, Array]:
    """Sine of the angle between each vote's line and the direction to its centre (2,) or (n, 2), and its distance."""
    away = centres - votes.places
    distance = np.maximum(np.hypot(away[:, 0], away[:, 1]), 8.0)
    return (votes.normals[:, 0] * away[:, 1] - votes.normals[:, 1] * away[:, 0]) / distance, distance


def _score(votes: Votes, place: Array) -> float:
    """Agreement averaged over sectors seen from the place, so that strokes, which fill two sectors, cannot win."""
    by_sector, share = _by_sector(votes, place, place)
    total = float(share.sum())
    return float((by_sector * share).sum()) / total if total > 0.0 else 0.0


def _by_sector(votes: Votes, place: Array, centres: Array) -> tuple[Array, Array]:
    """Agreement by sector, 0 by chance and 1 at best; and what each sector counts for."""
    worth = np.exp(-0.5 * (_sines(votes, centres)[0] / np.sin(AGREE)) ** 2)
    sector = _sectors(votes, place, SECTORS)
    total = np.bincount(sector, votes.weights, SECTORS)
    agreed = np.bincount(sector, votes.weights * worth, SECTORS)
    chance = np.sqrt(2.0 * np.pi) * AGREE / np.pi
    mean = np.divide(agreed, total, out=np.full(SECTORS, chance), where=total > 0)
    return np.clip((mean - chance) / (1.0 - chance), 0.0, 1.0), np.sqrt(total)


def _sectors(votes: Votes, place: Array, count: int) -> NDArray[np.int64]:
    away = votes.places - place
    sector: NDArray[np.int64] = ((np.arctan2(away[:, 1], away[:, 0]) / (2 * np.pi) + 0.5) * count).astype(int)
    return np.minimum(sector, count - 1)


def _step(votes: Votes, place: Array, drift: Array, rho: Array, wide: float) -> Array:
    """Each vote's share (n, 4) in one Gauss-Newton step of pith and drift."""
    sine, distance = _sines(votes, place + rho[:, None] * drift)
    # a hair's breadth of error turns a vote near its centre far more
    weight = votes.weights / (1.0 + (sine / np.sin(wide * AGREE)) ** 2) ** 2 * np.minimum(distance / 40.0, 1.0)
    slope = np.column_stack([-votes.normals[:, 1], votes.normals[:, 0]]) / distance[:, None]
    slope = np.column_stack([slope, rho[:, None] * slope])
    matrix = (slope * weight[:, None]).T @ slope
    matrix += 1e-6 * np.trace(matrix) * np.eye(4)
    step: Array = -(slope * (weight * sine)[:, None]) @ np.linalg.inv(matrix)
    return step


def _stderr(votes: Votes, place: Array, drift: Array, rho: Array) -> float:
    """Standard error of the place per axis, from how parts of the picture would move it (a sandwich estimate). [px]

    Neighbouring votes share their pixels and their faults, so a part of the picture counts as one.
    """
    part = _sectors(votes, place, 2 * SECTORS) * 5 + np.minimum((5.0 * rho).astype(int), 4)
    shares = _step(votes, place, drift, rho, 1.0)
    moves = np.column_stack([np.bincount(part, shares[:, i], 10 * SECTORS) for i in (0, 1)])
    return float(np.sqrt(0.5 * (moves**2).sum()))
