"""The set-up sheet as one PDF: from the log as it lies to the last piece off the mill. The shop has its cards."""

from __future__ import annotations

from reportlab.platypus import Flowable, PageBreak

from pithline.outputs.cut_script.document import Saw
from pithline.outputs.pdf.page import document
from pithline.outputs.print_job import PrintJob
from pithline.outputs.sheet.cautions import FOOT
from pithline.outputs.sheet.crosscut_first import crosscut_part
from pithline.outputs.sheet.first_page import first_page
from pithline.outputs.sheet.good_for_page import good_for_page
from pithline.outputs.sheet.lines_page import lines_pages
from pithline.outputs.sheet.mill_settings import mill_part, mill_rules
from pithline.outputs.sheet.replanned_page import replanned_page


def set_up_sheet(job: PrintJob) -> bytes:
    """The set-up sheet as PDF bytes; the same script gives the same bytes."""
    log = job.log
    story: list[Flowable] = replanned_page(job) if log.sawn else first_page(job)
    crosscuts = [one for one in log.ahead if one.tool is Saw.BUCK]
    if crosscuts and not log.sawn and not any(isinstance(one, PageBreak) for one in story):
        story.append(PageBreak())
    for setting in crosscuts:
        story += crosscut_part(job, setting)
    if crosscuts:  # their page has room for what else is read before anything is sawn
        story += mill_rules(job)
    story += lines_pages(job)
    story += mill_part(job, with_rules=not crosscuts)
    story += good_for_page(job)
    return document(story, job.paper, f"Set-up sheet, log {log.script.log.id}", FOOT)
