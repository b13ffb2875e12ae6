"""What the preview says in words: each step of the work and the facts of each piece. Plain text, never markup."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from pithline.logmodel.model import clock_of
from pithline.outputs.scene import Scene
from pithline.outputs.sheet.shop import bench
from pithline.outputs.words import Words, degrees, sentence

TOOLS = {"buck": "chain saw", "mill": "mill", "rip": "rip saw", "crosscut": "crosscut saw", "resaw": "resaw"}


def step_words(scene: Scene, words: Words) -> list[dict[str, Any]]:
    """Per operation: `title`, `lines` of plain sentences."""
    numbers: dict[str, int] = {}
    places: dict[str, str] = {}
    found = []
    for one in scene.script.document["operations"]:
        if one["op"] != "setting":
            found.append(_cut(scene, words, one, places.get(one["id"], "")))
            continue
        numbers[one["id"]] = len(numbers) + 1
        lies = ""
        if one["tool"] != "mill":
            lies, where = bench(scene.script, words, one)
            names = [cut["id"] for cut in scene.script.cuts_of(one)]
            source = lies.partition("; ")[2] or "from the face against the fence"
            said = [f"At {one_place} {source}." if one_place[:1].isdigit() else one_place for one_place in where]
            places |= dict(zip(names, said, strict=True))
        found.append(_setting(scene, words, one, numbers[one["id"]], lies))
    return found


def _setting(scene: Scene, words: Words, one: Mapping[str, Any], number: int, lies: str) -> dict[str, Any]:
    mark = scene.script.mark(one["piece"])
    lines = []
    if one["tool"] == "mill" and "roll" in one:
        lines.append(f"Roll it until the line at {degrees(one['roll'])} on the clock is up.")
    lifts = [lift for lift in one.get("lifts", ()) if lift["lift"] > 0.0]
    if lifts:
        places = ", ".join(f"{words.length(lift['lift'])} at bunk {words.length(lift['bunk'])}" for lift in lifts)
        lines.append(f"Lift expected: {places}.")
    elif one["tool"] == "mill":
        lines.append("No lift expected.")
    for end, mark_at in one.get("marks", {}).items():
        lines.append(f"Mark on the {end} end ({mark_at['name']}): {words.length(mark_at['height'])} over the bed.")
    if one["tool"] != "mill":
        lines.append(f"It lies {lies or 'as it comes'}.")
    if one["weight_kg"] > 0.0:
        lines.append(f"Weight about {words.weight(one['weight_kg'])}.")
    if one["stage"] == "dried":
        lines.append("Only after drying.")
    lines += [f"Caution: {sentence(str(text))}" for text in one["cautions"]]
    return {"title": f"Setting {number}: {mark} on the {TOOLS[one['tool']]}", "lines": lines}


def _cut(scene: Scene, words: Words, one: Mapping[str, Any], place: str) -> dict[str, Any]:
    script = scene.script
    halves = [f"{script.pieces[piece]['kind']} {script.mark(piece)}" for piece in (one["above"], one["below"])]
    if "blade_height" in one:
        over = one["from_mark"] - script.scale_drop
        away = f"{words.length(abs(over))} {'over' if over >= 0.0 else 'under'} the marks"
        lines = [
            f"Blade {away}; {words.length(one['blade_height'] - script.scale_drop)} expected on the scale.",
            f"Width of cut up to {words.length(one['width'])}.",
            f"Comes off: {halves[0]}. Stays on the bed: {halves[1]}.",
        ]
    else:
        lines = [sentence(place)] if place else []
        lines.append(f"Gives {halves[0]} and {halves[1]}.")
    marks = f"{script.mark(one['above'])} and {script.mark(one['below'])}"
    return {"title": f"Cut {script.numbers[one['id']]}: {script.mark(one['piece'])} into {marks}", "lines": lines}


def piece_facts(scene: Scene, words: Words, piece: str) -> list[list[str]]:
    """Rows of (name, value) about one piece."""
    script = scene.script
    entry, plate = script.pieces[piece], script.plates.get(piece)
    rows = [["Crayon mark", script.mark(piece)], ["Piece", f"{entry['kind']} ({piece})"]]
    if plate is not None:
        rows += _plate_facts(scene, words, plate)
    parent = script.parent(piece)
    if parent is not None:
        rows.append(["Comes from", f"{script.pieces[parent]['kind']} {script.mark(parent)}"])
    rows.append(["Wood", words.volume(entry["volume"])])
    return rows + _place(scene, words, piece)


def _plate_facts(scene: Scene, words: Words, plate: Mapping[str, Any]) -> list[list[str]]:
    angle, mate = plate["ring_angle"], plate["mate"]
    size = words.size(*(float(np.linalg.norm(edge)) for edge in plate["edges"]))
    slope = f", 1 in {1.0 / np.tan(np.radians(plate['runout'])):.0f}" if plate["runout"] > 0.05 else ""
    return [
        ["Part", f"{plate['product']}: {plate['part']}"],
        ["Size as sawn", size],
        ["Ring angle, mean", degrees(angle["mean"])],
        ["Ring angle, least", degrees(angle["min"])],
        ["Runout, greatest", degrees(plate["runout"]) + slope],
        ["Limits", f"{plate['limits']}: {'passes' if plate['passes'] else 'fails'}"],
        ["Set", plate["set_id"] or "none"],
        ["Bookmatch", scene.script.mark(mate) if mate else "none"],
    ]


def _place(scene: Scene, words: Words, piece: str) -> list[list[str]]:
    """Where in the log a piece lay: along it from the butt, and where its middle lay about the pith."""
    points = scene.meshes[piece].points
    if not len(points):
        return [["Place", "holds no wood"]]
    low, high = points.min(axis=0), points.max(axis=0)
    rows = [["Along the log", f"{words.length(max(low[0], 0.0))} to {words.length(high[0])} from the butt"]]
    if scene.script.pieces[piece]["kind"] != "log":
        middle = points.mean(axis=0)
        model = scene.script.model
        away = middle[1:] - model.splines(model.pith)(middle[0])
        clock = degrees(round(float(np.degrees(clock_of(away)))) % 360)
        rows.append(["About the pith", f"middle {words.length(float(np.hypot(*away)))} out, at {clock} on the clock"])
    return rows
