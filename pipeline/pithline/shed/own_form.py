"""The keys of a mill or a product list as a form asks for them: label, meaning and reader come from where each is declared."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from pithline.errors import InputError
from pithline.keys.declared import DeclaredKey, declared_keys
from pithline.keys.readers import Reader, Takes
from pithline.shed.toml_edit import Place

MOST_TYPED = 400
"""Letters of one field."""


@dataclass(frozen=True, slots=True)
class AskedKey:
    """A key as a form asks for it: the table it stands in, and how it is declared."""

    place: Place
    key: str
    declared: DeclaredKey
    reader: Reader

    @property
    def label(self) -> str:
        """The key as words."""
        words = self.key.replace("_deg", ", in degrees").replace("_", " ")
        return words[:1].upper() + words[1:]

    @property
    def means(self) -> str:
        """What it means, and what holds where it is not said."""
        words = self.declared.means.replace("`", "")
        needed = self.declared.needed.replace("`", "")
        if self.required:
            empty = ""
        elif needed.startswith("no: "):
            empty = f" Not said: {needed.removeprefix('no: ')}."
        elif needed:
            empty = f" Needed {needed}."
        else:
            default = self.declared.key.default
            shown = {True: "yes", False: "no"}[default] if isinstance(default, bool) else as_shown(default)
            empty = f" Not said: {shown}." if shown else ""
        return f"{words[:1].upper()}{words[1:]}.{empty}"

    @property
    def required(self) -> bool:
        """Whether the key must be there."""
        return self.declared.key.required

    @property
    def example(self) -> str:
        """What people may type, where a bare number would not do."""
        each = self.reader.each
        return _LISTS.get(each.takes, "") if each is not None else _EXAMPLES.get(self.reader.takes, "")


_EXAMPLES: Mapping[Takes, str] = {
    "length": "such as 2.4 mm, 3/32 in",
    "rate": "such as 6 m/min",
    "volume": "such as 0.3 L",
    "weight": "such as 60 kg",
}
_LISTS: Mapping[Takes, str] = {"length": "such as 100 mm, 650 mm", "number": "such as 15, 30, 45"}


def asked_keys(fills: type, place: Place) -> list[AskedKey]:
    """The keys of a table that a form can ask for, those that must be there first."""
    found = []
    for one in declared_keys(fills):
        *above, key = one.path.split(".")
        if isinstance(one.key.read, Reader):
            found.append(AskedKey((*place, *above), key, one, one.key.read))
    return sorted(found, key=lambda one: not one.required)


def as_shown(value: Any) -> str:
    """A value of the file as its field shows it."""
    if isinstance(value, list | tuple):
        return ", ".join(as_shown(one) for one in value)
    if isinstance(value, bool):
        return "true" if value else "false"
    return "" if value is None else f"{value:g}" if isinstance(value, float) else str(value)


def typed_value(asked: AskedKey, typed: str) -> Any:
    """A field's text as the file's value: `None` where it is empty; what has a unit keeps the words it was typed in.

    InputError says what is wrong, in one sentence that begins with the key.
    """
    words = " ".join(typed[:MOST_TYPED].split())
    name = asked.label[:1].lower() + asked.label[1:]
    if not words:
        return None
    value = _value(asked.reader, words, name)
    asked.reader(value, name)
    return value


def _value(reader: Reader, words: str, name: str) -> Any:
    if reader.takes == "list" and reader.each is not None:
        parts = [one.strip() for one in re.split(r"[,;]", words)]
        return [_value(reader.each, one, name) for one in parts if one]
    if reader.takes in ("length", "rate", "volume", "weight"):
        return words.replace(",", ".")
    if reader.takes == "whole":
        if not re.fullmatch(r"[+-]?[0-9]{1,12}", words):
            raise InputError(f'{name} is "{words[:40]}"; write a whole number, such as 3.')
        return int(words)
    if reader.takes == "number":
        try:
            found = float(words.replace(",", "."))
        except ValueError:
            raise InputError(f'{name} is "{words[:40]}"; write a number, such as 2.5.') from None
        return int(found) if found.is_integer() else found
    if reader.takes == "flag":
        return {"true": True, "false": False}.get(words, words)
    return words
