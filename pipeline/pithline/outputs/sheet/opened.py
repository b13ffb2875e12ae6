"""Page 1 where a log is open already: what changed, what is sawn, what lies there."""

from __future__ import annotations

from pithline.outputs.paper import Pages
from pithline.outputs.reading import Script
from pithline.outputs.sheet.front import yields
from pithline.outputs.sheet.settings import goes
from pithline.outputs.words import Words, sentence

CROSS_OUT = ("Cross out every line that is on the ends and is not yet sawn: section 2 draws them anew. Cut numbers go on from the "
             "earlier sheet; crayon marks keep their meaning, and labels already printed stay right but for those printed "
             "again.")  # fmt: skip
LAY = ("The pieces lie apart now. Lay the end template on each piece by its bark and by the edges sawn already, or tape from "
       "the line's bark points that the piece still has.")  # fmt: skip


def opened_page(pages: Pages, reading: Script, words: Words) -> None:
    """The first page of a plan that was made anew after some cuts."""
    log, replan = reading.document["log"], reading.document["replan"]
    after = reading.numbers[replan["after"]]
    pages.text(f"Log {log['id']}, planned anew after cut {after}", 22.0, bold=True, after=2.0)
    pages.text(f"{log['species']}. All angles are clock angles, seen facing the butt end, 12 o'clock as marked.", 10.0)
    pages.heading("1  What changed")
    for one in replan["changed"]:
        pages.text(f"• {sentence(one)}", 11.0)
    pages.text(CROSS_OUT, 11.5, bold=True)
    if any(one["tool"] == "mill" for one in reading.ahead):
        pages.text(LAY, 10.5)
    pages.heading("What is sawn")
    made = [one for one in reading.in_hand if one in reading.plates]
    passing = [reading.plates[one] for one in made if reading.plates[one]["passes"]]
    volume = words.volume(sum(one["volume"] for one in passing))
    cuts = sum(one["setting"] in reading.sawn for one in reading.cuts.values())
    settings = "1 setting" if len(reading.sawn) == 1 else f"{len(reading.sawn)} settings"
    pages.text(f"{cuts} cuts in {settings}; {len(passing)} plates that pass, {volume}"
               + (f", and {len(made) - len(passing)} that do not." if len(made) > len(passing) else "."), 11.0)  # fmt: skip
    rows = [[reading.mark(one), goes(reading, words, one).partition(": ")[2]] for one in pieces_in_hand(reading)]
    if rows:
        pages.table(["Piece in hand", "What it is, and where it goes next"], rows, [20, 80], 10.0)
    yields(pages, reading, words)


def pieces_in_hand(reading: Script) -> list[str]:
    """Pieces that lie there and are neither plates nor offcuts; those that are sawn on come first."""
    following = {one["piece"] for one in reading.ahead}
    kept = [one for one in reading.in_hand if reading.pieces[one]["kind"] not in ("plate", "offcut")]
    return [one for one in kept if one in following] + [one for one in kept if one not in following]
