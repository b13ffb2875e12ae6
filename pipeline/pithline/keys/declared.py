"""Keys declared once: on the field of the frozen class that they fill.

    @dataclass(frozen=True, slots=True)
    class Saw:
        kerf: float = field(metadata=key("saw.kerf", length(above=0.0), "what the saw turns to dust"))
        tilt: float = field(default=0.0, metadata=key("saw.tilt_deg", number(), "of the table", freeze=math.radians))

From that follow what a file may hold (`known_keys`), the frozen object of a file as read (`freeze`) and the table of the docs
(`key_table`). A field without a default is a key that must be there. A default is filled in as if it had been written, but where
the field holds the value otherwise than the file does (`freeze`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import MISSING, Field, dataclass, fields
from typing import Any, TypeVar

from pithline.keys.readers import Read

T = TypeVar("T")

DECLARED = "toml"
"""Where a field's metadata hold its declaration."""


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


@dataclass(frozen=True, slots=True)
class Declaration:
    """What a field says of its key (or table, or tables): `path` is dotted, from the table that the class stands for."""

    path: str
    entry: Callable[[bool, Any], Key | Table | Tables | Named]  # (required, default) -> entry
    freeze: Callable[[Any], Any]
    means: str = ""
    needed: str = ""
    inner: tuple[str, type] | None = None  # how the docs write the table, and the class that it fills


def _as_it_is(value: Any) -> Any:
    return value


def key(
    path: str,
    read: Read,
    means: str,
    needed: str = "",
    freeze: Callable[[Any], Any] = _as_it_is,
    required: bool | None = None,
) -> Mapping[str, Declaration]:
    """Metadata of a field that one key fills.

    Parameters
    ----------
    path : str
        Dotted: "ends.trim_butt" is the key trim_butt of the table [ends].
    read : callable
        (value, key) to the value as read (`pithline.keys.readers`).
    means : str
        What the docs say of it.
    needed : str
        The docs' last column, where "yes", "no" or "no: " and the default do not say it.
    freeze : callable
        The value as read to what the field holds.
    required : bool, optional
        Whether the key must be there, where that is not told by whether the field has a default: the file's reader then fills it in.
    """

    def entry(bare: bool, default: Any) -> Key:
        return Key(read, bare if required is None else required, default if freeze is _as_it_is else None)

    return {DECLARED: Declaration(path, entry, freeze, means, needed)}


def table(path: str, kind: type, required: bool | None = None) -> Mapping[str, Declaration]:
    """Metadata of a field that holds a frozen `kind`, filled by the table [path]; `required` as for `key`."""

    def entry(bare: bool, default: Any) -> Table:
        return Table(known_keys(kind).keys, bare if required is None else required)

    return {DECLARED: Declaration(path, entry, lambda value: freeze(kind, value), inner=(f"[{path}]", kind))}


def tables(path: str, kind: type, required: bool | None = None) -> Mapping[str, Declaration]:
    """Metadata of a field that holds a tuple of frozen `kind`, filled by the tables [[path]]; `required` as for `key`."""

    def entry(bare: bool, default: Any) -> Tables:
        return Tables(known_keys(kind), bare if required is None else required)

    def frozen(values: list[Mapping[str, Any]]) -> tuple[Any, ...]:
        return tuple(freeze(kind, value) for value in values)

    return {DECLARED: Declaration(path, entry, frozen, inner=(f"[[{path}]]", kind))}


def named_tables(path: str, kind: type, name: str = "name", required: bool | None = None) -> Mapping[str, Declaration]:
    """Metadata of a field that holds a tuple of frozen `kind`, filled by [path.NAME]; the field `name` of each holds its NAME.

    `required` as for `key`.
    """

    def entry(bare: bool, default: Any) -> Named:
        return Named(known_keys(kind), bare if required is None else required)

    def frozen(values: Mapping[str, Mapping[str, Any]]) -> tuple[Any, ...]:
        return tuple(freeze(kind, value, **{name: called}) for called, value in values.items())

    return {DECLARED: Declaration(path, entry, frozen, inner=(f"[{path}.NAME]", kind))}


def _declared(kind: type) -> Iterator[tuple[Field[Any], Declaration, bool]]:
    """Fields of a class that declare a key, their declarations, and whether the key must be there."""
    for slot in fields(kind):
        declaration = slot.metadata.get(DECLARED)
        if declaration is not None:
            yield slot, declaration, slot.default is MISSING and slot.default_factory is MISSING


def known_keys(kind: type) -> Table:
    """What a file (or table) that fills a frozen class may hold. A table must be there if one of its own keys must."""
    tree: dict[str, Any] = {}
    for slot, declaration, required in _declared(kind):
        *above, name = declaration.path.split(".")
        place = tree
        for step in above:
            place = place.setdefault(step, {})
        place[name] = declaration.entry(required, None if required else slot.default)
    return _table(tree)


def _table(tree: Mapping[str, Any]) -> Table:
    keys = {name: _table(entry) if isinstance(entry, dict) else entry for name, entry in tree.items()}
    return Table(keys, any(isinstance(entry, Key) and entry.required for entry in keys.values()))


def freeze(kind: type[T], values: Mapping[str, Any], **more: Any) -> T:
    """The frozen object of tables as read, whether from a file or from a script's `inputs`; `more` are fields no key fills."""
    found = dict(more)
    for slot, declaration, _ in _declared(kind):
        value: Any = values
        for step in declaration.path.split("."):
            value = None if value is None else value.get(step)
        if value is not None:
            found[slot.name] = declaration.freeze(value)
    return kind(**found)


@dataclass(frozen=True, slots=True)
class DeclaredKey:
    """A key as its field declares it: `path` is dotted, from the table that the class stands for."""

    path: str
    key: Key
    means: str
    needed: str


def declared_keys(kind: type) -> list[DeclaredKey]:
    """The keys that a class itself declares, in the order of its fields; those of its tables are these tables' own."""
    found = []
    for slot, declaration, required in _declared(kind):
        if declaration.inner is None:
            entry = declaration.entry(required, None if required else slot.default)
            assert isinstance(entry, Key)
            found.append(DeclaredKey(declaration.path, entry, declaration.means, declaration.needed))
    return found


def declared_tables(kind: type) -> dict[str, type]:
    """The tables that a class declares, single, listed or named by the user: path to the class that each fills."""
    inner = {declaration.path: declaration.inner for _, declaration, _ in _declared(kind)}
    return {path: pair[1] for path, pair in inner.items() if pair is not None}


def key_rows(kind: type, place: str = "") -> list[tuple[str, str, str, str]]:
    """Table, key, meaning and whether it is needed, of each key that a class declares, in the order of its fields.

    A table's own keys come before the tables in it, as in a file.
    """
    rows: list[tuple[str, str, str, str]] = []
    inner_rows: list[tuple[str, str, str, str]] = []
    for slot, declaration, required in _declared(kind):
        *above, name = declaration.path.split(".")
        if declaration.inner is not None:
            inner_place, inner_kind = declaration.inner
            outer = f"{place.strip('[]')}." if place else ""
            opening = "[[" if inner_place.startswith("[[") else "["
            inner_rows += key_rows(inner_kind, opening + outer + inner_place.removeprefix(opening))
            continue
        default = "" if required or slot.default in (None, MISSING) else f": {_written(slot.default)}"
        rows_here = inner_rows if above else rows
        rows_here.append(
            (
                f"[{'.'.join(above)}]" if above else place,
                name,
                declaration.means,
                declaration.needed or ("yes" if required else f"no{default}"),
            )
        )
    return rows + inner_rows


def _written(value: Any) -> str:
    """A default as a file would state it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    return f"{value:g}" if isinstance(value, int | float) else f'"{value}"'


def key_table(kind: type) -> str:
    """The docs' table of a file's keys, in Markdown."""
    lines, last = ["| Table | Key | Meaning | Needed |", "|---|---|---|---|"], ""
    rows = key_rows(kind)
    places = list(dict.fromkeys(place for place, *_ in rows))
    for place, name, means, needed in sorted(rows, key=lambda row: places.index(row[0])):
        shown = "" if place == last else f"`{place}`" if place else ""
        lines.append(f"| {shown} | `{name}` | {means} | {needed} |")
        last = place
    return "\n".join(lines) + "\n"
