"""Everything the preview page draws, as one JSON object: meshes packed in base64, poses, growth layers, words."""

from __future__ import annotations

import base64
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pithline.outputs.cards.pictures import part_name
from pithline.outputs.cut_script.document import ScriptSetting
from pithline.outputs.formatting import count, sentence
from pithline.outputs.palette import NEUTRAL, looks
from pithline.outputs.preview.captions import MACHINES, captions_of, piece_facts
from pithline.outputs.preview.scene import RING_COLOURS, RING_STEPS, Scene
from pithline.outputs.preview.stand import DrawnLine, PropSolid, lines_on_ends, stand_of, twelve_line
from pithline.outputs.print_job import PrintJob
from pithline.outputs.results import litres_in_words, money_in_words, results_of, results_of_totals, sets_in_words
from pithline.outputs.sheet.ladder import rung_words
from pithline.units import MM_PER_INCH

Array = NDArray[np.float64]
NO_SET = "in no set"
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
        "looks": _looks(job),
        "twelve": {own: [_list(point) for point in twelve_line(job.log, own)] for own in _logs(job)},
        "units": {
            "name": job.fmt.units,
            "mm": MM_PER_INCH if job.fmt.inches else 1.0,
            "places": 1 if job.fmt.inches else 0,
        },
    }


def _logs(job: PrintJob) -> list[str]:
    """The log and the shorter logs it is crosscut into."""
    return list(dict.fromkeys(["log", *(job.log.own_log(one.piece) for one in job.log.settings)]))


def _looks(job: PrintJob) -> dict[str, dict[str, list[Any]]]:
    """Colour and pattern of every part and every set by its name, as on the cards."""
    plates = job.log.plates.values()
    parts = looks(part_name(job.log, plate.id) for plate in plates)
    sets = looks(plate.set_id for plate in plates if plate.set_id)
    return {"product": {name: list(look) for name, look in parts.items()},
            "set": {name: list(look) for name, look in sets.items()} | {NO_SET: [NEUTRAL, 0]}}  # fmt: skip


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
    own, currency = results_of(script), script.inputs.products.currency
    species = f"{script.log.species}, " if script.log.species else ""
    lines = [
        f"{sets_in_words(own)}.".capitalize(),
        f"{litres_in_words(own.set_volume, fmt)} in sets, {litres_in_words(own.loose_volume, fmt)} loose.",
        f"{own.hours:.1f} hours in {count(own.set_ups, 'set-up')}"
        + ("." if own.earnings is None else f": earns {money_in_words(own.earnings, currency)}, {money_in_words(own.an_hour, currency)} "
           "an hour."),
        sentence(f"{species}{fmt.length(job.log.model.length)} ± {fmt.length(job.log.model.length_doubt)} long."),
    ]  # fmt: skip
    if script.practice is not None:
        customary = results_of_totals(script.practice.with_bolts, script.inputs.products, script.inputs.mill.hour_rate)
        lines.append(f"The customary way: {sets_in_words(customary)}, {customary.hours:.1f} hours"
                     + ("." if customary.earnings is None else f", earns {money_in_words(customary.earnings, currency)}."))  # fmt: skip
    lines += [sentence(text) for text in rung_words(job)]
    if script.doubts.pith_assumed:
        lines.append("The pith was not marked: it is assumed to run in the middle.")
    return lines + [f"Caution: {fmt.retold(sentence(text))}" for text in script.cautions]


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
            "product": part_name(job.log, name),
            "set": plate.set_id or NO_SET,
            "x": float(plate.middle[0]),
            "passes": plate.passes,
        }
    return found


def _operations(job: PrintJob, scene: Scene) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = []
    for one, caption in zip(job.log.script.operations, captions_of(job), strict=True):
        entry: dict[str, Any] = {"id": one.id, "tool": one.tool, "piece": one.piece, "title": caption.title, "lines": list(caption.lines),
                                 "figures": [list(figure) for figure in caption.figures]}  # fmt: skip
        if isinstance(one, ScriptSetting):
            lifts = [{"bunk": lift.bunk, "lift": lift.lift} for lift in one.lifts]
            stand = stand_of(job.log, one, scene.meshes[one.piece].points)
            entry |= {
                "op": "setting", "own": job.log.own_log(one.piece), "machine": MACHINES[one.tool], "lifts": lifts,
                "pose": {"rows": [_list(row) for row in stand.rows], "shift": _list(stand.shift)},
                "props": [_prop(prop) for prop in stand.props], "drawn": [_drawn(line) for line in lines_on_ends(job, one)],
            }  # fmt: skip
        else:
            entry |= {"op": "cut", "setting": one.setting, "normal": _list(one.normal), "offset": one.offset, "kerf": one.kerf,
                      "above": one.above, "below": one.below}  # fmt: skip
        found.append(entry)
    return found


def _prop(prop: PropSolid) -> dict[str, Any]:
    return {
        "kind": prop.kind,
        "outline": [_list(point) for point in prop.outline],
        "spans": [_list(span) for span in prop.spans],
    }


def _drawn(line: DrawnLine) -> dict[str, Any]:
    return {"name": line.name, "parts": [[_list(point) for point in part] for part in line.parts], "at": _list(line.at)}


def _list(values: Array) -> list[float]:
    return [round(float(v), 6) for v in values]


def _base64(values: NDArray[Any]) -> str:
    return base64.b64encode(np.ascontiguousarray(values).tobytes()).decode("ascii")
