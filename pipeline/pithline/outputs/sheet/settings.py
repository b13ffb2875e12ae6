"""One panel for each setting on the mill: how the piece lies, what is wedged and checked, and each cut in order."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pithline.outputs.paper import Pages
from pithline.outputs.reading import Script
from pithline.outputs.sheet.cautions import CLEARANCE, DOGS, LOCK_OUT, ROLL, TIPS, heavy
from pithline.outputs.sheet.lying import lies, stands
from pithline.outputs.words import Words, degrees


def mill_panel(pages: Pages, reading: Script, words: Words, setting: Mapping[str, Any], of: int,
               first: bool) -> None:  # fmt: skip
    """One setting, from turning the piece to the last piece that comes off."""
    pages.turn()
    piece, cuts, number = setting["piece"], reading.cuts_of(setting), reading.mill_numbers[setting["id"]]
    kind = reading.pieces[piece]["kind"]
    pages.heading(f"3.{number}  Mill setting {number} of {of}: {kind} {reading.mark(piece)}")
    many = "1 cut" if len(cuts) == 1 else f"{len(cuts)} cuts"
    pages.text(
        f"{words.weight(setting['weight_kg'])}, {setting['minutes']:.0f} minutes, {many}. Butt end at "
        f"{words.length(setting.get('butt_at', 0.0))} along the bed.",
        10.5,
        after=0.0,
    )
    lies(pages, reading, words, setting)
    tight = [one for one in setting.get("checks", []) if one.get("clearance_run")]
    twelve = clock_face(-float(setting["roll"]))
    pages.step(1, f"Turn until clock angle {degrees(setting['roll'])} is up: the 12 o'clock line then points to "
                  f"{twelve}, facing the butt.")  # fmt: skip
    tips = "" if kind == "log" or stands(reading, setting) else TIPS
    pages.caution(" ".join(one for one in (heavy(setting["weight_kg"]), tips, ROLL) if one))
    line = "the level line" if first else f"line {reading.numbers[cuts[0]['id']]}" if cuts else "the drawn line"
    pages.step(2, f"Roll until a spirit level along {line} reads level at both ends. If the ends disagree by "
                  "more than 1°: stop, the lines or the scan are wrong.")  # fmt: skip
    _wedge(pages, reading, words, setting)
    pages.caution(LOCK_OUT)
    pages.step(4, "Dog, chock, and set the blade by the marks. Saw in this order:")
    pages.caution(_clearance(tight, words) if tight else DOGS)
    _cut_table(pages, reading, words, setting)
    for note in setting.get("cautions", []):
        pages.text(f"• {note}", 10.0)


def clock_face(turned_deg: float) -> str:
    """A direction as on a clock's face, to half an hour: 210° is "7 o'clock"."""
    halves = round(turned_deg % 360.0 / 15.0) % 24
    hour = halves // 2 or 12
    return f"half past {hour}" if halves % 2 else f"{hour} o'clock"


def _clearance(tight: list[Mapping[str, Any]], words: Words) -> str:
    what = "; ".join(f"{str(one['what']).replace('_', ' ')} {words.length(one['value'])} of "
                     f"{words.length(one['limit'])}"
                     for one in tight[:3])  # fmt: skip
    return f"Tight: {what}. {CLEARANCE} Dogged while sawn."


def _wedge(pages: Pages, reading: Script, words: Words, setting: Mapping[str, Any]) -> None:
    lifts = ", ".join(f"{words.length(one['lift'])} at bunk {words.length(one['bunk'])}" for one in setting["lifts"]
                      if one["lift"] > 0.0) or "none"  # fmt: skip
    marks = setting["marks"]
    names = [_mark_name(reading, setting, marks[end]["name"]) for end in ("butt", "top")]
    said = f"{names[0]} on both ends" if names[0] == names[1] else f"butt: {names[0]}, top: {names[1]}"
    pages.step(3, f"Wedge until both marks stand at one height ({said}). Expected lift: {lifts}.")
    room = setting.get("mark_room") or {}
    row = [text for end in ("butt", "top") for text in (words.both(marks[end]["height"]), "")]
    pages.table(["Butt mark, over the bed", "Found", "Top mark, over the bed", "Found"], [row], [32, 18, 32, 18], 10.0)
    if room:
        pages.text(f"Mean found over {words.length(room['down'])} lower or {words.length(room['up'])} higher: "
                   "do not saw, plan again.", 10.5, bold=True)  # fmt: skip


def _mark_name(reading: Script, setting: Mapping[str, Any], name: str) -> str:
    """A mark as the sawyer finds it: the first line by its number."""
    cuts = reading.cuts_of(setting)
    if name == "first line" and cuts:
        return f"line {reading.numbers[cuts[0]['id']]}"
    return f"the {name}" if name == "pith" else name


def _cut_table(pages: Pages, reading: Script, words: Words, setting: Mapping[str, Any]) -> None:
    drop, rows = reading.scale_drop, []
    for cut in reading.cuts_of(setting):
        over = cut["from_mark"] - drop
        sign = "over" if over >= 0 else "under"
        rows.append([str(reading.numbers[cut["id"]]), f"{words.length(abs(over))} "
                                                      f"{sign}", words.length(cut["blade_height"] - drop),
                     words.length(cut["width"]), goes(reading, words, cut["above"])])  # fmt: skip
    pages.table(["Cut", "Blade to mean of the marks", "Expected on scale", "Width", "Comes off: crayon mark, "
    "where to"], rows,
                [7, 20, 17, 15, 41], 10.5)  # fmt: skip
    for cut in reading.cuts_of(setting)[-1:]:
        pages.text(f"On the bed stays {goes(reading, words, cut['below'])}.", 11.0)


def goes(reading: Script, words: Words, piece: str) -> str:
    """The crayon mark of a piece, its weight where it is known, and where it goes next."""
    following = next((one for one in reading.ahead if one["piece"] == piece), None)
    kind, mark = reading.pieces[piece]["kind"], reading.mark(piece)
    if following is None:
        return f"{mark}: {kind}, " + ("set aside" if kind != "plate" else "done")
    where = {"rip": "to the rip saw", "crosscut": "to the crosscut saw", "resaw": "to the band saw"}
    target = where.get(following["tool"]) or f"setting {reading.mill_numbers.get(following['id'], '')}"
    if following["tool"] == "mill":
        target += f", {clock_face(following['roll'])} up"
    return f"{mark}: {kind} {words.weight(following['weight_kg'])}, {target}"
