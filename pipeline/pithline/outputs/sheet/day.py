"""The same day: what keeps the sawn pieces from splitting."""

from __future__ import annotations

from pithline.outputs.paper import Pages
from pithline.outputs.reading import Script
from pithline.outputs.sheet.cautions import GUARDS
from pithline.outputs.words import Words

STICKERS = (19.0, 32.0, 38.0)
"""Thickness, least and greatest width of a sticker: 3/4 in; 1 1/4 to 1 1/2 in (G. Wengert). [mm]"""
SPACING = (304.8, 406.4)
"""Sticker spacing for 1 in and thinner: 12 to 16 in (G. Wengert). [mm]"""


def same_day(pages: Pages, reading: Script, words: Words) -> None:
    """Sealing, stacking, weighing."""
    pages.turn()
    pages.heading("The same day")
    steps = (
        "Crayon first: the mark, and a large V across the piece with its point to the butt. Paper does not "
        "stick to wet wood: staple "
        "the labels, or stick them on after drying.",
        "Seal both ends of every piece within hours of cutting (common practice).",
        f"Stack on stickers {words.length(STICKERS[0])} thick and {words.length(STICKERS[1])} to "
        f"{words.length(STICKERS[2])} wide, "
        f"{words.length(SPACING[0])} to {words.length(SPACING[1])} apart, one above the other (published: G. Wengert).",
        "Weight on top; shade; air from the side, no sun and no rain (common practice).",
        "Keep mates together and in the order they were sawn.",
        "Weigh one piece of each kind now and write the weight and the date on it: drying is followed from "
        "this number.",
    )
    for number, text in enumerate(steps, 1):
        pages.step(number, text, 12.0)
    pages.table(["Piece", "Weight", "Date"], [["", "", ""] for _ in range(6)], [40, 30, 30], 14.0)
    pages.caution(GUARDS)
