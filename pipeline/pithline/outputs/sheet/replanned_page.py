"""Page 1 where a log is open already: what changed, what is sawn, what lies there."""

from __future__ import annotations

from reportlab.platypus import Flowable

from pithline.outputs.cut_script.document import Kind, Tool
from pithline.outputs.cut_script.sawn_log import SawnLog
from pithline.outputs.formatting import sentence
from pithline.outputs.pdf.flow import heading, paragraph, shares, table
from pithline.outputs.pdf.page import measure_of
from pithline.outputs.print_job import PrintJob
from pithline.outputs.sheet.first_page import yields
from pithline.outputs.sheet.mill_settings import destination

CROSS_OUT = ("Cross out every line that is on the ends and is not yet sawn: section 2 draws them anew. Cut numbers go on from the "
             "earlier sheet; crayon marks keep their meaning, and labels already printed stay right but for those printed "
             "again.")  # fmt: skip
LAY = ("The pieces lie apart now. Lay the end template on each piece by its bark and by the edges sawn already, or tape from "
       "the line's bark points that the piece still has.")  # fmt: skip


def replanned_page(job: PrintJob) -> list[Flowable]:
    """The first page of a plan that was made anew after some cuts."""
    log, script, replan = job.log, job.log.script, job.log.script.replan
    if replan is None:
        raise ValueError("this script was not planned anew")
    passing = [plate for plate in (log.plates.get(one) for one in log.in_hand) if plate is not None and plate.passes]
    made = sum(one in log.plates for one in log.in_hand)
    cuts = sum(one.setting in log.sawn for one in script.cuts)
    settings = "1 setting" if len(log.sawn) == 1 else f"{len(log.sawn)} settings"
    failing = f", and {made - len(passing)} that do not." if made > len(passing) else "."
    volume = job.fmt.volume(sum(one.volume for one in passing))
    rows = [[log.mark(one), destination(job, one)] for one in pieces_in_hand(log)]
    on_mill = any(one.tool is Tool.MILL for one in log.ahead)
    return [
        paragraph(f"Log {script.log.id}, planned anew after cut {log.cut_numbers[replan.after]}", 22.0, bold=True),
        paragraph(f"{script.log.species}. All angles are clock angles, seen facing the butt end, 12 o'clock as marked.", 10.0),
        *heading("1  What changed"),
        *(paragraph(f"• {sentence(one)}", 11.0) for one in replan.changed),
        paragraph(CROSS_OUT, 11.5, bold=True),
        *([paragraph(LAY, 10.5)] if on_mill else []),
        *heading("What is sawn"),
        paragraph(f"{cuts} cuts in {settings}; {len(passing)} plates that pass, {volume}{failing}", 11.0),
        *([table(["Piece in hand", "What it is, and where it goes next"], rows, shares(measure_of(job.paper), 20, 80), 10.0)]
          if rows else []),
        *yields(job),
    ]  # fmt: skip


def pieces_in_hand(log: SawnLog) -> list[str]:
    """Pieces that lie there and are neither plates nor offcuts; those that are sawn on come first."""
    kept = [one for one in log.in_hand if log.kind(one) not in (Kind.PLATE, Kind.OFFCUT)]
    return sorted(kept, key=lambda one: log.following(one) is None)
