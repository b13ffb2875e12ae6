"""Bolts on the mill: set by a sawn face of their own, flat on the bed or in a cradle; no marks. And the angles of cradles anywhere."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from pithline.script.envelope import Bed, Envelope, Laid, pith_at
from pithline.script.finding import Finding
from pithline.script.pieces import Sawn, SawnFace

Array = NDArray[np.float64]
FLAT_DEG = 0.05
"""An angle to its face below which a piece lies flat on it."""
LISTED_DEG = 0.05
"""A cradle of the shop's list is used at its own angle within this."""
FACE_DEG = 0.1
ON_FACE = 1.0
"""Points within this of a face's plane lie on it. [mm]"""
DOWN = np.sin(np.radians(10.0))
"""A face that looks down by more than this carries the piece."""
ALONG = 0.5
"""A face whose normal leans more than this along the log is an end (cosine)."""
SUNK = 0.5
"""A piece may not lie lower than the bed by more than this. [mm]"""
HEIGHT = 0.5


def is_bolt_setting(setting: dict[str, Any]) -> bool:
    """Whether a setting on the mill goes by a sawn face and not by marks."""
    return setting.get("against") is not None


def bolt_bed(
    setting: dict[str, Any], cuts: list[dict[str, Any]], envelope: Envelope, ends: tuple[SawnFace, SawnFace]
) -> tuple[Bed, list[Finding]]:
    """The bed as the first cut's height places it, and cuts of the setting that place it otherwise."""
    name, found = setting["id"], []
    up = np.asarray(setting["up"], float)
    up = up / np.linalg.norm(up)
    piths = [pith_at(envelope, face) for face in ends]
    chord = piths[1] - piths[0]
    along = chord - (chord @ up) * up
    along /= np.linalg.norm(along)
    levels = [cut["blade_height"] - cut["offset"] for cut in cuts]
    if np.ptp(levels) > HEIGHT:
        words = f"{name} states heights that disagree by {np.ptp(levels):.2f} mm as its piece lies"
        found.append(Finding("blade-height", name, 0.0, float(np.ptp(levels)), words))
    return Bed(piths[0], along, np.cross(up, along), up, float(setting["butt_at"]), float(levels[0])), found


def bolt_findings(setting: dict[str, Any], laid: Laid, sawn: Sawn, kinds: dict[str, str]) -> list[Finding]:
    """Whether a bolt's face stands at the angle stated, and its weight over what carries it."""
    name, against = setting["id"], setting["against"]
    face = next((one for one in sawn.faces[setting["piece"]] if one.cut == against["face"]), None)
    if face is None:
        words = f"{name} lies against the face of {against['face']}, which {setting['piece']} does not have"
        return [Finding("against", name, against["face"], "no face of the piece", words)]
    found = []
    near = [
        _points(laid.bed, one, float(place)) @ face.normal
        for one, place in zip(laid.outlines, laid.places, strict=True)
        if len(one)
    ]
    off = min(float(np.abs(one - face.offset).min()) for one in near)
    if off > ON_FACE:
        words = f"{name} lies against the face of {face.cut}, of which {setting['piece']} holds nothing any more"
        found.append(Finding("against", name, 0.0, off, words))
    if kinds.get(setting["piece"]) in ("log", "half"):
        words = f"{name} poses a {kinds[setting['piece']]} without marks; only bolts are set by a face alone"
        found.append(Finding("mark", name, "none", "two", words))
    lean = abs(float(face.normal @ laid.bed.up)) / float(
        np.linalg.norm(face.normal - (face.normal @ laid.bed.along) * laid.bed.along)
    )
    angle = float(np.degrees(np.arccos(min(1.0, lean))))
    if abs(angle - against["angle_deg"]) > FACE_DEG:
        words = f"{name} holds the face of {against['face']} at {angle:.2f}° to the blade, it states {against['angle_deg']:g}°"
        found.append(Finding("fence-angle", name, against["angle_deg"], angle, words))
    flat = against["angle_deg"] < FLAT_DEG
    if (setting["support"] == "bed") != flat:
        words = f"{name} lies on {setting['support']} at {against['angle_deg']:g}°; flat is on the bed, all else in a cradle"
        found.append(Finding("support", name, setting["support"], "bed" if flat else "cradle", words))
    low = min(float(one[:, 1].min()) for one in laid.outlines if len(one))
    if low < -SUNK:
        words = f"{name} states heights that sink {setting['piece']} {-low:.1f} mm into the bed"
        found.append(Finding("rest-height", name, 0.0, low, words))
    return [*found, *_standing(name, laid, sawn.faces[setting["piece"]])]


def _standing(name: str, laid: Laid, faces: tuple[SawnFace, ...]) -> list[Finding]:
    """The weight lies between the outermost places across the bed where sawn faces look down."""
    bed, low, high, weight, areas = laid.bed, np.inf, -np.inf, 0.0, 0.0
    down = [one for one in faces if one.normal @ bed.up < -DOWN and abs(one.normal @ bed.along) < ALONG]
    for outline, area, place in zip(laid.outlines, laid.areas, laid.places, strict=True):
        if not len(outline):
            continue
        points = _points(bed, outline, float(place))
        weight, areas = weight + area * _centre(outline), areas + area
        for face in down:
            on = np.abs(points @ face.normal - face.offset) < ON_FACE
            if on.any():
                low, high = min(low, float(outline[on, 0].min())), max(high, float(outline[on, 0].max()))
    middle = weight / areas
    if low <= middle <= high:
        return []
    off = np.inf if low > high else max(low - middle, middle - high)
    words = f"{name} leaves the weight of its piece {off:.0f} mm beside the sawn faces that carry it"
    return [Finding("standing", name, 0.0, float(off), words)]


def _points(bed: Bed, outline: Array, place: float) -> Array:
    """Outline vertices in the log frame, (n, 3)."""
    start = bed.origin + (place - bed.butt_at) * bed.along
    start = start - (start @ bed.up) * bed.up
    points: Array = start + outline[:, :1] * bed.across + (outline[:, 1:] - bed.level) * bed.up
    return points


def _centre(outline: Array) -> float:
    """Place across the bed of an outline's centre of area. [mm]"""
    u, v = outline[:, 0], outline[:, 1]
    after_u, after_v = np.roll(u, -1), np.roll(v, -1)
    cross = u * after_v - after_u * v
    total = float(cross.sum())
    return float(((u + after_u) * cross).sum() / (3.0 * total)) if abs(total) > 1e-9 else float(u.mean())
