"""Labels for every piece that is kept: a PDF for common label sheets, and the same as CSV."""

from __future__ import annotations

import csv
import hashlib
import io
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import groupby
from typing import Any

import numpy as np
import segno

from pithline.outputs.paper import BOLD, LEAD, PAPERS, PLAIN, new_canvas, width_of, wrap
from pithline.outputs.reading import Script
from pithline.outputs.words import Words
from pithline.script.document import dumps

MM = 72.0 / 25.4
SMALL = 9.0  # pt, what stands under a label's mark
KEPT = ("log", "half", "slab", "bolt", "billet", "plate")
COLUMNS = ("mark", "id", "kind", "log", "product", "part", "set", "mate", "sawn", "length_mm", "width_mm",
           "thickness_mm", "plan")  # fmt: skip


@dataclass(frozen=True, slots=True)
class Stock:
    """A label sheet: columns, rows, label size and margins. [mm]"""

    columns: int
    rows: int
    width: float
    height: float
    left: float
    top: float
    gap: float = 0.0


STOCKS = {
    "A4": Stock(2, 7, 99.1, 38.1, 4.65, 15.15, 2.5),  # common practice: 14 a sheet
    "Letter": Stock(2, 5, 101.6, 50.8, 4.0, 12.7, 4.7),  # common practice: 4 in × 2 in, 10 a sheet
}


def plan_hash(script: Mapping[str, Any]) -> str:
    """First 16 hex digits of the SHA-256 of cut-script.json; it ties a label to its plan."""
    return hashlib.sha256(dumps(dict(script))).hexdigest()[:16]


def code_text(piece: str, plan: str) -> str:
    """What the QR code of a piece holds."""
    return f"pithline:{plan}:{piece}"


def label_rows(script: Mapping[str, Any]) -> list[dict[str, str]]:
    """One row a kept piece, in the order sawn; `sawn` is left blank to be written by hand.

    Where the log was planned anew: of pieces still to come, and of those whose set or mate is another now.

    Sizes are a plate's as sawn, any other piece's at its mid-length, bark included, measured from its newest face.
    """
    reading, plan, rows = Script(script), plan_hash(script), []
    again = set(script.get("replan", {}).get("relabelled", ()))
    labelled = {one[side] for one in reading.cuts.values() if one["setting"] in reading.sawn for side in ("above", "below")}
    passing = set()
    for cut in reading.cuts.values():
        made = reading.pieces[cut["piece"]]["made_by"]
        if made and reading.cuts[made]["setting"] == cut["setting"]:
            passing.add(cut["piece"])
    for piece in script["pieces"]:
        if piece["id"] in labelled - again:
            continue
        if piece["id"] in passing:  # it never leaves the machine: no label
            continue
        if piece["kind"] not in KEPT or (piece["kind"] == "log" and piece["made_by"] is None):
            continue
        plate = reading.plates.get(piece["id"])
        size = sorted((float(np.linalg.norm(edge)) for edge in plate["edges"]), reverse=True) if plate else (
            reading.size(piece["id"]))  # fmt: skip
        rows.append({
            "mark": reading.mark(piece["id"]), "id": piece["id"], "kind": piece["kind"], "log": script["log"]["id"],
            "product": plate["product"] if plate else "", "part": plate["part"] if plate else "",
            "set": (plate.get("set_id") or "") if plate else "",
            "mate": reading.mark(plate["mate"]) if plate and plate.get("mate") else "", "sawn": "",
            "length_mm": f"{size[0]:.1f}" if size else "", "width_mm": f"{size[1]:.1f}" if size else "",
            "thickness_mm": f"{size[2]:.1f}" if size else "", "plan": plan,
        })  # fmt: skip
    return rows


def labels_csv(script: Mapping[str, Any]) -> bytes:
    """The labels as CSV, UTF-8, one header row."""
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, COLUMNS, lineterminator="\r\n")
    writer.writeheader()
    writer.writerows(label_rows(script))
    return out.getvalue().encode("utf-8")


def labels_pdf(script: Mapping[str, Any], units: str = "mm", paper: str = "A4") -> bytes:
    """Label sheets for the paper's common stock; a plate and its mate share one label (the pair stays together)."""
    stock, words = STOCKS[paper], Words(units)
    canvas, out = new_canvas(paper, f"Labels {script['log']['id']}")
    height = PAPERS[paper][1]
    pairs, by_mark = [], {}
    for row in label_rows(script):
        by_mark[row["mark"]] = row
        if not (row["mate"] and row["mate"] in by_mark):
            pairs.append(row)
    for index, row in enumerate(pairs):
        place = index % (stock.columns * stock.rows)
        if index and place == 0:
            canvas.showPage()
        column, line = place % stock.columns, place // stock.columns
        x = (stock.left + column * (stock.width + stock.gap)) * MM
        y = height - (stock.top + (line + 1) * stock.height) * MM
        _label(canvas, row, words, x, y, stock)
    canvas.showPage()
    canvas.save()
    return out.getvalue()


def _use(row: Mapping[str, str]) -> str:
    """What a plate is for and in which set, nothing said twice: there is not much room."""
    part = row["part"] if row["part"] == row["product"] else f"{row['product']}: {row['part']}"
    return part + (f", set {row['set'].removeprefix(row['product']).strip(' -')}" if row["set"] else "")


def _label(canvas: Any, row: Mapping[str, str], words: Words, x: float, y: float, stock: Stock) -> None:
    width, height = stock.width * MM, stock.height * MM
    code = segno.make(code_text(row["id"], row["plan"]), error="m", micro=False)
    side = min(height - 16.0, 80.0)
    cell = side / (len(code.matrix) + 8)
    _code(canvas, code.matrix, x + width - side - 6.0 + 4 * cell, y + height / 2.0 + side / 2.0 - 4 * cell, cell)
    room = width - side - 20.0
    mark = row["mark"] + (f" + {row['mate']}" if row["mate"] else "")
    lines = [
        (mark, 17.0, True),
        (row["id"] if row["id"].startswith(row["kind"]) else f"{row['kind']} {row['id']}", SMALL, False),
        (f"log {row['log']}", SMALL, False),
    ]
    if row["part"]:
        lines.append((_use(row), SMALL, False))
    if row["length_mm"]:
        lines.append((words.size(*(float(row[key]) for key in ("length_mm", "width_mm", "thickness_mm"))), SMALL, False))
    lines.append(("sawn ____________", SMALL, False))
    bottom, top = y + 5.0, y + height - 5.0
    for text, size, bold in lines:
        while bold and width_of(text, size, bold) > room and size > 8.0:
            size -= 1.0
        wrapped = wrap(text, room, size, bold)
        if len(wrapped) > 1:  # a label has no second line: the code and the CSV hold the whole of it
            wrapped = [wrapped[0][:-1] + "…"]
        top -= size * LEAD
        if top < bottom:
            return
        canvas.setFont(BOLD if bold else PLAIN, size)
        canvas.drawString(x + 8.0, top + 0.2 * size, wrapped[0])


def _code(canvas: Any, matrix: Any, x: float, y: float, cell: float) -> None:
    """A QR code from its top left corner, each run of dark cells as one bar of one path."""
    path = canvas.beginPath()
    for row, line in enumerate(matrix):
        start = 0
        for dark, run in groupby(line):
            length = len(list(run))
            if dark:
                path.rect(x + start * cell, y - (row + 1) * cell, length * cell, cell)
            start += length
    canvas.drawPath(path, stroke=0, fill=1)
