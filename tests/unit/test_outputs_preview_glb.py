"""The sawn log as GLB, read back by trimesh."""

import io

import pytest
import trimesh

from picture_scripts import small_script
from pithline.outputs.preview.glb import plan_glb
from pithline.outputs.preview.scene import Scene
from pithline.outputs.print_job import print_job


def test_pieces_come_back_by_name_in_metres():
    script = small_script()
    data = plan_glb(Scene(print_job(script).log))
    scene = trimesh.load(io.BytesIO(data), file_type="glb")
    used = {one["piece"] for one in script["operations"] if one["op"] == "cut"}
    assert set(scene.geometry) == {piece["id"] for piece in script["pieces"]} - used
    plate = scene.geometry["p1"]
    assert plate.volume == pytest.approx(0.8 * 0.2 * 0.005, rel=1e-4)
    assert plate.extents == pytest.approx([0.8, 0.005, 0.2], rel=1e-4)  # glTF's y is up
    assert plan_glb(Scene(print_job(script).log)) == data
