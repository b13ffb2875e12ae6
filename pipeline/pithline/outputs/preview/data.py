"""Everything the preview page draws, as one JSON object: meshes packed in base64, poses, growth layers, words."""

from __future__ import annotations

import base64
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pithline.outputs.cut_script.document import ScriptSetting
from pithline.outputs.formatting import sentence
from pithline.outputs.preview.captions import MACHINES, captions_of, piece_facts
from pithline.outputs.preview.scene import RING_COLOURS, RING_STEPS, Scene
from pithline.outputs.print_job import PrintJob

Array = NDArray[np.float64]
ALONG = np.array([1.0, 0.0, 0.0])
UPRIGHT = np.array([0.0, 0.0, 1.0])
ACROSS = 0.7
"""A cut whose normal lies along the log by more than this is a crosscut (cosine of 45°)."""
GRID = 65535.0
"""Points are packed as 16-bit steps of the log's own box: under 0.1 mm for a log of 6 m."""
CLOCKS = 72
"""Clock angles at which the growth layers' radius is told."""
MOST_STATIONS = 64
"""Stations at which it is told, at most: a graphics card blends between them."""


@dataclass(frozen=True, slots=True, eq=False)
class Box:
    """The box that points are packed in: its low corner and size, (3,) each. [mm]"""

    low: Array
    size: Array


def preview_data(job: PrintJob, scene: Scene) -> dict[str, Any]:
    """The page's data; `preview/viewer/preview.js` and its neighbours show how each part is drawn."""
    log, script = job.log, job.log.script
    box = _box(scene)
    meshes, points, faces = _packed(scene, box)
    return {
        "log": {"id": script.log.id, "species": script.log.species, "length": log.model.length},
        "summary": _summary(job),
        "totals": {"plates": script.totals.plates},
        "box": {"low": _list(box.low), "size": _list(box.size)},
        "points": points,
        "faces": faces,
        "meshes": meshes,
        "wood": _wood(scene),
        "pieces": [_piece(job, scene, name) for name in scene.meshes],
        "operations": _operations(job, scene),
        "bunks": list(script.inputs.mill.bunks),
        "ring": {"steps": list(RING_STEPS), "colours": list(RING_COLOURS)},
    }


def _packed(scene: Scene, box: Box) -> tuple[dict[str, list[int]], str, str]:
    """By piece the first point, their number, the first face, their number; all points; all faces. Plates are boxes."""
    meshes: dict[str, list[int]] = {}
    points, faces, point, face = [], [], 0, 0
    for name, mesh in scene.meshes.items():
        if name in scene.log.plates or not len(mesh.faces):
            continue
        meshes[name] = [point, len(mesh.points), face, len(mesh.faces)]
        points.append(np.round((mesh.points - box.low) / box.size * GRID))
        faces.append(mesh.faces)
        point, face = point + len(mesh.points), face + len(mesh.faces)
    return meshes, _base64(np.concatenate(points).astype("<u2")), _base64(np.concatenate(faces).astype("<u2"))


def _summary(job: PrintJob) -> list[str]:
    script, fmt = job.log.script, job.fmt
    totals, species = script.totals, f"{script.log.species}, " if script.log.species else ""
    lines = [
        sentence(f"{species}{fmt.length(job.log.model.length)} long."),
        f"{fmt.volume(totals.instrument_volume)} of instrument wood in {totals.plates} plates.",
    ]
    if totals.complete_sets:
        lines.append(f"Complete sets: {', '.join(f'{count} {name}' for name, count in totals.complete_sets.items())}.")
    if script.doubts.pith_assumed:
        lines.append("The pith was not marked: it is assumed to run in the middle.")
    return lines + [f"Caution: {sentence(text)}" for text in script.cautions]


def _box(scene: Scene) -> Box:
    points = scene.meshes["log"].points
    low, high = points.min(axis=0) - 1.0, points.max(axis=0) + 1.0
    return Box(low, high - low)


def _wood(scene: Scene) -> dict[str, Any]:
    """R(x, θ) about the pith, and the pith, on a grid the graphics card can blend over."""
    wood = scene.wood
    count = max(2, min(MOST_STATIONS, len(wood.pith)))
    at = np.linspace(0, len(wood.pith) - 1, count)
    stations = np.arange(len(wood.pith))
    rows = np.stack([np.interp(at, stations, wood.radius[:, k]) for k in range(0, 360, 360 // CLOCKS)], axis=1)
    pith = np.column_stack([np.interp(at, stations, wood.pith[:, k]) for k in (0, 1)])
    return {
        "x0": wood.x0,
        "x1": wood.x0 + wood.dx * (len(wood.pith) - 1),
        "clocks": CLOCKS,
        "stations": count,
        "radius": _base64(rows.astype("<f4")),
        "pith": [_list(one) for one in pith],
        "sapwood": scene.log.script.inputs.sapwood,
        "widest": float(rows.max()),
    }


def _piece(job: PrintJob, scene: Scene, name: str) -> dict[str, Any]:
    entry, plate = job.log.pieces[name], job.log.plates.get(name)
    found: dict[str, Any] = {
        "id": name,
        "mark": entry.mark,
        "kind": entry.kind,
        "facts": piece_facts(job, scene, name),
    }
    if plate is not None:
        found["plate"] = {
            "corner": _list(plate.corner),
            "edges": [_list(edge) for edge in plate.edges],
            "ring": plate.ring_mean,
            "runout": plate.runout,
            "product": f"{plate.product}: {plate.part}",
            "x": float(plate.middle[0]),
            "passes": plate.passes,
        }
    return found


def _operations(job: PrintJob, scene: Scene) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = []
    for one, caption in zip(job.log.script.operations, captions_of(job), strict=True):
        entry: dict[str, Any] = {"id": one.id, "tool": one.tool, "piece": one.piece, "title": caption.title, "lines": list(caption.lines)}
        if isinstance(one, ScriptSetting):
            lifts = [{"bunk": lift.bunk, "lift": lift.lift} for lift in one.lifts]
            entry |= {"op": "setting", "machine": MACHINES[one.tool], "pose": _pose(job, scene, one), "lifts": lifts}
        else:
            entry |= {"op": "cut", "setting": one.setting, "normal": _list(one.normal), "offset": one.offset, "kerf": one.kerf,
                      "above": one.above, "below": one.below}  # fmt: skip
        found.append(entry)
    return found


def _pose(job: PrintJob, scene: Scene, setting: ScriptSetting) -> dict[str, Any]:
    """How the piece lies on its machine: rows of the rotation from log to machine (z up), and the shift after it."""
    points = scene.meshes[setting.piece].points
    if setting.up is not None:
        up = _unit(setting.up)
        along = _unit(ALONG - (ALONG @ up) * up)
        rows = np.stack([along, np.cross(up, along), up])
        marks = setting.marks.both if setting.marks else ()
        level = float(np.mean([mark.height - mark.point @ up for mark in marks])) if marks else 0.0
        middle = float((points @ rows[1]).mean()) if len(points) else 0.0
        shift = np.array([setting.butt_at - float(job.log.model.butt.point @ along), -middle, level])
        return {"rows": [_list(row) for row in rows], "shift": _list(shift)}
    rows = _shop_rows(job, setting)
    turned = points @ rows.T if len(points) else np.zeros((1, 3))
    low, high = turned.min(axis=0), turned.max(axis=0)
    shift = np.array([-(low[0] + high[0]) / 2.0, -(low[1] + high[1]) / 2.0, -low[2]])
    return {"rows": [_list(row) for row in rows], "shift": _list(shift)}


def _shop_rows(job: PrintJob, setting: ScriptSetting) -> Array:
    """Off the mill the blade stands upright: its normal lies level, the piece's length along x where that is not it."""
    cuts = job.log.cuts_of(setting)
    normal = _unit(cuts[0].normal) if cuts else np.array([0.0, 1.0, 0.0])
    if abs(normal @ ALONG) < ACROSS:
        along = _unit(ALONG - (ALONG @ normal) * normal)
        return np.stack([along, normal, np.cross(along, normal)])
    along = normal * np.sign(normal @ ALONG)
    face = job.log.cuts.get(setting.against.face) if setting.against else None
    up = face.normal if face else UPRIGHT
    up = up - (up @ along) * along
    up = _unit(up) if np.linalg.norm(up) > 1e-3 else _unit(UPRIGHT - along[2] * along)
    return np.stack([along, np.cross(up, along), up])


def _unit(vector: Array) -> Array:
    return np.asarray(vector / np.linalg.norm(vector), float)


def _list(values: Array) -> list[float]:
    return [round(float(v), 6) for v in values]


def _base64(values: NDArray[Any]) -> str:
    return base64.b64encode(np.ascontiguousarray(values).tobytes()).decode("ascii")
