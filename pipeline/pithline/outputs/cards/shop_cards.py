"""The shop cards as one PDF: the tree of pieces for the wall, then rules and cards in two columns, then the same day."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import combinations

from reportlab.platypus import Flowable, FrameBreak, KeepTogether, Table

from pithline.outputs.cards.card import FRESH_FACE, PADDING, TEXT, card
from pithline.outputs.cards.pictures import part_name
from pithline.outputs.cards.work import works_of
from pithline.outputs.cut_script.document import Saw, WoodStage
from pithline.outputs.formatting import degrees
from pithline.outputs.holding.pose import FLAT_DEG
from pithline.outputs.palette import looks
from pithline.outputs.pdf.flow import Prose, gap, markup, style
from pithline.outputs.pdf.page import columns_document, height_of, measure_of, new_canvas
from pithline.outputs.print_job import PrintJob
from pithline.outputs.sheet.cautions import FOOT, SHOP_RULES, dust
from pithline.trade.drying import AIR_DRYING

LOOK_AHEAD, FAR = 10, 1.0e6
"""So many cards are looked through for those that fill a column; a height that any card fits. [pt]"""
GAP = 4.0
"""Between cards of one column. [pt]"""
GUTTER = 11.0
"""Between the two columns. [pt]"""
STICKERS = (19.0, 32.0, 38.0)
"""Thickness, least and greatest width of a sticker: 3/4 in; 1 1/4 to 1 1/2 in (G. Wengert). [mm]"""
SPACING = (304.8, 406.4)
"""Sticker spacing for 1 in and thinner: 12 to 16 in (G. Wengert). [mm]"""
HOW_TO_READ = (
    "“Face 7” is the sawn face that cut 7 left. From a face: to the near side of the kerf. From ticks, arris or butt end: to the "
    "kerf's centre. Left and right: facing the butt end. “12 | 14”: at the butt | at the top end.",
    "Pictures are in true proportion: a slab from above, as it lies, butt end at the left; “T4 ×3”: billet T4 gives three slices.",
    "Draw all cuts of a step, then saw them in its order. “74/75” is one cut for two.",
    "Where no face is told, the piece lies on the face of the step before.",
    f"{FRESH_FACE} Before a billet is resawn: a large V across its edge, point to the butt, so that its plates go back in order. "
    "P2+P3 are mates.",
)


def shop_cards(job: PrintJob) -> bytes:
    """All cards of a script; the same script gives the same bytes."""
    works = works_of(job)
    width = (measure_of(job.paper) - GUTTER) / 2.0
    parts = looks(part_name(job.log, plate) for plate in job.log.plates)
    framed = [
        _framed("In the shop", [*HOW_TO_READ, *_set_ups(job), *SHOP_RULES, dust(job.log.script.log.species)], width)
    ]
    framed += [card(job, work, parts, width) for work in works]
    framed.append(_framed("The same day", _same_day(job), width))
    story = _packed(framed, width, height_of(job.paper))
    return columns_document(story, job.paper, f"Shop cards, log {job.log.script.log.id}", FOOT, GUTTER)


def _set_ups(job: PrintJob) -> list[str]:
    """Cradles at the band saw with the bolts that share each: it is set up once, and they follow one another."""
    found: dict[str, list[str]] = {}
    for one in job.log.ahead:
        if one.tool is Saw.RESAW and one.set_up and one.against is not None and one.against.angle > FLAT_DEG:
            found.setdefault(degrees(one.against.angle), []).append(job.log.mark(one.piece))
    shared = "; ".join(f"**{angle}**: {', '.join(marks)}" for angle, marks in found.items())
    return [f"Cradles at the band saw, each set up once: {shared}."] if shared else []


def _packed(cards: list[Table], width: float, column: float) -> list[Flowable]:
    """Cards nearly in their order, each column filled by the next and those of the following few that fill it best. [pt]"""
    measuring, _ = new_canvas((width, column), "")
    waiting = [(one, float(one.wrapOn(measuring, width, FAR)[1]) + GAP) for one in cards]
    found: list[Flowable] = []
    while waiting:
        ahead = [height for _, height in waiting[:LOOK_AHEAD]]
        taken = fullest(ahead, column + GAP)  # none under the last
        if found:
            found.append(FrameBreak())
        found += [KeepTogether([waiting[place][0], *([] if place == taken[-1] else [gap(GAP)])]) for place in taken]
        waiting = [one for place, one in enumerate(waiting) if place not in taken]
    return found


def fullest(heights: Sequence[float], column: float) -> tuple[int, ...]:
    """Which of some heights, the first always among them, fill a column best; where they do alike, the earlier ones. [pt]"""
    best: tuple[int, ...] = (0,)
    most = heights[0]
    for more in range(1, len(heights)):
        for chosen in combinations(range(1, len(heights)), more):
            filled = heights[0] + sum(heights[one] for one in chosen)
            if most < filled <= column:
                best, most = (0, *chosen), filled
    return best


def _framed(title: str, texts: list[str], width: float) -> Table:
    rows: list[Flowable] = [Prose(markup(title), style(13.0, True))]
    hanging = style(TEXT, leftIndent=9.0, bulletFontSize=TEXT)
    rows += [Prose(f'<bullet bulletIndent="0">•</bullet>{markup(text)}', hanging) for text in texts]
    return Table([[row] for row in rows], colWidths=[width], hAlign="LEFT", style=[
        ("BOX", (0, 0), (-1, -1), 1.2, "black"), ("LEFTPADDING", (0, 0), (-1, -1), PADDING), ("NOSPLIT", (0, 0), (-1, -1)),
        ("RIGHTPADDING", (0, 0), (-1, -1), PADDING), ("TOPPADDING", (0, 0), (-1, -1), 1.0), ("BOTTOMPADDING", (0, 0), (-1, -1), 2.0),
    ])  # fmt: skip


def _drying(job: PrintJob) -> list[str]:
    """How long what was sawn dries, thin pieces first, by the relation that appraisal and season reckon by."""
    log = job.log
    thick = {round(float(min(plate.size)), 1) for plate in log.plates.values()}
    waiting = (log.size(one.piece) for one in log.settings if one.stage is WoodStage.DRIED)
    thick |= {round(float(size.thickness), 1) for size in waiting if size is not None}
    weeks = {each: math.ceil(AIR_DRYING.weeks(each)) for each in sorted(thick)}
    if not weeks:
        return []
    told = ", ".join(f"{job.fmt.length(each)}: {n}" for each, n in weeks.items())
    return [
        f"Weeks from the saw until it can be used, about, by thickness: {told} (from FPL Report 2086, 1957, and common practice; "
        "your shed's own figures come first)."
    ]


def _same_day(job: PrintJob) -> list[str]:
    """Sealing, stacking, weighing."""
    length = job.fmt.length
    return [
        "Crayon the mark, and a large V across the piece with its point to the butt. Paper does not stick to wet wood: staple the labels, "
        "or stick them on after drying.",
        "Seal both ends of every piece within hours of cutting (c.p.).",
        f"Stack on stickers {length(STICKERS[0])} thick and {length(STICKERS[1])} to {length(STICKERS[2])} wide, {length(SPACING[0])} to "
        f"{length(SPACING[1])} apart, one above the other (published: G. Wengert).",
        "Weight on top; shade; air from the side, no sun and no rain (c.p.). Keep mates together and in the order they were sawn.",
        *_drying(job),
        "Weigh one piece of each kind, and write weight and date on it: drying is followed from this number.",
    ]
