"""What holds a piece on its machine: blocks, chocks, stops, a cradle, the fence, as outlines across the bed with sizes."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

import numpy as np
from shapely.geometry import LineString
from shapely.geometry.base import BaseGeometry

from pithline.outputs.cut_script.document import Array, Kind, Saw, ScriptLift, ScriptSetting
from pithline.outputs.cut_script.kept import kept
from pithline.outputs.cut_script.sawn_pieces import FAR, SawnPieces, rings
from pithline.outputs.holding.attitude import UPRIGHT_DEG, ShownFace, lies, shown_faces
from pithline.outputs.holding.pose import FLAT_DEG, MachinePose, pose_of

RESTING = 6.0
"""What of a section lies this near its lowest point rests on the bunk, bark giving way. [mm]"""
SUPPORT_SHARE = 0.09
"""A log that is crosscut is supported this share of its length either side of a cut, and as far from its ends."""
STANDS = 0.4
"""A piece stands where its weight comes down within this share of what rests on the bunk, either side of its middle."""
BESIDE, REACH, LEAST_BLOCK = 15.0, 110.0, 8.0
"""A block begins this far beside the resting place, reaches so far out, and is worth setting from this height. [mm]"""
CHOCK = 60.0
"""A chock's greatest height. [mm]"""
STOP, STOP_SHARE, STOP_MOST = 40.0, 0.6, 200.0
"""A stop's thickness, its share of the height of the face against it, and its greatest height. [mm]"""
FENCE, FENCE_GAP, FENCE_HEIGHT = 25.0, 12.0, 150.0
"""The fence's thickness, the least a cradle's block measures at the table, the fence's least height. [mm]"""


class PropKind(StrEnum):
    """What a prop is."""

    CHOCK = "chock"
    BLOCK = "block"
    STOP = "stop"
    CRADLE = "cradle"
    FENCE = "fence"


@dataclass(frozen=True, slots=True, eq=False)
class Prop:
    """Something that holds the piece: `outline` (n, 2), across to the right and height over bed or table [mm].

    `size` are the measures it is made by: width and height at its low and its high side. [mm]
    """

    kind: PropKind
    outline: Array
    size: tuple[float, ...] = ()


class Section(NamedTuple):
    """A piece's section as it lies, at station `x`: outlines (n, 2), across to the right and height. [mm]"""

    x: float
    outlines: list[Array]

    @property
    def points(self) -> Array:
        """All corners, (n, 2)."""
        return np.vstack(self.outlines)


@dataclass(frozen=True, slots=True, eq=False)
class Holding:
    """A setting's piece as it lies: its pose, a section, its sawn faces there (that it rests on first), what holds it, and the words."""

    pose: MachinePose
    section: Section | None
    faces: tuple[ShownFace, ...]
    props: tuple[Prop, ...]
    words: str
    stands: bool


@kept
def holding_of(log: SawnPieces, setting: ScriptSetting) -> Holding:
    """How a setting's piece is held, seen over the bunk nearest its middle on the mill, else half-way along it."""
    pose = pose_of(log, setting)
    x = station_shown(log, setting)
    shape = log.section(setting.piece, x, pose.right, pose.up)
    words = lies(log, setting, pose)
    if shape.is_empty:
        return Holding(pose, None, (), (), words, True)
    section = Section(x, [ring + np.array([0.0, pose.level]) for ring in rings(shape)])
    rests_on = setting.against.face if setting.against else ""
    faces = tuple(sorted(shown_faces(log, setting.piece, pose, x), key=lambda one: one.face.cut != rests_on))
    standing = _stands(shape, section)
    return Holding(pose, section, faces, tuple(_props(log, setting, pose, section, faces)), words, standing)


def station_shown(log: SawnPieces, setting: ScriptSetting) -> float:
    """The station of the section that is drawn."""
    stretch = log.stretch(setting.piece)
    if setting.tool is not Saw.MILL or not setting.lifts:
        return stretch.middle
    at = [station_over(log, setting, bunk) for bunk in setting.lifts]
    return min(at, key=lambda one: abs(one - (stretch.low + stretch.high) / 2.0))


def crosscut_supports(log: SawnPieces, setting: ScriptSetting) -> list[float]:
    """Stations at which a log that is crosscut is supported: near both ends, and close to both sides of every cut. [mm]"""
    stretch, pith = log.stretch(setting.piece), log.ends(setting.piece).butt.pith
    at = [float(cut.offset - cut.normal[1:] @ pith[1:]) / float(cut.normal[0]) for cut in log.cuts_of(setting)]
    beside = SUPPORT_SHARE * stretch.length
    return [stretch.low + beside, *(x + way * beside for x in at for way in (-1.0, 1.0)), stretch.high - beside]


def station_over(log: SawnPieces, setting: ScriptSetting, bunk: ScriptLift) -> float:
    """Station of the log over a bunk. [mm]"""
    return float(bunk.bunk - setting.butt_at + log.ends(setting.piece).butt.pith[0])


def _stands(shape: BaseGeometry, section: Section) -> bool:
    """Whether a piece stands by itself: its weight comes down within what rests on the bunk."""
    left, right = _resting(section.points)
    return abs(float(shape.centroid.x) - (left + right) / 2.0) < STANDS * (right - left)


def _resting(points: Array) -> tuple[float, float]:
    """From where to where a section's outline (n, 2) rests. [mm]"""
    low = points[points[:, 1] < points[:, 1].min() + RESTING, 0]
    return float(low.min()), float(low.max())


def _props(
    log: SawnPieces, setting: ScriptSetting, pose: MachinePose, section: Section, faces: tuple[ShownFace, ...]
) -> list[Prop]:
    against = next((one for one in faces if setting.against and one.face.cut == setting.against.face), None)
    if setting.tool in (Saw.RIP, Saw.CROSSCUT):
        return []
    if setting.tool is Saw.BUCK:
        return _fitted(section, PropKind.CHOCK, CHOCK)
    if setting.tool is Saw.RESAW:
        return _at_the_fence(setting, section, against)
    if setting.against is not None:
        return [] if against is None or setting.against.angle < FLAT_DEG else [_cradle(against)]
    if log.kind(setting.piece) is Kind.LOG:
        return _fitted(section, PropKind.CHOCK, CHOCK)
    upright = [one for one in faces if abs(float(one.face.normal @ pose.up)) < np.sin(np.radians(UPRIGHT_DEG))]
    if log.kind(setting.piece) is Kind.HALF and upright:
        return _at_the_stops(section, upright[0], float(upright[0].face.normal @ pose.right))
    return _fitted(section, PropKind.BLOCK, np.inf)


def _fitted(section: Section, kind: PropKind, most: float, ways: tuple[float, ...] = (-1.0, 1.0)) -> list[Prop]:
    """Blocks on the given sides of where a section rests, cut to its underside."""
    points = section.points
    floor, rest = float(points[:, 1].min()), _resting(points)
    found = []
    for way in ways:
        start = (rest[0] if way < 0.0 else rest[1]) + way * BESIDE
        edge = float(points[:, 0].min() if way < 0.0 else points[:, 0].max())
        end = start + way * min(REACH, abs(edge - start) * 0.9)
        if (end - start) * way < BESIDE:
            continue
        across = np.linspace(start, end, 8)
        heights = np.minimum(np.array([_underside(section, float(x)) for x in across]), floor + most)
        if heights[-1] - floor < LEAST_BLOCK:
            continue
        top = np.column_stack([across, heights])
        found.append(Prop(kind, np.vstack([[start, floor], [end, floor], top[::-1]]),
                          (abs(end - start), float(heights[0] - floor), float(heights[-1] - floor))))  # fmt: skip
    return found


def _underside(section: Section, x: float) -> float:
    """Height of the lowest of a section over a place across. [mm]"""
    lows = []
    for ring in section.outlines:
        crossed = LineString(ring).intersection(LineString([(x, -FAR), (x, FAR)]))
        if not crossed.is_empty:
            lows.append(float(crossed.bounds[1]))
    return min(lows, default=float(section.points[:, 1].min()))


def _at_the_stops(section: Section, face: ShownFace, side: float) -> list[Prop]:
    """A half on edge: stops against its upright face, a chock under its bark."""
    way, points = (1.0 if side > 0.0 else -1.0), section.points
    at, floor = float(face.edge[:, 0].mean()), float(points[:, 1].min())
    height = min(STOP_MOST, STOP_SHARE * float(np.ptp(points[:, 1])))
    stop = np.array([[at, floor], [at + way * STOP, floor], [at + way * STOP, floor + height], [at, floor + height]])
    return [Prop(PropKind.STOP, stop, (STOP, height)), *_fitted(section, PropKind.CHOCK, CHOCK, (-way,))]


def _cradle(face: ShownFace) -> Prop:
    """The block under a leaning face on the mill: from the bed up to the face."""
    low, high = face.edge
    outline = np.array([[low[0], 0.0], [high[0], 0.0], high, low])
    return Prop(PropKind.CRADLE, outline, (abs(float(high[0] - low[0])), float(low[1]), float(high[1])))


def _at_the_fence(setting: ScriptSetting, section: Section, face: ShownFace | None) -> list[Prop]:
    """The fence at the left, and between it and a leaning face the block that holds its angle."""
    if face is None or setting.against is None:
        return _fitted(section, PropKind.BLOCK, np.inf)
    left = float(section.points[:, 0].min())
    low, high = face.edge
    at = left if setting.against.angle < FLAT_DEG else min(left, float(low[0])) - FENCE_GAP
    height = max(FENCE_HEIGHT, float(section.points[:, 1].max()) * STOP_SHARE)
    fence = Prop(PropKind.FENCE, np.array([[at - FENCE, 0.0], [at, 0.0], [at, height], [at - FENCE, height]]))
    if setting.against.angle < FLAT_DEG:
        return [fence]
    outline = np.array([[at, low[1]], low, high, [at, high[1]]])
    return [fence, Prop(PropKind.CRADLE, outline, (float(low[0] - at), float(high[0] - at), float(high[1] - low[1])))]
