"""The outline over bark of an end face in a photograph: where the colours of the log give way to those behind it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, map_coordinates, median_filter
from skimage.color import rgb2lab

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

ANGLES = 360
RADII = 320
COARSE = 2
"""The outline is sought on every second pixel."""
BINS = 14
"""Cells each way of the table of colours."""
BORDER = 0.035
"""The strip along the picture's edge that shows only what lies behind the log, as a part of its shorter side."""
UNKNOWN = 0.35
"""Colours seen neither behind the log nor near its pith, such as bark's, count for the log by this much."""
MOST_SLOPE = 4
STIFF = 0.5
"""What a step of the outline from one degree to the next costs, squared."""


@dataclass(frozen=True, slots=True)
class FaceOutline:
    """The outline's `places` (360, 2) as column and row, and how distinct it is: `contrast` 0 (not to be seen) to 1; `cut` is the
    part of it that runs along the picture's edge.
    """

    places: Array
    contrast: float
    cut: float

    @property
    def low(self) -> Array:
        """Leftmost column and topmost row."""
        corner: Array = self.places.min(axis=0)
        return corner

    @property
    def high(self) -> Array:
        """Rightmost column and lowest row."""
        corner: Array = self.places.max(axis=0)
        return corner

    def reach(self, points: Array, about: Array) -> Array:
        """Distance of points (n, 2) from `about` as a part of the outline's in the same direction."""
        rim = self.places - about
        turned = np.mod(np.arctan2(rim[:, 1], rim[:, 0]), 2 * np.pi)
        order = np.argsort(turned)
        away = points - about
        at = np.mod(np.arctan2(away[:, 1], away[:, 0]), 2 * np.pi)
        radius = np.interp(at, turned[order], np.hypot(rim[:, 0], rim[:, 1])[order], period=2 * np.pi)
        share: Array = np.hypot(away[:, 0], away[:, 1]) / np.maximum(radius, 1.0)
        return share


def outline_of_box(box: tuple[float, float, float, float]) -> FaceOutline:
    """An oval that fills a box (left, top, right, bottom) stated by hand. [px]"""
    left, top, right, bottom = box
    turn = np.arange(ANGLES) * (2 * np.pi / ANGLES)
    return FaceOutline(
        np.column_stack(
            [
                0.5 * (left + right) + 0.5 * (right - left) * np.cos(turn),
                0.5 * (top + bottom) + 0.5 * (bottom - top) * np.sin(turn),
            ]
        ),
        1.0,
        0.0,
    )


def find_outline(picture: Array, about: Array) -> FaceOutline:
    """The outline about a place on the face.

    Parameters
    ----------
    picture : (h, w, 3) array
        Colours from 0 to 1.
    about : (2,) array
        Column and row of a place well inside the face.
    """
    about = np.asarray(about, float) / COARSE
    smooth = np.stack([gaussian_filter(picture[..., i], 2.5)[::COARSE, ::COARSE] for i in range(3)], axis=-1)
    cell = _colour_cells(smooth)
    height, width = cell.shape
    side = min(height, width)
    rows, columns = np.mgrid[0:height, 0:width]
    edge = np.minimum(np.minimum(rows, height - 1 - rows), np.minimum(columns, width - 1 - columns))
    behind = edge < max(BORDER * side, 3)
    face = np.hypot(columns - about[0], rows - about[1]) < 0.2 * side
    grid, limit = _rays(about, (height, width))
    lean = _lean(cell, face, behind)
    for _ in range(3):
        sampled = map_coordinates(lean, grid, order=1, mode="nearest")
        outside = np.arange(RADII)[None, :] > limit[:, None]
        sampled[outside] = -2.0
        at = _best_path(np.cumsum(np.clip(sampled, -2.0, 2.0), axis=1))
        radius = gaussian_filter(median_filter(at.astype(float), 9, mode="wrap"), 1.5, mode="wrap")
        outline = _places(about, radius, (height, width))
        inside = _filled(outline, about, (height, width))
        lean = _lean(cell, inside, ~_filled(about + 1.06 * (outline - about), about, (height, width)) | behind)
    cut = float((radius > limit - 2.0).mean())
    return FaceOutline(COARSE * outline, _contrast(sampled, radius, limit), cut)


def _colour_cells(picture: Array) -> NDArray[np.int64]:
    """Each pixel's cell in a table of colours (lightness coarse, hue fine). (h, w)"""
    lab = rgb2lab(picture)
    scaled = np.stack([lab[..., 0] / 100.0, (lab[..., 1] + 40.0) / 80.0, (lab[..., 2] + 40.0) / 100.0], axis=-1)
    index = np.clip((scaled * BINS).astype(int), 0, BINS - 1)
    cell: NDArray[np.int64] = (index[..., 0] * BINS + index[..., 1]) * BINS + index[..., 2]
    return cell


def _lean(cell: NDArray[np.int64], face: Mask, behind: Mask) -> Array:
    """By how much each pixel's colour speaks for the log against what lies behind it (log odds). (h, w)"""
    tables = []
    for mask in (face, behind):
        counts = np.bincount(cell[mask], minlength=BINS**3).astype(float).reshape(BINS, BINS, BINS)
        counts = gaussian_filter(counts, 0.7)
        tables.append((counts / counts.sum()).ravel())
    floor = 2e-4
    odds = np.log((tables[0] + floor * np.exp(UNKNOWN)) / (tables[1] + floor))
    lean: Array = gaussian_filter(odds[cell], 2.0)
    return lean


def _rays(about: Array, shape: tuple[int, int]) -> tuple[Array, Array]:
    """Rows and columns of the samples along rays (2, ANGLES, RADII), and where each ray leaves the picture (ANGLES,)."""
    step = _ray_step(shape)
    turn = np.arange(ANGLES) * (2 * np.pi / ANGLES)
    radius = (np.arange(RADII) + 1.0) * step
    columns = about[0] + np.cos(turn)[:, None] * radius
    rows = about[1] + np.sin(turn)[:, None] * radius
    outside = (columns < 0) | (rows < 0) | (columns > shape[1] - 1) | (rows > shape[0] - 1)
    limit = np.where(outside.any(axis=1), outside.argmax(axis=1), RADII).astype(float)
    return np.stack([rows, columns]), limit


def _ray_step(shape: tuple[int, int]) -> float:
    return 0.8 * float(max(shape)) / RADII


def _best_path(worth: Array) -> NDArray[np.int64]:
    """The closed outline of greatest summed worth (ANGLES, RADII) whose steps are held down: dynamic programming.

    Run twice round, the second time from the first's end: then start and end meet.
    """
    angles, radii = worth.shape
    score = np.zeros(radii)
    back = np.zeros((2 * angles, radii), np.int64)
    steps = np.arange(-MOST_SLOPE, MOST_SLOPE + 1)
    for turn in range(2 * angles):
        padded = np.pad(score, MOST_SLOPE, constant_values=-np.inf)
        options = np.stack([padded[MOST_SLOPE + s : MOST_SLOPE + s + radii] - STIFF * s**2 for s in steps])
        best = options.argmax(axis=0)
        back[turn] = np.arange(radii) + steps[best]
        score = options[best, np.arange(radii)] + worth[turn % angles]
    path = np.zeros(2 * angles, np.int64)
    path[-1] = int(score.argmax())
    for turn in range(2 * angles - 1, 0, -1):
        path[turn - 1] = back[turn][path[turn]]
    # the middle round has its beginning and end settled
    middle = path[angles // 2 : angles // 2 + angles]
    return np.roll(middle, angles // 2)


def _places(about: Array, radius: Array, shape: tuple[int, int]) -> Array:
    turn = np.arange(ANGLES) * (2 * np.pi / ANGLES)
    places: Array = about + ((radius + 1.0) * _ray_step(shape))[:, None] * np.column_stack([np.cos(turn), np.sin(turn)])
    return places


def _filled(outline: Array, about: Array, shape: tuple[int, int]) -> Mask:
    """Pixels within the outline, which `about` sees wholly. (h, w)"""
    rim = outline - about
    turned = np.mod(np.arctan2(rim[:, 1], rim[:, 0]), 2 * np.pi)
    order = np.argsort(turned)
    rows, columns = np.mgrid[0 : shape[0], 0 : shape[1]]
    at = np.mod(np.arctan2(rows - about[1], columns - about[0]), 2 * np.pi)
    radius = np.interp(at.ravel(), turned[order], np.hypot(rim[:, 0], rim[:, 1])[order], period=2 * np.pi)
    inside: Mask = np.hypot(columns - about[0], rows - about[1]) < radius.reshape(shape)
    return inside


def _contrast(sampled: Array, radius: Array, limit: Array) -> float:
    """Part of the girth at which colours speak for the log within the outline and against it without."""
    spread = max(int(0.06 * np.median(radius)), 3)
    tells = []
    for ray, at, most in zip(sampled, np.rint(radius).astype(int), limit.astype(int), strict=True):
        within, without = ray[max(at - spread, 0) : at], ray[at + 1 : min(at + 1 + spread, most)]
        tells.append(len(without) > 0 and len(within) > 0 and within.mean() > 0.0 > without.mean())
    return float(np.mean(tells))
