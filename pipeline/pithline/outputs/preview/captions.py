"""What the preview says in words: each step of the work and the facts of each piece. Plain text, never markup."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pithline.logmodel.model import clock_of
from pithline.outputs.cut_script.document import Kind, ScriptCut, ScriptPlate, ScriptSetting, Stage, Tool
from pithline.outputs.formatting import degrees, sentence
from pithline.outputs.preview.scene import Scene
from pithline.outputs.print_job import PrintJob
from pithline.outputs.shop_words import BY_LINE, Bench, bench_of

MACHINES = {Tool.BUCK: "chain saw", Tool.MILL: "mill", Tool.RIP: "rip saw", Tool.CROSSCUT: "crosscut saw", Tool.RESAW: "resaw"}
STRAIGHT_DEG = 0.05
"""Runout under this has no slope worth telling."""


@dataclass(frozen=True, slots=True)
class Caption:
    """A step of the work: its title and plain sentences."""

    title: str
    lines: tuple[str, ...]


def captions_of(job: PrintJob) -> list[Caption]:
    """One caption for each operation, in working order."""
    benches = {one.id: bench_of(job, one) for one in job.log.settings if one.tool is not Tool.MILL}
    numbers = {one.id: number for number, one in enumerate(job.log.script.settings, 1)}
    places = {cut.id: _place(place, bench) for one in job.log.settings if (bench := benches.get(one.id))
              for cut, place in zip(job.log.cuts_of(one), bench.places, strict=True)}  # fmt: skip
    return [_setting(job, one, numbers[one.id], benches.get(one.id)) if isinstance(one, ScriptSetting)
            else _cut(job, one, places.get(one.id, "")) for one in job.log.script.operations]  # fmt: skip


def _place(place: str, bench: Bench) -> str:
    """Where a cut of the shop runs, as a sentence."""
    if place == BY_LINE:
        return sentence(place)
    return f"At {place} {bench.measured_from or 'from the face against the fence'}."


def _setting(job: PrintJob, one: ScriptSetting, number: int, bench: Bench | None) -> Caption:
    length, lines = job.fmt.length, []
    if one.roll is not None:
        lines.append(f"Roll it until the line at {degrees(one.roll)} on the clock is up.")
    lifts = [lift for lift in one.lifts if lift.lift > 0.0]
    if lifts:
        places = ", ".join(f"{length(lift.lift)} at bunk {length(lift.bunk)}" for lift in lifts)
        lines.append(f"Lift expected: {places}.")
    elif one.tool is Tool.MILL:
        lines.append("No lift expected.")
    if one.marks is not None:
        for end, mark in (("butt", one.marks.butt), ("top", one.marks.top)):
            lines.append(f"Mark on the {end} end ({mark.name}): {length(mark.height)} over the bed.")
    if bench is not None:
        measured = f"; {bench.measured_from}" if bench.measured_from else ""
        lines.append(f"It lies {bench.lies or 'as it comes'}{measured}.")
    if one.weight > 0.0:
        lines.append(f"Weight about {job.fmt.weight(one.weight)}.")
    if one.stage is Stage.DRIED:
        lines.append("Only after drying.")
    lines += [f"Caution: {sentence(text)}" for text in one.cautions]
    return Caption(f"Setting {number}: {job.log.mark(one.piece)} on the {MACHINES[one.tool]}", tuple(lines))


def _cut(job: PrintJob, one: ScriptCut, place: str) -> Caption:
    log, length = job.log, job.fmt.length
    above, below = (f"{log.kind(piece)} {log.mark(piece)}" for piece in one.pieces)
    if one.blade_height is not None:
        over = (one.from_mark or 0.0) - log.scale_drop
        away = f"{length(abs(over))} {'over' if over >= 0.0 else 'under'} the marks"
        lines = [
            f"Blade {away}; {length(one.blade_height - log.scale_drop)} expected on the scale.",
            f"Width of cut up to {length(one.width or 0.0)}.",
            f"Comes off: {above}. Stays on the bed: {below}.",
        ]
    else:
        lines = [*([place] if place else []), f"Gives {above} and {below}."]
    marks = f"{log.mark(one.above)} and {log.mark(one.below)}"
    return Caption(f"Cut {log.cut_numbers[one.id]}: {log.mark(one.piece)} into {marks}", tuple(lines))


def piece_facts(job: PrintJob, scene: Scene, piece: str) -> list[tuple[str, str]]:
    """Rows of (name, value) about one piece."""
    log, plate = job.log, job.log.plates.get(piece)
    entry = log.pieces[piece]
    rows = [("Crayon mark", entry.mark), ("Piece", f"{entry.kind} ({piece})")]
    if plate is not None:
        rows += _plate_facts(job, plate)
    parent = log.parent(piece)
    if parent is not None:
        rows.append(("Comes from", f"{log.kind(parent)} {log.mark(parent)}"))
    rows.append(("Wood", job.fmt.volume(entry.volume)))
    return rows + _whereabouts(job, scene, piece)


def _plate_facts(job: PrintJob, plate: ScriptPlate) -> list[tuple[str, str]]:
    slope = f", 1 in {1.0 / np.tan(np.radians(plate.runout)):.0f}" if plate.runout > STRAIGHT_DEG else ""
    return [
        ("Part", f"{plate.product}: {plate.part}"),
        ("Size as sawn", job.fmt.size(*plate.size)),
        ("Ring angle, mean", degrees(plate.ring_mean)),
        ("Ring angle, least", degrees(plate.ring_least)),
        ("Runout, greatest", degrees(plate.runout) + slope),
        ("Limits", f"{plate.limits}: {'passes' if plate.passes else 'fails'}"),
        ("Set", plate.set_id or "none"),
        ("Bookmatch", job.log.mark(plate.mate) if plate.mate else "none"),
    ]


def _whereabouts(job: PrintJob, scene: Scene, piece: str) -> list[tuple[str, str]]:
    """Where in the log a piece lay: along it from the butt, and where its middle lay about the pith."""
    points, length = scene.meshes[piece].points, job.fmt.length
    if not len(points):
        return [("Place", "holds no wood")]
    low, high = points.min(axis=0), points.max(axis=0)
    rows = [("Along the log", f"{length(max(low[0], 0.0))} to {length(high[0])} from the butt")]
    if job.log.kind(piece) is not Kind.LOG:
        middle, model = points.mean(axis=0), job.log.model
        away = middle[1:] - model.splines(model.pith)(middle[0])
        clock = degrees(round(float(np.degrees(clock_of(away)))) % 360)
        rows.append(("About the pith", f"middle {length(float(np.hypot(*away)))} out, at {clock} on the clock"))
    return rows
