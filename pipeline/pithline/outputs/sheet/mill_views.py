"""How a piece lies on the mill, drawn to scale: facing the butt end, and from its right side along the bed."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from pithline.outputs.cut_script.document import Array, Lift, ScriptSetting
from pithline.outputs.cut_script.sawn_log import SawnLog, rightward, rings
from pithline.outputs.pdf.flow import Drawing
from pithline.outputs.pdf.page import width_of
from pithline.outputs.pdf.pen import DASHED, Pen
from pithline.outputs.print_job import PrintJob

HEIGHT = 178.0
"""Of both views. [pt]"""
END_SHARE = 0.5
"""Share of the width that is the end view's."""
STATIONS = 13
"""Sections that the side view is drawn through."""
BUNK = 7.0
"""Height of a bunk: height 0 is its top, the bed's rails lie under it. [pt]"""
RESTING = 6.0
"""What of a section lies this near its lowest point rests on the bunk, bark giving way. [mm]"""
BESIDE = 400.0
"""Bunks farther than this beyond the piece are left out. [mm]"""
STANDS = 0.4
"""A piece stands where its weight comes down within this share of what rests on the bunk, either side of its middle."""
FOOT, REACH, WEDGE = 8.0, 34.0, 26.0
"""A chock: where it begins beside the resting place, where it ends, and its greatest height. [pt]"""


class MillPose(NamedTuple):
    """How a mill setting stands: `right` and `up` (3,) in the log frame, and the height of the log's origin. [mm]"""

    right: Array
    up: Array
    level: float


class NumberedHeight(NamedTuple):
    """A cut's number and the height of its kerf's centre over the bed. [mm]"""

    number: int
    height: float


class Resting(NamedTuple):
    """What of a section's outline rests on the bunk: its middle and width. [mm]"""

    middle: float
    width: float


def pose_of(setting: ScriptSetting) -> MillPose:
    """The pose of a mill setting."""
    if setting.up is None or setting.marks is None:
        raise ValueError(f"{setting.id} is not on the mill")
    level = float(np.mean([mark.height - float(mark.point @ setting.up) for mark in setting.marks.both]))
    return MillPose(rightward(setting.up), setting.up, level)


def cut_heights(log: SawnLog, setting: ScriptSetting) -> list[NumberedHeight]:
    """The cuts of a mill setting."""
    return [NumberedHeight(log.cut_numbers[cut.id], cut.blade_height or 0.0) for cut in log.cuts_of(setting)]


def _resting(points: Array) -> Resting:
    """What of a section's outline (n, 2) rests on the bunk."""
    low = points[points[:, 1] < points[:, 1].min() + RESTING, 0]
    return Resting(float(low.min() + low.max()) / 2.0, float(np.ptp(low)))


def stands(log: SawnLog, setting: ScriptSetting) -> bool:
    """Whether a piece stands by itself as it is posed: its weight comes down within what rests on the bunk."""
    pose = pose_of(setting)
    shape = log.section(setting.piece, log.stretch(setting.piece).middle, pose.right, pose.up)
    outlines = rings(shape)
    if not outlines:
        return True
    resting = _resting(np.vstack(outlines))
    return abs(float(shape.centroid.x) - resting.middle) < STANDS * resting.width


class MillViews(Drawing):
    """Both views of one mill setting."""

    def __init__(self, job: PrintJob, setting: ScriptSetting, width: float) -> None:
        super().__init__(width, HEIGHT)
        self.log, self.fmt, self.setting, self.pose = job.log, job.fmt, setting, pose_of(setting)
        self.cuts = cut_heights(job.log, setting)

    def sketch(self, pen: Pen) -> None:
        """The end view at the left, the side view at the right."""
        self._end_view(pen)
        self._side_view(pen)

    def _bunk_station(self, bunk: float) -> float:
        """Station of the log over a bunk."""
        return float(bunk - self.setting.butt_at + self.log.ends(self.setting.piece).butt.pith[0])

    # -- facing the butt end ----------------------------------------------------------------------------------------

    def _end_view(self, pen: Pen) -> None:
        """The section over the carrying bunk nearest the middle, bed and lift under it, cuts with their heights."""
        middle_x = float(np.mean(self.log.stretch(self.setting.piece)))
        bunk = min(self.setting.lifts, key=lambda one: abs(self._bunk_station(one.bunk) - middle_x), default=Lift(0.0, 0.0))
        x = self._bunk_station(bunk.bunk) if self.setting.lifts else middle_x
        section = self.log.section(self.setting.piece, x, self.pose.right, self.pose.up)
        outlines = [ring + np.array([0.0, self.pose.level]) for ring in rings(section)]
        if not outlines:
            return
        points = np.vstack(outlines)
        low, high = min(0.0, float(points[:, 1].min())), max([float(points[:, 1].max()), *(cut.height for cut in self.cuts)])
        wide, room = float(np.ptp(points[:, 0])), END_SHARE * self.width
        scale = min((HEIGHT - 40.0) / (high - low), (room - 130.0) / wide)
        middle, base = 20.0 + (room - 100.0) / 2.0, 24.0 - low * scale
        shift = float(points[:, 0].max() + points[:, 0].min()) / 2.0
        half = wide / 2.0 * scale + 16.0

        def place(spots: Array) -> Array:
            return np.asarray(np.array([middle, base]) + (spots - [shift, 0.0]) * scale, float)

        pen.line((middle - half, base), (middle + half, base), 2.0)
        pen.text((middle - half, base - 10.0), "height 0: top of the bunk, no lift", 7.5)
        foot = float(place(np.array([_resting(points).middle, 0.0]))[0])
        if bunk.lift > 0.0:
            pen.box((foot - 20.0, base), 40.0, bunk.lift * scale, 0.8, gray=0.8)
        for wedge in _chocks(place(points), foot):
            pen.polygon(wedge, 0.8, gray=0.8)
        pen.outlines((place(ring) for ring in outlines), 1.3)
        self._pith(pen, place)
        self._cut_names(pen, (middle - half, middle + half), base, scale)
        pen.text((0.0, HEIGHT - 9.0), "Facing the butt end", 8.0)

    def _pith(self, pen: Pen, place: Callable[[Array], Array]) -> None:
        """A cross where the pith is the mark."""
        marks = self.setting.marks
        if marks is None or marks.butt.name != "pith":
            return
        spot = place(np.array([float(marks.butt.point @ self.pose.right), marks.butt.height]))
        for arm in (np.array([5.0, 0.0]), np.array([0.0, 5.0])):
            pen.line(spot - arm, spot + arm)

    def _cut_names(self, pen: Pen, span: tuple[float, float], base: float, scale: float) -> None:
        """Dashed lines across `span` with number and height on the scale beside them, moved apart where they crowd."""
        last, gap = np.inf, min(12.0, (HEIGHT - 16.0) / max(len(self.cuts), 1))
        for cut in sorted(self.cuts, key=lambda one: -one.height):
            y = base + cut.height * scale
            pen.line((span[0], y), (span[1], y), 0.9, DASHED)
            spot = min(y - 3.0, last - gap)
            pen.line((span[1], y), (span[1] + 8.0, spot + 3.0), 0.4)
            text = f"{cut.number}: {self.fmt.length(cut.height - self.log.scale_drop)}"
            pen.text((span[1] + 10.0, spot), text, min(9.5, gap * 0.8, 85.0 / width_of(text, 1.0, True)), bold=True)
            last = spot

    # -- from the right -----------------------------------------------------------------------------------------------

    def _side_view(self, pen: Pen) -> None:
        """The piece along the bed: bunks, lifts where it rests, the marks at one height, the cuts."""
        stretch = self.log.stretch(self.setting.piece)
        stations = np.linspace(stretch.low + 1.0, stretch.high - 1.0, STATIONS)
        sections = [self.log.section(self.setting.piece, float(x), self.pose.right, self.pose.up) for x in stations]
        held = [not one.is_empty for one in sections]
        if sum(held) < 2:
            return
        spans = np.array([(one.bounds[1], one.bounds[3]) for one in sections if not one.is_empty]) + self.pose.level
        along = stations[held] + self.setting.butt_at - float(self.log.ends(self.setting.piece).butt.pith[0])
        bunks = self._bunks(along)
        left, right = min([along[0], *bunks]) - 60.0, max([along[-1], *bunks]) + 60.0
        top = max([float(spans.max()), *(cut.height for cut in self.cuts)])
        begin = END_SHARE * self.width + 14.0
        scale = min((self.width - begin) / (right - left), (HEIGHT - 60.0) / top)

        def place(x: float, height: float) -> Array:
            return np.asarray(np.array([begin, 34.0]) + scale * np.array([x - left, height]), float)

        pen.line(place(left, 0.0) - [0.0, BUNK], place(right, 0.0) - [0.0, BUNK], 2.0)
        self._bunk_row(pen, [place(bunk, 0.0) for bunk in bunks], bunks, scale)
        lower, upper = ([place(x, span[side]) for x, span in zip(along, spans, strict=True)] for side in (0, 1))
        pen.polygon(np.array([*lower, *upper[::-1]]), 1.3)
        for cut in self.cuts:
            pen.line(place(along[0], cut.height), place(along[-1], cut.height), 0.7, DASHED)
        shift = self.setting.butt_at - float(self.log.ends(self.setting.piece).butt.pith[0])
        for mark in self.setting.marks.both if self.setting.marks else ():
            pen.circle(place(float(mark.point[0]) + shift, mark.height), 3.2)
        pen.text((begin, HEIGHT - 9.0), "From the right, butt end at the left.", 8.0)
        pen.text((begin, HEIGHT - 19.0), "Circles: the marks, at one height.", 8.0)

    def _bunks(self, along: Array) -> list[float]:
        """Positions of the bunks under the piece and near it."""
        known = {*self.log.script.inputs.mill.bunks, *(one.bunk for one in self.setting.lifts)}
        return sorted(one for one in known if along[0] - BESIDE < one < along[-1] + BESIDE)

    def _bunk_row(self, pen: Pen, feet: list[Array], bunks: list[float], scale: float) -> None:
        """The bunks with the lifts of those that carry, and what each is."""
        lifts, taken, length = {one.bunk: one.lift for one in self.setting.lifts}, -np.inf, self.fmt.length
        begin = END_SHARE * self.width + 14.0
        for bunk, foot in zip(bunks, feet, strict=True):
            pen.box((foot[0] - 4.0, foot[1] - BUNK), 8.0, BUNK, 0.8)
            if bunk not in lifts:
                continue
            pen.box((foot[0] - 4.0, foot[1]), 8.0, max(lifts[bunk] * scale, 0.5), 0.8, gray=0.6)
            text = f"bunk {length(bunk)}: " + (f"lift {length(lifts[bunk])}" if lifts[bunk] > 0.0 else "no lift")
            size = 8.0
            at = min(max(foot[0] - width_of(text, size) / 2.0, begin), self.width - width_of(text, size))
            row = 9.0 if at > taken + 4.0 else 19.0
            pen.text((at, foot[1] - BUNK - row), text, size)
            taken = at + width_of(text, size) if row < 10.0 else taken


def _chocks(points: Array, foot: float) -> list[Array]:
    """A chock (3, 2) either side of where a section's outline (n, 2) rests, at `foot` across. [pt]"""
    floor, found = float(points[:, 1].min()), []
    for way in (-1.0, 1.0):
        reach = foot + way * REACH
        under = points[np.abs(points[:, 0] - reach) < 14.0, 1]
        height = float(under.min()) if len(under) else floor
        if height > floor + 2.0:
            found.append(np.array([[foot + way * FOOT, floor], [reach, floor], [reach, min(height, floor + WEDGE)]]))
    return found
