"""From the file a phone or scanner gives to the fitted log: clouds and meshes, zipped, of every unit; standing logs; rows."""

import zipfile
from dataclasses import replace

import numpy as np
import pytest
import trimesh

from pithline.files.scans import read_scan
from pithline.logmodel import dimensions
from pithline.logmodel.card import ScanPoint
from pithline.logmodel.fit import fit_log
from pithline.logmodel.logs_in_scan import logs_in_scan
from pithline.scan import log_search
from truth.logs import clock_of, direction, true_log
from truth.samples import sample_truth
from truth.scans import simulate_scan
from unit.test_fit import card_of

LOG = replace(sample_truth("af-15"), length=800.0)
"""Sawn short: a fit takes as long as the log is long."""


def fits(model):
    assert model.length == pytest.approx(LOG.length, abs=3.0)
    assert dimensions.volume(model) == pytest.approx(LOG.volume_under_bark(), rel=0.01)


def test_an_e57_of_two_stations(tmp_path):
    """Half of the points stand in a scanner's own turned frame."""
    import pye57

    scan = simulate_scan(LOG, 8, points=14_000, unit="m")
    file = pye57.E57(str(tmp_path / "log.e57"), mode="w")
    half = np.sqrt(0.5)
    turn, shift = np.array([[0.0, -1, 0], [1, 0, 0], [0, 0, 1]]), np.array([2.0, -1.0, 0.5])
    for points, pose in (
        (scan.points[::2], {}),
        ((scan.points[1::2] - shift) @ turn, {"rotation": np.array([half, 0, 0, half]), "translation": shift}),
    ):
        file.write_scan_raw({f"cartesian{axis}": points[:, i].copy() for i, axis in enumerate("XYZ")}, **pose)
    file.close()
    read = read_scan(tmp_path / "log.e57")
    fits(fit_log(read.points, card_of(LOG, scan), read.default_up))


def test_a_zipped_cloud_in_inches(tmp_path):
    scan = simulate_scan(LOG, 8, points=14_000, unit="in")
    trimesh.PointCloud(scan.points).export(tmp_path / "log.ply")
    with zipfile.ZipFile(tmp_path / "share.zip", "w") as archive:
        archive.write(tmp_path / "log.ply", "LiDAR/log.ply")
    read = read_scan(tmp_path / "share.zip")
    fits(fit_log(read.points, card_of(LOG, scan), read.default_up))


def skin():
    """The log's own surface and ends as a mesh, in mm of its own frame."""
    x, clock = np.linspace(-60.0, LOG.length + 60.0, 120), np.linspace(0.0, 2 * np.pi, 144, endpoint=False)
    grid_x, grid_clock = np.meshgrid(x, clock, indexing="ij")
    radius = LOG.over_bark_radius(grid_x, grid_clock)
    yz = LOG.centre(grid_x) + radius[..., None] * direction(grid_clock)
    vertices = np.concatenate([grid_x[..., None], yz], axis=2).reshape(-1, 3)
    place = np.arange(len(x) * len(clock)).reshape(len(x), -1)
    a, b = place[:-1], place[1:]
    c, d = np.roll(b, -1, axis=1), np.roll(a, -1, axis=1)
    quads = np.stack([a, b, c, d], axis=-1).reshape(-1, 4)
    ends = [vertices[row].mean(0) for row in (place[0], place[-1])]
    caps = [[len(vertices) + k, *pair] for k, row in enumerate((place[0], place[-1]))
            for pair in zip(np.roll(row, 1 - 2 * k), row, strict=True)]  # fmt: skip
    faces = np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]], np.array(caps)])
    mesh = trimesh.Trimesh(np.concatenate([vertices, ends]), faces, process=False)
    for point, normal in LOG.end_planes():
        mesh = mesh.slice_plane(point, -normal, cap=True, engine="manifold")
    return mesh


def test_a_zipped_mesh_in_centimetres_with_y_up(tmp_path):
    """As phone apps share it: an OBJ beside its materials, no ground, all the girth seen."""
    into = np.array([[0.0, 0.1, 0], [0, 0, 0.1], [0.1, 0, 0]])
    mesh = skin()
    mesh.vertices = mesh.vertices @ into.T
    text = trimesh.exchange.obj.export_obj(mesh, include_normals=False)
    with zipfile.ZipFile(tmp_path / "share.zip", "w") as archive:
        archive.writestr("log.obj", text)
        archive.writestr("log.mtl", "newmtl bark\n")
    read = read_scan(tmp_path / "share.zip")
    assert read.kind == "mesh"
    (butt, _), (top, _) = LOG.end_planes()
    marks = {"pith_butt": ScanPoint(tuple(into @ butt)), "pith_top": ScanPoint(tuple(into @ top))}
    bare = simulate_scan(LOG, 8, points=1000)
    model = fit_log(read.points, card_of(LOG, bare, scan_units="cm", up="+y", **marks), read.default_up)
    fits(model)
    assert dimensions.coverage(model) > 0.99


def test_a_standing_log_turned_by_its_marks():
    """Marks of 12 o'clock 30° round from the simulator's own up: the frame is theirs."""
    scan = simulate_scan(LOG, 8, points=14_000, pitch_deg=88.0, ground=False, bearers=False, clutter=False)
    turn = np.radians(30.0)
    marks = []
    for (_, normal), pith in zip(LOG.end_planes(), (scan.pith_butt, scan.pith_top), strict=True):
        away = np.array([0.0, *(0.6 * LOG.radius * direction(turn))])
        away[0] = -(away[1:] @ normal[1:]) / normal[0]
        marks.append(ScanPoint(tuple(pith + scan.truth_to_scan[:3, :3] @ away)))
    model = fit_log(scan.points, card_of(LOG, scan, twelve_butt=marks[0], twelve_top=marks[1]))
    fits(model)
    z = (model.scan_to_log @ scan.truth_to_scan)[2, :3]
    assert np.degrees(np.arctan2(-z[1], z[2])) == pytest.approx(30.0, abs=0.5)


ROW = replace(sample_truth("af-07"), length=1500.0)
STEP = 477.0
"""From pith to pith: the logs touch. [mm]"""


@pytest.fixture(scope="module", params=[True, False], ids=["on ground", "no ground seen"])
def row(request):
    """Three logs side by side that touch; seen are their tops, the outer flanks, and all the ends. (n, 3) [m]"""
    parts = []
    for number in range(3):
        yard = {"bearers": False, "clutter": False, "heading_deg": 0.0, "pitch_deg": 0.0, "origin": (0.0, 0.0, 0.0)}
        scan = simulate_scan(ROW, 8 + number, points=24_000, ground=request.param and number == 1, strays=0.002, **yard)
        into = np.linalg.inv(scan.truth_to_scan)
        own = scan.points @ into[:3, :3].T + into[:3, 3]
        away = own[:, 1:] - ROW.centre(own[:, 0])
        clock = np.angle(np.exp(1j * clock_of(away)))
        bark = np.abs(np.hypot(*away.T) - ROW.over_bark_radius(own[:, 0], clock)) < 12.0
        bark &= (own[:, 0] > 12.0) & (own[:, 0] < ROW.length - 12.0)
        hidden = np.zeros(len(own), bool)
        if number > 0:
            hidden |= clock > np.radians(75.0)
        if number < 2:
            hidden |= clock < -np.radians(75.0)
        parts.append((own[~(bark & hidden)] + [0.0, STEP * number, 0.0]) / 1000.0)
    return np.concatenate(parts)


def searched_once(search):
    """A search of a scan that is not done again for the same points: whichever log is picked, it is the same one."""
    found = {}

    def known(points, up):
        asked = points.tobytes(), None if up is None else up.tobytes()
        if asked not in found:
            found[asked] = search(points, up)
        return found[asked]

    return known


def test_logs_of_a_row_that_touch(row, monkeypatch):
    monkeypatch.setattr(log_search, "_search", searched_once(log_search._search))
    card = card_of(ROW, simulate_scan(ROW, 8, points=1000), pith_butt=None, pith_top=None)
    seen = logs_in_scan(row, card)
    assert len(seen) == 3
    assert [one.length for one in seen] == pytest.approx([ROW.length] * 3, abs=60.0)
    middles = set()
    for pick in (1, 2, 3):
        model = fit_log(row, card, pick=pick)
        # with no mark of the pith, length is measured at the centre of ends a few degrees off square
        assert model.length == pytest.approx(ROW.length, abs=6.0)
        # of the middle log 150° of the girth was seen
        assert dimensions.volume(model) == pytest.approx(ROW.volume_under_bark(), rel=0.02)
        middles.add(round(float(np.linalg.inv(model.scan_to_log)[1, 3]) * 1000.0 / STEP))
    assert middles == {0, 1, 2}


@pytest.mark.parametrize(("kind", "seed"), [("oval", 101), ("fluted", 102), ("flared", 101)])
def test_one_log_however_oval_is_no_row(kind, seed):
    log = true_log(kind, seed)
    scan = simulate_scan(log, seed, points=40_000)
    assert len(logs_in_scan(scan.points, card_of(log, scan))) == 1
