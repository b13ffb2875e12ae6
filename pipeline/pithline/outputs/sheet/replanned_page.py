"""Page 1 where a log is open already: what changed, what is sawn, what lies there."""

from __future__ import annotations

from reportlab.platypus import Flowable

from pithline.outputs.cut_script.document import Kind
from pithline.outputs.cut_script.end_lines import lined_settings
from pithline.outputs.cut_script.sawn_pieces import SawnPieces
from pithline.outputs.formatting import count, sentence
from pithline.outputs.pdf.flow import bullets, heading, paragraph, shares, table
from pithline.outputs.pdf.page import measure_of
from pithline.outputs.print_job import PrintJob
from pithline.outputs.sheet.first_page import assumptions, results_table, title
from pithline.outputs.sheet.mill_settings import weight_of
from pithline.outputs.sheet.where_next import where_next

LAY = ("The pieces lie apart now. Lay the end template on each piece by its bark and by the edges sawn already, or tape from the "
       "line's bark points that the piece still has.")  # fmt: skip


def replanned_page(job: PrintJob) -> list[Flowable]:
    """The first page of a plan that was made anew after some cuts."""
    log, replan = job.log, job.log.script.replan
    if replan is None:
        raise ValueError("this script was not planned anew")
    lined = [one for one in lined_settings(log, job.shop) if one.id not in log.sawn]
    rows = [[f"**{log.mark(one)}**", _kind(job, one), where_next(job, one)] for one in pieces_in_hand(log)]
    hours = sum(one.minutes for one in log.ahead) / 60.0
    to_come = f"Still to come: {count(log.set_ups_ahead, 'set-up')}, {hours:.1f} hours."
    return [
        *title(job, f"Log {log.script.log.id}, planned anew after cut {log.cut_numbers[replan.after]}"),
        *heading("1  What changed", 15.0),
        *bullets([job.fmt.retold(sentence(one)) for one in replan.changed], 10.5),
        paragraph(_lines(log, bool(lined)), 11.0, bold=True),
        *([paragraph(LAY, 10.0)] if lined else []),
        *heading("What is sawn, what lies there", 15.0),
        paragraph(_sawn(job), 10.5),
        *([table(["piece", "what it is", "goes to"], rows, shares(measure_of(job.paper), 16, 50, 34), 10.0)] if rows else []),
        *heading("The plan now", 15.0), paragraph(to_come, 10.5), *results_table(job), *assumptions(job),
    ]  # fmt: skip


def _lines(log: SawnPieces, drawn_anew: bool) -> str:
    """Which lines on the wood still hold."""
    if not drawn_anew:
        return "Nothing more is set by lines: cross out every line that is not sawn yet."
    kept = sorted(log.cut_numbers[one] for one in log.script.replan.drawn) if log.script.replan else []
    stay = f"Lines {', '.join(str(one) for one in kept)} stand on the wood already and stay; cross out the others" if kept else (
        "Cross out every line that is not sawn yet")  # fmt: skip
    return (f"{stay}: section 2 draws them. Cut numbers go on from the earlier sheet; crayon marks keep their meaning, and labels "
            "printed already stay right but for those printed again.")  # fmt: skip


def _sawn(job: PrintJob) -> str:
    log = job.log
    made = [log.plates[one] for one in log.in_hand if one in log.plates]
    passing = [plate for plate in made if plate.passes]
    cuts = sum(one.setting in log.sawn for one in log.script.cuts)
    failing = f", and {len(made) - len(passing)} that do not" if len(made) > len(passing) else ""
    volume = job.fmt.volume(sum(one.volume for one in passing))
    settings = f"{count(cuts, 'cut')} in {count(len(log.sawn), 'setting')}"
    return (
        f"{settings}; {count(len(passing), 'plate')} that pass{'es' if len(passing) == 1 else ''}, {volume}{failing}."
    )


def _kind(job: PrintJob, piece: str) -> str:
    weight = weight_of(job.log, piece)
    return f"{job.log.kind(piece)}" + (f", {job.fmt.weight(weight)}" if weight >= 1.0 else "")


def pieces_in_hand(log: SawnPieces) -> list[str]:
    """Pieces that lie there and are neither plates nor offcuts; those that are sawn on come first."""
    kept = [one for one in log.in_hand if log.kind(one) not in (Kind.PLATE, Kind.OFFCUT)]
    return sorted(kept, key=lambda one: log.following(one) is None)
