"""Readers of single values: (value, key) to the value as read, or an InputError whose sentence begins with the key.

As read, lengths are in mm, rates in mm/min, volumes in mm³, weights in kg, and angles in degrees as they were typed.
"""

from __future__ import annotations

import datetime
import difflib
import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any, Literal

from pithline import units
from pithline.errors import InputError

Read = Callable[[object, str], Any]
"""(value, key) -> value as read; raises InputError whose sentence begins with the key."""
Takes = Literal["length", "rate", "volume", "weight", "number", "whole", "text", "flag", "choice", "date", "list"]


@dataclass(frozen=True, slots=True)
class Reader:
    """A reader that also tells what it takes, so that a form can ask for it.

    Attributes
    ----------
    read : callable
    takes : Takes
        The first four are text with a unit.
    choices : tuple of str
        The words that may stand, of a choice.
    each : Reader, optional
        How the values of a list are read.
    """

    read: Read
    takes: Takes
    choices: tuple[str, ...] = ()
    each: Reader | None = None

    def __call__(self, value: object, key: str) -> Any:
        """The value as read; raises InputError whose sentence begins with the key."""
        return self.read(value, key)


def nearest(name: object, known: Iterable[str], kind: str) -> str:
    """End of a sentence about an unknown name: the nearest known one if any is near, and all of them."""
    known = list(known)
    near = difflib.get_close_matches(str(name), [word for word in known if len(word) > 2], n=1, cutoff=0.5)
    begin = f'did you mean "{near[0]}"? Known' if near else "known"
    return f"{begin} {kind}: {', '.join(known)}."


LONGEST = 1.0e6
"""No length of a log, part or machine is beyond a kilometre. [mm]"""


def length(at_least: float | None = 0.0, above: float | None = None, at_most: float = LONGEST) -> Reader:
    """Reader of a length with a unit, a kilometre at most. [mm]"""
    return Reader(_ranged(units.parse_length, " mm", at_least, above, at_most), "length")


def rate() -> Reader:
    """Reader of a rate of feed, more than 0. [mm/min]"""
    return Reader(_ranged(units.parse_rate, " mm/min", None, 0.0), "rate")


def volume() -> Reader:
    """Reader of a volume, 0 or more. [mm³]"""
    return Reader(_ranged(units.parse_volume, " mm³", 0.0, None), "volume")


def weight() -> Reader:
    """Reader of a weight, more than 0. [kg]"""
    return Reader(_ranged(units.parse_weight, " kg", None, 0.0), "weight")


def number(
    at_least: float | None = None, above: float | None = None, at_most: float | None = None, what: str = "number"
) -> Reader:
    """Reader of a bare number: an angle in degrees, money, minutes or a fraction."""
    return Reader(_ranged(lambda value, key: _bare(value, key, what), "", at_least, above, at_most), "number")


LARGEST_COUNT = 1_000_000
"""No count of parts, sets or settings is larger."""


def whole(at_least: int) -> Reader:
    """Reader of a whole number, at most a million."""

    def read(value: object, key: str) -> int:
        if isinstance(value, bool) or not isinstance(value, int):
            raise InputError(f"{key} must be a whole number, such as {key} = {max(at_least, 1)}.")
        if value < at_least:
            raise InputError(f"{key} is {value}; it must be at least {at_least}.")
        if value > LARGEST_COUNT:
            raise InputError(f"{key} is more than a million; write a number that can be meant.")
        return value

    return Reader(read, "whole")


def _text(value: object, key: str) -> str:
    if not isinstance(value, str) or not value.strip():
        raise InputError(f'{key} must be text that is not empty, such as {key} = "...".')
    return value.strip()


text = Reader(_text, "text")
"""Reader of text that is not empty."""


def _flag(value: object, key: str) -> bool:
    if not isinstance(value, bool):
        raise InputError(f"{key} must be true or false, without quotation marks.")
    return value


flag = Reader(_flag, "flag")
"""Reader of true or false."""


def one_of(*choices: str) -> Reader:
    """Reader of one word out of a list."""

    def read(value: object, key: str) -> str:
        if not isinstance(value, str) or value not in choices:
            shown = f'"{value}"' if isinstance(value, str) else f"{value}"
            raise InputError(f"{key} is {shown}; {nearest(value, choices, 'values')}")
        return value

    return Reader(read, "choice", choices)


def _date(value: object, key: str) -> str:
    if isinstance(value, datetime.date) and not isinstance(value, datetime.datetime):
        return value.isoformat()
    try:
        return datetime.date.fromisoformat(str(value).strip()).isoformat()
    except ValueError:
        raise InputError(f'{key} is "{value}", which is no day; write year-month-day, such as 2026-11-05.') from None


date = Reader(_date, "date")
"""Reader of a day, as TOML's own date or as text: 2026-11-05."""


def list_of(read: Read, at_least: int) -> Reader:
    """Reader of a list whose values each are read by `read`."""

    def read_list(value: object, key: str) -> list[Any]:
        if not isinstance(value, list):
            raise InputError(f"{key} must be a list in square brackets.")
        if len(value) < at_least:
            raise InputError(f"{key} has {len(value)} values; it needs at least {at_least}.")
        return [read(item, key) for item in value]

    return Reader(read_list, "list", each=read if isinstance(read, Reader) else None)


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
