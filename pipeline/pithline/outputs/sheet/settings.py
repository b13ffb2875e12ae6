"""One panel for each setting on the mill: how the piece lies, what is wedged and checked, and each cut in order."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from pithline.outputs.paper import Pages, width_of
from pithline.outputs.reading import Script, rings
from pithline.outputs.sheet.cautions import BLOCKS, CLEARANCE, DOGS, HEAVY, LOCK_OUT, ROLL, TWO_PEOPLE_KG
from pithline.outputs.sheet.lines import polygon
from pithline.outputs.words import Words, degrees

DRAWING = 235.0


def mill_panel(pages: Pages, reading: Script, words: Words, setting: Mapping[str, Any], number: int, of: int,
               first: bool) -> None:  # fmt: skip
    """One setting, from turning the piece to the last piece that comes off."""
    pages.turn()
    piece, cuts = setting["piece"], reading.cuts_of(setting)
    kind = reading.pieces[piece]["kind"]
    pages.heading(f"3.{number}  Mill setting {number} of {of}: {kind} {reading.mark(piece)}")
    pages.text(f"{words.weight(setting['weight_kg'])}, {setting['minutes']:.0f} minutes, {len(cuts)} cuts. "
               f"Id {piece}. The drawing is seen facing the butt end.", 10.5)  # fmt: skip
    lies(pages, reading, words, setting)
    tight = [one for one in setting.get("checks", []) if one.get("clearance_run")]
    heavy = setting["weight_kg"] > TWO_PEOPLE_KG
    pages.step(1, f"Turn until clock angle {degrees(setting['roll'])} is up. Butt end at "
                  f"{words.length(setting.get('butt_at', 0.0))} "
                  "along the bed.")  # fmt: skip
    pages.caution(f"{HEAVY} {ROLL}" if heavy else ROLL)
    line = "the level line" if first else f"line {reading.numbers[cuts[0]['id']]}" if cuts else "the drawn line"
    pages.step(2, f"Roll until a spirit level along {line} reads level at both ends. If the ends disagree by "
                  f"more than 1°: "
                  "stop, the lines or the scan are wrong.")  # fmt: skip
    _wedge(pages, words, setting, first)
    pages.caution(LOCK_OUT + " " + BLOCKS)
    pages.step(4, "Chock, dog, and set the blade by the marks. Saw in this order:")
    _cut_table(pages, reading, words, setting)
    pages.caution(_clearance(tight, words) if tight else DOGS)
    for note in setting.get("cautions", []):
        pages.text(f"• {note}", 10.0)


def _clearance(tight: list[Mapping[str, Any]], words: Words) -> str:
    what = "; ".join(f"{str(one['what']).replace('_', ' ')} {words.length(one['value'])} of "
                     f"{words.length(one['limit'])}"
                     for one in tight[:3])  # fmt: skip
    return f"Tight: {what}. {CLEARANCE} Dogged while sawn."


def _wedge(pages: Pages, words: Words, setting: Mapping[str, Any], first: bool) -> None:
    lifts = ", ".join(f"{words.length(one['lift'])} at bunk {words.length(one['bunk'])}" for one in setting["lifts"]
                      if one["lift"] > 0.0) or "none"  # fmt: skip
    marks = setting["marks"]
    pages.step(3, f"Wedge until both marks stand at one height (butt: {marks['butt']['name']}, top: "
                  f"{marks['top']['name']}). "
                  f"Expected lift: {lifts}.")  # fmt: skip
    room = setting.get("mark_room") or {}
    rows = [[f"{end} mark", words.both(marks[end]["height"]), ""] for end in ("butt", "top")]
    pages.table(["Height over the bed", "Expected", "Found"], rows, [34, 38, 28], 10.5)
    if room:
        pages.text(f"Mean found more than {words.length(room['down'])} under or {words.length(room['up'])} "
                   f"over the expected: do not "
                   "saw, plan again.", 10.5, bold=True)  # fmt: skip


def _cut_table(pages: Pages, reading: Script, words: Words, setting: Mapping[str, Any]) -> None:
    drop, rows = scale_drop(reading), []
    for cut in reading.cuts_of(setting):
        over = cut["from_mark"] - drop
        sign = "over" if over >= 0 else "under"
        rows.append([str(reading.numbers[cut["id"]]), f"{words.length(abs(over))} "
                                                      f"{sign}", words.length(cut["blade_height"] - drop),
                     words.length(cut["width"]), _goes(reading, cut["above"])])  # fmt: skip
    pages.table(["Cut", "Blade to mean of the marks", "Expected on scale", "Width", "Comes off: crayon mark, "
    "where to"], rows,
                [8, 25, 20, 17, 30], 11.0)  # fmt: skip
    last = reading.cuts_of(setting)[-1:] or []
    for cut in last:
        pages.text(
            f"What stays on the bed: {reading.mark(cut['below'])}, {_goes(reading, cut['below']).partition(': ')[2]}",
            11.0,
        )


def scale_drop(reading: Script) -> float:
    """How far the mill's scale reads under the kerf's centre. [mm]"""
    mill = reading.document["inputs"]["mill"]
    mill = mill.get("mill", mill)
    return float(mill.get("kerf", 0.0)) / 2.0 if mill.get("scale_reads", "centre") == "lower" else 0.0


def _goes(reading: Script, piece: str) -> str:
    """The crayon mark of a piece and where it goes next."""
    nexts = [one["tool"] for one in reading.settings if one["piece"] == piece]
    where = {"mill": "back on the mill", "rip": "to the rip saw", "crosscut": "to the crosscut saw",
             "resaw": "to the band saw"}  # fmt: skip
    kind = reading.pieces[piece]["kind"]
    target = where.get(nexts[0], nexts[0]) if nexts else "set aside" if kind == "offcut" else "done"
    return f"{reading.mark(piece)}: {kind}, {target}"


def lies(pages: Pages, reading: Script, words: Words, setting: Mapping[str, Any]) -> None:
    """The piece resting on bed and bunk with its cuts, seen facing the butt end, at the bunk nearest its middle."""
    up = np.array(setting["up"], float)
    right = np.cross(up, [-1.0, 0.0, 0.0])
    right /= np.linalg.norm(right)
    marks = [setting["marks"][end] for end in ("butt", "top")]
    level = float(np.mean([one["height"] for one in marks]) - np.mean([np.dot(one["point"], up) for one in marks]))
    butt = float(reading.ends(setting["piece"])[0].pith[0])
    middle = float(np.mean([one["point"][0] for one in marks]))
    bunks = sorted(setting["lifts"], key=lambda one: abs(one["bunk"] - setting.get("butt_at", 0.0) + butt - middle))
    lift = bunks[0]["lift"] if bunks else 0.0
    x = bunks[0]["bunk"] - setting.get("butt_at", 0.0) + butt if bunks else middle
    outlines = [ring + np.array([0.0, level]) for ring in rings(reading.section(setting["piece"], x, right, up))]
    if not outlines:
        return
    points = np.vstack(outlines)
    cuts = [(reading.numbers[one["id"]], one["blade_height"]) for one in reading.cuts_of(setting)]
    low = min(0.0, float(points[:, 1].min()))
    high = max([float(points[:, 1].max()), *[h for _, h in cuts]])
    _section(pages, words, outlines, points, (low, high), lift, cuts)


def _section(pages: Pages, words: Words, outlines: list[np.ndarray], points: np.ndarray, span: tuple[float, float],
             lift: float, cuts: list[tuple[int, float]]) -> None:  # fmt: skip
    pages.room(DRAWING)
    wide = float(points[:, 0].max() - points[:, 0].min())
    scale = min((DRAWING - 34.0) / (span[1] - span[0]), (pages.measure - 230.0) / wide)
    middle = (pages.left + pages.right) / 2.0 - 40.0
    base = pages.y - DRAWING + 20.0
    shift = float(points[:, 0].max() + points[:, 0].min()) / 2.0

    def to_page(flat: np.ndarray) -> np.ndarray:
        return np.column_stack([middle + (flat[:, 0] - shift) * scale, base + (flat[:, 1] - span[0]) * scale])

    canvas = pages.canvas
    half = wide / 2.0 * scale + 30.0
    bed = base - span[0] * scale
    canvas.setLineWidth(2.0)
    canvas.line(middle - half, bed, middle + half, bed)
    pages.write(middle - half, bed - 11.0, "bed, height 0", 8.0)
    if lift > 0.0:
        canvas.setLineWidth(0.8)
        canvas.rect(middle - 20.0, bed, 40.0, lift * scale)
        pages.write(middle + 8.0, bed - 11.0, f"lift {words.length(lift)}", 8.0)
    canvas.setLineWidth(1.3)
    for outline in outlines:
        polygon(canvas, to_page(outline))
    last = 1e9
    for number, height in sorted(cuts, key=lambda one: -one[1]):
        y = base + (height - span[0]) * scale
        canvas.setLineWidth(0.9)
        canvas.setDash(7, 2)
        canvas.line(middle - half, y, middle + half, y)
        canvas.setDash()
        spot = min(y - 4.0, last - 14.0)
        canvas.setLineWidth(0.4)
        canvas.line(middle + half, y, middle + half + 14.0, spot + 4.0)
        text = f"cut {number}: {words.length(height)}"
        if spot > pages.y - DRAWING + 4.0:
            pages.write(middle + half + 17.0, spot, text, min(10.0, 90.0 / max(width_of(text, 1.0), 1e-6)), bold=True)
        last = spot
    pages.y -= DRAWING
