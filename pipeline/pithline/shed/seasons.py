"""The season's files as its page changes and shows them: logs, orders, and what was worked out."""

from __future__ import annotations

import hashlib
import json
import os
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from pithline.errors import InputError, PithlineError
from pithline.files.csv_rows import Field, csv_bytes, read_cells
from pithline.files.manifest import MANIFEST, read_manifest
from pithline.files.orders import ORDERS as ORDER_COLUMNS
from pithline.files.orders import read_orders
from pithline.files.product_lists import put_together, read_lists
from pithline.files.products import products_from
from pithline.files.write import write_folder
from pithline.mill.products import Products
from pithline.outputs.reports.season_page import LeadFigure, ReportTable, season_facts, season_proof, season_tables
from pithline.outputs.reports.season_weeks import SeasonWeek, season_weeks
from pithline.script.schema import validate
from pithline.shed.folder import ReportEntry, YardFolder

LOGS, ORDERS = "logs.csv", "orders.csv"
OUT = "season"
"""The folder that a season is written to; finished work in it is found again."""
Cells = list[dict[str, str]]


@dataclass(frozen=True, slots=True)
class Sheet:
    """A CSV file as the page shows it: its rows as written, and the state of the file that they are of."""

    rows: Cells
    stamp: str


def open_sheet(yard: YardFolder, name: str) -> Sheet:
    """Logs or orders as they lie there now, none where there is no such file. InputError where it cannot be read."""
    path, known = yard.root / name, _known(name)
    if not path.is_file():
        return Sheet([], "")
    try:
        return Sheet(read_cells(path, known), _stamp(path))
    except InputError as error:
        raise _named(error, path, name) from None


def save_orders(yard: YardFolder, rows: Sequence[Mapping[str, str]], seen: str, products: Products) -> str:
    """Write the order book once its reader has read it without fault, and return the new state of the file.

    InputError where it does not, or the file has changed since.
    """
    return _save(yard, ORDERS, rows, seen, lambda path: read_orders(path, products))


def save_logs(yard: YardFolder, rows: Sequence[Mapping[str, str]], seen: str) -> str:
    """Write the list of logs, likewise."""
    return _save(yard, LOGS, rows, seen, lambda path: read_manifest(path))


def _save(yard: YardFolder, name: str, rows: Sequence[Mapping[str, str]], seen: str, read: Any) -> str:
    text = csv_bytes(rows, _known(name))
    if (_stamp(yard.root / name) if (yard.root / name).is_file() else "") != seen:
        raise InputError(f"{name} was changed elsewhere meanwhile; load the page again, then change it.")
    handle, beside = tempfile.mkstemp(
        dir=yard.root, prefix=".checked-", suffix=".csv"
    )  # cards are named from the yard's folder
    path = Path(beside)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(text)
        read(path)
    except InputError as error:
        raise _named(error, path, name) from None
    finally:
        path.unlink()
    write_folder(yard.root, {name: text})
    return _stamp(yard.root / name)


def _named(error: InputError, path: Path, name: str) -> InputError:
    """A fault of a file as the yard calls it."""
    return InputError(str(error).replace(str(path), name).replace(str(path.parent), "the yard"))


def _known(name: str) -> Mapping[str, Field]:
    return ORDER_COLUMNS if name == ORDERS else MANIFEST


def _stamp(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()[:16]


def products_of(yard: YardFolder, lists: Sequence[str]) -> Products:
    """What may be ordered: the products of lists that the yard offers. InputError where they cannot compete in one plan."""
    paths = [yard.choice_path("products", one) for one in lists]
    stamps = tuple(Path(path).stat().st_mtime_ns if Path(path).is_file() else 0 for path in paths)
    return _products(tuple(paths), stamps)


@lru_cache(maxsize=16)
def _products(paths: tuple[str, ...], changed: tuple[int, ...]) -> Products:
    return products_from(put_together(read_lists(paths)))


@dataclass(frozen=True, slots=True)
class SeasonView:
    """A season in words and figures."""

    start: str
    proof: str
    facts: tuple[LeadFigure, ...]
    tables: tuple[ReportTable, ...]
    weeks: tuple[SeasonWeek, ...]
    sawn: tuple[str, ...]


def read_season(entry: ReportEntry) -> SeasonView | None:
    """A season that was worked out; `None` where it cannot be read."""
    path = entry.path / "season.json"
    try:
        return _season(str(path), path.stat().st_mtime_ns)
    except (OSError, ValueError, PithlineError):
        return None


@lru_cache(maxsize=4)
def _season(path: str, changed: int) -> SeasonView:
    document = json.loads(Path(path).read_text(encoding="utf-8"))
    validate(document, "season")
    return SeasonView(
        document["start"],
        season_proof(document),
        tuple(season_facts(document)),
        tuple(season_tables(document)),
        tuple(season_weeks(document)),
        tuple(log["id"] for log in document["logs"] if log["state"] == "planned"),
    )
