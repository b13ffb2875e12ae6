"""A setting on the mill drawn to scale: facing the butt end, and from its right side along the bed."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np

from pithline.outputs.cut_script.document import Array, Kind, ScriptSetting
from pithline.outputs.cut_script.sawn_pieces import SawnPieces
from pithline.outputs.formatting import Formatter
from pithline.outputs.holding.arris import arris_at, arris_faces
from pithline.outputs.holding.pose import MachinePose, pose_of
from pithline.outputs.holding.props import Holding, station_over
from pithline.outputs.holding.sketch import Box, Place, draw_holding
from pithline.outputs.pdf.flow import Drawing
from pithline.outputs.pdf.page import shortened, width_of
from pithline.outputs.pdf.pen import DASHED, Pen
from pithline.outputs.print_job import PrintJob

LABELS = 74.0
"""Room right of the end view for the cuts' numbers and heights. [pt]"""
FLOOR, HEADROOM = 17.0, 12.0
"""Under the bed for what it is called, and over the piece for the view's name. [pt]"""
LABEL, NOTE = 9.5, 7.0
"""Type of the cuts' heights, and of what else is written in a view. [pt]"""
BUNK = 6.0
"""Height of a bunk: height 0 is its top, the bed's rails lie under it. [pt]"""
STATIONS = 13
"""Sections that the side view is drawn through."""
BESIDE = 400.0
"""Bunks farther than this beyond the piece are left out. [mm]"""
RISER = 26.0
"""Half the width of a lifted bunk in the end view. [pt]"""
LOW, STUB_STATIONS = 5.0, 81
"""A stub that hangs below the bunks' tops by more than this is told of [mm]; sections in which it is looked for."""


class NumberedHeight(NamedTuple):
    """A cut's number and the height of its kerf's centre over the bed. [mm]"""

    number: int
    height: float


def cut_heights(log: SawnPieces, setting: ScriptSetting) -> list[NumberedHeight]:
    """The cuts of a mill setting."""
    return [NumberedHeight(log.cut_numbers[cut.id], cut.blade_height or 0.0) for cut in log.cuts_of(setting)]


class MillEnd(Drawing):
    """A mill setting seen facing the butt end: bed and lift, what holds the piece, its sawn faces, the cuts' heights."""

    def __init__(self, job: PrintJob, setting: ScriptSetting, holding: Holding, width: float, height: float) -> None:
        super().__init__(width, height)
        self.log, self.fmt, self.setting, self.holding = job.log, job.fmt, setting, holding
        self.cuts = cut_heights(job.log, setting)

    def sketch(self, pen: Pen) -> None:
        """Bed, props, piece, pith, cuts."""
        section = self.holding.section
        pen.text((0.0, self.height - 7.0), "facing the butt end", NOTE)
        if section is None:
            return
        points = np.vstack([section.points, *(prop.outline for prop in self.holding.props)])
        low, high = 0.0, max([float(points[:, 1].max()), *(cut.height for cut in self.cuts)])
        left, right = float(points[:, 0].min()), float(points[:, 0].max())
        room = self.width - LABELS - 8.0
        scale = min((self.height - FLOOR - HEADROOM) / (high - low), (room - 8.0) / (right - left))
        begin = 4.0 + (room - (right - left) * scale) / 2.0

        def place(spots: Array) -> Array:
            return np.asarray(np.array([begin, FLOOR]) + (np.asarray(spots, float) - [left, low]) * scale, float)

        span = (max(begin - 8.0, 0.0), begin + (right - left) * scale + 8.0)
        pen.line((span[0], FLOOR), (span[1], FLOOR), 2.0)
        pen.text((span[0], FLOOR - 9.0), "height 0: top of a bunk, no lift", NOTE)
        self._riser(pen, place)
        heights = self._cut_names(pen, span, scale)
        draw_holding(pen, self.holding, place, self.fmt, heights)
        self._pith(pen, place)
        faces = arris_faces(self.holding, self.setting)
        if self.setting.support == "cradle" and faces is not None:
            spot = place(arris_at(self.holding.pose, faces, section.x))
            pen.circle(spot, 2.0)
            pen.text(spot + np.array([4.0, -3.0]), "A", LABEL, bold=True)

    def _riser(self, pen: Pen, place: Place) -> None:
        """The lift under the section."""
        section = self.holding.section
        at = [
            one
            for one in self.setting.lifts
            if section and abs(station_over(self.log, self.setting, one) - section.x) < 1.0
        ]
        if not at or section is None or at[0].lift <= 0.0:
            return
        points = section.points
        foot = float(points[points[:, 1] < points[:, 1].min() + 6.0, 0].mean())
        spot = place(np.array([foot, 0.0]))
        top = place(np.array([foot, at[0].lift]))
        pen.box((spot[0] - RISER, FLOOR), 2.0 * RISER, float(top[1]) - FLOOR, 0.6, gray=0.7)

    def _pith(self, pen: Pen, place: Place) -> None:
        """A cross where the pith is the mark, a ring where a point of a line is."""
        if self.setting.marks is None:
            return
        mark = self.setting.marks.butt
        spot = place(np.array([float(mark.point @ self.holding.pose.right), mark.height]))
        if mark.name == "pith":
            for arm in (np.array([5.0, 0.0]), np.array([0.0, 5.0])):
                pen.line(spot - arm, spot + arm)

    def _cut_names(self, pen: Pen, span: tuple[float, float], scale: float) -> list[Box]:
        """Dashed lines across `span` with number and height on the scale beside them, moved apart where they crowd; what these take."""
        taken: list[Box] = []
        gap = min(13.0, (self.height - FLOOR) / max(len(self.cuts), 1))
        cuts = sorted(self.cuts, key=lambda one: -one.height)
        for cut, spot in zip(cuts, label_spots([FLOOR + cut.height * scale for cut in cuts], gap), strict=True):
            y = FLOOR + cut.height * scale
            pen.line((span[0], y), (span[1], y), 0.9, DASHED)
            pen.line((span[1], y), (span[1] + 7.0, spot + 3.5), 0.4)
            text = f"{cut.number}: {self.fmt.length(cut.height - self.log.scale_drop)}"
            room = self.width - span[1] - 9.0
            size = min(LABEL, gap * 0.8, room / width_of(text, 1.0, True))
            pen.text((span[1] + 9.0, spot), text, size, bold=True)
            taken.append((span[1] + 9.0, spot - 0.3 * size, span[1] + 9.0 + width_of(text, size, True), spot + size))
        return taken


def label_spots(lines: Sequence[float], gap: float) -> list[float]:
    """Where the names of lines stand, `gap` apart, from the highest line down; none under the bed, where words stand. [pt]"""
    spots: list[float] = []
    for line in lines:
        spots.append(min(line - 3.5, spots[-1] - gap) if spots else line - 3.5)
    for place in range(len(spots) - 1, -1, -1):
        least = spots[place + 1] + gap if place + 1 < len(spots) else FLOOR
        spots[place] = max(spots[place], least)
    return spots


class MillSide(Drawing):
    """The piece along the bed from its right side: bunks, lifts where it rests, the marks at one height, the cuts."""

    def __init__(self, job: PrintJob, setting: ScriptSetting, width: float, height: float) -> None:
        super().__init__(width, height)
        self.log, self.fmt, self.setting, self.pose = job.log, job.fmt, setting, pose_of(job.log, setting)
        self.bunks = job.log.script.inputs.mill.bunks

    def sketch(self, pen: Pen) -> None:
        """Bunks, outline, cuts, marks."""
        profile = side_profile(self.log, self.setting, self.pose)
        if profile is None:
            return
        bunks = self._bunks(profile.along)
        left, right = min([profile.along[0], *bunks]) - 60.0, max([profile.along[-1], *bunks]) + 60.0
        cuts = cut_heights(self.log, self.setting)
        top = max([float(profile.upper.max()), *(cut.height for cut in cuts)])
        foot = 2.0 * (NOTE + 2.0) + BUNK
        scale = min(self.width / (right - left), (self.height - foot - 10.0) / top)

        def place(x: float, height: float) -> Array:
            return np.asarray(np.array([0.0, foot]) + scale * np.array([x - left, height]), float)

        pen.text((0.0, self.height - 7.0), "from the right, butt end at the left; circles: the marks", NOTE)
        pen.line(place(left, 0.0) - [0.0, BUNK], place(right, 0.0) - [0.0, BUNK], 2.0)
        self._bunk_row(pen, bunks, place, scale)
        outline = [place(x, z) for x, z in zip(profile.along, profile.lower, strict=True)]
        outline += [place(x, z) for x, z in zip(profile.along[::-1], profile.upper[::-1], strict=True)]
        pen.polygon(np.array(outline), 1.3)
        for cut in cuts:
            pen.line(place(profile.along[0], cut.height), place(profile.along[-1], cut.height), 0.7, DASHED)
        shift = self.setting.butt_at - float(self.log.ends(self.setting.piece).butt.pith[0])
        for mark in self.setting.marks.both if self.setting.marks else ():
            pen.circle(place(float(mark.point[0]) + shift, mark.height), 3.0)

    def _bunks(self, along: Array) -> list[float]:
        """Positions of the bunks under the piece and near it."""
        known = {*self.bunks, *(one.bunk for one in self.setting.lifts)}
        return sorted(one for one in known if along[0] - BESIDE < one < along[-1] + BESIDE)

    def _bunk_row(self, pen: Pen, bunks: list[float], place: Callable[[float, float], Array], scale: float) -> None:
        """The bunks with the lifts of those that carry, and what each is, on two lines where they crowd."""
        lifts, taken = {one.bunk: one.lift for one in self.setting.lifts}, -np.inf
        for bunk in bunks:
            foot = place(bunk, 0.0)
            pen.box((foot[0] - 3.5, foot[1] - BUNK), 7.0, BUNK, 0.8)
            if bunk not in lifts:
                continue
            pen.box((foot[0] - 3.5, foot[1]), 7.0, max(lifts[bunk] * scale, 0.5), 0.8, gray=0.6)
            lift = self.fmt.length(lifts[bunk]) if lifts[bunk] > 0.0 else "0"
            text = shortened(f"bunk {self.fmt.bare(bunk)}: lift {lift}", self.width, NOTE)
            at = min(max(foot[0] - width_of(text, NOTE) / 2.0, 0.0), self.width - width_of(text, NOTE))
            row = NOTE + 1.0 if at > taken + 4.0 else 2.0 * (NOTE + 1.0)
            pen.text((at, foot[1] - BUNK - row), text, NOTE)
            taken = at + width_of(text, NOTE) if row < 1.5 * NOTE else taken


class Profile(NamedTuple):
    """A piece along the bed: places along it (n,), heights of its lower and upper side. [mm]"""

    along: Array
    lower: Array
    upper: Array


def side_profile(
    log: SawnPieces, setting: ScriptSetting, pose: MachinePose, stations: int = STATIONS
) -> Profile | None:
    """A mill setting's piece along the bed, stubs included; `None` where it has no length to show."""
    stretch = log.stretch(setting.piece)
    x = np.linspace(stretch.low + 1.0, stretch.high - 1.0, stations)
    sections = [log.section(setting.piece, float(one), pose.right, pose.up) for one in x]
    held = [not one.is_empty for one in sections]
    if sum(held) < 2:
        return None
    spans = np.array([(one.bounds[1], one.bounds[3]) for one in sections if not one.is_empty]) + pose.level
    shift = setting.butt_at - float(log.ends(setting.piece).butt.pith[0])
    return Profile(x[held] + shift, spans[:, 0], spans[:, 1])


def stub_words(log: SawnPieces, setting: ScriptSetting, pose: MachinePose, fmt: Formatter) -> str:
    """A stub or swelling that hangs below the bunks' tops, by its place along the bed; empty where none does."""
    profile = (
        side_profile(log, setting, pose, STUB_STATIONS) if log.kind(setting.piece) in (Kind.LOG, Kind.HALF) else None
    )
    if profile is None:
        return ""
    lowest = int(np.argmin(profile.lower))
    hangs, at = -float(profile.lower[lowest]), float(profile.along[lowest])
    if hangs <= LOW:
        return ""
    return f"Its lowest point hangs {fmt.length(hangs)} below the bunks' tops, {fmt.length(at)} along the bed: clear of bunks and rails."
