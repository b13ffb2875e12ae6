"""A TOML document against its known keys: one walk finds every fault."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pithline.errors import InputError
from pithline.keys.declared import Key, Named, Table, Tables
from pithline.keys.readers import nearest


def walk(data: Mapping[str, object], known: Table, faults: list[str], where: str = "") -> dict[str, Any]:
    """Values of a table as read, in file order, defaults after them; faults are added to the list.

    Parameters
    ----------
    data : mapping
        The table as a TOML parser gives it.
    known : Table
        The keys it may have.
    faults : list of str
        Receives one sentence a fault, in file order.
    where : str
        The table's own dotted name, "" for a whole file.
    """
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
            values[name] = walk(value, entry, faults, inner)
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
    if not isinstance(value, list) or not all(isinstance(entry, dict) for entry in value):
        faults.append(f"[{where}] must be written [[{where}]], once for each.")
        return []
    return [walk(entry, table, faults, f"{where} {at + 1}") for at, entry in enumerate(value)]


def _named(value: Mapping[str, object], table: Table, where: str, faults: list[str]) -> dict[str, dict[str, Any]]:
    found: dict[str, dict[str, Any]] = {}
    for name, entry in value.items():
        if isinstance(entry, dict):
            found[name] = walk(entry, table, faults, f"{where}.{name}")
        else:
            faults.append(f'[{where}] "{name}" must be a table; write [{where}.NAME] above its keys.')
    return found


def _unknown(name: str, value: object, known: Table, where: str) -> str:
    rows = isinstance(value, list) and bool(value) and isinstance(value[0], dict)
    what = "table" if rows or isinstance(value, dict) else "key"
    owner = f"[{where}]" if where else "the file"
    return f'{owner} has no {what} "{name}"; {nearest(name, known.keys, "keys" if where else "tables")}'
