"""Reading TOML by tables of known keys: one walk finds every fault, and the first in file order is told.

What a walk returns is the file "as read": the same tables and keys, lengths in mm, rates in mm/min, volumes in mm³,
weights in kg, angles in degrees as they were typed, and defaults filled in.
"""

from __future__ import annotations

import datetime
import difflib
import hashlib
import math
import tomllib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pithline import units
from pithline.errors import InputError

Read = Callable[[object, str], Any]
"""(value, key) -> value as read; raises InputError whose sentence begins with the key."""


@dataclass(frozen=True, slots=True)
class Key:
    """One known key: how its value is read, and whether it must be there."""

    read: Read
    required: bool = False
    default: Any = None


@dataclass(frozen=True, slots=True)
class Table:
    """One table of known keys, whose values may be tables again."""

    keys: Mapping[str, Key | Table | Tables | Named]
    required: bool = False


@dataclass(frozen=True, slots=True)
class Tables:
    """An array of like tables, [[name]]."""

    table: Table
    required: bool = False


@dataclass(frozen=True, slots=True)
class Named:
    """Like tables under names the user chooses, [limits.NAME]."""

    table: Table
    required: bool = False


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


def nearest(name: object, known: Iterable[str], kind: str) -> str:
    """End of a sentence about an unknown name: the nearest known one if any is near, and all of them."""
    known = list(known)
    near = difflib.get_close_matches(str(name), [one for one in known if len(one) > 2], n=1, cutoff=0.5)
    begin = f'did you mean "{near[0]}"? Known' if near else "known"
    return f"{begin} {kind}: {', '.join(known)}."


LONGEST = 1.0e6
"""No length of a log, part or machine is beyond a kilometre. [mm]"""


def length(at_least: float | None = 0.0, above: float | None = None, at_most: float = LONGEST) -> Read:
    """Reader of a length with a unit, a kilometre at most. [mm]"""
    return _ranged(units.parse_length, " mm", at_least, above, at_most)


def rate() -> Read:
    """Reader of a rate of feed, more than 0. [mm/min]"""
    return _ranged(units.parse_rate, " mm/min", None, 0.0)


def volume() -> Read:
    """Reader of a volume, 0 or more. [mm³]"""
    return _ranged(units.parse_volume, " mm³", 0.0, None)


def weight() -> Read:
    """Reader of a weight, more than 0. [kg]"""
    return _ranged(units.parse_weight, " kg", None, 0.0)


def number(
    at_least: float | None = None, above: float | None = None, at_most: float | None = None, what: str = "number"
) -> Read:
    """Reader of a bare number: an angle in degrees, money, minutes or a fraction."""
    return _ranged(lambda value, key: _bare(value, key, what), "", at_least, above, at_most)


MOST = 1_000_000
"""No count of parts, sets or settings is larger."""


def whole(at_least: int) -> Read:
    """Reader of a whole number, at most a million."""

    def read(value: object, key: str) -> int:
        if isinstance(value, bool) or not isinstance(value, int):
            raise InputError(f"{key} must be a whole number, such as {key} = {max(at_least, 1)}.")
        if value < at_least:
            raise InputError(f"{key} is {value}; it must be at least {at_least}.")
        if value > MOST:
            raise InputError(f"{key} is more than a million; write a number that can be meant.")
        return value

    return read


def text(value: object, key: str) -> str:
    """Reader of text that is not empty."""
    if not isinstance(value, str) or not value.strip():
        raise InputError(f'{key} must be text that is not empty, such as {key} = "...".')
    return value.strip()


def flag(value: object, key: str) -> bool:
    """Reader of true or false."""
    if not isinstance(value, bool):
        raise InputError(f"{key} must be true or false, without quotation marks.")
    return value


def one_of(*choices: str) -> Read:
    """Reader of one word out of a list."""

    def read(value: object, key: str) -> str:
        if not isinstance(value, str) or value not in choices:
            shown = f'"{value}"' if isinstance(value, str) else f"{value}"
            raise InputError(f"{key} is {shown}; {nearest(value, choices, 'values')}")
        return value

    return read


def date(value: object, key: str) -> str:
    """Reader of a day, as TOML's own date or as text: 2026-11-05."""
    if isinstance(value, datetime.date) and not isinstance(value, datetime.datetime):
        return value.isoformat()
    try:
        return datetime.date.fromisoformat(str(value).strip()).isoformat()
    except ValueError:
        raise InputError(f'{key} is "{value}", which is no day; write year-month-day, such as 2026-11-05.') from None


def list_of(read: Read, at_least: int) -> Read:
    """Reader of a list whose values each are read by `read`."""

    def read_list(value: object, key: str) -> list[Any]:
        if not isinstance(value, list):
            raise InputError(f"{key} must be a list in square brackets.")
        if len(value) < at_least:
            raise InputError(f"{key} has {len(value)} values; it needs at least {at_least}.")
        return [read(one, key) for one in value]

    return read_list


def _bare(value: object, key: str, what: str) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise InputError(f"{key} must be a bare {what}, without quotation marks or unit.")
    try:
        found = float(value)
    except OverflowError:
        raise InputError(f"{key} is a number of {len(str(value))} digits; write one that can be meant.") from None
    if not math.isfinite(found):
        raise InputError(f"{key} is {value}; it must be finite.")
    return found


def _ranged(parse: Read, unit: str, at_least: float | None, above: float | None, at_most: float | None = None) -> Read:
    def read(value: object, key: str) -> float:
        found: float = parse(value, key)
        shown = f'"{value}"' if isinstance(value, str) else f"{value}"
        if above is not None and found <= above:
            raise InputError(f"{key} is {shown}; it must be more than {above:g}{unit}.")
        if at_least is not None and found < at_least:
            raise InputError(f"{key} is {shown}; it must be at least {at_least:g}{unit}.")
        if at_most is not None and found > at_most:
            raise InputError(f"{key} is {shown}; it must be at most {at_most:g}{unit}.")
        return found

    return read
