"""One surface scanned twice, in two layers that do not meet: passes of a scanner that lost its place between them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from pithline.logmodel.cells import seen_cells
from pithline.logmodel.model import CLOCK_SAMPLES, clock_angles
from pithline.logmodel.surface import Surface

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

SECTORS = 12
"""Windows are so many round the girth…"""
WINDOW = 4.0
"""… and so long. [radii]"""
LEAST_POINTS, MOST_POINTS = 30, 300
"""A window with fewer points is not asked; of more, so many are."""
SEEN_PART = 0.5
"""And this part of its cells was seen: what little lies where bark is hidden is no bark."""
WIDE = 0.25
"""Points farther off the outline are of neither layer. [radii]"""
LEAST_APART = 0.025
"""Layers lie at least so far apart. [radii]"""
MIXED = 0.6
"""In two layers neighbours are of either; in furrowed bark they are of one: so much of what chance mixes must be mixed."""
ALONG_GRAIN = 5.0
"""Furrows run along the log: neighbours are sought so many times farther along it than round it."""
BETWEEN, ELSEWHERE = 0.3, 0.1
"""What two layers leave open, as parts of how far they lie apart: the bark lies anywhere between them (1/√12), and elsewhere the
passes are out of place too."""
SAME_SIDE = float(np.cos(np.radians(30.0)))
EM_ROUNDS = 40
STARTS = ((0.1, 0.6), (0.25, 0.75), (0.4, 0.9))
"""Quantiles at which the search for two layers begins."""
STRAYS = 0.05
"""Part of a window's points that may be strays."""


class Evidence(NamedTuple):
    """What tells two layers: how much more likely than one in a window, as a difference of log-likelihoods; how far apart, in spreads
    of a layer; what part of the points the smaller one holds, less being strays, ivy, or a bump; in how many `windows`, and in what
    `part` of all those asked.
    """

    likelier: float
    spreads: float
    share: float
    windows: int
    part: float


CLEAR = Evidence(12.0, 2.8, 0.12, 3, 0.06)
MANY = Evidence(4.0, 2.2, 0.22, 8, 0.15)
"""A few windows that show them clearly will do, or many that show them less so. Set so that of 135 scans of one layer (real stems and
generated logs) none was told, and 90 % of 81 copies of real stems in two layers that lay 8 to 25 mm apart."""


@dataclass(frozen=True, slots=True)
class Layers:
    """Two layers `apart` by so much where they are farthest [mm], in which cells (stations, 72) they were seen, and how far apart
    in each. [mm]
    """

    apart: float
    where: Mask
    gaps: Array

    @property
    def caution(self) -> str:
        """What to say of them."""
        return (
            f"The scan shows the bark in two layers up to {self.apart:.0f} mm apart {_side_words(self.where)}: two passes of the "
            "scanner do not meet there, and the outline runs between them. Scan again, slowly and in one go, where it matters."
        )

    @property
    def place(self) -> tuple[int, int]:
        """Station and clock angle, as indices, of the cell where they are farthest apart on the side that the words name."""
        near = np.cos(clock_angles() - _middle(self.where)) > SAME_SIDE
        gaps = np.where(near, self.gaps, 0.0)
        gaps = gaps if gaps.any() else self.gaps
        row, column = np.unravel_index(int(np.argmax(gaps)), gaps.shape)
        # cells of a window are alike: its middle is meant, not its edge, which may lie beyond the end
        alike = np.flatnonzero(gaps[:, column] == gaps[row, column])
        return int(np.median(alike)), int(column)

    def added_to(self, stderr: Array) -> Array:
        """Standard errors (n, 72) of the radii with what the layers leave open: either may be the right one."""
        widened: Array = np.hypot(stderr, np.where(self.where, BETWEEN * self.gaps, ELSEWHERE * self.apart))
        return widened

    @property
    def centre_error(self) -> float:
        """What they leave open of the centre. [mm]"""
        return ELSEWHERE * self.apart


def _side_words(where: Mask) -> str:
    """Over what part of the girth the cells reach, in words."""
    share = where.mean(axis=0)
    if (share > 0.3).mean() > 0.7:
        return "all round"
    hour = round(_middle(where) / (np.pi / 6.0)) % 12 or 12
    return f"about {hour} o'clock"


def _middle(where: Mask) -> float:
    """Mean clock angle of the cells."""
    return float(np.angle(np.sum(where.mean(axis=0) * np.exp(1j * clock_angles()))))


def two_layers(points: Array, surface: Surface) -> Layers | None:
    """The two layers that bark points (n, 3), those of end faces left out, lie in, or None where one surface explains them."""
    out, clock = surface.residuals(points)
    radius = surface.radius
    near = np.abs(out) < WIDE * radius
    x, out, clock = points[near, 0], out[near], clock[near]
    count = max(int(np.ceil((surface.x[-1] - surface.x[0]) / (WINDOW * radius))), 1)
    edges = np.linspace(surface.x[0], surface.x[-1], count + 1)
    row = np.clip(np.searchsorted(edges, x, side="right") - 1, 0, count - 1)
    column = np.rint(clock * (SECTORS / (2 * np.pi))).astype(int) % SECTORS
    cell_row = np.clip(np.searchsorted(edges, surface.x, side="right") - 1, 0, count - 1)
    cell_column = np.rint(np.arange(CLOCK_SAMPLES) * (SECTORS / CLOCK_SAMPLES)).astype(int) % SECTORS
    seen = seen_cells(surface.cells)
    gaps = {evidence: np.zeros((count, SECTORS)) for evidence in (CLEAR, MANY)}
    asked = 0
    for k in range(count):
        for sector in range(SECTORS):
            here = np.flatnonzero((row == k) & (column == sector))
            if len(here) < LEAST_POINTS or seen[np.ix_(cell_row == k, cell_column == sector)].mean() < SEEN_PART:
                continue
            asked += 1
            here = here[:: max(1, len(here) // MOST_POINTS)]
            window = Window(x[here], radius * clock[here], out[here])
            pairs = _pairs(window, radius)
            for evidence, found in gaps.items():
                found[k, sector] = _gap(window, pairs, evidence)
    for evidence, found in gaps.items():
        told = found > 0.0
        if told.sum() >= max(evidence.windows, evidence.part * asked):
            cells = found[np.ix_(cell_row, cell_column)]
            return Layers(float(np.quantile(found[told], 0.8)), cells > 0.0, cells)
    return None


class Window(NamedTuple):
    """A window's points: stations, places round the girth, heights over the outline, (n,) each. [mm]"""

    x: Array
    round_: Array
    out: Array


class Pair(NamedTuple):
    """Two layers in a window, and how much more likely they are than one, as a difference of log-likelihoods."""

    found: Mixture
    likelier: float


def _pairs(window: Window, radius: float) -> list[Pair]:
    """Two layers of a window that may be, the likeliest first."""
    out, wide = window.out, WIDE * radius
    middle = float(np.median(out))
    one = max(1.4826 * float(np.median(np.abs(out - middle))), 1e-3 * radius)
    single = _mixture(out, middle, middle, one, wide).likelihood
    pairs = []
    for low, high in STARTS:
        first, second = np.quantile(out, [low, high])
        found = _mixture(out, float(first), float(second), 0.4 * one, wide)
        if abs(found.high - found.low) > LEAST_APART * radius:
            pairs.append(Pair(found, found.likelihood - single))
    return sorted(pairs, key=lambda pair: -pair.likelier)


def _gap(window: Window, pairs: list[Pair], evidence: Evidence) -> float:
    """How far apart the layers of a window lie, 0 where the evidence tells of none. [mm]"""
    for pair in pairs:
        apart = abs(pair.found.high - pair.found.low)
        clear = pair.likelier > evidence.likelier and apart > evidence.spreads * pair.found.spread
        if clear and evidence.share < pair.found.part < 1.0 - evidence.share and _mixed(window, pair.found):
            return apart
    return 0.0


class Mixture(NamedTuple):
    """Middles of two normal layers, their spread, the part of the first, log-likelihood."""

    low: float
    high: float
    spread: float
    part: float
    likelihood: float


@njit(cache=True)
def _mixture(out: Array, low: float, high: float, spread: float, wide: float) -> Mixture:
    """Two normal layers of one spread, and strays up to `wide` (EM), from first middles; of equal ones there stays one layer."""
    count, least, part, single = len(out), 0.05 * spread, 0.5, low == high
    stray = STRAYS / (2.0 * wide)
    likelihood = 0.0
    for _ in range(EM_ROUNDS):
        scale = (1.0 - STRAYS) / (2.5066282746310002 * spread)
        one, two, first, second, likelihood = 0.0, 0.0, 0.0, 0.0, 0.0
        squares_first, squares_second = 0.0, 0.0
        for k in range(count):
            a = scale * part * np.exp(-0.5 * ((out[k] - low) / spread) ** 2)
            b = scale * (1.0 - part) * np.exp(-0.5 * ((out[k] - high) / spread) ** 2)
            total = a + b + stray
            likelihood += np.log(total)
            a, b = a / total, b / total
            one += a
            two += b
            first += a * out[k]
            second += b * out[k]
            squares_first += a * out[k] ** 2
            squares_second += b * out[k] ** 2
        one, two = max(one, 1e-9), max(two, 1e-9)
        low, high, part = first / one, second / two, one / (one + two)
        left = squares_first - one * low**2 + squares_second - two * high**2
        spread = max(np.sqrt(max(left, 0.0) / (one + two)), least)
        if single:
            part = 0.5
    return Mixture(low, high, spread, part, likelihood)


def _mixed(window: Window, found: Mixture) -> bool:
    """Whether neighbours along the bark are of either layer, as chance would have it."""
    x, round_, out = window
    low, high = min(found.low, found.high), max(found.low, found.high)
    own = (out > low - 3.0 * found.spread) & (out < high + 3.0 * found.spread)
    places, upper = np.column_stack([x[own] / ALONG_GRAIN, round_[own]]), out[own] > 0.5 * (low + high)
    neighbour = cKDTree(places).query(places, k=2)[1][:, 1]
    part = float(upper.mean())
    return bool((upper != upper[neighbour]).mean() > MIXED * 2.0 * part * (1.0 - part))
