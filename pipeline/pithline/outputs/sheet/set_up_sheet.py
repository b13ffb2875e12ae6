"""The set-up sheet as one PDF: its pages in working order."""

from __future__ import annotations

from reportlab.platypus import Flowable

from pithline.outputs.cut_script.document import Stage, Tool
from pithline.outputs.pdf.page import document
from pithline.outputs.print_job import PrintJob
from pithline.outputs.sheet.cautions import FOOT
from pithline.outputs.sheet.first_page import first_page
from pithline.outputs.sheet.lines_page import lines_pages
from pithline.outputs.sheet.mill_settings import mill_panel
from pithline.outputs.sheet.replanned_page import replanned_page
from pithline.outputs.sheet.same_day import same_day
from pithline.outputs.sheet.shop_work import buck_panel, shop_panels


def set_up_sheet(job: PrintJob) -> bytes:
    """The set-up sheet as PDF bytes; the same script gives the same bytes."""
    log = job.log
    story: list[Flowable] = replanned_page(job) if log.sawn else first_page(job)
    green = [one for one in log.ahead if one.stage is Stage.GREEN]
    for setting in green:
        if setting.tool is Tool.BUCK:
            story += buck_panel(job, setting)
    story += lines_pages(job)
    seen: set[str] = set()
    for setting in green:
        if setting.tool is Tool.MILL:
            own = log.own_log(setting.piece)
            story += mill_panel(job, setting, first=own not in seen)
            seen.add(own)
    story += shop_panels(job, [one for one in green if one.tool not in (Tool.MILL, Tool.BUCK)], "In the shop, green")
    story += same_day(job)
    story += shop_panels(job, [one for one in log.ahead if one.stage is Stage.DRIED], "Later, when dried")
    return document(story, job.paper, f"Set-up sheet, log {log.script.log.id}", FOOT)
