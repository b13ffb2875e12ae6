"""The sawn log for anyone's own viewer: a GLB file with every piece that is left, by its id."""

from __future__ import annotations

import numpy as np
import trimesh
from matplotlib.colors import to_rgb

from pithline.outputs.preview.scene import RING_COLOURS, Scene, ring_step

WOOD_COLOURS = {"slab": "#d9bd92", "half": "#d9bd92", "bolt": "#cdb08a", "billet": "#e0c9a4", "offcut": "#b7a58c"}
METRES = 1e-3  # glTF counts in metres
TO_GLTF = np.array([[1.0, 0.0, 0.0, 0.0], [0.0, 0.0, 1.0, 0.0], [0.0, -1.0, 0.0, 0.0], [0.0, 0.0, 0.0, 1.0]])
"""glTF's up is +y; ours is +z."""


def plan_glb(scene: Scene) -> bytes:
    """Binary glTF 2.0: one node a piece, named by its id, in metres, where it lay in the log; plates by ring angle."""
    out = trimesh.Scene()
    for name in scene.leaves:
        mesh = scene.meshes[name]
        if not len(mesh.faces):
            continue
        plate, entry = scene.log.plates.get(name), scene.log.pieces[name]
        colour = RING_COLOURS[ring_step(plate.ring_mean)] if plate else WOOD_COLOURS.get(entry.kind, "#d9bd92")
        surface = trimesh.visual.material.PBRMaterial(
            baseColorFactor=[round(255 * v) for v in to_rgb(colour)] + [255], metallicFactor=0.0, roughnessFactor=0.8
        )
        solid = trimesh.Trimesh(
            mesh.points * METRES, mesh.faces, process=False, visual=trimesh.visual.TextureVisuals(material=surface),
            metadata={"mark": entry.mark, "kind": entry.kind},
        )  # fmt: skip
        solid.apply_transform(TO_GLTF)
        out.add_geometry(solid, node_name=name, geom_name=name)
    return bytes(out.export(file_type="glb"))
