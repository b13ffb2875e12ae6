"""One JSON object of a cut script, asked by key and type: what is missing or misshapen is an error that says where."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

import numpy as np

from pithline.errors import ScriptError
from pithline.outputs.cut_script.document import Array

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class JsonTable:
    """One JSON object and its place in the file; what is asked of it comes with its type, or an error that says where."""

    values: Mapping[str, Any]
    place: str

    def fault(self, key: str, what: str) -> ScriptError:
        """The error of one key."""
        return ScriptError(
            f"a part of the script is missing or misshapen: {self.place} {what.format(key=key)}; "
            "write it anew with `pithline plan`."
        )

    def value(self, key: str) -> Any:
        """Whatever the key holds; ScriptError where it is missing."""
        if key not in self.values:
            raise self.fault(key, "has no {key}")
        return self.values[key]

    def number(self, key: str) -> float:
        """A finite number."""
        value = self.value(key)
        if isinstance(value, bool) or not isinstance(value, int | float) or not -1e300 < value < 1e300:
            raise self.fault(key, "has no number for {key}")
        return float(value)

    def number_or_none(self, key: str) -> float | None:
        """A number, or `None` where the script does not say."""
        return None if self.values.get(key) is None else self.number(key)

    def number_or(self, key: str, default: float) -> float:
        """A number, or the default where the script does not say."""
        found = self.number_or_none(key)
        return default if found is None else found

    def count_or_none(self, key: str) -> int | None:
        """A whole number, or `None` where the script does not say."""
        found = self.number_or_none(key)
        return None if found is None else int(found)

    def text(self, key: str) -> str:
        """A text."""
        value = self.value(key)
        if not isinstance(value, str):
            raise self.fault(key, "has no text for {key}")
        return value

    def text_or_none(self, key: str) -> str | None:
        """A text, or `None`."""
        return None if self.values.get(key) is None else self.text(key)

    def vector(self, key: str) -> Array:
        """Three numbers, read-only."""
        return vector_of(self, key, self.value(key))

    def table(self, key: str) -> JsonTable:
        """A JSON object within; an empty one where it is missing or null."""
        value = self.values.get(key) or {}
        if not isinstance(value, Mapping):
            raise self.fault(key, "has no table for {key}")
        return JsonTable(value, f"{self.place}.{key}")

    def maybe(self, key: str, read: Callable[[JsonTable], T]) -> T | None:
        """What `read` makes of a table within, `None` where there is none."""
        return read(self.table(key)) if self.values.get(key) else None

    def rows(self, key: str) -> list[JsonTable]:
        """A list of JSON objects; empty where it is missing."""
        value = self.values.get(key) or []
        if not isinstance(value, Sequence) or not all(isinstance(one, Mapping) for one in value):
            raise self.fault(key, "has no list of tables for {key}")
        return [JsonTable(one, f"{self.place}.{key}[{index}]") for index, one in enumerate(value)]

    def texts(self, key: str) -> tuple[str, ...]:
        """A list of texts; empty where it is missing."""
        return tuple(str(one) for one in self.values.get(key) or ())

    def numbers(self, key: str) -> tuple[float, ...]:
        """A list of numbers; empty where it is missing."""
        try:
            return tuple(float(one) for one in self.values.get(key) or ())
        except (TypeError, ValueError):
            raise self.fault(key, "has no list of numbers for {key}") from None

    def one_of(self, key: str, kinds: type[T]) -> T:
        """A member of an enumeration by its text."""
        try:
            return kinds(self.value(key))  # type: ignore[call-arg]
        except ValueError:
            raise self.fault(key, f"has {self.values[key]!r} for {{key}}") from None


def vector_of(table: JsonTable, key: str, value: Any) -> Array:
    """Three finite numbers of a key, (3,)."""
    try:
        found = np.array(value, float)
    except (TypeError, ValueError):
        found = np.empty(0)
    if found.shape != (3,) or not np.isfinite(found).all():
        raise table.fault(key, "has no three numbers for {key}")
    found.setflags(write=False)
    return found
