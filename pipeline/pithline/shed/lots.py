"""Appraisals as their page shows them: read from the files that the command writes, and a card for a log known by tape alone."""

from __future__ import annotations

import datetime
import json
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import tomlkit

from pithline.errors import InputError, PithlineError
from pithline.files.write import write_folder
from pithline.outputs.reports.appraisal_document import check_appraisal, in_currency
from pithline.outputs.reports.appraisal_page import LotEntry, appraisal_entries
from pithline.outputs.reports.appraisal_pictures import Pictures, standing_alone
from pithline.shed.card_edit import as_typed
from pithline.shed.folder import ReportEntry, YardFolder
from pithline.shed.intake import kept_name

DOCUMENT = "appraisal.json"
VIEWS = ("side", "butt")
"""Pictures of a log that its card shows."""
TAPED = {
    "species": ("Wood", ""),
    "length": ("Length", "2.32 m, 7 ft 7 in"),
    "girth_butt": ("Girth over bark, 100 mm from the butt", "2136 mm, 84 in"),
    "girth_top": ("Girth over bark, 100 mm from the top", "2084 mm, 82 in"),
    "cost": ("Price asked", "420"),
    "felled": ("Felled on", "2026-02-11"),
}
"""What is asked of a log that is known by tape alone: label and example."""
LENGTHS = ("length", "girth_butt", "girth_top")


@dataclass(frozen=True, slots=True)
class AppraisedLot:
    """An appraisal in words: its logs, the best buy first, and of each which pictures there are."""

    on: str
    currency: str
    margin: str
    objective: str
    logs: tuple[LotEntry, ...]
    pictured: tuple[bool, ...]


def read_appraisal(yard: YardFolder, entry: ReportEntry) -> AppraisedLot | None:
    """An appraisal of the yard; `None` where it cannot be read."""
    try:
        document = _document(str(entry.path / DOCUMENT), (entry.path / DOCUMENT).stat().st_mtime_ns)
    except (OSError, ValueError, PithlineError):
        return None
    kept = _pictures(yard, entry.name)
    pictured = [bool(one) for one in kept] if len(kept) == len(document["logs"]) else [False] * len(document["logs"])
    entries = appraisal_entries(document, [None] * len(document["logs"]))
    return AppraisedLot(
        document["on"],
        in_currency(document["currency"]),
        f"{document['bid_margin']:.0%}",
        document["objective"],
        tuple(entries),
        tuple(pictured),
    )


@lru_cache(maxsize=8)
def _document(path: str, changed: int) -> Mapping[str, Any]:
    found: Mapping[str, Any] = json.loads(Path(path).read_text(encoding="utf-8"))
    check_appraisal(found)
    return found


def keep_pictures(yard: YardFolder, name: str, pictures: Sequence[Pictures | None]) -> None:
    """Keep what the page shows of each log of an appraisal."""
    kept = [None if one is None else {view: standing_alone(getattr(one, view)) for view in VIEWS} for one in pictures]
    write_folder(yard.hidden / "appraisals", {f"{name}.json": json.dumps(kept).encode()})


def lot_picture(yard: YardFolder, entry: ReportEntry, number: int, view: str) -> str | None:
    """One picture of a log by its place in the appraisal, from 0; `None` where there is none."""
    kept = _pictures(yard, entry.name)
    if view not in VIEWS or not 0 <= number < len(kept) or kept[number] is None:
        return None
    return str(kept[number][view])


def _pictures(yard: YardFolder, name: str) -> list[Any]:
    path = yard.hidden / "appraisals" / f"{name}.json"
    try:
        return _kept(str(path), path.stat().st_mtime_ns)
    except (OSError, ValueError):
        return []


@lru_cache(maxsize=8)
def _kept(path: str, changed: int) -> list[Any]:
    found: list[Any] = json.loads(Path(path).read_text(encoding="utf-8"))
    return found


def margin_as_typed(text: str) -> float:
    """The share of the proceeds that stays with the buyer, from per cent as typed. InputError where it is none."""
    value = as_typed("margin", text.removesuffix("%"), "number")
    if value is None or not 0.0 <= value < 100.0:
        raise InputError(f'the margin is "{text[:20]}"; write per cent from 0 to under 100, such as 25.')
    return float(value) / 100.0


def day_as_typed(name: str, text: str) -> str:
    """A day as typed; InputError where it is none."""
    found = as_typed(name, text, "date")
    if found is None:
        raise InputError(f"{name} is empty; write year-month-day, such as 2026-11-05.")
    assert isinstance(found, datetime.date)
    return found.isoformat()


def add_taped_log(yard: YardFolder, name: str, typed: Mapping[str, str]) -> str:
    """Begin the card of a log known by tape alone, and return its name.

    Raises
    ------
    InputError
        Where a field cannot be read, one that is needed is empty, or a log of this name lies there already.
    """
    from pithline.yard.appraisal.terms import read_lot

    if not name.strip():
        raise InputError("the log has no name yet; write what is chalked on it.")
    kept = kept_name(f"{name.strip()}.toml")
    if any(one.name == kept for one in yard.logs()) or (yard.root / f"{kept}.toml").exists():
        raise InputError(f"a log {kept} lies in this yard already; give this one another name.")
    card = tomlkit.document()
    card.add(tomlkit.comment(f"Log card of {kept}, known by tape alone; its page in the yard asks for more."))
    log, tape = tomlkit.table(), tomlkit.table()
    log.add("id", kept)
    log.add("species", typed.get("species", ""))
    for key, kind in (("cost", "number"), ("felled", "date")):
        value = as_typed(key, typed.get(key, ""), kind)
        if value is not None:
            log.add(key, value)
    for key in LENGTHS:
        value = as_typed(key, typed.get(key, ""), "length")
        if value is not None:
            tape.add(key, value)
    card.add("log", log)
    card.add("tape", tape)
    text = tomlkit.dumps(card)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"{kept}.toml"
        path.write_text(text, encoding="utf-8")
        try:
            read_lot([str(path)])
        except InputError as error:
            raise InputError(" ".join(str(error).replace(f"{path}: ", "").split())) from None
    write_folder(yard.root, {f"{kept}.toml": text.encode()})
    return kept
