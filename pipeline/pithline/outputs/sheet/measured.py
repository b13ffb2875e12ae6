"""What a cut off the mill is measured from: a sawn face, the ticks of the pith line, or the piece's own butt end."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import LineString, Point

from pithline.outputs.reading import FAR, Script, rings

Array = NDArray[np.float64]
PARALLEL = 1.0 - 1e-5
"""Least cosine at which a face and a cut count as parallel: a quarter of a degree."""
BOUNDS = 3.0
"""A face bounds a piece where at least this much of its section's edge lies on it. [mm]"""


@dataclass(frozen=True, slots=True)
class Reference:
    """What the rips of a setting are measured from.

    `kind` "face" (a sawn edge, parallel to the cuts), "arris" (where a slanted sawn face meets the piece's `side`,
    "upper" or "lower") or "ticks" (the line between the ticks on its two ends); `face` the cut that made the sawn one.
    """

    kind: str
    face: str = ""
    side: str = ""


def lying_face(reading: Script, setting: Mapping[str, Any]) -> tuple[Array, float] | None:
    """Outward normal and offset of the face a piece lies on or against."""
    against = setting.get("against")
    if not against:
        return None
    return next(((n, d) for n, d, made in reading.faces(setting["piece"]) if made == against["face"]), None)


def rightward(outward: Array) -> Array:
    """The direction to the right of someone who faces the butt end of a piece that lies on the face `outward`."""
    right = np.cross(-outward, [-1.0, 0.0, 0.0])
    return right / np.linalg.norm(right)


def mill_setting_of(reading: Script, piece: str) -> Mapping[str, Any] | None:
    """The mill setting that a piece came off, `None` for a log."""
    made = reading.pieces[piece].get("made_by")
    if made is None or reading.cuts[made]["tool"] != "mill":
        return None
    return next(one for one in reading.settings if one["id"] == reading.cuts[made]["setting"])


def tick_line(reading: Script, setting: Mapping[str, Any]) -> tuple[Array, float]:
    """The plane through the pith at both ends that stands upright in a mill setting: normal, offset."""
    butt, top = reading.ends(setting["piece"])
    normal = np.cross(top.pith - butt.pith, np.array(setting["up"], float))
    normal /= np.linalg.norm(normal)
    return normal, float(normal @ butt.pith)


def tick_name(reading: Script, setting: Mapping[str, Any]) -> str:
    """What a setting's tick line is called on page 2."""
    return f"T{reading.mill_numbers[setting['id']]}"


def ticked_settings(reading: Script, mill: Sequence[Mapping[str, Any]]) -> set[str]:
    """Ids of the mill settings whose slabs are ripped by ticks."""
    found = set()
    wanted = {one["id"] for one in mill}
    for setting in reading.ahead:
        if setting["tool"] == "rip" and reading.from_mill(setting["piece"]) == setting["piece"]:
            made = mill_setting_of(reading, setting["piece"])
            if made and made["id"] in wanted and rip_reference(reading, setting) == Reference("ticks"):
                found.add(made["id"])
    return found


def rip_reference(reading: Script, setting: Mapping[str, Any]) -> Reference | None:
    """What a setting's rips are measured from; `None` where nothing on the piece will do.

    A parallel sawn edge comes first, that on the side kept longest before the other; then the ticks; then an arris.
    """
    if setting["id"] not in reading.noted:
        reading.noted[setting["id"]] = _rip_reference(reading, setting)
    return reading.noted[setting["id"]]


def _rip_reference(reading: Script, setting: Mapping[str, Any]) -> Reference | None:
    cuts, lying = reading.cuts_of(setting), lying_face(reading, setting)
    if not cuts or lying is None:
        return None
    normal = np.array(cuts[0]["normal"], float)
    edges = [one for one in _edges(reading, setting["piece"], lying[0]) if abs(one[0] @ normal) > 0.3]
    parallel = [one for one in edges if abs(one[0] @ normal) > PARALLEL]
    if parallel:
        return Reference("face", min(parallel, key=lambda one: one[0] @ normal)[2])
    if _is_ticked(reading, setting["piece"]):
        return Reference("ticks")
    return _arris(reading, setting, lying, edges)


def _arris(reading: Script, setting: Mapping[str, Any], lying: tuple[Array, float],
           edges: Sequence[tuple[Array, float, str]]) -> Reference | None:  # fmt: skip
    """The first arris of the upper side, else of the lower, that the piece really has half-way along it."""
    piece = setting["piece"]
    x, right, up = _half_way(reading, piece), rightward(lying[0]), -lying[0]
    shape = reading.section(piece, x, right, up)
    for side in ("upper", "lower"):
        plane = _side(reading, setting, lying, side)
        for outward, offset, made in edges if plane else ():
            spot = _meet(x, (outward, offset), plane)
            if shape.distance(Point(float(spot @ right), float(spot @ up))) < 1.0:
                return Reference("arris", made, side)
    return None


def rip_distances(reading: Script, setting: Mapping[str, Any], reference: Reference,
                  cut: Mapping[str, Any]) -> tuple[float, float]:  # fmt: skip
    """Where a rip runs at the butt and at the top end of its piece. [mm]

    From a face: to the near side of the kerf. From an arris: to the kerf's centre, on the arris's side. From the
    ticks: to the kerf's centre, positive to the right of someone facing the butt.
    """
    normal, piece = np.array(cut["normal"], float), setting["piece"]
    faces = {made: (n, d) for n, d, made in reading.faces(piece)}
    lying = lying_face(reading, setting)
    if lying is None:
        raise ValueError(f"{setting['id']} lies on no face")
    right = rightward(lying[0])
    if reference.kind == "face":
        outward, offset = faces[reference.face]
        away = float(offset - cut["offset"] * np.sign(outward @ normal)) - cut["kerf"] / 2.0
        return away, away
    if reference.kind == "ticks":
        butt, top = (float((cut["offset"] - normal @ face.pith) / (normal @ right)) for face in reading.ends(piece))
        return butt, top
    plane = _side(reading, setting, lying, reference.side)
    found = []
    for x in reading.stretch(piece) if plane else ():
        spot = _meet(x, faces[reference.face], plane)
        found.append(abs(float((cut["offset"] - normal @ spot) / (normal @ right))))
    return found[0], found[1]


def from_butt(reading: Script, setting: Mapping[str, Any], cut: Mapping[str, Any]) -> float:
    """A crosscut's kerf centre from the butt end of its setting's piece, along the middle of the piece. [mm]"""
    piece, normal = setting["piece"], np.array(cut["normal"], float)
    butt = reading.ends(piece)[0]
    end, offset = butt.normal, float(butt.normal @ butt.pith)
    for outward, away, _ in reading.faces(piece):
        if outward[0] < -0.7:
            end, offset = outward, away
            break
    middle = _middle(reading, piece)
    start = float((offset - end @ middle) / (end @ normal))
    return float((cut["offset"] - normal @ middle) / (normal @ normal)) - start


def from_fence(reading: Script, setting: Mapping[str, Any], cut: Mapping[str, Any]) -> float | None:
    """From the face against the fence to the near side of the kerf, where the two are parallel; else `None`. [mm]"""
    lying, normal = lying_face(reading, setting), np.array(cut["normal"], float)
    if lying is None or abs(lying[0] @ normal) < PARALLEL:
        return None
    return float(lying[1] - cut["offset"] * np.sign(lying[0] @ normal)) - cut["kerf"] / 2.0


def _edges(reading: Script, piece: str, lying: Array) -> list[tuple[Array, float, str]]:
    """Sawn faces along a piece, those it lies on or is parallel to left out, that bound its section."""
    right = rightward(lying)
    up = -lying
    x = _half_way(reading, piece)
    shape = reading.section(piece, x, right, up)
    found = []
    for outward, offset, made in reading.faces(piece):
        in_face = np.array([outward @ right, outward @ up])
        size = float(np.hypot(*in_face))
        if abs(outward[0]) > 0.7 or abs(outward @ lying) > 0.95 or size < 0.3:
            continue
        n, d = in_face / size, (offset - (outward - in_face[0] * right - in_face[1] * up)[0] * x) / size
        along = np.array([-n[1], n[0]])
        line = LineString([n * (d - 0.01) - FAR * along, n * (d - 0.01) + FAR * along])
        if shape.intersection(line).length > BOUNDS:
            found.append((outward, offset, made))
    return found


def _is_ticked(reading: Script, piece: str) -> bool:
    """Whether both ends of a piece, fresh from the mill, hold a stretch of its setting's tick line."""
    setting = mill_setting_of(reading, piece)
    if setting is None:
        return False
    for face in reading.ends(piece):
        line = face.line(*tick_line(reading, setting))
        if line is None or reading.part_of_face(piece, face).intersection(LineString(line)).length < BOUNDS:
            return False
    return True


def _side(reading: Script, setting: Mapping[str, Any], lying: tuple[Array, float],
          side: str) -> tuple[Array, float] | None:  # fmt: skip
    """The sawn face a piece lies on ("lower") or the one opposite ("upper"), `None` where that side is bark."""
    if side == "lower":
        return lying
    opposite = ((n, d) for n, d, _ in reading.faces(setting["piece"]) if n @ lying[0] < -0.95)
    return next(opposite, None)


def _meet(x: float, one: tuple[Array, float], other: tuple[Array, float]) -> Array:
    """The point of two planes' common line at station x."""
    matrix = np.array([[1.0, 0.0, 0.0], one[0], other[0]])
    return np.linalg.solve(matrix, [x, one[1], other[1]])


def _middle(reading: Script, piece: str) -> Array:
    """A point on the middle line of a piece, half-way along it."""
    x = _half_way(reading, piece)
    right, up = np.array([0.0, -1.0, 0.0]), np.array([0.0, 0.0, 1.0])
    found = rings(reading.section(piece, x, right, up))
    if not found:
        return reading.ends(piece)[0].pith
    ring = max(found, key=len)
    low, high = ring.min(axis=0), ring.max(axis=0)
    across, rise = (low + high) / 2.0
    return np.array([x, -across, rise])


def _half_way(reading: Script, piece: str) -> float:
    """The station half-way along a piece, to 10 mm: pieces of one length share their sections."""
    return round(float(np.mean(reading.stretch(piece))), -1)
