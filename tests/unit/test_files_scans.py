"""Scans: every format round, finite-checked, and one line for what cannot be read."""

import builtins
import zipfile

import numpy as np
import pytest
import trimesh

from pithline.errors import InputError
from pithline.files import _open3d
from pithline.files.scans import MESH_SAMPLES, read_scan


@pytest.fixture
def points():
    return np.random.default_rng(5).normal(size=(400, 3))


@pytest.fixture
def colours():
    return np.random.default_rng(6).integers(0, 256, size=(400, 3), dtype=np.uint8)


def ply_bytes(points, colours=None, form="binary_little_endian", kind="double"):
    names = ["x", "y", "z"] + (["red", "green", "blue"] if colours is not None else [])
    kinds = [kind] * 3 + ["uchar"] * (3 if colours is not None else 0)
    header = [f"ply\nformat {form} 1.0\ncomment made for a test\nelement vertex {len(points)}"]
    header += [f"property {k} {n}" for k, n in zip(kinds, names, strict=True)]
    head = ("\n".join(header) + "\nend_header\n").encode()
    if form == "ascii":
        rows = [" ".join([*map(repr, map(float, p)), *map(str, c)]) for p, c in zip(points, colours, strict=True)]
        return head + ("\n".join(rows) + "\n").encode()
    order = "<" if "little" in form else ">"
    number = {"double": "f8", "float": "f4"}[kind]
    rows = np.zeros(len(points), [(n, order + number if i < 3 else "u1") for i, n in enumerate(names)])
    for i, name in enumerate(names):
        rows[name] = points[:, i] if i < 3 else colours[:, i - 3]
    return head + rows.tobytes()


@pytest.mark.parametrize("form", ["ascii", "binary_little_endian", "binary_big_endian"])
def test_ply_without_loss(tmp_path, points, colours, form):
    path = tmp_path / "log.ply"
    path.write_bytes(ply_bytes(points, colours, form))
    scan = read_scan(path)
    np.testing.assert_array_equal(scan.points, points)
    np.testing.assert_array_equal(scan.colours, colours)
    assert (scan.kind, scan.default_up, scan.format) == ("cloud", "+z", "ply")


def test_ply_in_single_precision_keeps_every_bit(tmp_path, points):
    path = tmp_path / "log.ply"
    path.write_bytes(ply_bytes(points, kind="float"))
    np.testing.assert_array_equal(read_scan(path).points, points.astype(np.float32).astype(np.float64))


@pytest.mark.parametrize(
    ("name", "separator", "header"),
    [
        ("log.xyz", " ", ""),
        ("log.txt", "\t", ""),
        ("log.csv", ",", "x,y,z,r,g,b\n"),
        ("log.csv", ";", "X;Y;Z;Red;Green;Blue\n"),
        ("log.txt", " ", "// x y z r g b\n"),
        ("log.pts", " ", "400\n"),
    ],
)
def test_text_without_loss(tmp_path, points, colours, name, separator, header):
    rows = [separator.join([*map(repr, map(float, p)), *map(str, c)]) for p, c in zip(points, colours, strict=True)]
    (tmp_path / name).write_text(header + "\n".join(rows) + "\n")
    scan = read_scan(tmp_path / name)
    np.testing.assert_array_equal(scan.points, points)
    np.testing.assert_array_equal(scan.colours, colours)


def test_columns_told_by_a_header(tmp_path):
    (tmp_path / "log.csv").write_text("id,z,y,x\n1,3.5,2.5,1.5\n2,6.5,5.5,4.5\n")
    np.testing.assert_array_equal(read_scan(tmp_path / "log.csv").points, [[1.5, 2.5, 3.5], [4.5, 5.5, 6.5]])


def test_decimal_commas(tmp_path):
    (tmp_path / "log.csv").write_text("1,5;2,5;3,5\n4,5;5,5;6,5\n")
    np.testing.assert_array_equal(read_scan(tmp_path / "log.csv").points, [[1.5, 2.5, 3.5], [4.5, 5.5, 6.5]])


@pytest.mark.parametrize("ascii_form", [True, False])
def test_pcd(tmp_path, points, ascii_form):
    open3d = _open3d.load_open3d()
    path = tmp_path / "log.pcd"
    open3d.t.io.write_point_cloud(str(path), open3d.t.geometry.PointCloud(points), write_ascii=ascii_form)
    # open3d writes ten digits in the ascii form
    np.testing.assert_allclose(read_scan(path).points, points, rtol=0, atol=1e-8 if ascii_form else 0)


@pytest.mark.parametrize("suffix", ["las", "laz"])
def test_las(tmp_path, points, colours, suffix):
    import laspy

    header = laspy.LasHeader(point_format=3, version="1.4")
    header.scales = [1e-5] * 3
    cloud = laspy.LasData(header)
    cloud.xyz = points
    for i, name in enumerate(("red", "green", "blue")):
        cloud[name] = colours[:, i].astype(np.uint16) * 257
    cloud.write(str(tmp_path / f"log.{suffix}"))
    scan = read_scan(tmp_path / f"log.{suffix}")
    np.testing.assert_allclose(scan.points, points, rtol=0, atol=0.51e-5)  # the file's own grid
    np.testing.assert_array_equal(scan.colours, colours)


@pytest.mark.parametrize("suffix", ["las", "laz"])
def test_las_with_a_field_named_twice(tmp_path, points, suffix):
    """Some exporters write one extra field's name twice."""
    import laspy

    header = laspy.LasHeader(point_format=3, version="1.2")
    header.scales = [1e-5] * 3
    header.add_extra_dims([laspy.ExtraBytesParams("spread", np.float32), laspy.ExtraBytesParams("spreed", np.float32)])
    cloud = laspy.LasData(header)
    cloud.xyz = points
    cloud.write(str(tmp_path / f"log.{suffix}"))
    data = (tmp_path / f"log.{suffix}").read_bytes()
    assert data.count(b"spreed") == 1
    (tmp_path / f"log.{suffix}").write_bytes(data.replace(b"spreed", b"spread"))
    with pytest.raises(ValueError, match="more than once"):
        laspy.read(str(tmp_path / f"log.{suffix}"))
    np.testing.assert_allclose(read_scan(tmp_path / f"log.{suffix}").points, points, rtol=0, atol=0.51e-5)


def test_e57(tmp_path, points):
    import pye57

    file = pye57.E57(str(tmp_path / "log.e57"), mode="w")
    single = points.astype(np.float32).astype(np.float64)  # what its writer keeps
    file.write_scan_raw({f"cartesian{axis}": single[:, i].copy() for i, axis in enumerate("XYZ")})
    file.close()
    np.testing.assert_allclose(read_scan(tmp_path / "log.e57").points, single, rtol=0, atol=1e-12)


def test_e57_poses_and_colours(tmp_path, points, colours):
    """Two scans of one file, each in its own frame: the file's poses bring them together (ASTM E2807, from memory)."""
    import pye57

    file = pye57.E57(str(tmp_path / "log.e57"), mode="w")
    single = points.astype(np.float32).astype(np.float64)
    paint = {f"color{name}": colours[:, i].astype(np.int64) for i, name in enumerate(("Red", "Green", "Blue"))}
    half = np.sqrt(0.5)
    for rotation, translation in ((None, None), (np.array([half, 0.0, 0.0, half]), np.array([5.0, 0.0, 1.0]))):
        data = {f"cartesian{axis}": single[:, i].copy() for i, axis in enumerate("XYZ")}
        file.write_scan_raw(data | paint, rotation=rotation, translation=translation)
    file.close()
    scan = read_scan(tmp_path / "log.e57")
    turned = np.column_stack([5.0 - single[:, 1], single[:, 0], 1.0 + single[:, 2]])
    np.testing.assert_allclose(scan.points, np.concatenate([single, turned]), rtol=0, atol=1e-6)
    np.testing.assert_array_equal(scan.colours, np.concatenate([colours, colours]))


def box():
    return trimesh.creation.box(extents=(2.0, 0.6, 0.4))


@pytest.mark.parametrize("suffix", ["ply", "obj", "stl", "glb"])
def test_meshes_are_sampled_evenly_and_alike_each_time(tmp_path, suffix):
    path = tmp_path / f"log.{suffix}"
    box().export(path)
    scan = read_scan(path)
    assert scan.kind == "mesh" and scan.default_up == ("+y" if suffix == "glb" else "+z")
    assert len(scan.points) == MESH_SAMPLES
    np.testing.assert_array_equal(scan.points, read_scan(path).points)
    on_ends = np.isclose(np.abs(scan.points[:, 0]), 1.0, atol=1e-6)
    share = 2 * 0.6 * 0.4 / box().area
    assert on_ends.mean() == pytest.approx(share, abs=2.0 / MESH_SAMPLES * 12)  # a stratified share, not a random one
    left = (scan.points[on_ends, 1] < 0.0).mean()
    assert left == pytest.approx(0.5, abs=0.02)


def test_gltf_places_bodies_where_the_scene_has_them(tmp_path):
    scene = trimesh.Scene()
    scene.add_geometry(box(), transform=trimesh.transformations.translation_matrix([10.0, 0.0, 0.0]))
    scene.export(tmp_path / "log.glb")
    assert read_scan(tmp_path / "log.glb").points[:, 0].mean() == pytest.approx(10.0, abs=0.01)


def test_ply_mesh_of_polygons(tmp_path):
    (tmp_path / "log.ply").write_text(
        "ply\nformat ascii 1.0\nelement vertex 5\nproperty float x\nproperty float y\nproperty float z\n"
        "element face 2\nproperty list uchar int vertex_indices\nend_header\n"
        "0 0 0\n1 0 0\n1 1 0\n0 1 0\n2 0 0\n4 0 1 2 3\n3 1 4 2\n"
    )
    scan = read_scan(tmp_path / "log.ply")
    assert scan.kind == "mesh"
    assert (scan.points[:, 0] < 1.0).mean() == pytest.approx(2 / 3, abs=1e-3)


def test_zip_with_one_scan(tmp_path, points, colours):
    with zipfile.ZipFile(tmp_path / "log.zip", "w") as archive:
        archive.writestr("export/log.ply", ply_bytes(points, colours))
        archive.writestr("export/readme.txt", "made by a phone")
    np.testing.assert_array_equal(read_scan(tmp_path / "log.zip").points, points)


def test_zip_with_an_obj_and_its_materials(tmp_path):
    body = box()
    lines = ["mtllib log.mtl", "usemtl bark"]
    lines += [f"v {x} {y} {z}" for x, y, z in body.vertices]
    lines += ["f " + " ".join(str(corner + 1) for corner in face) for face in body.faces]
    with zipfile.ZipFile(tmp_path / "phone.zip", "w") as archive:
        archive.writestr("scan/log.obj", "\n".join(lines) + "\n")
        archive.writestr("scan/log.mtl", "newmtl bark\nKd 0.5 0.4 0.3\nmap_Kd log.jpg\n")
        archive.writestr("scan/log.jpg", b"not looked at")
        archive.writestr("__MACOSX/scan/._log.obj", b"\x00\x05")
    scan = read_scan(tmp_path / "phone.zip")
    assert (scan.kind, scan.format) == ("mesh", "obj")
    np.testing.assert_allclose(np.ptp(scan.points, axis=0), [2.0, 0.6, 0.4], atol=1e-3)


def test_zip_with_two_scans(tmp_path, points):
    with zipfile.ZipFile(tmp_path / "log.zip", "w") as archive:
        for name in ("a.ply", "b.ply"):
            archive.writestr(name, ply_bytes(points))
    with pytest.raises(InputError, match="holds 2 scans"):
        read_scan(tmp_path / "log.zip")


def test_points_that_are_not_finite(tmp_path, points):
    points[[7, 11, 30], 1] = [np.nan, np.inf, np.nan]
    path = tmp_path / "log.ply"
    path.write_bytes(ply_bytes(points))
    with pytest.raises(InputError) as caught:
        read_scan(path)
    assert str(caught.value) == (
        f"{path}: 3 of 400 points are not finite, first at row 8; delete them or export the scan again."
    )


@pytest.mark.parametrize(
    ("name", "content", "message"),
    [
        ("log.ply", b"", "is empty; export the scan again."),
        ("log.ply", b"solid", 'cannot be read as PLY: it does not begin with "ply"'),
        ("log.ply", b"ply\nformat ascii 1.0\n", "cannot be read as PLY: its header has no end"),
        ("log.ply", b"ply\nformat ascii 1.0\nelement vertex 0\nproperty float x\nproperty float y\nproperty float z\n"
         b"end_header\n", "holds no points"),
        ("log.ply", b"ply\nformat binary_little_endian 1.0\nelement vertex 9\nproperty float x\nproperty float y\n"
         b"property float z\nend_header\nabc", "cannot be read as PLY: it ends before its 9 vertex rows do"),
        ("log.xyz", b"no numbers here", "cannot be read as XYZ: no line of it holds three numbers"),
        ("log.csv", b"1,2,3\n4,five,6\n", "cannot be read as CSV: after line 1:"),
        ("log.las", b"not a las file", "cannot be read as LAS:"),
        ("log.e57", b"not an e57 file", "cannot be read as E57:"),
        ("log.pcd", b"not a pcd file", "cannot be read as PCD: it does not begin as a PCD file does"),
        ("log.glb", b"not a glb file", "cannot be read as GLB:"),
        ("log.zip", b"not a zip file", "cannot be read as ZIP:"),
        ("log.rcp", b"x", '"rcp" is no known scan format; known: asc, csv, e57, glb, gltf, las, laz, obj, pcd, ply'),
    ],
)  # fmt: skip
def test_what_cannot_be_read(tmp_path, name, content, message):
    (tmp_path / name).write_bytes(content)
    with pytest.raises(InputError) as caught:
        read_scan(tmp_path / name)
    assert str(tmp_path / name) in str(caught.value) and message in str(caught.value)


def test_missing_scan(tmp_path):
    with pytest.raises(InputError, match="there is no such file"):
        read_scan(tmp_path / "none.ply")


@pytest.mark.parametrize("library", ["libEGL.so.1", "libGL.so.1"])
def test_machines_without_egl_and_gl_are_told_what_to_install(monkeypatch, library):
    usual = builtins.__import__

    def failing(name, *rest, **more):
        if name == "open3d":
            raise OSError(f"{library}: cannot open shared object file: No such file or directory")
        return usual(name, *rest, **more)

    monkeypatch.setattr(builtins, "__import__", failing)
    with pytest.raises(InputError, match="apt-get install -y libegl1 libgl1") as caught:
        _open3d.load_open3d()
    assert library in str(caught.value)
