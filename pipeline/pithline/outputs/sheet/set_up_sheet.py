"""The set-up sheet as one PDF: from the log as it lies to the last piece off the mill. The shop has its cards."""

from __future__ import annotations

from reportlab.platypus import Flowable, PageBreak

from pithline.outputs.cut_script.document import Saw
from pithline.outputs.pdf.page import document
from pithline.outputs.pdf.paging import Block, paged
from pithline.outputs.print_job import PrintJob
from pithline.outputs.sheet.cautions import FOOT
from pithline.outputs.sheet.crosscut_first import crosscut_part
from pithline.outputs.sheet.first_page import first_page
from pithline.outputs.sheet.good_for_page import good_for_part
from pithline.outputs.sheet.lines_page import lines_blocks
from pithline.outputs.sheet.mill_settings import mill_blocks, mill_rules
from pithline.outputs.sheet.replanned_page import replanned_page


def set_up_sheet(job: PrintJob) -> bytes:
    """The set-up sheet as PDF bytes; the same script gives the same bytes."""
    log = job.log
    begin, blocks = (replanned_page(job), []) if log.sawn else first_page(job)
    if not log.sawn:
        blocks += [[crosscut_part(job, one)] for one in log.ahead if one.tool is Saw.BUCK]
    blocks += lines_blocks(job)
    blocks += [*_one_size(mill_rules(job)), *mill_blocks(job), *_one_size(good_for_part(job))]
    story = [*begin, PageBreak(), *paged(blocks, job.paper)] if blocks else begin
    return document(story, job.paper, f"Set-up sheet, log {log.script.log.id}", FOOT)


def _one_size(story: list[Flowable]) -> list[Block]:
    """A block of one size; none of nothing."""
    return [[story]] if story else []
