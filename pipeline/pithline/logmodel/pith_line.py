"""The pith from the marks on the two ends: scan points, tape measures, or arms of the plumb-and-level cross."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from pithline.errors import InputError
from pithline.logmodel.card import MARK_ERROR, ArmsMark, Card, PithMark, ScanPoint, TapeMark
from pithline.logmodel.model import clock_angles, clock_direction, clock_of
from pithline.logmodel.surface import Surface
from pithline.scan.end_faces import ScannedFace

Array = NDArray[np.float64]

UNMARKED_SHARE = 0.05
"""Standard deviation of the pith about the centre, as a part of the radius, where nothing is marked. From memory."""
WANDER_SHARE = 0.03
"""And of its wandering from one end to the other, where one end only is marked. From memory."""
FAR_OFF = 150.0
"""A mark farther than this from its end face belongs to another end, scan or unit. [mm]"""
RIM_POINTS = 720
FACE_REACH = 60.0
"""An end plane meets the bark this far to both sides of where it meets the axis: 4° off square on a log of 860 mm. [mm]"""
CENTRE_PULL = 0.02
"""Weight of the pull to the middle of the face, which settles a mark measured in one direction only."""
LONGEST_STEP, SHORTEST_STEP = 40.0, 1e-4
"""Of the search for the place that arms point at. [mm]"""

Inward = Callable[[Array], Array]
"""A scan point (3,) to the log frame. [mm]"""


class Outline(Protocol):
    """What marks are read by: a fitted surface, or a model's outline."""

    def radii(self, x: Array, clock: Array) -> Array:
        """Radius about the centreline over the grid x × clock: (len(x), len(clock)). [mm]"""
        ...

    def centre(self, x: Array) -> Array:
        """Centreline (y, z) at x: (len(x), 2). [mm]"""
        ...


class FacePlane(Protocol):
    """An end plane: a `point` (3,) of it and its outward unit `normal` (3,)."""

    @property
    def point(self) -> Array:
        """A point of it. [mm]"""
        ...

    @property
    def normal(self) -> Array:
        """Outward unit normal."""
        ...


@dataclass(frozen=True, slots=True)
class MarkPlace:
    """A mark as a `point` (3,) of the log frame, the `error` that its own measures betray [mm], cautions."""

    point: Array
    error: float = 0.0
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class PithLine:
    """Offset of the pith from the centreline, `at` stations (k,), `offset` (k, 2), its `error` (k,); k of 0, 1 or 2."""

    at: Array
    offset: Array
    error: Array
    radius: float
    length: float
    cautions: tuple[str, ...] = ()

    def offset_at(self, x: Array) -> Array:
        """Offset (y, z) at x, linear in x between and beyond two marks. (len(x), 2)"""
        line: Array = self.shares_at(x) @ self.offset
        return line

    def error_at(self, x: Array) -> Array:
        """Standard error of the offset at x by the marks, per axis. (len(x),)"""
        if len(self.at) == 0:
            return np.full(len(x), UNMARKED_SHARE * self.radius)
        if len(self.at) == 1:
            away: Array = np.hypot(self.error[0], WANDER_SHARE * self.radius * (x - self.at[0]) / self.length)
            return away
        t = np.clip((x - self.at[0]) / (self.at[1] - self.at[0]), 0.0, 1.0)
        between: Array = np.hypot((1.0 - t) * self.error[0], t * self.error[1])
        return between

    def shares_at(self, x: Array) -> Array:
        """How much the offset at x takes from each mark: (len(x), k), rows that add up to 1; of no marks (len(x), 0)."""
        if len(self.at) < 2:
            return np.ones((len(x), len(self.at)))
        t = (x - self.at[0]) / (self.at[1] - self.at[0])
        return np.column_stack([1.0 - t, t])


def pith_error(line: PithLine, surface: Surface) -> Array:
    """Standard error of the pith at the stations of a surface, per axis. (n,) [mm]

    The offset hangs on the centreline, and at a mark it is taken from the centreline there. So to the marks' own errors comes by
    how much the centreline is in doubt against itself at the marks: nothing at them, and between them what hidden girth leaves open.
    """
    apart = surface.basis.along(surface.x)
    if len(line.at) > 0:
        apart = apart - line.shares_at(surface.x) @ surface.basis.along(line.at)
    n, variance = surface.basis.columns, np.zeros(len(surface.x))
    for row in (1, 2):
        block = surface.covariance[row * n : row * n + n, row * n : row * n + n]
        variance += 0.5 * np.einsum("sj,jk,sk->s", apart, block, apart, optimize=True)
    error: Array = np.hypot(line.error_at(surface.x), np.sqrt(np.maximum(variance, 0.0)))
    return error


def locate_pith(card: Card, surface: Surface, faces: tuple[ScannedFace, ScannedFace], inward: Inward) -> PithLine:
    """The pith from the card's marks, in the log frame of `surface` and `faces` (butt, top).

    `inward` takes a scan point to that frame.

    Raises
    ------
    InputError
        If a mark lies outside the wood or far off its end.
    """
    at, offsets, errors = [], [], []
    cautions: list[str] = []
    for name, mark, face in zip(("butt", "top"), (card.pith_butt, card.pith_top), faces, strict=True):
        if mark is None:
            continue
        place = place_mark(name, mark, face, surface, inward)
        centre = surface.centre(place.point[:1])[0]
        _check_inside(name, place.point, centre, surface, card.bark_thickness or 0.0)
        at.append(place.point[0])
        offsets.append(place.point[1:] - centre)
        errors.append(card.pith_error if card.pith_error is not None else max(MARK_ERROR, place.error))
        cautions += place.cautions
    radius = float(np.median(surface.rows_at(surface.x)[:, 0]))
    length = float(np.linalg.norm(faces[1].point - faces[0].point))
    return PithLine(
        np.array(at), np.array(offsets).reshape(-1, 2), np.array(errors), radius, max(length, 1.0), tuple(cautions)
    )


def place_mark(name: str, mark: PithMark, face: FacePlane, surface: Outline, inward: Inward) -> MarkPlace:
    """Where a mark lies in the log frame.

    Parameters
    ----------
    name : str
        "butt" or "top".
    mark : PithMark
    face : FacePlane
        The end's plane, scanned or of a fitted model.
    surface : Outline
        The outline that tape measures start from.
    inward : callable
        A scan point (3,) to the log frame. [mm]

    Raises
    ------
    InputError
        If a point of the scan lies far off the end.
    """
    if isinstance(mark, ScanPoint):
        point = inward(np.asarray(mark.xyz, float))
        off = float((point - face.point) @ face.normal)
        if abs(off) > FAR_OFF:
            raise InputError(
                f"pith.{name} lies {abs(off):.0f} mm off the {name} end along the log; check its coordinates and "
                "scan_units, or which end is the butt."
            )
        return MarkPlace(point)
    section = rim_on_face(surface, face)
    right, up = face_axes(face, name)
    flat = np.column_stack([(section - face.point) @ right, (section - face.point) @ up])
    if isinstance(mark, TapeMark):
        place = np.array([flat[:, 0].min() + mark.from_left, flat[:, 1].max() - mark.from_top])
        return MarkPlace(face.point + place[0] * right + place[1] * up)
    place, error = _from_arms(mark, flat)
    cautions: tuple[str, ...] = ()
    if error > 2.0 * MARK_ERROR:
        cautions = (
            f"The arms of the cross at the {name} end miss the girth of the scan by {error:.0f} mm; measure them again.",
        )
    return MarkPlace(face.point + place[0] * right + place[1] * up, error, cautions)


def face_axes(face: FacePlane, name: str) -> tuple[Array, Array]:
    """Unit vectors in an end plane: to the right as seen facing it, and up along its 12 o'clock line."""
    up = np.array([0.0, 0.0, 1.0]) - face.normal * face.normal[2]
    up /= np.linalg.norm(up)
    right = np.cross(up, face.normal)
    # facing the butt +y is on the left, facing the top end on the right
    return (-right if (right[1] > 0) == (name == "butt") else right), up


def rim_on_face(surface: Outline, face: FacePlane) -> Array:
    """Points (720, 3) of the over-bark outline in the plane of an end."""
    clock = np.linspace(0.0, 2.0 * np.pi, RIM_POINTS, endpoint=False)
    grid = np.linspace(face.point[0] - FACE_REACH, face.point[0] + FACE_REACH, 25)
    radii, centres = surface.radii(grid, clock), surface.centre(grid)
    x = np.full(len(clock), face.point[0])
    for _ in range(4):
        at = np.clip((x - grid[0]) / (grid[1] - grid[0]), 0.0, len(grid) - 1.001)
        low, part = at.astype(int), (at % 1.0)
        k = np.arange(len(clock))
        radius = (1 - part) * radii[low, k] + part * radii[low + 1, k]
        centre = (1 - part)[:, None] * centres[low] + part[:, None] * centres[low + 1]
        yz = centre + radius[:, None] * clock_direction(clock)
        x = face.point[0] - ((yz - face.point[1:]) @ face.normal[1:]) / face.normal[0]
    return np.column_stack([x, yz])


def _from_arms(mark: ArmsMark, flat: Array) -> tuple[Array, float]:
    """Place (right, up) whose arms to the rim `flat` (m, 2) are as measured, and by how much they miss.

    Least squares by Gauss-Newton. One direction may be measured alone: a weak pull to the centre settles the other.
    """
    ways = {"up": (0.0, 1.0), "right": (1.0, 0.0), "down": (0.0, -1.0), "left": (-1.0, 0.0)}
    arms = [
        (np.array(way), float(getattr(mark, name))) for name, way in ways.items() if getattr(mark, name) is not None
    ]
    middle = flat.mean(0)
    place = middle.copy()
    for _ in range(40):
        misses = np.array([_to_rim(place, way, flat) - want for way, want in arms])
        slopes = []
        for shift in (np.array([0.5, 0.0]), np.array([0.0, 0.5])):
            slopes.append([(_to_rim(place + shift, way, flat) - want) for way, want in arms])
        jacobian = (np.array(slopes).T - misses[:, None]) / 0.5
        design = np.vstack([jacobian, CENTRE_PULL * np.eye(2)])
        step = np.linalg.lstsq(design, -np.concatenate([misses, CENTRE_PULL * (place - middle)]), rcond=None)[0]
        size = float(np.linalg.norm(step))
        place = place + step * min(1.0, LONGEST_STEP / max(size, 1e-12))
        if size < SHORTEST_STEP:
            break
    misses = np.array([_to_rim(place, way, flat) - want for way, want in arms])
    spare = len(arms) - 2
    return place, float(np.sqrt((misses**2).sum() / spare)) if spare > 0 else 0.0


def _to_rim(place: Array, way: Array, flat: Array) -> float:
    """Distance from `place` along `way` to the farthest crossing of the closed polygon `flat` (m, 2)."""
    start = flat - place
    across = start @ np.array([-way[1], way[0]])
    along = start @ way
    following = np.roll(across, -1)
    crossed = (across > 0) != (following > 0)
    if not crossed.any():
        return float(along.max())
    share = across[crossed] / (across[crossed] - following[crossed])
    return float((along[crossed] + share * (np.roll(along, -1)[crossed] - along[crossed])).max())


def _check_inside(name: str, point: Array, centre: Array, surface: Surface, bark: float) -> None:
    away = point[1:] - centre
    clock = np.append(clock_angles(), 2.0 * np.pi)
    rim = float(np.interp(clock_of(away), clock, surface.radii(point[:1], clock)[0])) - bark
    out = float(np.hypot(*away)) - rim
    if out > 0.0:
        raise InputError(f"pith.{name} lies {out:.0f} mm outside the wood of the {name} end; mark it again.")
