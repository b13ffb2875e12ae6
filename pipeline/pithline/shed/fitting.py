"""A log's fit as its page shows it: the fit command's files, both faces flat, and the figures that tell what a change did."""

from __future__ import annotations

import io
import json
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pithline.errors import PithlineError, about
from pithline.files.cards import read_card, scan_path
from pithline.files.scans import Scan, read_scan
from pithline.files.write import write_folder
from pithline.logmodel.dimensions import coverage, diameter_butt, diameter_top, ovality, sweep, taper_mm_per_m, volume
from pithline.logmodel.document import model_to_json
from pithline.logmodel.fit import fit_log
from pithline.logmodel.model import LogModel
from pithline.outputs.ends_picture import EndView, end_view, face_axes
from pithline.outputs.log_scene import log_scene
from pithline.shed.folder import YardFolder

Array = NDArray[np.float64]

SCENE_LINES, SCENE_POINTS = "scene.json", "scene.bin"
PIXEL = 2.0
"""Of a face's picture. [mm]"""
ROOM = 30.0
"""Round the outline, in the picture. [mm]"""
FILLED = 8
"""Pixels without a point this near to one that has any take its colour."""
OUTSIDE = 10.0
"""The face is shown this far beyond the outline. [mm]"""
UNSEEN_BELOW = 400
"""A face of fewer points than this shows nothing to mark a pith by."""


@lru_cache(maxsize=2)
def _scan(path: str, changed: int, size: int) -> Scan:
    """A scan, kept in memory while its file stays the same."""
    return read_scan(path)


def fit_and_show(yard: YardFolder, log: str, pick: int | None = None, pictures: bool = False) -> dict[str, Any]:
    """Fit a log by its card; write its model and faces, and with `pictures` the fit's page too.

    Returns
    -------
    dict
        What the page shows of the fit (`facts`). On a fault of the user's, {"fault": sentence}.
    """
    entry = yard.log(log)
    assert entry.card is not None
    try:
        card = read_card(entry.card)
        file = scan_path(entry.card, card)
        stat = file.stat()
        scan = _scan(str(file), stat.st_mtime_ns, stat.st_size)
        with about(fit=file.name, other=entry.card.name):
            model = fit_log(scan.points, card, scan.default_up, None, pick)
    except PithlineError as error:
        if pictures:
            raise
        return {"fault": " ".join(str(error).replace(f"{yard.root}/", "").split())}
    points = scan.points @ model.scan_to_log[:3, :3].T + model.scan_to_log[:3, 3]
    found = facts(model)
    text = json.dumps(model_to_json(model), ensure_ascii=False, separators=(",", ":")) + "\n"
    files = {"log-model.json": text.encode()}
    if pictures:
        from pithline.outputs.fit_page import fit_page

        pdf, png = fit_page(model, points, card, card.id)
        files |= {"fit.pdf": pdf, "fit.png": png}
    write_folder(yard.fit_folder(log), files)
    faces = {name: _face(model, points, scan.colours, name) for name in ("butt", "top")}
    shown = {"facts": found, "faces": {name: face[0] for name, face in faces.items()}}
    scene = log_scene(model, points, scan.colours)
    write_folder(
        yard.hidden / "faces" / log,
        {
            "faces.json": json.dumps(shown, separators=(",", ":")).encode(),
            **{f"{name}.png": face[1] for name, face in faces.items()},
            SCENE_LINES: json.dumps(scene.lines, separators=(",", ":")).encode(),
            SCENE_POINTS: scene.points,
        },
    )
    return found


def facts(model: LogModel) -> dict[str, Any]:
    """The figures of a fit. [mm, litres, share]"""
    ends = model.splines(model.pith)(np.array([0.0, model.length])) - model.splines(model.centre)(
        np.array([0.0, model.length])
    )
    return {
        "length": model.length,
        "length_doubt": model.length_doubt,
        "diameter_butt": diameter_butt(model),
        "diameter_top": diameter_top(model),
        "sweep": sweep(model),
        "taper": taper_mm_per_m(model),
        "ovality": ovality(model, model.length / 2.0),
        "volume": volume(model) / 1e6,
        "coverage": coverage(model),
        "pith_off_butt": float(np.hypot(*ends[0])),
        "pith_off_top": float(np.hypot(*ends[1])),
        "pith_assumed": model.pith_assumed,
        "bark_assumed": model.bark_assumed,
        "knots": len(model.suspected_knots),
        "cautions": list(model.cautions),
    }


def _face(model: LogModel, points: Array, colours: NDArray[np.uint8] | None, name: str) -> tuple[dict[str, Any], bytes]:
    """One end flat: what the page draws and by what a touch becomes a point of the scan, and its picture."""
    view = end_view(model, points, colours, name)
    plane, right = (model.butt, -1.0) if name == "butt" else (model.top, 1.0)
    axes = face_axes(plane, right)
    back = np.linalg.inv(model.scan_to_log)
    corner = plane.point - view.pith[0] * axes[0] + view.pith[1] * axes[1]
    width, height = view.outline.max(axis=0)
    data = {
        "seen": len(view.points) >= UNSEEN_BELOW,
        "colours": colours is not None,
        "wide": round(float(width), 1),
        "high": round(float(height), 1),
        "room": ROOM,
        "outline": np.round(view.outline[::3], 1).tolist(),
        "pith": np.round(view.pith, 1).tolist(),
        "twelve": np.round(_twelve(view), 1).tolist(),
        # a touch at (across, down) mm is the point corner + across·right + down·under of the scan's own coordinates
        "corner": (back[:3, :3] @ corner + back[:3, 3]).tolist(),
        "right": (back[:3, :3] @ axes[0]).tolist(),
        "under": (back[:3, :3] @ -axes[1]).tolist(),
    }
    return data, _picture(view, width, height)


def _twelve(view: EndView) -> Array:
    """Where the 12 o'clock line from the pith meets the bark."""
    above = view.outline[view.outline[:, 1] < view.pith[1]]
    nearest = above[np.argmin(np.abs(above[:, 0] - view.pith[0]))]
    return np.array([view.pith[0], nearest[1]])


def _picture(view: EndView, width: float, height: float) -> bytes:
    """The face's points as a picture to scale, holes filled from beside them, clear where nothing is."""
    from PIL import Image, ImageDraw
    from scipy.ndimage import distance_transform_edt

    shape = (int((height + 2 * ROOM) / PIXEL) + 1, int((width + 2 * ROOM) / PIXEL) + 1)
    picture = np.zeros((*shape, 4), np.uint8)
    if len(view.points):
        cell = ((view.points + ROOM) / PIXEL).astype(int)
        inside = (cell >= 0).all(axis=1) & (cell[:, 0] < shape[1]) & (cell[:, 1] < shape[0])
        flat = cell[inside, 1] * shape[1] + cell[inside, 0]
        shade = np.full((len(flat), 3), (176, 148, 112)) if view.colours is None else view.colours[inside]
        count = np.bincount(flat, minlength=shape[0] * shape[1])
        mean = [
            np.bincount(flat, shade[:, band].astype(float), shape[0] * shape[1]) / np.maximum(count, 1)
            for band in range(3)
        ]
        far, (row, column) = distance_transform_edt(count.reshape(shape) == 0, return_indices=True)
        picture[..., :3] = np.stack(mean, axis=-1).reshape(*shape, 3)[row, column]
        sheet = Image.new("L", (shape[1], shape[0]))
        ImageDraw.Draw(sheet).polygon([tuple(point) for point in (view.outline + ROOM) / PIXEL], fill=255)
        near_wood = distance_transform_edt(np.asarray(sheet) == 0) <= OUTSIDE / PIXEL
        picture[..., 3] = np.where((far <= FILLED) & near_wood, 255, 0)
    buffer = io.BytesIO()
    Image.fromarray(picture, "RGBA").save(buffer, "PNG")
    return buffer.getvalue()


def shown_fit(yard: YardFolder, log: str) -> dict[str, Any] | None:
    """Facts and faces of the last fit; `None` where none was made by the page."""
    try:
        path = yard.hidden / "faces" / log / "faces.json"
        return _read_shown(str(path), path.stat().st_mtime_ns)
    except (OSError, ValueError):
        return None


@lru_cache(maxsize=128)
def _read_shown(path: str, changed: int) -> dict[str, Any]:
    """Held in memory while its file stays the same: pages ask for it again and again."""
    found: dict[str, Any] = json.loads(Path(path).read_text(encoding="utf-8"))
    return found


def scene_file(yard: YardFolder, log: str, name: str) -> Path | None:
    """A file of the log in space; the log's name has been looked up before."""
    return yard.hidden / "faces" / log / name if name in (SCENE_LINES, SCENE_POINTS) else None


def face_file(yard: YardFolder, log: str, name: str) -> Path:
    """The picture of a face, "butt" or "top"; the log's name has been looked up before."""
    return yard.hidden / "faces" / log / f"{name}.png"
