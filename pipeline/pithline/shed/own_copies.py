"""Mills and product lists of the yard's own: copies of any that is offered, changed key by key or as text, read back before they are kept.

The files in the yard's folders `mills` and `products` are what counts; bundled ones are only ever read.
"""

from __future__ import annotations

import hashlib
import re
import tempfile
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pithline.errors import InputError
from pithline.files.bundled import named
from pithline.files.mills import mill_as_read
from pithline.files.products import products_as_read
from pithline.files.write import write_folder
from pithline.keys.declared import Table, known_keys
from pithline.mill.machine import Machines
from pithline.mill.products import Products
from pithline.shed.folder import PLAN_NAME, YardFolder
from pithline.shed.intake import safe_words
from pithline.shed.toml_edit import Place, value_at, with_another, with_key, without_table

MOST_BYTES = 60_000
"""Of a mill or list; the longest bundled one has a tenth of it."""
MOST_COPIES = 200
"""Of a kind, in one yard."""
MOST_NAME = 80
"""Letters that a copy's name may be typed with."""


@dataclass(frozen=True, slots=True)
class OwnKind:
    """Mills or product lists: what one is called, the class that its file fills, and the reader that the commands use."""

    one: str
    fills: type
    read: Callable[[str | Path | None], Mapping[str, Any]]


KINDS: Mapping[str, OwnKind] = {
    "mills": OwnKind("mill", Machines, mill_as_read),
    "products": OwnKind("product list", Products, products_as_read),
}
"""By the folder of the yard that they lie in."""


class ChangedElsewhere(InputError):
    """Another page, or an editor, changed what this page shows."""


@dataclass(frozen=True, slots=True)
class OwnFile:
    """One file of the yard's own as it lies there: `kind` is its folder, `name` its name without the suffix."""

    kind: str
    name: str
    text: str

    @property
    def place(self) -> str:
        """Its path within the yard, which is also how a plan names it."""
        return f"{self.kind}/{self.name}.toml"

    @property
    def stamp(self) -> str:
        """Tells one state of the file from another."""
        return hashlib.sha256(self.text.encode()).hexdigest()[:16]

    @property
    def fault(self) -> str:
        """Why no command could read it, in one sentence; empty where each can."""
        try:
            checked(self)
        except InputError as error:
            return str(error)
        return ""

    def with_keys(self, changes: Mapping[tuple[Place, str], Any]) -> OwnFile:
        """The file with keys put in, `None` taking one out: (place of the table, key) to the value as written."""
        text = self.text
        for (place, key), value in changes.items():
            text = with_key(text, place, key, value)
            if value is None and value_at(tomllib.loads(text), place) == {} and _may_go(self.kind, place):
                text = without_table(text, place)
        return OwnFile(self.kind, self.name, text)

    def tables(self) -> dict[str, Any]:
        """The tables as written. InputError where the file is not TOML."""
        try:
            return tomllib.loads(self.text)
        except (tomllib.TOMLDecodeError, RecursionError, ValueError):
            raise InputError(self.fault or "it is not readable as TOML; mend it.") from None


def kind_of(kind: str) -> OwnKind:
    """Mills or product lists. InputError for anything else."""
    if kind not in KINDS:
        raise InputError("there are mills and product lists of your own, nothing else; go back and choose one.")
    return KINDS[kind]


def own_names(yard: YardFolder, kind: str) -> list[str]:
    """Names of the yard's own files of a kind."""
    kind_of(kind)
    return [one.partition("/")[2].removesuffix(".toml") for one in yard.choices(kind) if "/" in one]


def open_own(yard: YardFolder, kind: str, name: str) -> OwnFile:
    """The file of that name as it lies there now.

    Raises
    ------
    InputError
        Where the yard has none, or it leads out of the yard's folder, or cannot be one by its size.
    """
    if name not in own_names(yard, kind):
        raise InputError(f'there is no {kind_of(kind).one} "{name[:60]}" of this yard\'s own; go back and choose one.')
    path = _folder(yard, kind) / f"{name}.toml"
    if path.is_symlink():
        raise InputError(f"{kind}/{name}.toml is a link to another place; put the file itself there to change it here.")
    return OwnFile(kind, name, _text_of(path, f"{kind}/{name}.toml"))


def make_copy(yard: YardFolder, kind: str, of: str, called: str) -> OwnFile:
    """Copy a mill or list that the yard offers, bundled or its own, under a name of its own.

    InputError where the name cannot be one, is taken, or what is copied cannot be read.
    """
    one = kind_of(kind).one
    source = yard.choice_path(kind, of)
    words = " ".join(called.split())[:MOST_NAME]
    name = safe_words(re.split(r"[/\\]", words)[-1])
    if not PLAN_NAME.fullmatch(name):
        raise InputError(f"the {one} needs a name that begins with a letter from a to z or a figure, such as my {one}.")
    taken = own_names(yard, kind)
    folder = _folder(yard, kind)
    if name.lower() in (each.lower() for each in taken) or (folder / f"{name}.toml").exists():
        raise InputError(f'there is a {one} "{name}" in this yard already; give the copy another name.')
    if len(taken) >= MOST_COPIES:
        raise InputError(f"this yard has {MOST_COPIES} of its own already; take some out of the folder {kind} first.")
    own = of.partition("/")[2].removesuffix(".toml")
    text = open_own(yard, kind, own).text if own else _text_of(named(source, kind), of)
    checked(OwnFile(kind, own or of, text))
    if kind == "mills":
        text = with_key(text, ("mill",), "name", words)
    return _write(yard, checked(OwnFile(kind, name, text)))


def put(yard: YardFolder, seen: OwnFile, changes: Mapping[tuple[Place, str], Any]) -> tuple[OwnFile, bool]:
    """Change keys of a file, `None` taking one out; what others changed besides stays.

    Parameters
    ----------
    yard : YardFolder
    seen : OwnFile
        As the page shows it.
    changes : mapping
        (place of the table, key) to the value as written.

    Returns
    -------
    OwnFile, bool
        As it lies there now, and whether others had changed it besides.

    Raises
    ------
    ChangedElsewhere
        Where one of these keys, or which table it stands in, is another one by now.
    InputError
        Where no command could read the file then, in the reader's words.
    """
    now = open_own(yard, seen.kind, seen.name)
    shown, lies = seen.tables(), now.tables()
    for place, key in changes:
        if value_at(shown, (*place, key)) != value_at(lies, (*place, key)) or _on_the_way(shown, place) != _on_the_way(
            lies, place
        ):
            raise ChangedElsewhere(
                f"{key} was changed elsewhere meanwhile: {now.place} is shown as it is now; look, then change it again."
            )
    return _write(yard, checked(now.with_keys(changes))), now.text != seen.text


def replace(yard: YardFolder, seen: OwnFile, text: str) -> OwnFile:
    """Put another text in place of the one that the page shows.

    Raises
    ------
    ChangedElsewhere
        Where the file is another one by now.
    InputError
        Where no command could read the text.
    """
    now = open_own(yard, seen.kind, seen.name)
    if now.stamp != seen.stamp:
        raise ChangedElsewhere(f"{now.place} was changed elsewhere meanwhile; load the page again, then change it.")
    return _write(yard, checked(OwnFile(now.kind, now.name, text)))


def one_more(yard: YardFolder, seen: OwnFile, place: Place) -> OwnFile:
    """Put a product or a part in once more, right behind itself, under a free name. Raises as `replace` does."""
    rows = value_at(seen.tables(), place[:-1]) or []
    number = place[-1]
    if not isinstance(number, int) or not 0 <= number < len(rows):
        raise InputError("that entry does not stand in the file any more; load the page again.")
    names, called = {str(each.get("name")) for each in rows}, str(rows[number].get("name"))
    free = next(f"{called} {at}" for at in range(2, len(rows) + 3) if f"{called} {at}" not in names)
    return replace(yard, seen, with_another(seen.text, place, free))


def one_less(yard: YardFolder, seen: OwnFile, place: Place) -> OwnFile:
    """Take a product or a part out. Raises as `replace` does."""
    return replace(yard, seen, without_table(seen.text, place))


def checked(own: OwnFile) -> OwnFile:
    """The file, once the commands' own reader has read it without fault. InputError in its words."""
    if len(own.text.encode()) > MOST_BYTES:
        raise InputError(f"that is more than {MOST_BYTES // 1000} kB, which no {kind_of(own.kind).one} needs.")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"{own.name}.toml"
        path.write_text(own.text, encoding="utf-8")
        try:
            kind_of(own.kind).read(path)
        except InputError as error:
            words = str(error).replace(f"{path}: ", "").replace(str(path), own.place)
            raise InputError(words) from None
    return own


def _write(yard: YardFolder, own: OwnFile) -> OwnFile:
    write_folder(_folder(yard, own.kind), {f"{own.name}.toml": own.text.encode()})
    return own


def _folder(yard: YardFolder, kind: str) -> Path:
    """The yard's folder of a kind. InputError where it leads elsewhere."""
    folder = yard.root / kind
    if folder.is_symlink():
        raise InputError(f"the folder {kind} of this yard is a link to another place; nothing is changed there.")
    return folder


def _text_of(path: Path, called: str) -> str:
    try:
        if path.stat().st_size > MOST_BYTES:
            raise InputError(f"{called} has more than {MOST_BYTES // 1000} kB; look what it is.")
        return path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError):
        raise InputError(f"{called} cannot be read as text; look whether it is still there.") from None


def _on_the_way(tables: Mapping[str, Any], place: Place) -> list[Any]:
    """Which entries of lists a place leads through, by name: their numbers tell nothing once one is put in or taken out."""
    return [
        (value_at(tables, place[: at + 1]) or {}).get("name") for at, step in enumerate(place) if isinstance(step, int)
    ]


def _may_go(kind: str, place: Place) -> bool:
    """Whether a file of a kind may be without that table."""
    known: Any = known_keys(KINDS[kind].fills)
    for step in place:
        known = known.keys.get(step) if isinstance(known, Table) and isinstance(step, str) else None
    return bool(place) and isinstance(known, Table) and not known.required
