"""Page 1: what to measure before sawing, then the log, what was assumed, and what the plan yields."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from reportlab.platypus import Flowable
from shapely.geometry import Polygon

from pithline.logmodel.model import clock_angles, radius_at
from pithline.outputs.cut_script.document import CutScript, Doubts, LimitFacts, PracticeTotals
from pithline.outputs.cut_script.sawn_log import SawnLog
from pithline.outputs.ends import EndFace
from pithline.outputs.formatting import Formatter, degrees, sentence
from pithline.outputs.pdf.flow import caution, heading, paragraph, shares, table
from pithline.outputs.pdf.page import measure_of
from pithline.outputs.print_job import PrintJob
from pithline.outputs.sheet.cautions import DOUBT, GUARDS, METAL
from pithline.outputs.sheet.fewer_settings import fewer_settings

GIRTH_AT = 100.0
"""Girth is taped this far in from each end, as `[tape]` of the log card has it. [mm]"""
LEAST_ARM, LEAST_SHARE = 5.0, 0.01
"""Least ± of an arm [mm], and of girths and length [share]: a tape on bark is no finer (common practice)."""
LEAST_LENGTH = 10.0
"""Least ± of the length. [mm]"""
COSTS = {"roll_5_deg": "5° of roll", "height_5_mm": "5 mm (3/16 in) of height", "pith_5_mm": "5 mm (3/16 in) of pith"}
"""What the script's `uncertainty.cost_of` may hold, in mm³ of instrument wood, and how the sheet says it."""
ARMS = {"up": "up, 12 o'clock line", "right": "to the right, level", "down": "down", "left": "to the left, level"}


class Measure(NamedTuple):
    """Something taped before sawing: what, its planned value, and how far the one found may lie off it. [mm]"""

    what: str
    plan: float
    room: float


def first_page(job: PrintJob) -> list[Flowable]:
    """The first page."""
    log, both = job.log.script.log, job.fmt.both
    rows: list[list[str] | str] = []
    for title, found in measures(job.log).items():
        rows.append(title)
        rows += [[one.what, both(one.plan), "± " + both(one.room), ""] for one in found]
    return [
        paragraph(f"Log {log.id}", 22.0, bold=True),
        paragraph(f"{log.species}. All angles are clock angles, seen facing the butt end, 12 o'clock as marked.", 10.0),
        *heading("1  Measure before you saw"),
        table(["Measure", "Plan", "Room", "Found"], rows, shares(measure_of(job.paper), 38, 26, 23, 13), 9.5),
        paragraph("If one number is outside its room, do not saw this plan: find out why, or scan and plan again.", 12.0, bold=True),
        *yields(job),
    ]


def measures(log: SawnLog) -> dict[str, list[Measure]]:
    """What is taped before sawing, by where it is taped."""
    model, (butt, top) = log.model, log.ends("log")
    apart = [end.pith + end.twelve[1] * end.up for end in (butt, top)]
    length = float(np.linalg.norm(apart[1] - apart[0]))
    whole = [Measure("Length, straight along 12 o'clock", length, max(LEAST_LENGTH, LEAST_SHARE * length))]
    found = {"The log, over bark": whole}
    for x, end, row in ((GIRTH_AT, butt, 0), (model.length - GIRTH_AT, top, -1)):
        near = int(np.argmin(np.abs(model.x - x)))
        girth = girth_at(log, x)
        doubt = 2.0 * 2.0 * np.pi * float(model.stderr_radius[near].mean())
        what = f"Girth, {GIRTH_AT:.0f} mm (4 in) from the {end.name} end"
        whole.append(Measure(what, girth, max(doubt, LEAST_SHARE * girth)))
        doubts = float(model.stderr_pith[row]), float(model.stderr_radius[row].mean())
        found[f"Pith to bark on the {end.name} end, facing it, 12 o'clock line upright"] = _arms(end, *doubts)
    return found


def _arms(end: EndFace, pith_doubt: float, radius_doubt: float) -> list[Measure]:
    room = max(LEAST_ARM, 2.0 * float(np.hypot(pith_doubt, radius_doubt)))
    return [Measure(f"{end.name}: {ARMS[arm]}", value, room) for arm, value in end.arms().items()]


def girth_at(log: SawnLog, x: float) -> float:
    """Taped girth over bark at station x: the length round the section's convex hull. [mm]"""
    clock = clock_angles()
    radius = radius_at(log.model, log.model.radius_over_bark, np.asarray(x), clock)
    points = radius[:, None] * np.stack([-np.sin(clock), np.cos(clock)], axis=-1)
    return float(Polygon(points).convex_hull.length)


def yields(job: PrintJob) -> list[Flowable]:
    """What the plan yields and takes for granted, with the script's cautions."""
    return [
        *heading("The plan"),
        table([], [list(row) for row in facts(job.log, job.fmt)], shares(measure_of(job.paper), 22, 78), 9.5),
        *(paragraph(f"• {sentence(one)}", 9.5) for one in job.log.script.cautions),
        caution(f"{METAL} {GUARDS}"),
        # last, for where the page is full it goes to the next, which a caution must not
        *fewer_settings(job),
    ]


def facts(log: SawnLog, fmt: Formatter) -> list[tuple[str, str]]:
    """The log, what was assumed and what the plan yields: (name, text) a row."""
    script = log.script
    totals, doubts, limits = script.totals, script.doubts, sorted({plate.limits for plate in script.plates})
    rows = [
        ("Log", _log(log, fmt)),
        ("Assumed", _assumed(script)),
        ("Heights", f"{script.inputs.mill.name}. Every blade height is what the scale reads: the kerf's "
                    f"{'centre' if script.inputs.mill.scale_reads == 'centre' else 'lower edge'}. Lines are drawn at "
                    "the kerf's centre."),
        ("Yield", f"{fmt.volume(totals.instrument_volume)} in {totals.plates} plates{_spread(doubts, fmt)}"),
        ("Limits in force", ", ".join(_limits(script.inputs.limits.get(name, LimitFacts(name, None, None, None)))
                                      for name in limits) or "none"),
        ("Complete sets", ", ".join(f"{count} {name}" for name, count in totals.complete_sets.items()) or "none"),
        ("Over practice", _practice(script.practice, fmt)),
        ("Work", f"{totals.settings} charged settings, {totals.minutes:.0f} minutes at the saws"),
    ]  # fmt: skip
    if log.sawn:
        charged, minutes = sum(one.charged for one in log.ahead), sum(one.minutes for one in log.ahead)
        rows.append(("Still to come", f"{charged} charged settings, {minutes:.0f} minutes at the saws"))
    costs = [f"{text}, {fmt.volume(doubts.cost_of[key])}" for key, text in COSTS.items() if key in doubts.cost_of]
    if costs:
        rows.append(("If it is off", "lost by " + "; by ".join(costs)))
    return rows


def _log(log: SawnLog, fmt: Formatter) -> str:
    facts, weight = log.script.log, max((one.weight for one in log.settings if one.piece == "log"), default=0.0)
    return (
        f"{fmt.both(facts.length)} long, {fmt.length(facts.diameter_butt)} at the butt, "
        f"{fmt.length(facts.diameter_top)} at the top over bark, sweep {fmt.length(facts.sweep)}, "
        f"{fmt.volume(facts.volume)} under bark" + (f", about {fmt.weight(weight)}. {DOUBT}" if weight else "")
    )


def _assumed(script: CutScript) -> str:
    pith = "pith NOT marked, the centre stands for it; " if script.doubts.pith_assumed else "pith as marked; "
    bark = "bark NOT on the card, the species' usual share; " if script.doubts.bark_assumed else "bark as on the card; "
    return f"{pith}{bark}{(1.0 - script.coverage) * 360.0:.0f}° of the girth unseen"


def _spread(doubts: Doubts, fmt: Formatter) -> str:
    span = doubts.instrument_volume
    if span is None:
        return ""
    return (f"; between {fmt.volume(span.low)} and {fmt.volume(span.high)} four times in five, from what scan and card "
            "leave open")  # fmt: skip


def _limits(limits: LimitFacts) -> str:
    least, mean, runout = limits.ring_least, limits.ring_mean, limits.runout
    if least is None or mean is None or runout is None:
        return limits.name
    return f"{limits.name} (ring angle ≥ {degrees(least)}, mean ≥ {degrees(mean)}, runout ≤ {degrees(runout)})"


def _practice(practice: PracticeTotals | None, fmt: Formatter) -> str:
    if practice is None:
        return "not known"
    text = f"the practice layout gives {fmt.volume(practice.with_bolts.instrument_volume)}"
    return text + (f"; this plan {practice.ratio:.2f} times that" if practice.ratio else "")
