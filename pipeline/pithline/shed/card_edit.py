"""The log card as a form: one key at a time is put into the file, and every comment in it stays."""

from __future__ import annotations

import hashlib
import tempfile
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import tomlkit

from pithline.errors import InputError
from pithline.files.cards import card_as_read
from pithline.files.write import write_folder
from pithline.shed.toml_edit import value_at, with_key
from pithline.units import parse_length


@dataclass(frozen=True, slots=True)
class CardText:
    """A card's file: its text and what its tables hold as written."""

    path: Path
    text: str

    @property
    def stamp(self) -> str:
        """Tells one state of the file from another."""
        return hashlib.sha256(self.text.encode()).hexdigest()[:16]

    def tables(self) -> dict[str, Any]:
        """The tables as written. InputError where the file is not TOML."""
        try:
            return _tables(self.text)
        except tomllib.TOMLDecodeError as error:
            raise InputError(
                f"{self.path.name} is not readable as TOML: {error}; mend that line in a text editor."
            ) from None

    def value(self, path: str) -> Any:
        """What a key such as "bark.thickness" holds as written; `None` where it is silent."""
        return value_at(self.tables(), tuple(path.split(".")))


@lru_cache(maxsize=64)
def _tables(text: str) -> dict[str, Any]:
    """What a card holds; a form asks for it once a field."""
    return tomllib.loads(text)


def open_card(path: Path) -> CardText:
    """The card as it lies there now."""
    try:
        return CardText(path, path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError):
        raise InputError(f"{path.name} cannot be read; look whether it is still there.") from None


def with_keys(card: CardText, changes: Mapping[str, Any]) -> CardText:
    """The card with keys put in, or taken out where the value is `None`.

    Raises
    ------
    InputError
        Where the card would then not be one, in the card reader's own words.
    """
    text = card.text
    for path, value in changes.items():
        table_name, _, key = path.partition(".")
        text = with_key(text, (table_name,), key, value)
    return checked(CardText(card.path, text))


def with_defect(card: CardText, defect: Mapping[str, Any]) -> CardText:
    """The card with a defect more."""
    document = tomlkit.parse(card.text)
    table = tomlkit.table()
    for key, value in defect.items():
        table.add(key, value)
    if "defect" not in document:
        document.add("defect", tomlkit.aot())
    rows: Any = document["defect"]
    rows.append(table)
    return checked(CardText(card.path, tomlkit.dumps(document)))


def without_defect(card: CardText, number: int) -> CardText:
    """The card without its defect of that number, from 0."""
    document = tomlkit.parse(card.text)
    rows: Any = document.get("defect", [])
    if not 0 <= number < len(rows):
        raise InputError("that defect is not on the card any more; load the page again.")
    del rows[number]
    if not rows:
        del document["defect"]
    return checked(CardText(card.path, tomlkit.dumps(document)))


def checked(card: CardText) -> CardText:
    """The card, once the reader of cards has read it without fault."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / card.path.name
        path.write_text(card.text, encoding="utf-8")
        try:
            card_as_read(path)
        except InputError as error:
            raise InputError(str(error).replace(f"{path}: ", "")) from None
    return card


def save(card: CardText, seen: Mapping[str, Any]) -> None:
    """Write the card, unless what the page had seen of its keys has changed under it.

    Parameters
    ----------
    card : CardText
    seen : mapping
        Key path to the value that the page showed before the change.
    """
    now = open_card(card.path)
    for path, value in seen.items():
        if now.value(path) != value:
            raise InputError(
                f"{path} was changed elsewhere meanwhile: the card now says {now.value(path)}; look, then change it again."
            )
    write_folder(card.path.parent, {card.path.name: card.text.encode()})


def as_typed(path: str, text: str, kind: str) -> Any:
    """A form's text as the card's value: `None` where it is empty; a length keeps the words it was typed in.

    InputError says what is wrong, and begins with the key's own name.
    """
    words = " ".join(text.replace(",", ".").split()) if kind in ("length", "number") else text.strip()
    if not words:
        return None
    name = path.rpartition(".")[2].replace("_", " ")
    if kind == "length":
        parse_length(words, name)
        return words
    if kind == "number":
        try:
            value = float(words)
        except ValueError:
            raise InputError(f'{name} is "{words[:40]}"; write a number, such as 12.5.') from None
        return int(value) if value.is_integer() else value
    if kind == "flag":
        return words == "true"
    if kind == "date":
        import datetime

        try:
            return datetime.date.fromisoformat(words)
        except ValueError:
            raise InputError(f'{name} is "{words[:40]}"; write year-month-day, such as 2026-11-05.') from None
    return words


def point_of_touch(face: Mapping[str, Any], across: float, down: float) -> dict[str, list[float]]:
    """A touch on a face as the card says a point of the scan.

    Parameters
    ----------
    face : mapping
        One of the faces as `fitting` tells them.
    across, down : float
        From the leftmost and topmost point over bark. [mm]
    """
    axes: Sequence[Sequence[float]] = (face["corner"], face["right"], face["under"])
    return {
        "xyz": [round(origin + across * right + down * under, 5) for origin, right, under in zip(*axes, strict=True)]
    }
