"""What the preview says in words: each step of the work and the facts of each piece. Plain text, never markup."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from pithline.logmodel.model import clock_of
from pithline.outputs.cards.slices import run_of
from pithline.outputs.cards.work import SawStep, works_of
from pithline.outputs.cut_script.document import Kind, Saw, ScriptCut, ScriptPlate, ScriptSetting, WoodStage
from pithline.outputs.cut_script.end_lines import mark_line_name
from pithline.outputs.formatting import degrees, sentence
from pithline.outputs.holding.attitude import lies
from pithline.outputs.holding.pose import pose_of
from pithline.outputs.holding.props import holding_of
from pithline.outputs.holding.sketch import block_words, is_owned
from pithline.outputs.preview.scene import Scene
from pithline.outputs.print_job import PrintJob
from pithline.outputs.sheet.where_next import where_next
from pithline.outputs.shop_words import BY_LINE, Bench, bench_of

MACHINES = {
    Saw.BUCK: "chain saw",
    Saw.MILL: "mill",
    Saw.RIP: "rip saw",
    Saw.CROSSCUT: "crosscut saw",
    Saw.RESAW: "resaw",
}
STRAIGHT_DEG = 0.05
"""Runout under this has no slope worth telling."""


class CaptionFigure(NamedTuple):
    """What is set or read at a step: its name and value. A phone shows these alone."""

    name: str
    value: str


@dataclass(frozen=True, slots=True)
class Caption:
    """A step of the work: its title, what is set, and plain sentences."""

    title: str
    figures: tuple[CaptionFigure, ...]
    lines: tuple[str, ...]


def captions_of(job: PrintJob) -> list[Caption]:
    """One caption for each operation, in working order, with the sheet's and the cards' own numbers and marks."""
    benches = {one.id: bench_of(job, one) for one in job.log.settings if one.tool is not Saw.MILL}
    places = _shop_places(job, benches)
    on_card = _steps_of_cards(job)
    return [_setting(job, one, on_card.get(one.id, ""), benches.get(one.id)) if isinstance(one, ScriptSetting)
            else _cut(job, one, places.get(one.id, "")) for one in job.log.script.operations]  # fmt: skip


def _steps_of_cards(job: PrintJob) -> dict[str, str]:
    """By the id of a setting in the shop, its card and step."""
    found = {}
    for work in works_of(job):
        name = f"Card {job.log.mark(work.piece)}"
        for number, step in enumerate(work.steps, 1):
            if isinstance(step, SawStep):
                found[step.setting.id] = f"{name}, step {number}"
                continue
            billets = {billet for fence in step.fences for billet in fence.slices}
            found |= {
                one.id: f"{name}, step {number}"
                for one in job.log.settings
                if one.tool is Saw.RESAW and one.piece in billets
            }
    return found


def _shop_places(job: PrintJob, benches: Mapping[str, Bench]) -> dict[str, str]:
    """Where every cut of the shop runs, as a sentence, by its id; slices by the fence's setting, as the cards have them."""
    found: dict[str, str] = {}
    for setting in job.log.settings:
        bench, cuts = benches.get(setting.id), job.log.cuts_of(setting)
        run = run_of(job.log, job.shop, setting) if setting.tool is Saw.RESAW else None
        if run is not None:
            order = sorted(cuts, key=lambda cut: job.shop.from_fence(setting, cut) or 0.0)
            spare = run.spare / len(run.slices)
            found |= {cut.id: f"Fence {job.fmt.fence(one.thickness, spare)}, the fresh face to it each time."
                      for cut, one in zip(order, run.slices, strict=True)}  # fmt: skip
        elif bench is not None:
            found |= {cut.id: _place(place, bench) for cut, place in zip(cuts, bench.places, strict=True)}
    return found


def _place(place: str, bench: Bench) -> str:
    """Where a cut of the shop runs, as a sentence."""
    return sentence(place) if place == BY_LINE else f"At {place} {bench.measured_from}".rstrip() + "."


def _setting(job: PrintJob, one: ScriptSetting, on_card: str, bench: Bench | None) -> Caption:
    log, fmt = job.log, job.fmt
    piece = f"{log.kind(one.piece)} {log.mark(one.piece)}"
    if one.tool is Saw.MILL:
        title = f"Mill {log.mill_numbers[one.id]}: {piece}"
    elif one.tool is Saw.BUCK:
        title = f"Crosscut first: {piece}"
    else:
        title = f"{on_card}: {SAWS[one.tool]} {log.mark(one.piece)}"
    how = bench.lies if bench is not None and one.tool is not Saw.BUCK else lies(log, one, pose_of(log, one))
    lines = [sentence(f"it lies so: {how}")]
    blocks = block_words(holding_of(log, one), fmt, is_owned(log, one)) if one.tool in (Saw.MILL, Saw.RESAW) else ""
    lines += [blocks] if blocks else []
    if one.stage is WoodStage.DRIED:
        lines.append("Only after drying.")
    lines += [f"Caution: {sentence(fmt.retold(text))}" for text in one.cautions]
    return Caption(title, _set_up(job, one), tuple(lines))


SAWS = {Saw.RIP: "rip", Saw.CROSSCUT: "crosscut", Saw.RESAW: "resaw"}


def _set_up(job: PrintJob, one: ScriptSetting) -> tuple[CaptionFigure, ...]:
    """Lift, marks and first blade of a setting on the mill; the weight of any."""
    log, fmt, found = job.log, job.fmt, []
    if one.tool is Saw.MILL:
        lifts = ", ".join(f"{fmt.bare(lift.lift)} at {fmt.bare(lift.bunk)}" for lift in one.lifts if lift.lift > 0.0)
        found.append(CaptionFigure("lift", lifts or "none"))
        if one.marks is not None:
            heights = dict.fromkeys(fmt.bare(mark.height) for mark in one.marks.both)
            names = dict.fromkeys(mark_line_name(log, one, mark) for mark in one.marks.both)
            found.append(CaptionFigure("marks", f"{' and '.join(names)} at {' | '.join(heights)}"))
        cuts = log.cuts_of(one)
        if cuts and cuts[0].blade_height is not None:
            found.append(CaptionFigure("blade", f"first {fmt.length(cuts[0].blade_height - log.scale_drop)}"))
    if one.weight > 0.0:
        found.append(CaptionFigure("weight", fmt.weight(one.weight)))
    return tuple(found)


def _cut(job: PrintJob, one: ScriptCut, place: str) -> Caption:
    log, length = job.log, job.fmt.length
    above, below = (f"{log.kind(piece)} {log.mark(piece)}" for piece in one.pieces)
    title = f"Cut {log.cut_numbers[one.id]}: {log.mark(one.piece)} into {log.mark(one.above)} and {log.mark(one.below)}"
    if one.blade_height is None:
        return Caption(title, (), (*([place] if place else []), f"Gives {above} and {below}."))
    figures = [
        CaptionFigure("scale", length(one.blade_height - log.scale_drop)),
        CaptionFigure("wide", length(one.width or 0.0)),
    ]
    if one.from_mark is not None:
        over = one.from_mark - log.scale_drop
        figures.insert(0, CaptionFigure("blade", f"{length(abs(over))} {'over' if over >= 0.0 else 'under'} the marks"))
    again = any(cut.piece == one.below for cut in log.cuts.values() if cut.setting == one.setting)
    stays = below if again else f"{below} → {where_next(job, one.below)}"
    off = f"Comes off: {above} → {where_next(job, one.above)}. Stays on the bed: {stays}."
    return Caption(title, tuple(figures), (off,))


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
        *([("Slope in the face", degrees(plate.slope))] if plate.slope is not None else []),
        *(
            [("Figure, of the price", f"× {plate.figure:g}")]
            if plate.figure is not None and plate.figure != 1.0
            else []
        ),
        *([("Sapwood", job.fmt.length(plate.sapwood))] if plate.sapwood is not None else []),
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
