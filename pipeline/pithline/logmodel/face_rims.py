"""Rims of the end faces: they show the outline at both ends all round, also where the girth between them is hidden."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pithline.geometry.robust import spread
from pithline.logmodel.model import CLOCK_SAMPLES, clock_direction
from pithline.logmodel.surface import KnownPoints, Surface
from pithline.scan.end_faces import ScannedFace

Array = NDArray[np.float64]

SECTORS, LEAST_SECTORS = 24, 12
"""Into which a rim is parted, 15° each, or wider…"""
SECTOR_POINTS = 50
"""… where there would be fewer points than this in each: of few, the outermost may lie anywhere."""
SKIN = 3.5
"""Points that stand out of an end plane by up to this are the face's: bark ends at the plane. [spreads of its points]"""
REACH = 0.5
"""The rim of a face is sought this far within and without the fitted outline, which may be far off where girth is hidden. [radii]"""
COMPANY, LEAST_POINTS, MOST_POINTS = 0.2, 2, 8
"""A point of the rim has others within this of it, further in [radii]: so many at least, and no more than so many are asked for."""
LEAST_SHARE = 0.07
"""Between the two, this part of the sector's points: an evenly scanned face has five times that so near to its rim."""
LEAST_SEEN = 6
"""Sectors of seen girth that must tell how far within the bark a rim's points end."""
NEAR = 0.25
"""Girth is hidden at an end where no bark was seen this near to it. [radii]"""
NEIGHBOURS, GAP_SPREADS, LEAST_GAP = 2, 4.0, 0.02
"""A sector that ends so many spreads, and so much [radii], further in than the middle of its neighbours, so many on each side, has a
gap at its rim."""
INNER = (0.5, 0.1)
"""From so far within the rim to so far the points of a sector tell how densely its face was scanned. [radii]"""
SPREAD_WITHIN = float(np.sqrt(0.5))
"""What second outermost points spread by, as a part of how far within the edge they lie: two steps of chance."""
LEAST_UNEVEN = 0.0018
"""Rims are not believed to be known better than this. [radii]"""


@dataclass(frozen=True, slots=True)
class FaceRim:
    """The rim of one face: clock angles (k,) of sectors, how far it lies outside the surface there (k,), and how far within the true
    edge a rim of so densely scanned a face is expected to lie (k,). [mm]
    """

    clock: Array
    over: Array
    within: Array


def face_rim(points: Array, surface: Surface, face: ScannedFace) -> FaceRim:
    """The second outermost point of each sector of a face that has company, for one stray may lie outside. Points (n, 3)."""
    height = (points - face.point) @ face.normal
    out, clock = surface.residuals(points[(height > 0.0) & (height < SKIN * face.spread)])
    sectors = int(np.clip(len(out) // SECTOR_POINTS, LEAST_SECTORS, SECTORS))
    sector = np.rint(clock * (sectors / (2 * np.pi))).astype(int) % sectors
    reach = REACH * surface.radius
    middles, over, dense = [], [], []
    for k in range(sectors):
        here = np.sort(out[(sector == k) & (out < reach)])[::-1]
        # what lies alone outside is dirt or a stray: a rim has wood within it
        company = np.searchsorted(-here, COMPANY * surface.radius - here) - np.arange(len(here))
        rim = here[company > np.clip(LEAST_SHARE * len(here), LEAST_POINTS, MOST_POINTS)]
        if len(rim) > 1 and rim[1] > -reach:
            middles.append(k * (2 * np.pi / sectors))
            over.append(float(rim[1]))
            depth = (rim[1] - here) / surface.radius
            dense.append(float(((depth > INNER[1]) & (depth < INNER[0])).sum()))
    return FaceRim(np.array(middles), np.array(over), _expected_within(np.array(dense), surface.radius))


def _expected_within(counts: Array, radius: float) -> Array:
    """How far within the edge the second outermost point lies on average, from counts (k,) of points further in. [mm]"""
    if not len(counts):
        return counts
    smooth = np.mean([np.roll(counts, turn) for turn in range(-NEIGHBOURS, NEIGHBOURS + 1)], axis=0)
    middle = 1.0 - 0.5 * (INNER[0] + INNER[1])  # a sector is narrower there than at its rim
    per_mm = np.maximum(smooth, 1.0) / ((INNER[0] - INNER[1]) * radius * middle)
    within: Array = 2.0 / per_mm
    return within


def seen_sectors(rim: FaceRim, surface: Surface, face: ScannedFace) -> NDArray[np.bool_]:
    """In which sectors of a rim bark was seen near the face. (k,)"""
    column = np.rint(rim.clock * (CLOCK_SAMPLES / (2 * np.pi))).astype(int)
    near = np.abs(surface.x - face.point[0]) < NEAR * surface.radius
    cells = surface.cells[near].sum(axis=0)
    return np.array([cells[np.arange(c - 1, c + 2) % CLOCK_SAMPLES].min() > 0.5 for c in column], bool)


def hidden_rims(points: Array, surface: Surface, faces: tuple[ScannedFace, ScannedFace]) -> KnownPoints | None:
    """Places of the outline where the rims show it and the bark does not, or None where there are none. Points (n, 3)."""
    found = [rim for face in faces if face.seen and (rim := _hidden_rim(points, surface, face)) is not None]
    if not found:
        return None
    covariance = np.zeros((sum(len(one.points) for one in found),) * 2)
    start = 0
    for one in found:
        block = slice(start, start + len(one.points))
        covariance[block, block] = one.covariance
        start = block.stop
    return KnownPoints(np.concatenate([one.points for one in found]), covariance)


def _hidden_rim(points: Array, surface: Surface, face: ScannedFace) -> KnownPoints | None:
    rim = face_rim(points, surface, face)
    seen = seen_sectors(rim, surface, face)
    if seen.sum() < LEAST_SEEN or seen.all():
        return None
    # a face's points end a little within the bark: by how much, and how evenly, the seen girth tells; but noise throws points of
    # its bark over the edge, which hidden girth has not: there they end at least as far within as so dense a face ends
    inset = float(np.median(rim.over[seen]))
    least = LEAST_UNEVEN * surface.radius
    uneven = max(spread(rim.over[seen] - inset), least)
    told = ~seen & ~_gaps(rim.over, GAP_SPREADS * uneven + LEAST_GAP * surface.radius)
    if not told.any():
        return None
    # a median is surer than single values by so much; what is wrong with it is wrong with all sectors of the face
    common = np.hypot(uneven * np.sqrt(0.5 * np.pi / seen.sum()), least)
    within = np.maximum(-inset, rim.within[told])
    covariance = np.diag(np.maximum(uneven, SPREAD_WITHIN * within) ** 2) + common**2
    return KnownPoints(_on_plane(surface, face, rim.clock[told], rim.over[told] + within), covariance)


def _gaps(over: Array, least: float) -> NDArray[np.bool_]:
    """Which sectors (k,) in order round a rim end further in than their neighbours by more than `least`. [mm]"""
    around = np.stack([np.roll(over, turn) for turn in range(-NEIGHBOURS, NEIGHBOURS + 1)])
    gaps: NDArray[np.bool_] = over < np.median(around, axis=0) - least
    return gaps


def _on_plane(surface: Surface, face: ScannedFace, clock: Array, over: Array) -> Array:
    """Points on an end plane at clock angles (k,), `over` outside the surface. (k, 3)"""
    x = np.full(len(clock), face.point[0])
    for _ in range(3):
        radius = surface.radii_along(x, clock)
        yz = surface.centre(x) + (radius + over)[:, None] * clock_direction(clock)
        x = face.point[0] - ((yz - face.point[1:]) @ face.normal[1:]) / face.normal[0]
    return np.column_stack([x, yz])
