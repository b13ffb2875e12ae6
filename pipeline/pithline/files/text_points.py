"""Points as plain text: XYZ, TXT, CSV and the like, one point a line."""

from __future__ import annotations

import io
import re

import numpy as np
from numpy.typing import NDArray

from pithline.files.ply import to_bytes

_COLOURS = (("r", "g", "b"), ("red", "green", "blue"))


def parse_text(data: bytes) -> tuple[NDArray[np.float64], NDArray[np.uint8] | None]:
    """Points (n, 3) and colours (n, 3) or None of a text file's bytes.

    Columns are told by a header if there is one (x, y, z, r, g, b in any order), else the first three are x, y, z.
    Without a header, three whole columns from 0 to 255 after them, or after one more, are taken for colours.
    Separators: blanks, tabs, commas or semicolons. Lines before the first that is all numbers are header.

    Raises
    ------
    ValueError
        What is wrong with the file, as half a sentence.
    """
    lines = data.decode("utf-8-sig", errors="replace").splitlines()
    first = next((at for at, line in enumerate(lines) if len(_numbers(line)) >= 3), None)
    if first is None:
        raise ValueError("no line of it holds three numbers")
    separator = next((mark for mark in (";", ",") if mark in lines[first]), None)
    decimal_comma = separator == ";" and "," in lines[first]
    body = "\n".join(lines[first:])
    if decimal_comma:
        body = body.replace(",", ".")
    try:
        rows = np.loadtxt(io.StringIO(body), delimiter=separator, ndmin=2, dtype=np.float64, comments=("#", "//"))
    except ValueError as error:
        raise ValueError(f"after line {first + 1}: {error}") from None
    names = _names(lines[:first], separator, rows.shape[1])
    places = [names.index(name) for name in "xyz"] if names and all(name in names for name in "xyz") else [0, 1, 2]
    return rows[:, places].copy(), _colour_columns(rows, names)


def _numbers(line: str) -> list[str]:
    """The words of a line if all are numbers, else none."""
    words = [word for word in re.split(r"[;\s]+" if ";" in line else r"[,\s]+", line.strip()) if word]
    for word in words:
        try:
            float(word.replace(",", "."))
        except ValueError:
            return []
    return words


def _names(header: list[str], separator: str | None, columns: int) -> list[str]:
    """Lower-case column names out of the last header line that has as many words as there are columns."""
    for line in reversed(header):
        words = [word.strip().strip('"').lower() for word in line.strip().lstrip("#/").strip().split(separator)]
        if len(words) == columns:
            return words
    return []


def _colour_columns(rows: NDArray[np.float64], names: list[str]) -> NDArray[np.uint8] | None:
    for triple in _COLOURS:
        if all(name in names for name in triple):
            return to_bytes(rows[:, [names.index(name) for name in triple]])
    if names:
        return None
    for start in (3, 4):
        found = rows[:, start : start + 3]
        whole = found.shape[1] == 3 and bool((found == np.rint(found)).all())
        if whole and found.min() >= 0.0 and 1.0 < found.max() <= 255.0:
            return found.astype(np.uint8)
    return None
