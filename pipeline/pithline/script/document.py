"""Cut scripts as bytes, and the crayon marks of their pieces."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from typing import Any

from pithline.errors import ScriptError

_LETTERS = {"log": "L", "slab": "S", "half": "H", "bolt": "B", "billet": "T", "plate": "P", "offcut": "W"}
_REMEDY = "write it anew with `pithline plan`"
_SHOWN, _DIGITS_MOST = 12, 18
"""Digits of a faulty number that are shown, and those that a whole number may have."""
_DIGITS = "23456789"  # 0 and 1 are too like O and I in crayon


def _rounded(value: Any) -> Any:
    if isinstance(value, float):
        if not math.isfinite(value):
            raise ScriptError("a number in the document is not finite; it cannot be written")
        return round(value, 6) + 0.0  # + 0.0 turns -0.0 into 0.0, for the same bytes
    if isinstance(value, dict):
        return {key: _rounded(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [_rounded(one) for one in value]
    return value


def dumps(document: dict[str, Any]) -> bytes:
    """UTF-8 JSON in the key order given, floats to 1e-6, one trailing newline; ScriptError where not finite."""
    text = json.dumps(_rounded(document), ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return (text + "\n").encode()


def loads(data: bytes) -> dict[str, Any]:
    """The document in `data`.

    Raises
    ------
    ScriptError
        Where it is not one JSON object, is nested beyond all measure, or holds a number that is none or too great to reckon with.
    """
    try:
        document = json.loads(data, parse_float=_finite, parse_int=_whole, parse_constant=_finite)
    except RecursionError as error:
        raise ScriptError(f"the document is nested too deeply to be one; {_REMEDY}") from error
    except ValueError as error:
        raise ScriptError(f"the document is not JSON ({error}); {_REMEDY}") from error
    if not isinstance(document, dict):
        raise ScriptError(f"the document is not one JSON object; {_REMEDY}")
    return document


def _finite(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise ScriptError(f"the document holds the number {text[:_SHOWN]}, which is none or too great; {_REMEDY}")
    return value


def _whole(text: str) -> int:
    if len(text) > _DIGITS_MOST:
        raise ScriptError(f"the document holds the number {text[:_SHOWN]}…, of {len(text)} digits; {_REMEDY}")
    return int(text)


def crayon_marks(pieces: list[dict[str, Any]], held: Mapping[str, str] | None = None) -> dict[str, str]:
    """Mark of each piece id: its kind's letter and a number in the digits 2 to 9, in the order given.

    `held` are marks by piece id that stand on wood or labels already: they are kept, and no new mark is one of them.
    """
    held = held or {}
    counts: dict[str, int] = {}
    for mark in held.values():
        counts[mark[0]] = max(counts.get(mark[0], 0), _place(mark[1:]))
    marks: dict[str, str] = {}
    for piece in pieces:
        if piece["id"] in held:
            marks[piece["id"]] = held[piece["id"]]
            continue
        letter = _LETTERS[piece["kind"]]
        number = counts.get(letter, 0)
        counts[letter] = number + 1
        text = _DIGITS[number % 8]
        while number := number // 8:
            text = _DIGITS[(number - 1) % 8] + text
            number -= 1
        marks[piece["id"]] = letter + text
    return marks


def _place(text: str) -> int:
    """The place of a mark's digits among all, 1 for the first; 0 where they are of another making."""
    if not text or any(one not in _DIGITS for one in text):
        return 0
    place = 0
    for one in text:
        place = 8 * place + _DIGITS.index(one) + 1
    return place
