"""Off the mill: crosscutting the log first, then rip, crosscut and resaw work gathered by slab and bolt."""

from __future__ import annotations

from collections.abc import Sequence

from reportlab.platypus import CondPageBreak, Flowable, KeepTogether, PageBreak

from pithline.outputs.cut_script.document import ScriptSetting
from pithline.outputs.formatting import count
from pithline.outputs.pdf.flow import caution, heading, paragraph, shares, table
from pithline.outputs.pdf.page import measure_of
from pithline.outputs.print_job import PrintJob
from pithline.outputs.sheet.bolt_lines import HEIGHT, bolt_lines, slanted
from pithline.outputs.sheet.cautions import CHAIN, GUARDS, METAL, ROLL, ROUND, heavy
from pithline.outputs.sheet.shop_pictures import BuckView, WaysOfLying
from pithline.outputs.sheet.slab_view import slab_view
from pithline.outputs.shop_words import bench_of, what_cuts_give


def buck_panel(job: PrintJob, setting: ScriptSetting) -> list[Flowable]:
    """Where the log is shortened, by tape along the pith's chord from the butt end."""
    log, fmt, width = job.log, job.fmt, measure_of(job.paper)
    cuts = [(str(log.cut_numbers[cut.id]), job.shop.from_butt(setting, cut)) for cut in log.cuts_of(setting)]
    rows = [[name, fmt.both(along), f"{log.mark(cut.below)} | {log.mark(cut.above)}"]
            for (name, along), cut in zip(cuts, log.cuts_of(setting), strict=True)]  # fmt: skip
    return [
        PageBreak(),
        *heading(f"Bucking: {log.mark(setting.piece)}"),
        paragraph(f"{fmt.weight(setting.weight)}, lying in a cradle. Carry the 12 o'clock line along the bark past every cut "
                  "before sawing, and mark the pith on the new faces as seen.", 11.0),
        BuckView(job, setting, cuts, width),
        caution(f"{heavy(setting.weight)} {ROLL}".strip()),
        table(["Cut", "From the butt end to the kerf's centre, along the log", "Butt side | top side"], rows,
              shares(width, 10, 55, 35), 11.5),
        caution(CHAIN),
        caution(METAL),
    ]  # fmt: skip


def shop_panels(job: PrintJob, settings: Sequence[ScriptSetting], title: str) -> list[Flowable]:
    """One panel for each slab, half or bolt that goes to the shop."""
    groups: dict[str, list[ScriptSetting]] = {}
    for setting in settings:
        groups.setdefault(job.log.from_mill(setting.piece), []).append(setting)
    if not groups:
        return []
    return [
        PageBreak(),
        *heading(title),
        paragraph("“Face 7” is the sawn face that cut 7 left. Distances from a face run to the near side of the kerf; lines from "
                  "ticks, arris or butt end are the kerf's centre. Draw all lines of a row, then saw them in order. Left and "
                  "right: facing the butt end.", 10.5),
        paragraph("Before a billet is resawn: a large V across its edge, point to the butt, so that its plates go back in order.",
                  10.5, bold=True),
        WaysOfLying(measure_of(job.paper)),
        caution(GUARDS),
        caution(ROUND),
        *(part for piece, own in groups.items() for part in _panel(job, piece, own)),
    ]  # fmt: skip


def _panel(job: PrintJob, piece: str, settings: Sequence[ScriptSetting]) -> list[Flowable]:
    log, width = job.log, measure_of(job.paper)
    weight, minutes = max(one.weight for one in settings), sum(one.minutes for one in settings)
    fanned = any(slanted(one) for one in settings)
    title = (f"{log.kind(piece).capitalize()} {log.mark(piece)}: {job.fmt.weight(weight)}, "
             f"{count(log.plates_in.get(piece, 0), 'plate')}, {minutes:.0f} minutes")  # fmt: skip
    head: list[Flowable] = [paragraph(title, 14.0, bold=True)]
    if words_of_weight := heavy(weight):
        head.append(caution(words_of_weight))
    view = slab_view(job, piece, settings, width)
    if view is not None:
        head.append(view)
    rows = [_row(job, setting) for setting in settings]
    return [
        CondPageBreak(HEIGHT + 60.0 if fanned else 200.0), KeepTogether(head),
        *(bolt_lines(job, piece, settings) if fanned else []),
        table(["Saw", "Lies; measured from", "Cut", "Where (butt | top)", "Gives"], rows, shares(width, 15, 29, 7, 25, 24), 9.0),
    ]  # fmt: skip


def _row(job: PrintJob, setting: ScriptSetting) -> list[str]:
    """A setting as a row; its cuts are lines of the last three cells, each on one line."""
    log, cuts, bench = job.log, job.log.cuts_of(setting), bench_of(job, setting)
    gives = what_cuts_give(log, cuts, log.script.inputs.pith_radius)
    lies = f"{bench.lies}; {bench.measured_from}" if bench.measured_from else bench.lies
    numbers = [str(log.cut_numbers[cut.id]) for cut in cuts]
    return [f"{setting.tool} {log.mark(setting.piece)}", lies, "\n".join(numbers), "\n".join(bench.places), "\n".join(gives)]
