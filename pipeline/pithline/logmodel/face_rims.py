"""Rims of the end faces: they show the outline at both ends all round, also where the girth between them is hidden."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pithline.logmodel.model import CLOCK_SAMPLES, clock_direction
from pithline.logmodel.surface import Surface
from pithline.scan.end_faces import ScannedFace

Array = NDArray[np.float64]

SECTORS = 24
"""Into which a rim is parted, 15° each."""
SKIN = 7.0
"""Points that stand out of an end plane by up to this are the face's: bark ends at the plane. [mm]"""
REACH = 40.0
"""The rim of a face is sought this far within and without the fitted outline. [mm]"""
LEAST_POINTS = 8
LEAST_SEEN = 6
"""Sectors of seen girth that must tell how far within the bark a rim's points end."""
NEAR = 70.0
"""Girth is hidden at an end where no bark was seen this near to it. [mm]"""
COPIES = 2
"""A rim counts for as many points of bark in each cell of its sector: it is known to some millimetres only."""


@dataclass(frozen=True, slots=True)
class FaceRim:
    """The rim of one face: clock angles (k,) of sectors, how far it lies outside the surface there (k,) [mm]."""

    clock: Array
    over: Array


def face_rim(points: Array, surface: Surface, face: ScannedFace) -> FaceRim:
    """The second outermost point of each sector of a face, for one stray may lie outside. Points (n, 3)."""
    height = (points - face.point) @ face.normal
    out, clock = surface.residuals(points[(height > 0.0) & (height < SKIN)])
    sector = np.rint(clock * (SECTORS / (2 * np.pi))).astype(int) % SECTORS
    middles, over = [], []
    for k in range(SECTORS):
        here = out[(sector == k) & (out > -REACH) & (out < REACH)]
        if len(here) >= LEAST_POINTS:
            middles.append(k * (2 * np.pi / SECTORS))
            over.append(float(np.sort(here)[-2]))
    return FaceRim(np.array(middles), np.array(over))


def seen_sectors(rim: FaceRim, surface: Surface, face: ScannedFace) -> NDArray[np.bool_]:
    """In which sectors of a rim bark was seen near the face. (k,)"""
    column = np.rint(rim.clock * (CLOCK_SAMPLES / (2 * np.pi))).astype(int)
    near = np.abs(surface.x - face.point[0]) < NEAR
    cells = surface.cells[near].sum(axis=0)
    return np.array([cells[np.arange(c - 1, c + 2) % CLOCK_SAMPLES].min() > 0.5 for c in column], bool)


def hidden_rims(points: Array, surface: Surface, faces: tuple[ScannedFace, ScannedFace]) -> Array:
    """Points (m, 3) of the outline where the rims show it and the bark does not."""
    found = [np.empty((0, 3))]
    for face in faces:
        if not face.seen:
            continue
        rim = face_rim(points, surface, face)
        seen = seen_sectors(rim, surface, face)
        if seen.sum() < LEAST_SEEN or seen.all():
            continue
        # a face's points end a little within the bark: by how much the seen girth tells
        over = rim.over[~seen] - float(np.median(rim.over[seen]))
        found.append(_on_plane(surface, face, rim.clock[~seen], over))
    return np.concatenate(found)


def _on_plane(surface: Surface, face: ScannedFace, clock: Array, over: Array) -> Array:
    """Points on an end plane, COPIES in each cell of the sectors about `clock`, `over` outside the surface."""
    step = 2 * np.pi / CLOCK_SAMPLES
    clock = (clock[:, None] + step * np.array([-1.0, 0.0, 1.0])).ravel()
    over = np.repeat(over, 3)
    x = np.full(len(clock), face.point[0])
    for _ in range(3):
        radius = surface.radii_along(x, clock)
        yz = surface.centre(x) + (radius + over)[:, None] * clock_direction(clock)
        x = face.point[0] - ((yz - face.point[1:]) @ face.normal[1:]) / face.normal[0]
    return np.repeat(np.column_stack([x, yz]), COPIES, axis=0)
