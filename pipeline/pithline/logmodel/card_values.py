"""Readers of what only a log card holds: points of the scan, pith marks, a length with what it measures in the scan."""

from __future__ import annotations

from typing import Any

from pithline.errors import InputError
from pithline.keys.readers import length, list_of, number, text
from pithline.logmodel.species import species_of

MARK_FORMS = "{ xyz = [..] }, { from_left = .., from_top = .. } or { up = .., right = .., down = .., left = .. }"
BY_TAPE = ("from_left", "from_top")
ARMS = ("up", "right", "down", "left")

_POSITIVE = length(at_least=None, above=0.0)


def species_name(value: object, key: str) -> str:
    """Reader of the name of a known species."""
    name: str = text(value, key)
    species_of(name)
    return name


def scan_point(value: object, key: str) -> dict[str, Any]:
    """Reader of a point in scan coordinates."""
    example = f"{key} = {{ xyz = [0.12, 0.03, 0.81] }}"
    if not isinstance(value, dict) or set(value) != {"xyz"}:
        raise InputError(f"{key} must be a point in scan coordinates, such as {example}.")
    found = list_of(number(what="number in scan coordinates"), 3)(value["xyz"], f"{key} xyz")
    if len(found) != 3:
        raise InputError(f"{key} xyz has {len(found)} values; a point has three, such as {example}.")
    return {"xyz": found}


def pith_mark(value: object, key: str) -> dict[str, Any]:
    """Reader of a pith mark in one of its three forms."""
    if not isinstance(value, dict) or not value:
        raise InputError(f"{key} must be a mark: {MARK_FORMS}.")
    if "xyz" in value:
        return scan_point(value, key)
    if set(value) <= set(BY_TAPE):
        missing = [name for name in BY_TAPE if name not in value]
        if missing:
            raise InputError(f"{key} lacks {missing[0]}; a mark by tape has both from_left and from_top.")
    elif set(value) <= set(ARMS):
        if len(value) < 2:
            raise InputError(f"{key} has one arm only; measure two or more of up, right, down and left.")
    else:
        odd = next(name for name in value if name not in (*BY_TAPE, *ARMS) or name in BY_TAPE)
        raise InputError(f'{key} cannot have "{odd}" here; a mark is {MARK_FORMS}.')
    return {name: _POSITIVE(arm, f"{key} {name}") for name, arm in value.items()}


def length_in_scan(value: object, key: str) -> dict[str, float]:
    """Reader of a known length and what it measures in the scan."""
    if not isinstance(value, dict) or set(value) != {"length", "in_scan"}:
        raise InputError(f'{key} must have both parts, such as {key} = {{ length = "1 m", in_scan = 0.412 }}.')
    return {
        "length": _POSITIVE(value["length"], f"{key} length"),
        "in_scan": number(above=0.0)(value["in_scan"], f"{key} in_scan"),
    }
