"""Surface normals of a lump of points, and the direction all bark normals are square to: the log's axis."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from pithline.geometry.robust import cauchy
from pithline.scan.voxels import Voxels, voxelise

Array = NDArray[np.float64]

CELL = 20.0
"""Size of a patch. [mm]"""
NEIGHBOURS = 24
"""Patches that tell one another's normals."""
ANNEALED = (0.6, 0.45, 0.35, 0.3, 0.25, 0.25, 0.25, 0.25)
"""Widths of the redescending weight, round by round, as sines of the angle between normal and section."""


@dataclass(frozen=True, slots=True)
class Patches:
    """Small patches of surface: their `voxels`, `means` (m, 3) and unit `normals` (m, 3) of arbitrary sign."""

    voxels: Voxels
    means: Array
    normals: Array


def surface_patches(points: Array, cell: float = CELL) -> Patches:
    """Patches of points (n, 3) in mm, the normal of each from its nearest neighbours."""
    voxels = voxelise(points, cell)
    means = voxels.mean(points)
    count = min(NEIGHBOURS, len(means))
    near = means[cKDTree(means).query(means, k=count)[1]]
    away = near - near.mean(1, keepdims=True)
    spread = np.einsum("mki,mkj->mij", away, away)
    return Patches(voxels, means, np.linalg.eigh(spread)[1][:, :, 0])


def axis_direction(normals: Array) -> Array:
    """Unit direction that most normals (m, 3) are square to, whatever the end faces and bearers do. (3,)

    Minimises Σ ψ(n·a) with a redescending ψ by reweighting, from each eigenvector of Σ n nᵀ.
    """
    starts = np.linalg.eigh(normals.T @ normals)[1].T
    best, least = starts[0], np.inf
    for start in starts:
        axis = start
        for width in ANNEALED:
            weight = 1.0 / (1.0 + (normals @ axis / width) ** 2) ** 2
            axis = np.linalg.eigh((normals * weight[:, None]).T @ normals)[1][:, 0]
        cost = float((1.0 - cauchy(normals @ axis, ANNEALED[-1])).mean())
        if cost < least - 1e-9:
            best, least = axis, cost
    found: Array = best if best[int(np.argmax(np.abs(best)))] > 0 else -best
    return found
