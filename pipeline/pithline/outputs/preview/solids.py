"""Every piece of a cut script as a triangle mesh, bark and all, by successive plane splits of the log; for looking at.

Volumes and checks are the replay's; here pieces keep their bark and are simplified to what a screen can show.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import manifold3d
import numpy as np
from numpy.typing import NDArray

from pithline.errors import ScriptError
from pithline.outputs.cut_script.document import CutScript, ScriptPlate
from pithline.script.solid import cut, log_solid

Array = NDArray[np.float64]

CLOCKS = 72
"""Corners of a section: one each 5°, as the model holds them."""
SIMPLIFY = 0.8
"""Surfaces may move by this much when pieces are simplified [mm]: under a pixel on any screen."""


@dataclass(frozen=True, slots=True)
class Mesh:
    """A closed triangle mesh: `points` (n, 3) in the log frame [mm], `faces` (m, 3) wound outwards."""

    points: Array
    faces: NDArray[np.int64]


def piece_meshes(script: CutScript, simplify: float = SIMPLIFY) -> dict[str, Mesh]:
    """Mesh of every piece by id, in the order they are made, "log" first; kerfs are removed.

    A piece that holds no wood has an empty mesh. ScriptError where a cut names a piece that is not there by then.
    """
    log = _log_over_bark(script.raw["model"]).simplify(simplify)
    live = {"log": log}
    meshes = {"log": _mesh(log)}
    for one in script.cuts:
        if one.piece not in live:
            raise ScriptError(f"{one.id} cuts {one.piece}, which is not there by then; plan the log anew")
        x, y, z = (float(value) for value in one.normal)
        above, below = cut(live.pop(one.piece), (x, y, z), one.offset, one.kerf)
        for name, solid in ((one.above, above), (one.below, below)):
            live[name] = solid
            meshes[name] = _mesh(solid.simplify(simplify))
    return meshes


def plate_box(plate: ScriptPlate) -> Mesh:
    """A plate as the exact box of its corner and edges."""
    return box_of(plate.corner, plate.edges)


def box_of(corner: Array, edges: Array) -> Mesh:
    """The box of a corner (3,) and its three edges (3, 3), wound outwards whatever their order."""
    which = np.array([[i & 1, i >> 1 & 1, i >> 2] for i in range(8)], float)
    points = corner + which @ edges
    quads = np.array([[0, 2, 3, 1], [4, 5, 7, 6], [0, 1, 5, 4], [2, 6, 7, 3], [0, 4, 6, 2], [1, 3, 7, 5]])
    faces = np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])
    if np.linalg.det(edges) < 0.0:
        faces = faces[:, ::-1]
    return Mesh(points, faces)


def _log_over_bark(model: Mapping[str, Any]) -> manifold3d.Manifold:
    """The log with its bark between its end planes."""
    stations = [{**one, "radius_under_bark": one["radius_over_bark"]} for one in model["stations"]]
    return log_solid({**model, "stations": stations}, CLOCKS)


def _mesh(solid: manifold3d.Manifold) -> Mesh:
    raw = solid.to_mesh()
    return Mesh(np.asarray(raw.vert_properties[:, :3], float), np.asarray(raw.tri_verts, np.int64))
