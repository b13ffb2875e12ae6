"""Pieces of a script as meshes to look at."""

import numpy as np
import pytest
import trimesh

from picture_scripts import small_script
from pithline.errors import ScriptError
from pithline.outputs.cut_script.reader import read_cut_script
from pithline.outputs.cut_script.tree import PieceTree
from pithline.outputs.preview.solids import box_of, piece_meshes, plate_box


@pytest.fixture(scope="module")
def script():
    return small_script()


def volume(mesh):
    return trimesh.Trimesh(mesh.points, mesh.faces, process=False).volume


def test_every_piece_has_a_mesh_of_its_size_with_bark(script):
    meshes = piece_meshes(read_cut_script(script))
    assert next(iter(meshes)) == "log"
    assert set(meshes) == {piece["id"] for piece in script["pieces"]}
    assert volume(meshes["log"]) == pytest.approx(np.pi * 310.0**2 * 1200.0, rel=0.01)
    billet = next(piece for piece in script["pieces"] if piece["id"] == "b4")
    assert volume(meshes["b4"]) == pytest.approx(billet["volume"], rel=1e-3)
    assert volume(meshes["h1"]) > next(piece["volume"] for piece in script["pieces"] if piece["id"] == "h1")


def test_kerfs_are_gone(script):
    meshes = piece_meshes(read_cut_script(script))
    assert meshes["h1"].points[:, 2].min() == pytest.approx(52.0, abs=0.01)
    assert meshes["S1"].points[:, 2].max() == pytest.approx(50.0, abs=0.01)


def test_plate_is_its_box_either_way_round(script):
    plate = read_cut_script(script).plates[0]
    assert volume(plate_box(plate)) == pytest.approx(800.0 * 200.0 * 5.0)
    assert volume(box_of(plate.corner, plate.edges[[1, 0, 2]])) == pytest.approx(800.0 * 200.0 * 5.0)


def test_a_cut_of_a_piece_not_there_is_an_error(script):
    wrong = script | {"operations": [one | {"piece": "nowhere"} if one["op"] == "cut" else one
                                     for one in script["operations"]]}  # fmt: skip
    with pytest.raises(ScriptError, match="nowhere, which is not there"):
        piece_meshes(read_cut_script(wrong))
    with pytest.raises(ScriptError, match="c1 names nowhere, which is not there"):
        PieceTree(read_cut_script(wrong))
