"""What stands in the preview beside the wood: how a piece is posed, what holds it, the lines drawn on its ends."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pithline.logmodel.model import EndPlane
from pithline.outputs.cut_script.document import Array, Kind, Saw, ScriptSetting
from pithline.outputs.cut_script.end_lines import LEVEL_LINE, EndLine, end_lines
from pithline.outputs.cut_script.sawn_pieces import SawnPieces
from pithline.outputs.ends import EndFace, end_face
from pithline.outputs.holding.pose import MachinePose
from pithline.outputs.holding.props import PropKind, crosscut_supports, holding_of
from pithline.outputs.print_job import PrintJob

HALF_WIDTH = 35.0
"""Half of what a block, chock or stop measures along the bed, at each bunk that carries. [mm]"""
PROUD = 1.5
"""How far before an end face its lines are drawn, so that the wood does not hide them. [mm]"""
TWELVE_STEP = 50.0
"""From one point of the 12 o'clock line to the next along the bark. [mm]"""
NAME_OUT = 1.07
"""Names stand this much farther from the pith than the end of their line."""
NAMES_APART = 0.16
"""Names keep this share of the log's radius between them."""
MOST_OUT = 2.5
"""A name moves out by no more than this many times what keeps names apart."""
OVER_BARK = 2.0
"""How far over the bark it is drawn. [mm]"""


@dataclass(frozen=True, slots=True, eq=False)
class PropSolid:
    """Something that holds the piece: `outline` (n, 2) across the machine (to the left) and up, and from where to where along it
    it stands, once or more, each (2,). [mm]
    """

    kind: PropKind
    outline: Array
    spans: tuple[Array, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Stand:
    """A piece on its machine: `rows` (3, 3) turn the log frame to the machine's (along, left, up), `shift` (3,) follows. [mm]"""

    rows: Array
    shift: Array
    props: tuple[PropSolid, ...]


@dataclass(frozen=True, slots=True, eq=False)
class DrawnLine:
    """A line on an end: its stretches (2, 3) each in the log frame, its name and where that stands (3,)."""

    name: str
    parts: tuple[Array, ...]
    at: Array


def stand_of(log: SawnPieces, setting: ScriptSetting, points: Array) -> Stand:
    """How a setting's piece stands; `points` (n, 3) are its corners in the log frame."""
    holding = holding_of(log, setting)
    pose = holding.pose
    rows = np.stack([pose.along, -pose.right, pose.up])
    turned = points @ rows.T if len(points) else np.zeros((1, 3))
    low, high = turned.min(axis=0), turned.max(axis=0)
    if setting.tool is Saw.MILL:
        along = setting.butt_at - float(log.ends(setting.piece).butt.pith @ pose.along)
        across = float(turned[:, 1].mean())
    else:
        along, across = -float(low[0] + high[0]) / 2.0, float(low[1] + high[1]) / 2.0
    shift = np.array([along, -across, pose.level])
    spans = _spans(log, setting, float(low[0]) + along, float(high[0]) + along)
    props = tuple(PropSolid(prop.kind, _across(prop.outline, pose, shift), spans) for prop in holding.props)
    return Stand(rows, shift, props)


def _spans(log: SawnPieces, setting: ScriptSetting, low: float, high: float) -> tuple[Array, ...]:
    """Where blocks stand along the machine: at the bunks that carry, by the cuts of a crosscut log, else under the whole piece."""
    if setting.tool is Saw.MILL and setting.lifts:
        at = [one.bunk for one in setting.lifts]
    elif setting.tool is Saw.BUCK:
        stretch = log.stretch(setting.piece)
        at = [low + (x - stretch.low) for x in crosscut_supports(log, setting)]
    else:
        return (np.array([low, high]),)
    return tuple(np.array([one - HALF_WIDTH, one + HALF_WIDTH]) for one in at)


def _across(outline: Array, pose: MachinePose, shift: Array) -> Array:
    """A prop's outline from right and height to left and height of the machine."""
    return np.column_stack([-outline[:, 0] + shift[1], outline[:, 1]])


def lines_on_ends(job: PrintJob, setting: ScriptSetting) -> list[DrawnLine]:
    """What is drawn on both ends of a setting's piece and is sawn, levelled or ticked in it."""
    log = job.log
    if setting.tool is not Saw.MILL or setting.marks is None:
        return []
    found = []
    for end in log.ends(setting.piece):
        for group in end_lines(log, job.shop, [setting], end):
            found += [line for line in (_drawn(end, one) for one in group.lines) if line is not None]
    is_log = log.kind(setting.piece) is Kind.LOG
    return _names_apart(
        [one for one in found if is_log or one.name != LEVEL_LINE],
        NAMES_APART * float(log.model.radius_over_bark.max()),
    )


def _names_apart(lines: list[DrawnLine], apart: float) -> list[DrawnLine]:
    """Lines whose names stand no nearer to one another than `apart` [mm]: a name too near moves out along its line."""
    placed: list[Array] = []
    found = []
    for line in lines:
        ends = line.parts[0]
        way = line.at - ends.mean(axis=0)
        way = way / max(float(np.linalg.norm(way)), 1e-9)
        at = line.at
        while (
            any(float(np.linalg.norm(at - other)) < apart for other in placed)
            and float(np.linalg.norm(at - line.at)) < MOST_OUT * apart
        ):
            at = at + 0.5 * apart * way
        placed.append(at)
        found.append(replace(line, at=at))
    return found


def _drawn(end: EndFace, line: EndLine) -> DrawnLine | None:
    parts = line.sawn or line.ticks or ((line.points,) if line.points is not None and line.name == LEVEL_LINE else ())
    if not parts:
        return None
    corners = tuple(_in_space(end, part[[0, -1]]) for part in parts)
    tips = np.vstack([part[[0, -1]] for part in parts])
    tip = tips[int(np.argmax(np.hypot(tips[:, 0], tips[:, 1])))]
    return DrawnLine(line.name, corners, _in_space(end, tip[None] * NAME_OUT)[0])


def _in_space(end: EndFace, points: Array) -> Array:
    """Face coordinates (n, 2) to the log frame (n, 3), a little before the face."""
    return np.asarray(end.pith + PROUD * end.normal + points @ np.array([end.right, end.up]), float)


def twelve_line(log: SawnPieces, own: str) -> Array:
    """The 12 o'clock line of a log, whole or crosscut: up the butt end over its pith, along the bark, down the top end; (n, 3)."""
    butt, top = log.ends(own)
    along = [_in_space(butt, np.array([butt.six, butt.twelve]))]
    x = np.arange(float(butt.pith[0]) + TWELVE_STEP, float(top.pith[0]) - TWELVE_STEP / 2.0, TWELVE_STEP)
    model = log.model
    for station in x:
        plane = EndPlane(np.array([station, *model.splines(model.pith)(station)]), np.array([-1.0, 0.0, 0.0]))
        face = end_face(model, "butt", plane)
        along.append(np.asarray(face.pith + (float(face.twelve[1]) + OVER_BARK) * face.up, float)[None])
    return np.vstack([*along, _in_space(top, np.array([top.twelve, top.six]))])
