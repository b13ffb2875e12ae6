"""The text of a TOML file changed in one place at a time: whatever else stands in it stays, comments too."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping
from copy import deepcopy
from dataclasses import dataclass
from typing import Any

import tomlkit
from tomlkit.items import InlineTable

from pithline.errors import InputError

Place = tuple[str | int, ...]
"""Where a table stands: ("mill",), or ("product", 0, "part", 1) among tables that are listed."""
_HEADER = re.compile(r"\s*\[")


def value_at(tables: Mapping[str, Any], place: Place) -> Any:
    """What stands at a place of tables as written; `None` where there is nothing."""
    found: Any = tables
    for step in place:
        if isinstance(step, int):
            found = found[step] if isinstance(found, list) and 0 <= step < len(found) else None
        else:
            found = found.get(step) if isinstance(found, Mapping) else None
    return found


def with_key(text: str, place: Place, key: str, value: Any) -> str:
    """The text with a key of a table put in, changed, or taken out where the value is `None`.

    A new key goes above its own commented example where there is one, else below the table's other keys.

    Raises
    ------
    InputError
        Where the file is laid out so that this cannot be done without changing more.
    """
    expected = _tables(text)
    _set(expected, place, key, value)
    document = tomlkit.parse(text)
    table: Any = value_at(document, place)
    if value is None:
        if table is not None:
            table.pop(key, None)
        return _as_expected(tomlkit.dumps(document), expected)
    item = _inline(value) if isinstance(value, Mapping) else tomlkit.item(value)
    if table is not None and key in table:
        table[key] = item
        return _as_expected(tomlkit.dumps(document), expected)
    line = f"{tomlkit.key(key).as_string()} = {item.as_string()}"
    lines = text.split("\n")
    block = next((one for one in _blocks(lines) if one.place == place), None)
    if block is not None:
        lines.insert(_line_for(lines, block, key), line)
        return _as_expected("\n".join(lines), expected)
    if table is not None:
        table[key] = item
        return _as_expected(tomlkit.dumps(document), expected)
    name = ".".join(tomlkit.key(str(step)).as_string() for step in place)
    return _as_expected(f"{text.rstrip()}\n\n[{name}]\n{line}\n", expected)


def without_table(text: str, place: Place) -> str:
    """The text without a table and the tables in it; remarks above its name stay. InputError as for `with_key`."""
    expected = _tables(text)
    _drop(expected, place)
    lines = text.split("\n")
    begin, end = _span(lines, place)
    return _as_expected("\n".join([*lines[:begin], *lines[_past_blanks(lines, begin, end) :]]), expected)


def with_another(text: str, place: Place, name: str) -> str:
    """The text with a listed table once more, under another name, right behind it. InputError as for `with_key`."""
    *above, number = place
    expected = _tables(text)
    rows = value_at(expected, tuple(above))
    if not isinstance(rows, list) or not isinstance(number, int) or not 0 <= number < len(rows):
        raise InputError("that entry does not stand in the file any more; load the page again.")
    rows.insert(number + 1, {**deepcopy(rows[number]), "name": name})
    lines = text.split("\n")
    begin, end = _span(lines, place)
    new = "\n".join([*lines[:end], "", *lines[begin:end], *lines[end:]])
    return _as_expected(with_key(new, (*above, number + 1), "name", name), expected)


@dataclass(frozen=True, slots=True)
class _Block:
    """A table's own lines: its name at `header` (-1 before the first), and the line behind its last key."""

    place: Place
    header: int
    end: int


def _blocks(lines: list[str]) -> Iterator[_Block]:
    """The tables that stand under a name of their own, in the order of the file."""
    headers: list[tuple[Place, int]] = [((), -1)]
    counts: dict[tuple[str, ...], int] = {}
    for at, line in enumerate(lines):
        steps = _steps(line)
        if steps is None:
            continue
        path, listed = steps
        if listed:
            counts = {one: number for one, number in counts.items() if one[: len(path)] != path or one == path}
            counts[path] = counts.get(path, -1) + 1
        headers.append((_numbered(path, counts), at))
    for (place, header), (_, following) in zip(headers, [*headers[1:], ((), len(lines))], strict=True):
        end = following
        while end > header + 1 and (not lines[end - 1].strip() or lines[end - 1].lstrip().startswith("#")):
            end -= 1
        yield _Block(place, header, end)


def _steps(line: str) -> tuple[tuple[str, ...], bool] | None:
    """The names in a table's header, and whether the table is listed; `None` where the line is no header."""
    if not _HEADER.match(line):
        return None
    try:
        found: Any = tomllib.loads(line)
    except tomllib.TOMLDecodeError:
        return None
    path: list[str] = []
    while isinstance(found, dict) and found:
        (name, found), *_ = found.items()
        path.append(name)
    return tuple(path), isinstance(found, list)


def _numbered(path: tuple[str, ...], counts: Mapping[tuple[str, ...], int]) -> Place:
    place: list[str | int] = []
    for depth, name in enumerate(path, 1):
        place.append(name)
        if path[:depth] in counts:
            place.append(counts[path[:depth]])
    return tuple(place)


def _line_for(lines: list[str], block: _Block, key: str) -> int:
    """The line that a new key of a table belongs at."""
    for at in range(block.header + 1, len(lines)):
        if _steps(lines[at]) is not None:
            break
        if lines[at].lstrip("# ").startswith(f"{key} ="):
            return at
    return block.end


def _span(lines: list[str], place: Place) -> tuple[int, int]:
    """From a table's name to behind the last key of the tables in it."""
    blocks = list(_blocks(lines))
    first = next((at for at, one in enumerate(blocks) if one.place == place), None)
    if first is None:
        raise InputError(_LAID_OUT)
    last = first
    while last + 1 < len(blocks) and blocks[last + 1].place[: len(place)] == place:
        last += 1
    return blocks[first].header, blocks[last].end


def _past_blanks(lines: list[str], begin: int, end: int) -> int:
    """Past the empty lines behind what is taken out, where empty lines stand above it already."""
    if begin == 0 or not lines[begin - 1].strip():
        while end < len(lines) and not lines[end].strip():
            end += 1
    return end


_LAID_OUT = "the file is laid out so that this cannot be changed by the form; change it as text below."


def _tables(text: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        raise InputError(_LAID_OUT) from None


def _as_expected(text: str, expected: Mapping[str, Any]) -> str:
    """The text, once it holds what it is to hold and nothing else."""
    if _tables(text) != expected:
        raise InputError(_LAID_OUT)
    return text


def _set(tables: dict[str, Any], place: Place, key: str, value: Any) -> None:
    found: Any = tables
    for step in place:
        if isinstance(step, int):
            if not isinstance(found, list) or not 0 <= step < len(found):
                raise InputError("that entry does not stand in the file any more; load the page again.")
            found = found[step]
        else:
            found = found.setdefault(step, {}) if value is not None else found.get(step, {})
        if not isinstance(found, dict | list):
            raise InputError(_LAID_OUT)
    if value is None:
        found.pop(key, None)
    else:
        found[key] = value


def _drop(tables: dict[str, Any], place: Place) -> None:
    above, last = value_at(tables, place[:-1]), place[-1]
    if isinstance(above, list) and isinstance(last, int) and 0 <= last < len(above):
        del above[last]
        if not above:
            _drop(tables, place[:-1])
    elif isinstance(above, dict) and last in above:
        del above[str(last)]
    else:
        raise InputError("that entry does not stand in the file any more; load the page again.")


def _inline(value: Mapping[str, Any]) -> InlineTable:
    table = tomlkit.inline_table()
    for key, inner in value.items():
        table.append(key, inner)
    return table
