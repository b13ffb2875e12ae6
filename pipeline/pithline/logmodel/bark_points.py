"""Which points of the log's lump are bark: faces, bearers underneath, stubs and swellings told apart."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_dilation, label

from pithline.logmodel.model import CLOCK_SAMPLES, SuspectedKnot, clock_angles
from pithline.logmodel.surface import Surface
from pithline.scan.end_faces import ScannedFace

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

FACE_SKIN = 6.0
"""Points this near an end plane belong to the face. [mm]"""
UNDERSIDE = np.radians(55.0)
"""What a log lies on touches it within this of 6 o'clock: farther round, level bearers stand well off the bark."""
ALONG_BARK = np.cos(np.radians(32.0))
"""On the underside, a patch whose normal is farther off the radius is a bearer's, not bark's."""
BEARER_OUT = 12.0
LEVEL = np.cos(np.radians(13.0))
"""Standing out of the underside, a patch this near to level or to square across is a bearer's top or side."""
TOUCHED = 0.3
"""A swelling this much of which lies against a bearer is the bearer's."""
STUB_POINTS = 12
STUB_RIM = 5.0
"""A stub's points count for cells this near too, as the scan seldom holds its very edge. [mm]"""
STUB_LEAST = 10.0
"""Least height of a stub or swelling. [mm]"""


@dataclass(frozen=True, slots=True)
class Lump:
    """The log's lump in the log frame: points (n, 3) and the unit normal (n, 3) of each one's patch."""

    points: Array
    normals: Array


def within_faces(points: Array, faces: tuple[ScannedFace, ScannedFace], skin: float = FACE_SKIN) -> Mask:
    """Points (n, 3) inside both end planes by `skin`; a face not seen leaves all on its side."""
    inside = np.ones(len(points), bool)
    for face in faces:
        margin = skin if face.seen else -30.0
        inside &= (points - face.point) @ face.normal < -margin
    return inside


def bark_and_bearers(lump: Lump, surface: Surface, faces: tuple[ScannedFace, ScannedFace]) -> tuple[Mask, Mask]:
    """Masks (n,) of what may be bark, and of bearers and other things the log lies on.

    Parameters
    ----------
    surface : Surface
        A first surface in the log frame, of round or oval sections.
    """
    out, clock = surface.residuals(lump.points)
    radial = np.column_stack([-np.sin(clock), np.cos(clock)])
    facing = np.abs((lump.normals[:, 1:] * radial).sum(1))
    below = np.cos(clock) < np.cos(np.pi - UNDERSIDE)
    radius = float(np.median(surface.rows_at(surface.x)[:, 0]))
    flat = (np.abs(lump.normals[:, 2]) > LEVEL) | (np.abs(lump.normals[:, 0]) > LEVEL)
    foreign = below & (
        ((facing < ALONG_BARK) & (out > 0.0)) | (flat & (out > 8.0)) | (out > 0.12 * radius + BEARER_OUT)
    )
    foreign |= (np.cos(clock) < 0.2) & (out > 0.35 * radius + BEARER_OUT)
    foreign |= below & _against(lump.points, foreign, surface, clock)
    inside = within_faces(lump.points, faces)
    near = (out > -0.3 * radius) & (out < 0.3 * radius + 80.0)
    bark = inside & near & ~foreign & ~(below & (facing < ALONG_BARK))
    return bark & ~islands(lump.points, bark, surface, clock), foreign


def _against(points: Array, foreign: Mask, surface: Surface, clock: Array) -> Mask:
    """Points in or next to cells where much is foreign: bark and bearer meet there too closely to be told apart. (n,)"""
    cell = grid_cell(points[:, 0], clock, surface.x)
    total, other = np.zeros((2, len(surface.x), CLOCK_SAMPLES))
    np.add.at(total, cell, 1.0)
    np.add.at(other, (cell[0][foreign], cell[1][foreign]), 1.0)
    return binary_dilation((other > 0.3 * total) & (other >= 2), structure=np.ones((3, 3)), iterations=2)[cell]


def islands(points: Array, bark: Mask, surface: Surface, clock: Array) -> Mask:
    """Points of patches on the underside that no seen bark connects with the rest: remains of bearers. (n,)"""
    row, column = grid_cell(points[:, 0], clock, surface.x)
    grid = np.zeros((len(surface.x), CLOCK_SAMPLES), bool)
    grid[row[bark], column[bark]] = True
    names, count = label(binary_dilation(grid), structure=np.ones((3, 3)))
    sizes = np.bincount(names.ravel(), minlength=count + 1)
    # the seam of the grid is at 12 o'clock, which is seen
    keep = sizes > 0.08 * grid.size
    keep[np.unique(names[:, [0, -1]])] = True
    return ~keep[names[row, column]] & (np.cos(clock) < 0.0)


def grid_cell(x: Array, clock: Array, stations: Array) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Nearest station and clock sample of each point."""
    row = np.rint((x - stations[0]) / (stations[1] - stations[0])).astype(int)
    column = np.rint(clock * (CLOCK_SAMPLES / (2.0 * np.pi))).astype(int) % CLOCK_SAMPLES
    return np.clip(row, 0, len(stations) - 1), column


def find_stubs(points: Array, surface: Surface, foreign: Array) -> tuple[tuple[SuspectedKnot, ...], Mask]:
    """Stubs and swellings among the log's own points (n, 3): a list, and a mask (stations, 72) of where they stand.

    `foreign` (m, 3) are points of bearers: what stands out of the bark against them is theirs.

    A stub is a patch of cells in which a good part of the points stands out of the surface farther than bark does.
    """
    out, clock = surface.residuals(points)
    row, column = grid_cell(points[:, 0], clock, surface.x)
    shape = (len(surface.x), CLOCK_SAMPLES)
    index = row * CLOCK_SAMPLES + column
    limit = max(STUB_LEAST, 4.0 * surface.scale)
    high = (out > limit) & (out < 250.0)
    count = np.bincount(index[high], minlength=shape[0] * shape[1]).reshape(shape)
    total = np.bincount(index[out > -limit], minlength=shape[0] * shape[1]).reshape(shape)
    grid = (count >= 2) & (count > 0.25 * total)
    names, number = _round_labels(grid)
    touched = np.zeros(shape, bool)
    touched[grid_cell(foreign[:, 0], surface.residuals(foreign)[1], surface.x)] = True
    touched = binary_dilation(touched, structure=np.ones((3, 3)), iterations=2)
    knots, mask = [], np.zeros(shape, bool)
    for name in range(1, number + 1):
        cells = names == name
        member = high & cells[row, column]
        if member.sum() < STUB_POINTS or cells.sum() < 2 or touched[cells].mean() > TOUCHED:
            continue
        knot = _knot(points[member], out[member], clock[member], surface, int(cells.sum()))
        if knot.height > STUB_LEAST and knot.diameter < 400.0:
            knots.append(knot)
            mask |= cells
    knots.sort(key=lambda one: (one.x, one.clock))
    return tuple(knots), mask


def _round_labels(grid: Mask) -> tuple[NDArray[np.int64], int]:
    """Labels of connected cells, joined across the seam at 12 o'clock."""
    names, _ = label(grid, structure=np.ones((3, 3)))
    for row in range(len(grid)):
        for other in (row - 1, row, row + 1):
            if 0 <= other < len(grid) and names[row, 0] and names[other, -1]:
                names[names == names[other, -1]] = names[row, 0]
    kept = np.unique(names[names > 0])
    return np.searchsorted(kept, names) * (names > 0) + (names > 0), len(kept)


def _knot(points: Array, out: Array, clock: Array, surface: Surface, cells: int) -> SuspectedKnot:
    mean = np.angle(np.sum(out * np.exp(1j * clock))) % (2.0 * np.pi)
    x = float((out @ points[:, 0]) / out.sum())
    radius = float(surface.radii(np.array([x]), np.array([mean]))[0, 0])
    area = cells * (surface.x[1] - surface.x[0]) * radius * (2.0 * np.pi / CLOCK_SAMPLES)
    return SuspectedKnot(x, float(mean), float(2.0 * np.sqrt(area / np.pi)), float(np.quantile(out, 0.95)))


def envelope(points: Array, surface: Surface, stubs: Mask, stderr: Array, seen: Mask) -> Array:
    """The farthest the log reaches in each cell (stations, 72). [mm]

    Where seen, the outline and what stands out of it: on stubs the farthest point, else the upper bark (97 %), which
    leaves measuring noise out. Where unseen, the outline plus two standard errors. Never inside the outline.
    """
    outline = surface.radii(surface.x, clock_angles())
    out, clock = surface.residuals(points)
    stubs = widened(stubs)
    limit = max(STUB_LEAST, 4.0 * surface.scale)
    row, column = grid_cell(points[:, 0], clock, surface.x)
    reach = _upper(row, column, out, out < limit, outline.shape)
    high = (out >= limit) & (out < 250.0) & stubs[row, column]
    radius = np.maximum(outline[row[high], column[high]] + out[high], 1.0)
    for along in (-STUB_RIM, 0.0, STUB_RIM):
        for round_ in (-STUB_RIM, 0.0, STUB_RIM):
            near = grid_cell(points[high, 0] + along, clock[high] + round_ / radius, surface.x)
            np.maximum.at(reach, near, out[high])
    return outline + np.where(seen | (reach > 0.0), reach, 2.0 * stderr)


def _upper(row: Array, column: Array, out: Array, chosen: Mask, shape: tuple[int, int]) -> Array:
    """97 % of the chosen points' residuals in each cell, not below 0."""
    index, out = (row * CLOCK_SAMPLES + column)[chosen], out[chosen]
    order = np.lexsort((out, index))
    names, start, count = np.unique(index[order], return_index=True, return_counts=True)
    reach = np.zeros(shape[0] * shape[1])
    reach[names] = np.maximum(out[order][start + np.floor(0.97 * (count - 1)).astype(int)], 0.0)
    return reach.reshape(shape)


def widened(mask: Mask) -> Mask:
    """A mask of cells (stations, 72) and the cells that touch it, across the seam too."""
    wide = np.concatenate([mask[:, -1:], mask, mask[:, :1]], axis=1)
    return binary_dilation(wide, structure=np.ones((3, 3)))[:, 1:-1]


def seen_cells(surface: Surface) -> Mask:
    """Which cells were seen, looking a station or two along: (stations, 72)."""
    filled = surface.cells > 0.5
    return binary_dilation(filled, structure=np.array([[0, 1, 0]] * 5).astype(bool)) & _kept_within(filled)


def _kept_within(filled: Mask) -> Mask:
    """Rows between the first and the last with anything in them."""
    rows = np.flatnonzero(filled.any(axis=1))
    out = np.zeros_like(filled)
    if len(rows):
        out[rows[0] : rows[-1] + 1] = True
    return out
