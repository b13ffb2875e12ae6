"""Page 1: what the plan brings, what to measure before sawing, the ladder of plans, what was assumed."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from reportlab.platypus import Flowable
from shapely.geometry import Polygon

from pithline.logmodel.model import clock_angles, radius_at
from pithline.outputs.cut_script.document import CutScript, LimitFacts
from pithline.outputs.cut_script.sawn_pieces import SawnPieces
from pithline.outputs.ends import EndFace
from pithline.outputs.formatting import Formatter, count, degrees, sentence
from pithline.outputs.good_for import misfits_in_words, misfits_of
from pithline.outputs.pdf.flow import bullets, gap, heading, height_of_story, paragraph, shares, table
from pithline.outputs.pdf.page import height_of, measure_of
from pithline.outputs.pdf.paging import Block
from pithline.outputs.print_job import PrintJob
from pithline.outputs.results import Results, money_in_words, results_beside, results_rows
from pithline.outputs.sheet.cautions import DOUBT, METAL, dust
from pithline.outputs.sheet.ladder import ladder

GIRTH_AT = 100.0
"""Girth is taped this far in from each end, as `[tape]` of the log card has it. [mm]"""
LEAST_ARM, LEAST_SHARE = 5.0, 0.01
"""Least ± of an arm [mm], and of girths and length [share]: a tape on bark is no finer (common practice)."""
LEAST_LENGTH = 10.0
"""Least ± of the length. [mm]"""
SIZES = (9.5, 9.0, 8.5, 8.0)
"""Type of what the first page tells of the plan, as large as lets all of it stand on one page. [pt]"""
COSTS = {"roll_5_deg": "5° of roll", "height_5_mm": "{} of height", "pith_5_mm": "{} of pith"}
"""What the script's `uncertainty.cost_of` may hold, in mm³ of instrument wood, and how the sheet says it."""
COSTS_ARE_FOR = 5.0
"""The length in those that speak of one. [mm]"""
MOST_MISFITS = 2
"""Wanted parts that do not fit and are told in full."""
ARMS = {"up": "up, 12 o'clock line", "right": "right, level", "down": "down", "left": "left, level"}


class Measure(NamedTuple):
    """Something taped before sawing: what, its planned value, and how far the one found may lie off it. [mm]"""

    what: str
    plan: float
    room: float


def first_page(job: PrintJob) -> tuple[list[Flowable], list[Block]]:
    """The first page, and what of it stands on the next: what stands least near the saw is set smaller where that keeps it on
    page 1, else it stands together.
    """
    measures = [
        *heading("1  Measure before you saw", 14.0),
        *_measure_tables(job),
        paragraph("One number outside its room: do not saw. Find out why, or scan and plan again.", 10.5, bold=True),
    ]
    for size in SIZES:
        head = [*title(job, f"Log {job.log.script.log.id}"), *results_table(job, size)]
        story: list[Flowable] = [*head, *measures, *ladder(job, size - 0.5), *assumptions(job, size - 0.5)]
        if height_of_story(story, measure_of(job.paper)) <= height_of(job.paper):
            return story, []
    head = [*title(job, f"Log {job.log.script.log.id}"), *results_table(job)]
    granted = [*heading("What the plan takes for granted", 14.0), *assumptions(job), gap(8.0)]
    return [*head, *measures, *ladder(job)], [[granted]]


def title(job: PrintJob, text: str) -> list[Flowable]:
    """The log's name, and what it is."""
    log, fmt = job.log.script.log, job.fmt
    weight = max((one.weight for one in job.log.settings if one.piece == "log"), default=0.0)
    length = f"{fmt.length(log.length)} ± {fmt.length(job.log.model.length_doubt)} long"
    facts = (f"{log.species}, {length}, {fmt.length(log.diameter_butt)} at the butt and "
             f"{fmt.length(log.diameter_top)} at the top over bark, sweep {fmt.length(log.sweep)}, {fmt.volume(log.volume)} under bark"
             + (f", about {fmt.weight(weight)}. {DOUBT}" if weight else "."))  # fmt: skip
    return [paragraph(text, 21.0, bold=True), paragraph(sentence(facts), 9.5)]


# -- what it brings ---------------------------------------------------------------------------------------------------


def results_table(job: PrintJob, size: float = SIZES[0]) -> list[Flowable]:
    """What the plan brings beside the customary way, the likely span, and the plates in no set."""
    script, fmt = job.log.script, job.fmt
    columns = results_beside(script)
    rows: list[list[str] | str] = [
        [f"**{name}**", *(text(found) for found in columns.values())]
        for name, text in results_rows(script, fmt).items()
    ]
    width = measure_of(job.paper)
    made = [table(["", *columns], rows, shares(width, 16.5, *[83.5 / len(columns)] * len(columns)), size)]
    notes = [
        *_likely(script, columns["this plan"], fmt),
        *misfits_in_words(misfits_of(script.raw["proof"]), MOST_MISFITS, fmt),
    ]
    return [*made, *bullets(notes, size)]


def _likely(script: CutScript, own: Results, fmt: Formatter) -> list[str]:
    """What is likely, and what is in no set."""
    notes, currency = [], script.inputs.products.currency
    told = [f"**{write(span.middle)}** {what} (between {write(span.low)} and {write(span.high)})" for span, what, write in (
        (script.doubts.instrument_volume, "in all", fmt.volume),
        (script.doubts.earnings, "earned", lambda amount: money_in_words(amount, currency)),
    ) if span is not None]  # fmt: skip
    fewer = [f"{span.low:.0f} to {span.high:.0f} {name} sets" for name, span in script.doubts.sets.items()
             if round(span.low) < round(span.high) and name in own.sets]  # fmt: skip
    if told:
        notes.append(f"Likely {', '.join([*told, *fewer])}: so four times in five, from what scan and card leave open.")
    if own.loose_plates:
        notes.append(f"{count(own.loose_plates, 'plate')} in no set.")
    return [" ".join(notes)] if notes else []


# -- measuring --------------------------------------------------------------------------------------------------------


def _measure_tables(job: PrintJob) -> list[Flowable]:
    """Length and girths, then the arms of both ends side by side."""
    log, fmt, width = job.log, job.fmt, measure_of(job.paper)
    whole = [[one.what, fmt.length(one.plan), f"± {fmt.length(one.room)}", ""] for one in whole_measures(log, fmt)]
    butt, top = (arm_measures(log, end) for end in log.ends("log"))
    arms = [[one.what, fmt.length(one.plan), f"± {fmt.length(one.room)}", "", fmt.length(other.plan), f"± {fmt.length(other.room)}", ""]
            for one, other in zip(butt, top, strict=True)]  # fmt: skip
    return [
        table(["the log, over bark", "plan", "room", "found"], whole, shares(width, 46, 19, 17, 18), 9.5),
        gap(-4.0),
        table(["pith to bark", "butt: plan", "room", "found", "top: plan", "room", "found"], arms,
              shares(width, 24, 13, 12, 13, 13, 12, 13), 9.5),
    ]  # fmt: skip


def whole_measures(log: SawnPieces, fmt: Formatter) -> list[Measure]:
    """Length and girths, with their doubts."""
    model, (butt, top) = log.model, log.ends("log")
    apart = [end.pith + end.twelve[1] * end.up for end in (butt, top)]
    length = float(np.linalg.norm(apart[1] - apart[0]))
    room = max(LEAST_LENGTH, LEAST_SHARE * length, model.length_doubt)
    found = [Measure("length, straight along the 12 o'clock line", length, room)]
    for x, end in ((GIRTH_AT, butt), (model.length - GIRTH_AT, top)):
        near = int(np.argmin(np.abs(model.x - x)))
        girth = girth_at(log, x)
        doubt = 2.0 * 2.0 * np.pi * float(model.stderr_radius[near].mean())
        found.append(
            Measure(f"girth, {fmt.length(GIRTH_AT)} from the {end.name} end", girth, max(doubt, LEAST_SHARE * girth))
        )
    return found


def arm_measures(log: SawnPieces, end: EndFace) -> list[Measure]:
    """The arms of the plumb-and-level cross on one end, with their doubt."""
    row = 0 if end.name == "butt" else -1
    doubt = float(np.hypot(log.model.stderr_pith[row], log.model.stderr_radius[row].mean()))
    room = max(LEAST_ARM, 2.0 * doubt)
    return [Measure(ARMS[arm], value, room) for arm, value in end.arms().items()]


def girth_at(log: SawnPieces, x: float) -> float:
    """Taped girth over bark at station x: the length round the section's convex hull. [mm]"""
    clock = clock_angles()
    radius = radius_at(log.model, log.model.radius_over_bark, np.asarray(x), clock)
    points = radius[:, None] * np.stack([-np.sin(clock), np.cos(clock)], axis=-1)
    return float(Polygon(points).convex_hull.length)


# -- what was assumed -------------------------------------------------------------------------------------------------


def assumptions(job: PrintJob, size: float = SIZES[0] - 0.5) -> list[Flowable]:
    """What the plan takes for granted, the script's cautions, and what to look for before the first cut."""
    script, fmt = job.log.script, job.fmt
    mill = script.inputs.mill
    reads = "centre" if mill.scale_reads == "centre" else "lower edge"
    rows: list[list[str] | str] = [
        ["Assumed", _assumed(script)],
        ["Heights", f"{mill.name}: every blade height is what its scale reads, the kerf's {reads}; lines are the kerf's centre. Angles "
                    "are clock angles, facing the butt end."],
        ["Plates pass at", limits_in_words(script) or "–"],
    ]  # fmt: skip
    costs = [f"{text.format(fmt.length(COSTS_ARE_FOR))}, {fmt.volume(script.doubts.cost_of[key])}"
             for key, text in COSTS.items() if key in script.doubts.cost_of]  # fmt: skip
    if costs:
        rows.append(["If it is off", f"lost by {'; by '.join(costs)}"])
    notes = [*(fmt.retold(sentence(one)) for one in script.cautions), f"{METAL} {dust(script.log.species)}"]
    return [table([], rows, shares(measure_of(job.paper), 15, 85), size), *bullets(notes, size)]


def _assumed(script: CutScript) -> str:
    pith = "pith NOT marked, the centre stands for it; " if script.doubts.pith_assumed else "pith as marked; "
    bark = "bark NOT on the card, the species' usual share; " if script.doubts.bark_assumed else "bark as on the card; "
    return f"{pith}{bark}{(1.0 - script.coverage) * 360.0:.0f}° of the girth unseen"


def limits_in_words(script: CutScript) -> str:
    """What plates are held to: what all limits share once, then each name with what is its own."""
    names = sorted({plate.limits for plate in script.plates})
    words = {name: _limits(script.inputs.limits.get(name, LimitFacts(name, None, None, None))) for name in names}
    shared = [text for text in words[names[0]] if all(text in other for other in words.values())] if names else []
    rests: dict[str, list[str]] = {}
    for name in names:
        rests.setdefault(", ".join(text for text in words[name] if text not in shared), []).append(name)
    if list(rests) == [""] and shared:
        return ", ".join(shared)
    own = [f"{', '.join(named)}: {rest}" if rest else ", ".join(named) for rest, named in rests.items()]
    return "; ".join([", ".join(shared), *own] if shared else own)


def _limits(limits: LimitFacts) -> list[str]:
    """One limit in words, those that it states."""
    told = (
        ("rings at least {} to the face", limits.ring_least), ("{} on average", limits.ring_mean), ("at most {}", limits.ring_most),
        ("grain runs out of the face at most {}", limits.runout), ("slopes in the face at most {}", limits.slope),
    )  # fmt: skip
    return [text.format(degrees(value)) for text, value in told if value is not None]
