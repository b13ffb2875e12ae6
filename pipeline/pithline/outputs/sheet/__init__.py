"""The set-up sheet: from the plan to the log, page by page in working order."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pithline.outputs.paper import Pages
from pithline.outputs.reading import Script
from pithline.outputs.sheet.cautions import FOOT
from pithline.outputs.sheet.day import same_day
from pithline.outputs.sheet.front import front_page
from pithline.outputs.sheet.lines import drawing_the_lines
from pithline.outputs.sheet.opened import opened_page
from pithline.outputs.sheet.settings import mill_panel
from pithline.outputs.sheet.shop import buck_panel, shop_panels
from pithline.outputs.words import Words

__all__ = ["set_up_sheet"]


def set_up_sheet(script: Mapping[str, Any], units: str = "mm", paper: str = "A4") -> bytes:
    """The set-up sheet of one cut script as PDF bytes; the same script gives the same bytes.

    Parameters
    ----------
    script : mapping
        The cut script (design section 6).
    units : str
        "mm" or "in".
    paper : str
        "A4" or "Letter".
    """
    reading, words = Script(script), Words(units)
    pages = Pages(paper, f"Set-up sheet, log {script['log']['id']}", FOOT)
    (opened_page if reading.sawn else front_page)(pages, reading, words)
    green = [one for one in reading.ahead if one.get("stage") != "dried"]
    for setting in (one for one in green if one["tool"] == "buck"):
        buck_panel(pages, reading, words, setting)
    drawing_the_lines(pages, reading, words)
    on_mill = [one for one in green if one["tool"] == "mill"]
    seen: set[str] = set()
    for setting in on_mill:
        log = reading.own_log(setting["piece"])
        mill_panel(pages, reading, words, setting, len(reading.mill_numbers), first=log not in seen)
        seen.add(log)
    shop_panels(
        pages, reading, words, [one for one in green if one["tool"] not in ("mill", "buck")], "In the shop, green"
    )
    same_day(pages, reading, words)
    dried = [one for one in reading.ahead if one.get("stage") == "dried"]
    shop_panels(pages, reading, words, dried, "Later, when dried")
    return pages.bytes()
