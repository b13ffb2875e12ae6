"""Reading TOML by tables of known keys: one walk finds every fault, and the first in file order is told.

What a walk returns is the file "as read": the same tables and keys, lengths in mm, rates in mm/min, volumes in mm³,
weights in kg, angles in degrees as they were typed, and defaults filled in.
"""

from __future__ import annotations

import hashlib
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from pithline.errors import InputError
from pithline.keys.declared import Key, Named, Table, Tables
from pithline.keys.readers import (
    Read,
    date,
    flag,
    length,
    list_of,
    nearest,
    number,
    one_of,
    rate,
    text,
    volume,
    weight,
    whole,
)

__all__ = [
    "Key", "Named", "Read", "Table", "Tables", "date", "flag", "length", "list_of", "nearest", "number",
    "one_of", "rate", "read_bytes", "read_toml", "sha256_of", "tell", "text", "volume", "weight", "whole",
]  # fmt: skip
"""The readers and tables that files are declared with stand in `pithline.keys`."""


def sha256_of(path: str | Path) -> str:
    """SHA-256 of a file's bytes, in hexadecimal."""
    return hashlib.sha256(read_bytes(path)).hexdigest()


def read_bytes(path: str | Path) -> bytes:
    """The bytes of a file, or an InputError that says why not."""
    path = Path(path)
    try:
        return path.read_bytes()
    except FileNotFoundError:
        raise InputError(f"{path}: there is no such file; check the name and the folder.") from None
    except IsADirectoryError:
        raise InputError(f"{path} is a folder; name a file in it.") from None
    except OSError as error:
        raise InputError(f"{path} cannot be read ({error.strerror or error}); check its permissions.") from None


def read_toml(path: str | Path, known: Table) -> dict[str, Any]:
    """Read and check a TOML file.

    Parameters
    ----------
    path : str or Path
        The file; named in messages as it is given here.
    known : Table
        The tables and keys the file may have.

    Returns
    -------
    dict
        The file as read (see the top of this module).

    Raises
    ------
    InputError
        The first fault in file order, and how many more there are.
    """
    try:
        document = tomllib.loads(read_bytes(path).decode("utf-8"))
    except UnicodeDecodeError:
        raise InputError(f"{path} is not UTF-8 text; save it again as plain UTF-8 text.") from None
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"{path}: not readable as TOML: {error}; mend that line.") from None
    except ValueError:  # a whole number beyond what Python reads
        raise InputError(f"{path}: a number has thousands of digits; mend it.") from None
    except RecursionError:
        raise InputError(f"{path}: not readable as TOML: brackets within brackets without end; mend it.") from None
    faults: list[str] = []
    values = _walk(document, known, "", faults)
    tell(path, faults)
    return values


def tell(path: str | Path, faults: list[str]) -> None:
    """Raise the first of `faults`, with the number of those that follow; nothing if there are none."""
    if not faults:
        return
    more = len(faults) - 1
    rest = f" ({more} more fault{'s' if more > 1 else ''} in this file.)" if more else ""
    raise InputError(f"{path}: {faults[0]}{rest}")


def _walk(data: Mapping[str, object], known: Table, where: str, faults: list[str]) -> dict[str, Any]:
    """Values of one table, in file order; faults are added to the list."""
    place = f"[{where}] " if where else ""
    values: dict[str, Any] = {}
    for name, value in data.items():
        entry = known.keys.get(name)
        inner = f"{where}.{name}" if where else name
        if entry is None:
            faults.append(_unknown(name, value, known, where))
        elif isinstance(entry, Key):
            try:
                values[name] = entry.read(value, name)
            except InputError as error:
                faults.append(f"{place}{error}")
        elif isinstance(entry, Tables):
            values[name] = _array(value, entry.table, inner, faults)
        elif not isinstance(value, dict):
            faults.append(f"{place}{name} must be a table; write [{inner}] above its keys.")
        elif isinstance(entry, Named):
            values[name] = _named(value, entry.table, inner, faults)
        else:
            values[name] = _walk(value, entry, inner, faults)
    for name, entry in known.keys.items():
        if name in data:
            continue
        if entry.required:
            kind = "key" if isinstance(entry, Key) else "table"
            faults.append(f'{place}{"the file " if not where else ""}needs the {kind} "{name}"; add it.')
        elif isinstance(entry, Key) and entry.default is not None:
            values[name] = entry.default
    return values


def _array(value: object, table: Table, where: str, faults: list[str]) -> list[dict[str, Any]]:
    if not isinstance(value, list) or not all(isinstance(one, dict) for one in value):
        faults.append(f"[{where}] must be written [[{where}]], once for each.")
        return []
    return [_walk(one, table, f"{where} {at + 1}", faults) for at, one in enumerate(value)]


def _named(value: Mapping[str, object], table: Table, where: str, faults: list[str]) -> dict[str, dict[str, Any]]:
    found: dict[str, dict[str, Any]] = {}
    for name, one in value.items():
        if isinstance(one, dict):
            found[name] = _walk(one, table, f"{where}.{name}", faults)
        else:
            faults.append(f'[{where}] "{name}" must be a table; write [{where}.NAME] above its keys.')
    return found


def _unknown(name: str, value: object, known: Table, where: str) -> str:
    rows = isinstance(value, list) and bool(value) and isinstance(value[0], dict)
    what = "table" if rows or isinstance(value, dict) else "key"
    owner = f"[{where}]" if where else "the file"
    return f'{owner} has no {what} "{name}"; {nearest(name, known.keys, "keys" if where else "tables")}'
