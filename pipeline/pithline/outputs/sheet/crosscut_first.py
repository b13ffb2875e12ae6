"""Where a log is crosscut into shorter logs before anything else: by tape along the bark, square to the pith."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from reportlab.platypus import Flowable

from pithline.logmodel.model import EndPlane
from pithline.outputs.cut_script.document import Array, ScriptCut, ScriptSetting
from pithline.outputs.cut_script.sawn_pieces import LEVEL, UPRIGHT, SawnPieces
from pithline.outputs.ends import EndFace, end_face
from pithline.outputs.holding.props import crosscut_supports
from pithline.outputs.pdf.flow import Drawing, bullets, gap, heading, paragraph, shares, side_by_side, table
from pithline.outputs.pdf.page import measure_of, width_of
from pithline.outputs.pdf.pen import Pen
from pithline.outputs.print_job import PrintJob
from pithline.outputs.sheet.cautions import BUCK_RULES, heavy

HEIGHT, VIEW_SHARE = 84.0, 0.4
"""Of the picture [pt], and its share of the width."""
NAME = 9.0
"""Type of the cuts' names in it, less where they crowd. [pt]"""
STATIONS = 21
"""Sections that the picture is drawn through."""
SUPPORT = 11.0
"""Half the width of a support in the picture, and its height. [pt]"""
HOURS = {"12": "up", "3": "right", "6": "down", "9": "left"}
"""Hours of the clock at which a cut is taped, facing the butt end, by the arm of the plumb-and-level cross."""


def crosscut_part(job: PrintJob, setting: ScriptSetting) -> list[Flowable]:
    """The rules, the picture and the distances of one crosscutting of the log."""
    log, fmt, width = job.log, job.fmt, measure_of(job.paper)
    cuts, rows = log.cuts_of(setting), []
    for cut in cuts:
        taped = along_the_bark(log, setting, cut)
        rows.append([f"**{log.cut_numbers[cut.id]}**", *(fmt.length(taped[hour]) for hour in HOURS),
                     f"{log.mark(cut.below)} | {log.mark(cut.above)}"])  # fmt: skip
    moved = f", {heavy(setting.weight).removesuffix(' off')}" if heavy(setting.weight) else ""
    lead = (f"**{fmt.weight(setting.weight)}**{moved}. Tape from the butt end straight along the bark to the kerf's centre at four hours "
            "of the clock, and join the marks round the log: the cut then runs square to the pith. Carry the 12 o'clock line along "
            "the bark past every cut before sawing; mark the pith on the new faces as seen.")  # fmt: skip
    head = ["cut", *(f"at {hour} o'clock" for hour in HOURS), "butt | top side"]
    left = VIEW_SHARE * width
    view = CrosscutView(job, setting, cuts, left)
    return [
        *heading(f"Crosscut first: {log.kind(setting.piece)} {log.mark(setting.piece)}", 15.0, 40.0),
        side_by_side([[view], [paragraph(lead, 10.5)]], [left + 8.0, width - left - 8.0]), gap(4.0),
        table(head, rows, shares(width, 8, 18, 18, 18, 18, 20), 10.5), *bullets(BUCK_RULES), gap(4.0),
    ]  # fmt: skip


def along_the_bark(log: SawnPieces, setting: ScriptSetting, cut: ScriptCut) -> dict[str, float]:
    """How far a cut lies from the butt end along the bark, straight, by the hour of the clock. [mm]"""
    start = _bark_points(log.ends(setting.piece).butt)
    normal = -cut.normal if cut.normal[0] > 0.0 else cut.normal  # outward, as a butt end's is
    end = _bark_points(end_face(log.model, "butt", EndPlane(cut.normal * cut.offset, normal)))
    return {hour: float(np.linalg.norm(end[hour] - start[hour])) for hour in HOURS}


def _bark_points(end: EndFace) -> dict[str, Array]:
    """Where the plumb-and-level cross of an end meets the bark, (3,), by the hour of the clock."""
    arms, ways = end.arms(), {"up": end.up, "right": end.right, "down": -end.up, "left": -end.right}
    return {hour: np.asarray(end.pith + arms[arm] * ways[arm], float) for hour, arm in HOURS.items()}


class CrosscutView(Drawing):
    """The log from its right side, butt at the left, with its cuts and supports close to both sides of each."""

    def __init__(self, job: PrintJob, setting: ScriptSetting, cuts: Sequence[ScriptCut], width: float) -> None:
        super().__init__(width, HEIGHT)
        self.job, self.log, self.setting, self.cuts = job, job.log, setting, cuts

    def sketch(self, pen: Pen) -> None:
        """Outline, supports, cuts with their place at 12 o'clock."""
        stretch = self.log.stretch(self.setting.piece)
        stations = np.linspace(stretch.low, stretch.high, STATIONS)
        bounds = [self.log.section(self.setting.piece, float(x), LEVEL, UPRIGHT).bounds for x in stations]
        spans = np.array([(one[1], one[3]) for one in bounds])
        scale = min((self.width - 40.0) / stretch.length, (HEIGHT - 42.0) / float(np.ptp(spans)))

        def place(x: float, height: float) -> Array:
            return np.asarray(np.array([20.0, 22.0]) + scale * np.array([x - stretch.low, height - spans.min()]), float)

        lower, upper = ([place(x, span[side]) for x, span in zip(stations, spans, strict=True)] for side in (0, 1))
        pen.polygon(np.array([*lower, *upper[::-1]]), 1.3)
        pith = self.log.ends(self.setting.piece).butt.pith
        at = [float(cut.offset - cut.normal[1:] @ pith[1:]) / float(cut.normal[0]) for cut in self.cuts]
        for x in crosscut_supports(self.log, self.setting):
            foot = place(x, float(np.interp(x, stations, spans[:, 0])))
            pen.polygon(foot + SUPPORT * np.array([[0.0, 0.0], [1.0, -1.0], [-1.0, -1.0]]), gray=0.85)
        names = [f"cut {self.log.cut_numbers[cut.id]}: {self._at_twelve(cut)}" for cut in self.cuts]
        if (
            len(at) > 1
            and scale * float(np.diff(sorted(at)).min()) < max(width_of(one, NAME, True) for one in names) + 6.0
        ):
            names = [one.partition(":")[0] for one in names]  # the table tells where
        for name, x in zip(names, at, strict=True):
            top, low = place(x, float(spans.max())), place(x, float(spans.min()))
            pen.line(top + np.array([0.0, 4.0]), low - np.array([0.0, 4.0]), 1.2, (5.0, 2.0))
            pen.text(top + np.array([0.0, 8.0]), name, NAME, bold=True, anchor=0.5)
        pen.text((0.0, 2.0), "from the right, butt end at the left; distances at 12 o'clock", 7.0)

    def _at_twelve(self, cut: ScriptCut) -> str:
        return self.job.fmt.length(along_the_bark(self.log, self.setting, cut)["12"])
