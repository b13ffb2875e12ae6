"""Scans: every format a phone, a drone or a scanner gives, read without loss and checked to be finite."""

from __future__ import annotations

import io
import tempfile
import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pithline.errors import InputError
from pithline.files._open3d import load_open3d
from pithline.files.las_fields import named_apart
from pithline.files.ply import parse_ply, to_bytes
from pithline.files.read import read_bytes
from pithline.files.text_points import parse_text

MESH_SAMPLES = 200_000
"""Points taken from a mesh: as many as a good phone scan has, so that the fit sees an even density."""
SAMPLING_SEED = 1
"""Meshes are sampled with this seed, so that the same file gives the same points."""


@dataclass(frozen=True, slots=True)
class Scan:
    """One scan in its file's own coordinates and unit.

    Attributes
    ----------
    points : (n, 3) float64 array
        In the file's order; of a mesh, samples spread evenly by area.
    colours : (n, 3) uint8 array or None
    default_up : str
        The axis that is up where the card does not say: "+z", "+y" for glTF.
    kind : str
        "cloud" or "mesh".
    format : str
        Such as "ply".
    """

    points: NDArray[np.float64]
    colours: NDArray[np.uint8] | None
    default_up: str
    kind: str
    format: str


@dataclass(frozen=True, slots=True)
class _Found:
    """What a reader finds: vertices, their colours, and triangles if it is a mesh."""

    points: NDArray[np.float64]
    colours: NDArray[np.uint8] | None = None
    triangles: NDArray[np.int64] | None = None


def read_scan(path: str | Path) -> Scan:
    """Read a scan of any known format.

    Raises
    ------
    InputError
        If the file is missing, unreadable, of an unknown format, empty, or holds points that are not finite.
    """
    path = Path(path)
    suffix = path.suffix.lower().lstrip(".")
    if suffix == "zip":
        return _read_zip(path)
    return _read(path, suffix, str(path))


def _read(path: Path, suffix: str, shown: str) -> Scan:
    reader = _READERS.get(suffix)
    if reader is None:
        known = ", ".join(sorted({*_READERS, "zip"}))
        raise InputError(f'{shown}: "{suffix or "no suffix"}" is no known scan format; known: {known}.')
    data = read_bytes(path)
    if not data:
        raise InputError(f"{shown} is empty; export the scan again.")
    try:
        found = reader(path, data)
    except InputError:
        raise
    except Exception as error:  # readers of other makers raise what they please; the cause stays attached
        reason = " ".join(str(error).split()) or type(error).__name__
        raise InputError(f"{shown} cannot be read as {suffix.upper()}: {reason}; export the scan again.") from error
    if not len(found.points):
        raise InputError(f"{shown} holds no points; export the scan again.")
    _check_finite(found.points, shown)
    points, colours = found.points, found.colours
    if found.triangles is not None:
        points, colours = _sample(found, shown)
    points = np.ascontiguousarray(points, dtype=np.float64)
    points.flags.writeable = False
    up = "+y" if suffix in ("glb", "gltf") else "+z"
    return Scan(points, colours, up, "cloud" if found.triangles is None else "mesh", suffix)


def _read_zip(path: Path) -> Scan:
    """The one scan in a zip; what lies beside it (materials, textures) is unpacked with it."""
    try:
        with zipfile.ZipFile(io.BytesIO(read_bytes(path))) as archive, tempfile.TemporaryDirectory() as folder:
            names = [name for name in archive.namelist() if Path(name).suffix.lower().lstrip(".") in _READERS]
            names = [name for name in names if not Path(name).name.startswith(".")]
            scans = [name for name in names if not name.lower().endswith((".txt", ".csv"))] or names
            if len(scans) != 1:
                found = f"{len(scans)} scans ({', '.join(sorted(scans)[:3])}, …)" if scans else "no scan"
                raise InputError(f"{path} holds {found}; leave exactly one scan in the zip.")
            archive.extractall(folder)
            return _read(Path(folder) / scans[0], Path(scans[0]).suffix.lower().lstrip("."), f"{path}/{scans[0]}")
    except zipfile.BadZipFile as error:
        raise InputError(f"{path} cannot be read as ZIP: {error}; export the scan again.") from error


def _check_finite(points: NDArray[np.float64], shown: str) -> None:
    bad = ~np.isfinite(points).all(axis=1)
    if bad.any():
        count, first = int(bad.sum()), int(np.flatnonzero(bad)[0]) + 1
        verb = "is" if count == 1 else "are"
        raise InputError(
            f"{shown}: {count} of {len(points)} points {verb} not finite, first at row {first}; "
            "delete them or export the scan again."
        )


def _sample(found: _Found, shown: str) -> tuple[NDArray[np.float64], NDArray[np.uint8] | None]:
    """Points spread evenly by area over a mesh: one in each equal share of the area, at a seeded random place."""
    assert found.triangles is not None
    corners = found.points[found.triangles]
    areas = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1) / 2.0
    summed = np.cumsum(areas)
    if not summed[-1] > 0.0:
        raise InputError(f"{shown} is a mesh without any area; export the scan again.")
    generator = np.random.default_rng(SAMPLING_SEED)
    shares = (np.arange(MESH_SAMPLES) + generator.random(MESH_SAMPLES)) / MESH_SAMPLES
    chosen = np.searchsorted(summed, shares * summed[-1], side="right").clip(max=len(areas) - 1)
    # uniform in a triangle: R. Osada et al., "Shape distributions", ACM Trans. Graphics 21(4), 2002, section 4.2
    # (volume and section from memory)
    root, along = np.sqrt(generator.random(MESH_SAMPLES)), generator.random(MESH_SAMPLES)
    weights = np.stack([1.0 - root, root * (1.0 - along), root * along], axis=-1)
    points = np.einsum("nk,nkd->nd", weights, corners[chosen])
    if found.colours is None:
        return points, None
    blended = np.einsum("nk,nkd->nd", weights, found.colours[found.triangles[chosen]].astype(np.float64))
    return points, np.rint(blended).astype(np.uint8)


def _ply(path: Path, data: bytes) -> _Found:
    content = parse_ply(data)
    return _Found(content.points, content.colours, content.triangles)


def _text(path: Path, data: bytes) -> _Found:
    return _Found(*parse_text(data))


def _pcd(path: Path, data: bytes) -> _Found:
    if not data.lstrip().startswith((b"#", b"VERSION")):
        raise ValueError("it does not begin as a PCD file does")
    cloud = load_open3d().t.io.read_point_cloud(str(path))
    if "positions" not in cloud.point:
        raise ValueError("it has no x, y and z")
    points = cloud.point["positions"].numpy().astype(np.float64)
    colours = to_bytes(cloud.point["colors"].numpy()) if "colors" in cloud.point else None
    return _Found(points, colours)


def _las(path: Path, data: bytes) -> _Found:
    import laspy

    cloud = laspy.read(io.BytesIO(named_apart(data)))
    names = set(cloud.point_format.dimension_names)
    colours = None
    if {"red", "green", "blue"} <= names:
        colours = to_bytes(np.stack([np.asarray(cloud[name]) for name in ("red", "green", "blue")], axis=-1))
    return _Found(np.asarray(cloud.xyz, dtype=np.float64), colours)


def _e57(path: Path, data: bytes) -> _Found:
    """Every scan of the file, each turned and moved into the file's common frame by its own pose."""
    import pye57

    file = pye57.E57(str(path))
    try:
        scans = [file.read_scan(at, colors=True, ignore_missing_fields=True) for at in range(file.scan_count)]
    finally:
        file.close()
    if not scans:
        return _Found(np.empty((0, 3)))
    points = np.concatenate([np.stack([scan[f"cartesian{axis}"] for axis in "XYZ"], axis=-1) for scan in scans])
    names = ("colorRed", "colorGreen", "colorBlue")
    colours = None
    if all(name in scan for scan in scans for name in names):
        colours = to_bytes(np.concatenate([np.stack([scan[name] for name in names], axis=-1) for scan in scans]))
    return _Found(points, colours)


def _mesh(path: Path, data: bytes) -> _Found:
    """OBJ, STL and glTF: every body of the scene, placed where the scene has it; nothing merged."""
    import trimesh

    scene = trimesh.load_scene(str(path), process=False, maintain_order=True)
    bodies: list[Any] = [body for body in scene.dump() if len(getattr(body, "vertices", ()))]
    if not bodies:
        return _Found(np.empty((0, 3)))
    counts = np.cumsum([0, *(len(body.vertices) for body in bodies)])
    points = np.concatenate([np.asarray(body.vertices, dtype=np.float64) for body in bodies])
    faces = [
        np.asarray(body.faces, dtype=np.int64) + start
        for body, start in zip(bodies, counts[:-1], strict=True)
        if len(getattr(body, "faces", ()))
    ]
    return _Found(points, _body_colours(bodies), np.concatenate(faces) if faces else None)


def _body_colours(bodies: list[Any]) -> NDArray[np.uint8] | None:
    """Colours of the vertices where every body has them; pictures laid over a mesh are not read."""
    found = []
    for body in bodies:
        if hasattr(body, "faces"):
            if body.visual.kind != "vertex":
                return None
            found.append(np.asarray(body.visual.vertex_colors)[:, :3])
        else:
            colours = np.asarray(body.colors)
            if colours.shape[:1] != (len(body.vertices),):
                return None
            found.append(colours[:, :3])
    return np.concatenate(found).astype(np.uint8)


_READERS: dict[str, Callable[[Path, bytes], _Found]] = {
    "ply": _ply,
    "pcd": _pcd,
    "xyz": _text,
    "txt": _text,
    "csv": _text,
    "asc": _text,
    "pts": _text,
    "las": _las,
    "laz": _las,
    "e57": _e57,
    "obj": _mesh,
    "stl": _mesh,
    "glb": _mesh,
    "gltf": _mesh,
}

SCAN_SUFFIXES = frozenset({*_READERS, "zip"})
"""File name suffixes, in lower case without the dot, that `read_scan` knows."""
