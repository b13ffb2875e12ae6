"""The same day: what keeps the sawn pieces from splitting."""

from __future__ import annotations

from reportlab.platypus import Flowable, PageBreak

from pithline.outputs.pdf.flow import caution, heading, shares, step, table
from pithline.outputs.pdf.page import measure_of
from pithline.outputs.print_job import PrintJob
from pithline.outputs.sheet.cautions import GUARDS

STICKERS = (19.0, 32.0, 38.0)
"""Thickness, least and greatest width of a sticker: 3/4 in; 1 1/4 to 1 1/2 in (G. Wengert). [mm]"""
SPACING = (304.8, 406.4)
"""Sticker spacing for 1 in and thinner: 12 to 16 in (G. Wengert). [mm]"""
WEIGHED = 6
"""Rows for weights: one piece of each kind."""


def same_day(job: PrintJob) -> list[Flowable]:
    """Sealing, stacking, weighing."""
    length = job.fmt.length
    steps = (
        "Crayon first: the mark, and a large V across the piece with its point to the butt. Paper does not "
        "stick to wet wood: staple the labels, or stick them on after drying.",
        "Seal both ends of every piece within hours of cutting (common practice).",
        f"Stack on stickers {length(STICKERS[0])} thick and {length(STICKERS[1])} to {length(STICKERS[2])} wide, "
        f"{length(SPACING[0])} to {length(SPACING[1])} apart, one above the other (published: G. Wengert).",
        "Weight on top; shade; air from the side, no sun and no rain (common practice).",
        "Keep mates together and in the order they were sawn.",
        "Weigh one piece of each kind now and write the weight and the date on it: drying is followed from this number.",
    )
    widths = shares(measure_of(job.paper), 40, 30, 30)
    return [
        PageBreak(), *heading("The same day"), *(step(number, text, 12.0) for number, text in enumerate(steps, 1)),
        table(["Piece", "Weight", "Date"], [["", "", ""]] * WEIGHED, widths, 14.0), caution(GUARDS),
    ]  # fmt: skip
