"""What the log is good for, the end of the sheet: what each product list alone gives, and the parts that do not fit."""

from __future__ import annotations

from reportlab.platypus import Flowable, Table

from pithline.outputs.formatting import Formatter, count
from pithline.outputs.good_for import ListResult, better_alone, how_searched, list_results, misfits_in_words, sets_of
from pithline.outputs.pdf.flow import Drawing, Prose, bullets, heading, markup, paragraph, style
from pithline.outputs.pdf.page import measure_of
from pithline.outputs.pdf.pen import Pen
from pithline.outputs.print_job import PrintJob
from pithline.outputs.results import Results, litres_in_words, money_in_words

SIZE = 9.0
"""Type of the rows. [pt]"""
BAR, TALL = 112.0, 11.0
"""Width of the longest bar, and its height. [pt]"""
MOST_MISFITS = 5
"""Parts of one list that do not fit and are told in full."""


class _Bar(Drawing):
    """The share of the list that brings most, dark where all compete."""

    def __init__(self, share: float, together: bool) -> None:
        super().__init__(BAR, TALL)
        self.share, self.together = share, together

    def sketch(self, pen: Pen) -> None:
        """A bar; none where nothing is earned."""
        if self.share > 0.0:
            pen.box((0.0, 0.0), BAR * self.share, TALL, 0.6, gray=0.45 if self.together else 0.85)


def good_for_part(job: PrintJob) -> list[Flowable]:
    """What each list gives, under a heading; nothing where the script tells of one list alone."""
    script = job.log.script
    found = list_results(script.raw["proof"], script.inputs.products, script.inputs.mill.hour_rate)
    if not found:
        return []
    most = max((_worth(one.results) for one in found if one.results is not None), default=0.0) or 1.0
    money = any(one.results is not None and one.results.earnings is not None for one in found)
    drawn = "earnings" if money else "instrument wood"
    return [
        *heading("What the log is good for", 15.0),
        paragraph(f"{how_searched(found)} Bars are {drawn}. {_alone(job, found)}".rstrip(), 9.5),
        *(_row(job, one, most) for one in found),
    ]


def _alone(job: PrintJob, found: tuple[ListResult, ...]) -> str:
    return better_alone(found, str(job.log.script.raw["proof"].get("asks_for", "")))


def _row(job: PrintJob, one: ListResult, most: float) -> Flowable:
    """A list: its bar, what it gives, what does not fit."""
    share = 0.0 if one.results is None else _worth(one.results) / most
    told: list[Flowable] = [Prose(markup(f"**{one.name}:** {sets_of(one)}{_figures(job, one)}"), style(SIZE))]
    told += bullets(misfits_in_words(one.misfits, MOST_MISFITS, job.fmt), SIZE * 0.9)
    width = measure_of(job.paper)
    return Table([[_Bar(share, one.searched == "plan"), told]], colWidths=[BAR + 8.0, width - BAR - 8.0], hAlign="LEFT",
                               style=[
        ("LEFTPADDING", (0, 0), (-1, -1), 0.0), ("RIGHTPADDING", (0, 0), (-1, -1), 0.0), ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("TOPPADDING", (0, 0), (-1, -1), 1.0), ("BOTTOMPADDING", (0, 0), (-1, -1), 5.0),
    ])  # fmt: skip


def _figures(job: PrintJob, one: ListResult) -> str:
    """Hours, litres and earnings of a list that gives something."""
    of, fmt = one.results, job.fmt
    if of is None or one.nothing:
        return ""
    text = f"; {count(of.set_ups, 'set-up')}, {of.hours:.1f} h, {_litres(of, fmt)}"
    if of.earnings is not None:
        text += f", earns **{money_in_words(of.earnings, job.log.script.inputs.products.currency)}**"
    return f"{text}."


def _litres(of: Results, fmt: Formatter) -> str:
    if of.set_volume is None:
        return fmt.volume(of.volume)
    loose = f", {litres_in_words(of.loose_volume, fmt)} loose" if of.loose_volume else ""
    return f"{litres_in_words(of.set_volume, fmt)} in sets{loose}"


def _worth(of: Results | None) -> float:
    """What the bar shows: earnings where they are known, else volume."""
    if of is None:
        return 0.0
    return max(of.earnings, 0.0) if of.earnings is not None else of.volume
