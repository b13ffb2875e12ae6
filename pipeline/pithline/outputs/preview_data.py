"""Everything the preview page draws, as one JSON object: meshes packed in base64, poses, growth layers, words."""

from __future__ import annotations

import base64
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pithline.outputs.preview_words import TOOLS, piece_facts, step_words
from pithline.outputs.scene import RING_COLOURS, RING_STEPS, Scene
from pithline.outputs.words import Words, sentence

Array = NDArray[np.float64]
X = np.array([1.0, 0.0, 0.0])
GRID = 65535.0
"""Points are packed as 16-bit steps of the log's own box: under 0.1 mm for a log of 6 m."""
CLOCKS = 72


def preview_data(scene: Scene, units: str = "mm") -> dict[str, Any]:
    """The page's data; see `outputs/viewer/preview.js` for how each part is drawn."""
    document, words = scene.script.document, Words(units)
    low, size = _box(scene)
    packed, points, faces = {}, [], []
    start = [0, 0]
    for name, mesh in scene.meshes.items():
        if name in scene.script.plates or not len(mesh.faces):
            continue
        packed[name] = [start[0], len(mesh.points), start[1], len(mesh.faces)]
        points.append(np.round((mesh.points - low) / size * GRID))
        faces.append(mesh.faces)
        start = [start[0] + len(mesh.points), start[1] + len(mesh.faces)]
    log, totals = document["log"], document["totals"]
    return {
        "log": {"id": log["id"], "species": log.get("species", ""), "length": scene.script.model.length},
        "summary": _summary(scene, words),
        "totals": {"plates": totals["plates"]},
        "box": {"low": _list(low), "size": _list(size)},
        "points": _base64(np.concatenate(points).astype("<u2")),
        "faces": _base64(np.concatenate(faces).astype("<u2")),
        "meshes": packed,
        "wood": _wood(scene),
        "pieces": [_piece(scene, words, name) for name in scene.meshes],
        "operations": _operations(scene, words),
        "bunks": [float(b) for b in (document["inputs"].get("mill", {}).get("mill", {}) or {}).get("bunks", [])],
        "ring": {"steps": list(RING_STEPS), "colours": list(RING_COLOURS)},
    }


def _summary(scene: Scene, words: Words) -> list[str]:
    document = scene.script.document
    log, totals = document["log"], document["totals"]
    made = f"{words.volume(totals['instrument_volume'])} of instrument wood in {totals['plates']} plates"
    sets = ", ".join(f"{count} {name}" for name, count in totals["sets"].items() if count)
    species = f"{log['species']}, " if log.get("species") else ""
    lines = [sentence(f"{species}{words.length(scene.script.model.length)} long."), f"{made}."]
    if sets:
        lines.append(f"Complete sets: {sets}.")
    if document.get("uncertainty", {}).get("pith_assumed"):
        lines.append("The pith was not marked: it is assumed to run in the middle.")
    return lines + [f"Caution: {sentence(str(text))}" for text in document.get("cautions", [])]


def _box(scene: Scene) -> tuple[Array, Array]:
    points = scene.meshes["log"].points
    low, high = points.min(axis=0) - 1.0, points.max(axis=0) + 1.0
    return low, high - low


def _wood(scene: Scene) -> dict[str, Any]:
    """R(x, θ) about the pith, and the pith, on a grid the graphics card can blend over."""
    wood = scene.wood
    count = max(2, min(64, len(wood.pith)))
    at = np.linspace(0, len(wood.pith) - 1, count)
    stations = np.arange(len(wood.pith))
    rows = np.stack([np.interp(at, stations, wood.radius[:, k]) for k in range(0, 360, 360 // CLOCKS)], axis=1)
    pith = np.column_stack([np.interp(at, stations, wood.pith[:, k]) for k in (0, 1)])
    sapwood = (scene.script.document["inputs"].get("card", {}).get("sapwood") or {}).get("thickness") or 0.0
    return {
        "x0": wood.x0,
        "x1": wood.x0 + wood.dx * (len(wood.pith) - 1),
        "clocks": CLOCKS,
        "stations": count,
        "radius": _base64(rows.astype("<f4")),
        "pith": [_list(one) for one in pith],
        "sapwood": float(sapwood),
        "widest": float(rows.max()),
    }


def _piece(scene: Scene, words: Words, name: str) -> dict[str, Any]:
    entry, plate = scene.script.pieces[name], scene.script.plates.get(name)
    found: dict[str, Any] = {
        "id": name,
        "mark": scene.script.mark(name),
        "kind": entry["kind"],
        "facts": piece_facts(scene, words, name),
    }
    if plate is not None:
        edges = np.asarray(plate["edges"], float)
        middle = np.asarray(plate["corner"], float) + edges.sum(axis=0) / 2.0
        found["plate"] = {
            "corner": plate["corner"],
            "edges": plate["edges"],
            "ring": plate["ring_angle"]["mean"],
            "runout": plate["runout"],
            "product": f"{plate['product']}: {plate['part']}",
            "x": float(middle[0]),
            "passes": plate["passes"],
        }
    return found


def _operations(scene: Scene, words: Words) -> list[dict[str, Any]]:
    found = []
    for one, said in zip(scene.script.document["operations"], step_words(scene, words), strict=True):
        entry = {"op": one["op"], "id": one["id"], "tool": one["tool"], "piece": one["piece"], **said}
        if one["op"] == "setting":
            entry |= {"machine": TOOLS[one["tool"]], "pose": _pose(scene, one), "lifts": one.get("lifts", [])}
        else:
            entry |= {key: one[key] for key in ("setting", "normal", "offset", "kerf", "above", "below")}
        found.append(entry)
    return found


def _pose(scene: Scene, setting: Mapping[str, Any]) -> dict[str, Any]:
    """How the piece lies on its machine: rows of the rotation from log to machine (z up), and the shift after it."""
    points = scene.meshes[setting["piece"]].points
    if setting["tool"] == "mill" and "up" in setting:
        up = _unit(np.asarray(setting["up"], float))
        along = _unit(X - (X @ up) * up)
        rows = np.stack([along, np.cross(up, along), up])
        butt = scene.script.model.butt.point
        marks = setting.get("marks", {}).values()
        level = np.mean([m["height"] - np.asarray(m["point"], float) @ up for m in marks]) if marks else 0.0
        middle = (points @ rows[1]).mean() if len(points) else 0.0
        shift = np.array([setting.get("butt_at", 0.0) - butt @ along, -middle, level])
        return {"rows": [_list(row) for row in rows], "shift": _list(shift)}
    rows = _shop_rows(scene, setting)
    turned = points @ rows.T if len(points) else np.zeros((1, 3))
    low, high = turned.min(axis=0), turned.max(axis=0)
    shift = np.array([-(low[0] + high[0]) / 2.0, -(low[1] + high[1]) / 2.0, -low[2]])
    return {"rows": [_list(row) for row in rows], "shift": _list(shift)}


def _shop_rows(scene: Scene, setting: Mapping[str, Any]) -> Array:
    """Off the mill the blade stands upright: its normal lies level, the piece's length along x where that is not it."""
    cuts = scene.script.cuts_of(setting)
    normal = _unit(np.asarray(cuts[0]["normal"], float)) if cuts else np.array([0.0, 1.0, 0.0])
    if abs(normal @ X) < 0.7:
        along = _unit(X - (X @ normal) * normal)
        return np.stack([along, normal, np.cross(along, normal)])
    along = normal * np.sign(normal @ X)
    face = scene.script.cuts.get((setting.get("against") or {}).get("face", ""))
    up = np.asarray(face["normal"], float) if face else np.array([0.0, 0.0, 1.0])
    up = up - (up @ along) * along
    up = _unit(up) if np.linalg.norm(up) > 1e-3 else _unit(np.array([0.0, 0.0, 1.0]) - along[2] * along)
    return np.stack([along, np.cross(up, along), up])


def _unit(vector: Array) -> Array:
    return vector / np.linalg.norm(vector)


def _list(values: Array) -> list[float]:
    return [round(float(v), 6) for v in values]


def _base64(values: NDArray[Any]) -> str:
    return base64.b64encode(np.ascontiguousarray(values).tobytes()).decode("ascii")
