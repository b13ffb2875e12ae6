"""A picture of triangle meshes without a graphics card: parallel projection, depth buffer, edges from the buffers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from pithline.outputs.preview.solids import Mesh

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Camera:
    """Parallel projection: unit `right`, `up`, `toward` the viewer (3,); `scale` pixels a mm; `middle` (3,) centred."""

    right: Array
    up: Array
    toward: Array
    scale: float
    middle: Array


class Pixels(NamedTuple):
    """What is filled: number of the face and its depth at each pixel (height, width); see `Buffers`."""

    face: NDArray[np.int32]
    depth: Array


@dataclass(frozen=True, slots=True)
class Buffers:
    """What each pixel (height, width) shows: index of the mesh and number of the face (−1: none), depth toward the viewer.

    `normals` (n, 3) are the faces' own, outwards.
    """

    index: NDArray[np.int32]
    face: NDArray[np.int32]
    depth: Array
    normals: Array
    camera: Camera

    def points(self) -> Array:
        """Where in space the covered pixels lie, (n, 3), in the order of `index >= 0`."""
        height, width = self.index.shape
        row, column = np.nonzero(self.index >= 0)
        c = self.camera
        across, rise = (column + 0.5 - width / 2) / c.scale, (height / 2 - row - 0.5) / c.scale
        depth = self.depth[row, column]
        points = np.empty((len(row), 3))
        for k in range(3):
            points[:, k] = c.middle[k] + across * c.right[k] + rise * c.up[k] + depth * c.toward[k]
        return points

    def facing(self, direction: Array) -> Array:
        """Cosine between a unit direction (3,) and the surface at the covered pixels, (n,), in the order of `index >= 0`."""
        return np.asarray((self.normals @ direction)[self.face[self.index >= 0]], float)

    def edges(self, sharp: float = 0.9) -> NDArray[np.bool_]:
        """Pixels at which another mesh begins or the surface turns by more than arccos `sharp`."""
        found = np.zeros(self.index.shape, bool)
        for axis in (0, 1):
            one = (slice(1, None), slice(None)) if axis == 0 else (slice(None), slice(1, None))
            two = (slice(None, -1), slice(None)) if axis == 0 else (slice(None), slice(None, -1))
            begins = self.index[one] != self.index[two]
            turns = np.nonzero((self.face[one] != self.face[two]) & ~begins)
            pair = self.normals[self.face[one][turns]], self.normals[self.face[two][turns]]
            begins[turns] = np.einsum("ik,ik->i", *pair) < sharp
            found[one] |= begins
        return found


def look(meshes: Sequence[Mesh], direction: Array, width: int, height: int, room: float = 0.04) -> Camera:
    """A camera that fits all meshes in, z up as far as the direction of sight lets it.

    Parameters
    ----------
    meshes : sequence of Mesh
        In mm.
    direction : (3,) array
        Of sight, of any length.
    width, height : int
        Of the picture. [pixels]
    room : float
        Share of the picture left free on each side.
    """
    toward = -np.asarray(direction, float) / np.linalg.norm(direction)
    right = np.cross([0.0, 0.0, 1.0], toward)
    right /= np.linalg.norm(right)
    up = np.cross(toward, right)
    points = np.concatenate([one.points for one in meshes])
    flat = np.column_stack([points @ right, points @ up, points @ toward])
    low, high = flat.min(axis=0), flat.max(axis=0)
    size = np.maximum(high - low, 1.0)
    scale = (1.0 - 2.0 * room) * min(width / size[0], height / size[1])
    middle = (low + high) / 2.0
    return Camera(right, up, toward, scale, middle[0] * right + middle[1] * up + middle[2] * toward)


def draw(meshes: Sequence[Mesh], camera: Camera, width: int, height: int) -> Buffers:
    """Fill the buffers; nearer faces cover farther ones, faces turned away are left out."""
    pixels = Pixels(np.full((height, width), -1, np.int32), np.full((height, width), -np.inf))
    normals, owners = [np.zeros((0, 3))], [np.zeros(0, np.int32)]
    first = 0
    for number, mesh in enumerate(meshes):
        away = mesh.points - camera.middle
        x = away @ camera.right * camera.scale + width / 2
        y = height / 2 - away @ camera.up * camera.scale
        z = away @ camera.toward
        corners = mesh.points[mesh.faces]
        outward = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        size = np.linalg.norm(outward, axis=1)
        outward /= np.maximum(size, 1e-12)[:, None]
        shown = (outward @ camera.toward > 1e-6) & (size > 1e-9)
        _fill(np.column_stack([x, y, z]), mesh.faces[shown], first, pixels)
        normals.append(outward[shown])
        owners.append(np.full(len(normals[-1]), number, np.int32))
        first += len(normals[-1])
    owner = np.concatenate([*owners, [-1]]).astype(np.int32)  # the last is that of no face
    return Buffers(owner[pixels.face], pixels.face, pixels.depth, np.concatenate(normals), camera)


@njit(cache=True)
def _fill(points: Array, faces: NDArray[np.int64], first: int, pixels: Pixels) -> None:
    """The triangles `faces` of `points` (column, row, depth) into the pixels, numbered from `first`."""
    face, depth = pixels
    height, width = face.shape
    for f in range(len(faces)):
        a, b, c = points[faces[f, 0]], points[faces[f, 1]], points[faces[f, 2]]
        twice = (b[0] - a[0]) * (c[1] - a[1]) - (c[0] - a[0]) * (b[1] - a[1])
        if abs(twice) < 1e-9:
            continue
        top = max(int(min(a[1], b[1], c[1]) - 0.5), 0)
        bottom = min(int(max(a[1], b[1], c[1]) + 0.5) + 1, height)
        for row in range(top, bottom):
            down = row + 0.5
            # weights of a and b are start + slope · column centre; where all three are not negative is one stretch
            start_a = (b[0] * (c[1] - down) - c[0] * (b[1] - down)) / twice
            slope_a = (b[1] - c[1]) / twice
            start_b = (c[0] * (a[1] - down) - a[0] * (c[1] - down)) / twice
            slope_b = (c[1] - a[1]) / twice
            low, high = -1.0, width + 1.0
            for start, slope in (
                (start_a, slope_a),
                (start_b, slope_b),
                (1.0 - start_a - start_b, -slope_a - slope_b),
            ):
                if slope > 1e-15:
                    low = max(low, (-1e-9 - start) / slope)
                elif slope < -1e-15:
                    high = min(high, (-1e-9 - start) / slope)
                elif start < -1e-9:
                    high = low - 1.0
            for column in range(max(int(np.ceil(low - 0.5)), 0), min(int(np.floor(high - 0.5)) + 1, width)):
                across = column + 0.5
                one, two = start_a + slope_a * across, start_b + slope_b * across
                near = one * a[2] + two * b[2] + (1.0 - one - two) * c[2]
                if near > depth[row, column]:
                    depth[row, column] = near
                    face[row, column] = first + f
