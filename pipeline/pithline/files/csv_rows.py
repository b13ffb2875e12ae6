"""Reading CSV by known columns: one walk finds every fault, and the first in file order is told."""

from __future__ import annotations

import csv
import datetime
import io
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import Any

from pithline.errors import InputError
from pithline.files.read import read_bytes, tell
from pithline.keys.readers import nearest

Read = Callable[[str, str], Any]
"""(text of the cell, column) -> value; raises InputError whose sentence begins with the column."""
MONEY_MAX = Decimal(10) ** 9


@dataclass(frozen=True, slots=True)
class Field:
    """One known column: how a cell is read, whether each row needs it, and its value where it is empty."""

    read: Read
    required: bool = False
    default: Any = None


@dataclass(frozen=True, slots=True)
class Row:
    """One row as read, and its line in the file."""

    line: int
    values: Mapping[str, Any]


def read_rows(path: str | Path, known: Mapping[str, Field]) -> tuple[tuple[Row, ...], list[str]]:
    """The rows of a CSV file with a header, and the faults found, in file order.

    Commas, semicolons or tabs part the columns, whichever the header has most of; empty rows are left out.

    Raises
    ------
    InputError
        If it is no text, has no header, an unknown column, a column twice or one missing.
    """
    header: list[str] = []
    rows: list[Row] = []
    faults: list[str] = []
    for line, cells in _lines(path):
        if header:
            rows.append(_row(header, cells, line, known, faults))
            continue
        header = cells
        _check_header(path, header, known)
    if not header:
        raise InputError(f"{path} is empty; its first row names the columns: {', '.join(known)}.")
    if not rows:
        raise InputError(f"{path} has no row below its header; add one for each.")
    return tuple(rows), faults


def read_cells(path: str | Path, known: Mapping[str, Field]) -> list[dict[str, str]]:
    """The rows of a CSV file as written, for someone to change: of each row the text of every known column.

    Raises
    ------
    InputError
        If it is no text, or its header has an unknown column, a column twice or one missing.
    """
    lines = list(_lines(path))
    if not lines:
        return []
    header = lines[0][1]
    _check_header(path, header, known)
    return [{name: dict(zip(header, cells, strict=False)).get(name, "") for name in known} for _, cells in lines[1:]]


def csv_bytes(rows: Sequence[Mapping[str, str]], known: Mapping[str, Field]) -> bytes:
    """Rows as `read_rows` reads them, every known column in its order; rows without a word in them are left out."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(known)
    for row in rows:
        cells = [" ".join(row.get(name, "").split()) for name in known]
        if any(cells):
            writer.writerow(cells)
    return text.getvalue().encode()


def _lines(path: str | Path) -> Iterator[tuple[int, list[str]]]:
    """Each row that is not empty, with its line in the file; commas, semicolons or tabs part it, whichever the header has most of."""
    try:
        text = read_bytes(path).decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError(f"{path} is not UTF-8 text; save it again as CSV in UTF-8.") from None
    first = text.lstrip("\r\n").split("\n", 1)[0]
    reader = csv.reader(io.StringIO(text), delimiter=max(",;\t", key=first.count), skipinitialspace=True)
    for cells in reader:
        stripped = [cell.strip() for cell in cells]
        if any(stripped):
            yield reader.line_num, stripped


def _check_header(path: str | Path, header: list[str], known: Mapping[str, Field]) -> None:
    faults = [
        f"line 1 has no name for column {at + 1}; name it or remove it." for at, name in enumerate(header) if not name
    ]
    faults += [
        f'line 1 names the column "{name}", which is not known; {nearest(name, known, "columns")}'
        for name in header
        if name and name not in known
    ]
    faults += [f'line 1 names the column "{name}" twice; keep one.' for name in known if header.count(name) > 1]
    faults += [
        f'line 1 lacks the column "{name}"; add it.'
        for name, field in known.items()
        if field.required and name not in header
    ]
    tell(path, faults)


def _row(header: list[str], cells: list[str], line: int, known: Mapping[str, Field], faults: list[str]) -> Row:
    if len(cells) > len(header):
        faults.append(
            f"line {line} has {len(cells)} cells, the header {len(header)}; quote text that holds the separator."
        )
    values = {name: field.default for name, field in known.items()}
    given = dict(zip(header, cells, strict=False))
    for name, field in known.items():
        cell = given.get(name, "")
        if cell:
            try:
                values[name] = field.read(cell, name)
            except InputError as error:
                faults.append(f"line {line}: {error}")
        elif field.required:
            faults.append(f"line {line}: {name} is empty; fill it in.")
    return Row(line, values)


def words(cell: str, column: str) -> str:
    """Reader of text."""
    return cell


def whole(at_least: int, at_most: int = 1_000_000) -> Read:
    """Reader of a whole number."""

    def read(cell: str, column: str) -> int:
        try:
            value = int(cell)
        except ValueError:
            raise InputError(f'{column} is "{cell}"; it must be a whole number.') from None
        if not at_least <= value <= at_most:
            raise InputError(f"{column} is {value}; it must be from {at_least} to {at_most}.")
        return value

    return read


def cents(cell: str, column: str) -> int:
    """Reader of an amount of money, 0 or more, with at most two decimals. [1/100]"""
    try:
        value = Decimal(cell)
    except InvalidOperation:
        raise InputError(f'{column} is "{cell}"; it must be an amount of money, such as 420 or 419.50.') from None
    if not value.is_finite() or not 0 <= value < MONEY_MAX:
        raise InputError(f"{column} is {cell}; it must be from 0 to {MONEY_MAX:.0e}.")
    if value * 100 != int(value * 100):
        raise InputError(f"{column} is {cell}; money has at most two decimals.")
    return int(value * 100)


def day(cell: str, column: str) -> datetime.date:
    """Reader of a day: 2026-11-05."""
    try:
        return datetime.date.fromisoformat(cell)
    except ValueError:
        raise InputError(f'{column} is "{cell}", which is no day; write year-month-day, such as 2026-11-05.') from None


def one_of(*choices: str) -> Read:
    """Reader of one word out of a list."""

    def read(cell: str, column: str) -> str:
        if cell not in choices:
            raise InputError(f'{column} is "{cell}"; {nearest(cell, choices, "values")}')
        return cell

    return read
