"""A picture of triangle meshes without a graphics card: parallel projection, depth buffer, edges from the buffers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pithline.outputs.solids import Mesh

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Camera:
    """Parallel projection: unit `right`, `up`, `toward` the viewer (3,); `scale` pixels a mm; `middle` (3,) centred."""

    right: Array
    up: Array
    toward: Array
    scale: float
    middle: Array


@dataclass(frozen=True, slots=True)
class Buffers:
    """What each pixel (height, width) shows: index of the mesh (−1: none), depth toward the viewer, outward normal."""

    index: NDArray[np.int32]
    depth: Array
    normal: Array
    camera: Camera

    def points(self) -> Array:
        """Where in space the covered pixels lie, (n, 3), in the order of `index >= 0`."""
        height, width = self.index.shape
        row, column = np.nonzero(self.index >= 0)
        c = self.camera
        across, rise = (column + 0.5 - width / 2) / c.scale, (height / 2 - row - 0.5) / c.scale
        return (
            c.middle + across[:, None] * c.right + rise[:, None] * c.up + self.depth[row, column][:, None] * c.toward
        )

    def edges(self, sharp: float = 0.9) -> NDArray[np.bool_]:
        """Pixels at which another mesh begins or the surface turns by more than arccos `sharp`."""
        found = np.zeros(self.index.shape, bool)
        for axis in (0, 1):
            one = (slice(1, None), slice(None)) if axis == 0 else (slice(None), slice(1, None))
            two = (slice(None, -1), slice(None)) if axis == 0 else (slice(None), slice(None, -1))
            turn = np.einsum("ijk,ijk->ij", self.normal[one], self.normal[two]) < sharp
            found[one] |= (self.index[one] != self.index[two]) | (turn & (self.index[one] >= 0))
        return found


def look(meshes: Sequence[Mesh], direction: Array, width: int, height: int, room: float = 0.04) -> Camera:
    """A camera that looks along `direction` (3,), z up as far as that goes, and fits all meshes in."""
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
    index = np.full((height, width), -1, np.int32)
    depth = np.full((height, width), -np.inf)
    normal = np.zeros((height, width, 3))
    for number, mesh in enumerate(meshes):
        away = mesh.points - camera.middle
        x = away @ camera.right * camera.scale + width / 2
        y = height / 2 - away @ camera.up * camera.scale
        z = away @ camera.toward
        corners = mesh.points[mesh.faces]
        outward = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        size = np.linalg.norm(outward, axis=1)
        outward /= np.maximum(size, 1e-12)[:, None]
        for face in np.nonzero((outward @ camera.toward > 1e-6) & (size > 1e-9))[0]:
            corner = mesh.faces[face]
            _fill(x[corner], y[corner], z[corner], outward[face], number, index, depth, normal)
    return Buffers(index, depth, normal, camera)


def _fill(x: Array, y: Array, z: Array, outward: Array, number: int, index: Array, depth: Array, normal: Array) -> None:
    """One triangle into the buffers, in pixels."""
    height, width = index.shape
    left, right = max(int(x.min() - 0.5), 0), min(int(x.max() + 0.5) + 1, width)
    top, bottom = max(int(y.min() - 0.5), 0), min(int(y.max() + 0.5) + 1, height)
    twice = (x[1] - x[0]) * (y[2] - y[0]) - (x[2] - x[0]) * (y[1] - y[0])
    if left >= right or top >= bottom or abs(twice) < 1e-9:
        return
    across = np.arange(left, right) + 0.5
    down = (np.arange(top, bottom) + 0.5)[:, None]
    one = ((x[1] - across) * (y[2] - down) - (x[2] - across) * (y[1] - down)) / twice
    two = ((x[2] - across) * (y[0] - down) - (x[0] - across) * (y[2] - down)) / twice
    three = 1.0 - one - two
    near = one * z[0] + two * z[1] + three * z[2]
    part = (slice(top, bottom), slice(left, right))
    seen = (one >= -1e-9) & (two >= -1e-9) & (three >= -1e-9) & (near > depth[part])
    depth[part][seen] = near[seen]
    index[part][seen] = number
    normal[part][seen] = outward
