"""Where a piece goes when it leaves a saw, in a word or two."""

from __future__ import annotations

from pithline.outputs.cards.work import card_of
from pithline.outputs.cut_script.document import Kind, Saw, WoodStage
from pithline.outputs.print_job import PrintJob


def where_next(job: PrintJob, piece: str) -> str:
    """The next mill setting, the piece's shop card, drying, or aside."""
    log, following = job.log, job.log.following(piece)
    if following is None:
        return "done" if log.kind(piece) is Kind.PLATE else "set aside"
    if following.tool is Saw.MILL:
        return f"mill {log.mill_numbers[following.id]}"
    if following.tool is Saw.BUCK:
        return "crosscut first"
    dried = " when dried" if following.stage is WoodStage.DRIED else ""
    return f"card {log.mark(card_of(log, piece))}{dried}"
