"""What can be seen of how a piece lies: which sawn face is upright or down, and on whose hand."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from shapely.geometry import LineString

from pithline.outputs.cut_script.document import Array, Kind, Saw, ScriptSetting
from pithline.outputs.cut_script.sawn_pieces import FAR, PieceFace, SawnPieces
from pithline.outputs.formatting import clock_face, degrees
from pithline.outputs.holding.pose import FLAT_DEG, MachinePose

UPRIGHT_DEG = 3.0
"""A face within this of upright or level is called so; a spirit level along the line does the rest."""
JUST_INSIDE = 0.01
"""How far inside a face a line is drawn that must lie within the piece. [mm]"""
LEAST_EDGE = 8.0
"""A face of which a section shows less than this is not spoken of. [mm]"""


class ShownFace(NamedTuple):
    """A sawn face of a piece as it lies: the cut's number, and its edge in a section (2, 2): right, height; low end first."""

    face: PieceFace
    number: int
    edge: Array

    @property
    def length(self) -> float:
        """Of the edge. [mm]"""
        return float(np.hypot(*(self.edge[1] - self.edge[0])))


def shown_faces(log: SawnPieces, piece: str, pose: MachinePose, x: float) -> list[ShownFace]:
    """The sawn faces along a piece that its section at station x shows, the widest first."""
    shape, found = log.section(piece, x, pose.right, pose.up), []
    for face in log.faces(piece):
        in_face = np.array([face.normal @ pose.right, face.normal @ pose.up])
        size = float(np.hypot(*in_face))
        if face.across_log or size < 0.3:
            continue
        offset = face.offset - float((face.normal - in_face[0] * pose.right - in_face[1] * pose.up)[0] * x)
        n, d = in_face / size, offset / size - JUST_INSIDE
        along = np.array([-n[1], n[0]])
        crossed = shape.intersection(LineString([n * d - FAR * along, n * d + FAR * along]))
        if crossed.is_empty or crossed.length < LEAST_EDGE:
            continue
        left, bottom, right, top = crossed.bounds
        rising = along[0] * along[1] >= 0.0
        edge = np.array([[left, bottom], [right, top]]) if rising else np.array([[right, bottom], [left, top]])
        found.append(ShownFace(face, log.cut_numbers[face.cut], edge + np.array([0.0, pose.level])))
    return sorted(found, key=lambda one: -one.length)


def lies(log: SawnPieces, setting: ScriptSetting, pose: MachinePose) -> str:
    """How a setting's piece lies, in words for someone who faces its butt end (or its top, where the pose says so)."""
    if setting.tool is Saw.BUCK:
        return "on supports either side of every cut"
    if setting.against is not None:
        return _against(log, setting)
    if log.kind(setting.piece) is Kind.LOG or setting.tool is not Saw.MILL:
        return f"12 o'clock line to {clock_face(-(setting.roll or 0.0))}"
    faces = shown_faces(log, setting.piece, pose, log.stretch(setting.piece).middle)
    if not faces:
        return f"12 o'clock line to {clock_face(-(setting.roll or 0.0))}"
    words = [_attitude(face, pose) for face in faces[:2]]
    if log.kind(setting.piece) is Kind.HALF:
        return words[0] + _held(faces[0], pose)
    return "; ".join(words) + ", between blocks on both sides"


def _against(log: SawnPieces, setting: ScriptSetting) -> str:
    if setting.against is None:
        return ""
    face, angle = log.cut_numbers[setting.against.face], setting.against.angle
    if setting.tool is Saw.MILL:
        return (
            f"on sawn face {face}, flat on the bed"
            if angle < FLAT_DEG
            else f"sawn face {face} down in the {degrees(angle)} cradle"
        )
    if angle > 90.0 - FLAT_DEG:
        return f"face {face} down on the table"
    return (
        f"face {face} flat to the fence"
        if angle < FLAT_DEG
        else f"face {face} on the {degrees(angle)} block at the fence"
    )


def _lean(face: ShownFace, pose: MachinePose) -> float:
    """Of a face from level, 0 to 90. [deg]"""
    return float(np.degrees(np.arccos(min(abs(float(face.face.normal @ pose.up)), 1.0))))


def _hand(face: ShownFace, pose: MachinePose) -> str:
    return "on your right" if face.face.normal @ pose.right > 0.0 else "on your left"


def _attitude(shown: ShownFace, pose: MachinePose) -> str:
    """One face: up, down, upright, or leaning."""
    lean, looks_up = _lean(shown, pose), bool(shown.face.normal @ pose.up > 0.0)
    if lean < UPRIGHT_DEG:
        return f"sawn face {shown.number} {'up' if looks_up else 'down'}, level"
    if lean > 90.0 - UPRIGHT_DEG:
        return f"sawn face {shown.number} upright, {_hand(shown, pose)}"
    looks = "looking up" if looks_up else "looking down"
    return f"sawn face {shown.number} {_hand(shown, pose)}, {looks}, {degrees(round(lean))} from level"


def _held(shown: ShownFace, pose: MachinePose) -> str:
    """What holds a half by its sawn face."""
    lean = _lean(shown, pose)
    if lean > 90.0 - UPRIGHT_DEG:
        return ", against the stops"
    if lean < UPRIGHT_DEG:
        return ", bark chocked on both sides" if shown.face.normal @ pose.up > 0.0 else ", on the bunks"
    return ", between blocks on both sides"
