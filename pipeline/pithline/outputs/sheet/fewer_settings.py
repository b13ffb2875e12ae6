"""What fewer settings would give: one bar a plan, with its litres, settings, minutes and complete sets."""

from __future__ import annotations

from collections.abc import Sequence

from reportlab.platypus import Flowable, KeepTogether

from pithline.outputs.cut_script.document import Rung
from pithline.outputs.formatting import Formatter
from pithline.outputs.pdf.flow import Drawing, paragraph
from pithline.outputs.pdf.page import measure_of, shortened
from pithline.outputs.pdf.pen import Pen
from pithline.outputs.print_job import PrintJob

ROW, SIZE = 13.0, 8.5
"""Height of a row and of its type. [pt]"""
LABEL, BAR = 74.0, 170.0
"""Width of what stands before the bar, and of the longest bar. [pt]"""


class _Bars(Drawing):
    """One row a plan."""

    def __init__(self, rungs: Sequence[Rung], fmt: Formatter, width: float) -> None:
        super().__init__(width, ROW * len(rungs) + 6.0)
        self.rungs, self.fmt = rungs, fmt

    def sketch(self, pen: Pen) -> None:
        """A bar and its figures a row."""
        most = max(rung.instrument_volume for rung in self.rungs)
        for row, rung in enumerate(self.rungs):
            y, own = self.height - ROW * row, rung.most is None
            pen.text((0.0, y - 10.0), "this plan" if own else f"at most {rung.most}", SIZE, bold=own)
            pen.box((LABEL, y - 12.0), BAR * rung.instrument_volume / most, 9.0, 0.0, gray=0.35 if own else 0.7)
            sets = ", ".join(f"{n} {name}" for name, n in rung.complete_sets.items()) or "no complete set"
            text = f"{self.fmt.volume(rung.instrument_volume)}, {rung.settings} settings, {rung.minutes:.0f} min: {sets}"
            at = LABEL + BAR + 8.0
            pen.text((at, y - 10.0), shortened(text, self.width - at, SIZE), SIZE)


def fewer_settings(job: PrintJob) -> list[Flowable]:
    """The trade-off between charged settings and yield; nothing where there is but one plan."""
    rungs = job.log.script.rungs
    if len(rungs) < 2:
        return []
    title = paragraph("What fewer charged settings would still give (plan again with --max-settings):", 9.5, bold=True)
    return [KeepTogether([title, _Bars(rungs, job.fmt, measure_of(job.paper))])]
