"""The ladder: what plans of fewer or more set-ups bring, each a row with its bar, and what one more hour earns."""

from __future__ import annotations

from reportlab.platypus import Flowable, KeepTogether, Paragraph, Table

from pithline.outputs.cut_script.document import Rung, Totals
from pithline.outputs.formatting import count
from pithline.outputs.pdf.flow import Drawing, heading, markup, style
from pithline.outputs.pdf.page import measure_of
from pithline.outputs.pdf.pen import Pen
from pithline.outputs.print_job import PrintJob
from pithline.outputs.results import Results, litres_in_words, money_in_words, results_of_totals, sets_in_words

SIZE = 9.0
"""Type of the rows. [pt]"""
BAR, TALL = 112.0, 11.0
"""Width of the longest bar, and its height. [pt]"""
LEAST_HOURS = 0.05
"""Plans nearer than this in time take the same time. [h]"""


class _Bar(Drawing):
    """The share of the best, dark where it is this plan."""

    def __init__(self, share: float, chosen: bool) -> None:
        super().__init__(BAR, TALL)
        self.share, self.chosen = share, chosen

    def sketch(self, pen: Pen) -> None:
        """A bar."""
        pen.box((0.0, 0.0), BAR * self.share, TALL, 0.6, gray=0.45 if self.chosen else 0.85)


def ladder(job: PrintJob) -> list[Flowable]:
    """The ladder of plans; nothing where there is but one."""
    rungs = job.log.script.rungs
    if len(rungs) < 2:
        return []
    found = [_results(job, rung.totals) for rung in rungs]
    most = max(_worth(one) for one in found) or 1.0
    rows = [[_Bar(_worth(one) / most, rung.chosen), Paragraph(markup(text), style(SIZE))]
            for rung, one, text in zip(rungs, found, rung_words(job), strict=True)]  # fmt: skip
    width = measure_of(job.paper)
    made = Table(rows, colWidths=[BAR + 8.0, width - BAR - 8.0], hAlign="LEFT", spaceAfter=4.0, style=[
        ("LEFTPADDING", (0, 0), (-1, -1), 0.0), ("RIGHTPADDING", (0, 0), (-1, -1), 0.0), ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("TOPPADDING", (0, 0), (-1, -1), 0.0), ("BOTTOMPADDING", (0, 0), (-1, -1), 3.0),
    ])  # fmt: skip
    return [KeepTogether([*heading("Fewer set-ups, more set-ups: what each plan brings", 12.0, 40.0), made])]


def rung_words(job: PrintJob) -> list[str]:
    """Every rung in words, this plan's own in strong ones; empty where there is but one."""
    rungs = job.log.script.rungs
    found = [_results(job, rung.totals) for rung in rungs]
    texts = [f"{_first(rung, one)}; {_second(job, one, before, rung)}"
             for rung, one, before in zip(rungs, found, [None, *found], strict=False)]  # fmt: skip
    return texts if len(texts) > 1 else []


def _results(job: PrintJob, totals: Totals) -> Results:
    inputs = job.log.script.inputs
    return results_of_totals(totals, inputs.products, inputs.mill.hour_rate)


def _worth(one: Results) -> float:
    """What the bar shows: earnings where they are known, else volume."""
    return max(one.earnings, 0.0) if one.earnings is not None else one.volume


def _first(rung: Rung, one: Results) -> str:
    name = f"this plan{', ' if rung.title else ''}{rung.title}" if rung.chosen else rung.title
    text = f"{name + ': ' if name else ''}{sets_in_words(one)}"
    return f"**{text}**" if rung.chosen else text


def _second(job: PrintJob, one: Results, before: Results | None, rung: Rung) -> str:
    fmt, currency = job.fmt, job.log.script.inputs.products.currency
    text = f"{count(one.set_ups, 'set-up')}, {one.hours:.1f} h, {fmt.volume(one.volume)}"
    if one.set_volume is not None:
        text += f" ({litres_in_words(one.set_volume, fmt)} in sets)"
    if one.earnings is not None:
        text += f", earns {money_in_words(one.earnings, currency)}"
    hour = _one_more_hour(one, before)
    if hour is not None:
        text += f"; each hour more brings {money_in_words(hour, currency)}"
    if rung.practice is not None:
        customary = _results(job, rung.practice)
        text += f". Customary way: {sets_in_words(customary)}"
        text += f", {money_in_words(customary.earnings, currency)}" if customary.earnings is not None else ""
    return text


def _one_more_hour(one: Results, before: Results | None) -> float | None:
    """What each hour more than the plan before earns; `None` where there is no more, or no money."""
    if before is None or one.earnings is None or before.earnings is None or one.hours - before.hours < LEAST_HOURS:
        return None
    return (one.earnings - before.earnings) / (one.hours - before.hours)
