"""Text with a unit <-> the units used inside: mm, mm/min, mm³, kg. The only conversion factors in the package.

Factors are exact by definition: 1 in = 25.4 mm and 1 lb = 0.45359237 kg (international yard and pound agreement
of 1959).
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping

from pithline.errors import InputError

MM_PER_INCH = 25.4
KG_PER_POUND = 0.45359237
MM3_PER_LITRE = 1.0e6
MM3_PER_BOARD_FOOT = 144.0 * MM_PER_INCH**3

LENGTHS: Mapping[str, float] = {
    "mm": 1.0,
    "cm": 10.0,
    "m": 1000.0,
    "in": MM_PER_INCH,
    "inch": MM_PER_INCH,
    "inches": MM_PER_INCH,
    '"': MM_PER_INCH,
    "ft": 12.0 * MM_PER_INCH,
    "foot": 12.0 * MM_PER_INCH,
    "feet": 12.0 * MM_PER_INCH,
    "'": 12.0 * MM_PER_INCH,
}
VOLUMES: Mapping[str, float] = {
    "mm³": 1.0,
    "mm3": 1.0,
    "cm³": 1.0e3,
    "cm3": 1.0e3,
    "ml": 1.0e3,
    "mL": 1.0e3,
    "L": MM3_PER_LITRE,
    "l": MM3_PER_LITRE,
    "litre": MM3_PER_LITRE,
    "litres": MM3_PER_LITRE,
    "m³": 1.0e9,
    "m3": 1.0e9,
    "in³": MM_PER_INCH**3,
    "in3": MM_PER_INCH**3,
}
WEIGHTS: Mapping[str, float] = {
    "g": 1.0e-3,
    "kg": 1.0,
    "t": 1.0e3,
    "lb": KG_PER_POUND,
    "lbs": KG_PER_POUND,
    "pound": KG_PER_POUND,
    "pounds": KG_PER_POUND,
}
PER_MINUTE: Mapping[str, float] = {"s": 60.0, "sec": 60.0, "min": 1.0, "h": 1.0 / 60.0}
SCAN_UNITS: Mapping[str, float] = {unit: LENGTHS[unit] for unit in ("m", "cm", "mm", "in", "ft")}

_NUMBER = r"[+-]?(?:\d+[ -]\d+/\d+|\d+/\d+|\d+(?:\.\d*)?(?:[eE][+-]?\d+)?|\.\d+)"
_TERM = re.compile(rf"\s*(?P<number>{_NUMBER})\s*(?P<unit>[a-zA-Z³]+3?|\"|')\s*")


def parse_length(value: object, key: str = "length") -> float:
    """Length from text with a unit, such as "22 in", "12 1/2 in", "8 ft 3 in", "660 mm" or "0.66 m". [mm]

    Parameters
    ----------
    value : object
        What the file or the command line holds.
    key : str
        The key or option the user typed; the message begins with it.

    Raises
    ------
    InputError
        If it is a bare number, or no length.

    Examples
    --------
    >>> parse_length("12 1/2 in")
    317.5
    >>> round(parse_length("8 ft 3 in"), 1)
    2514.6
    """
    return _parse(value, key, "length", LENGTHS, "mm", '"660 mm", "0.66 m" or "12 1/2 in"')


def parse_volume(value: object, key: str = "volume") -> float:
    """Volume from text with a unit, such as "0.3 L". [mm³]"""
    return _parse(value, key, "volume", VOLUMES, "L", '"0.3 L" or "300 cm3"')


def parse_weight(value: object, key: str = "weight") -> float:
    """Weight from text with a unit, such as "80 kg" or "150 lb". [kg]"""
    return _parse(value, key, "weight", WEIGHTS, "kg", '"80 kg" or "150 lb"')


def parse_rate(value: object, key: str = "feed") -> float:
    """Rate of feed from text with a unit, such as "6 m/min" or "20 ft/min". [mm/min]"""
    examples = '"6 m/min" or "20 ft/min"'
    text = _text(value, key, "m/min")
    length, slash, time = text.rpartition("/")
    factor = PER_MINUTE.get(time.strip())
    if not slash or factor is None or re.fullmatch(r"[\d\s./-]*", text):
        if re.fullmatch(rf"\s*{_NUMBER}\s*", text):
            raise InputError(f'{key} is "{text}" without a unit; write it as {examples}.')
        raise InputError(f'{key} is "{text}", which is no rate; write a length by time, such as {examples}.')
    return _sum(length, text, key, "rate", LENGTHS, examples) * factor


def format_mm(length: float, step: float = 1.0) -> str:
    """A length in millimetres, to the nearest `step`, such as "317.5 mm"."""
    decimals = max(0, -math.floor(math.log10(step) + 1e-9)) if step < 1.0 else 0
    text = f"{round(length / step) * step:.{decimals}f}"
    return f"{_no_minus_zero(text)} mm"


def format_inches(length: float, denominator: int = 16) -> str:
    """A length [mm] in inches with a fraction in lowest terms, as a tape shows it: "12 1/2 in".

    Parameters
    ----------
    length : float
        mm.
    denominator : int
        Finest part of an inch, a power of two, such as 16 or 32.

    Examples
    --------
    >>> format_inches(317.5)
    '12 1/2 in'
    >>> format_inches(-1.5, 32)
    '-1/16 in'
    """
    if denominator < 1 or denominator & (denominator - 1):
        raise ValueError(f"an inch is divided by powers of two, not by {denominator}")
    parts = round(abs(length) / MM_PER_INCH * denominator)
    whole, rest = divmod(parts, denominator)
    sign = "-" if length < 0.0 and parts else ""
    if not rest:
        return f"{sign}{whole} in"
    common = math.gcd(rest, denominator)
    fraction = f"{rest // common}/{denominator // common}"
    return f"{sign}{whole} {fraction} in" if whole else f"{sign}{fraction} in"


def format_litres(volume: float, decimals: int = 1) -> str:
    """A volume [mm³] in litres, such as "41.3 L"."""
    return f"{_no_minus_zero(f'{volume / MM3_PER_LITRE:.{decimals}f}')} L"


def _no_minus_zero(text: str) -> str:
    return text[1:] if text.startswith("-") and not text.strip("-0.") else text


def _text(value: object, key: str, unit: str) -> str:
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        raise InputError(f'{key} must be text with a unit, such as {key} = "2.5 {unit}".')
    if not isinstance(value, str):
        shown = f"{min(max(value, -1e12), 1e12):g}"
        raise InputError(f'{key} is {shown} without a unit; write it as text, such as {key} = "{shown} {unit}".')
    return value.strip()


def _parse(value: object, key: str, quantity: str, units: Mapping[str, float], unit: str, examples: str) -> float:
    return _sum(_text(value, key, unit), str(value), key, quantity, units, examples)


def _sum(text: str, whole: str, key: str, quantity: str, units: Mapping[str, float], examples: str) -> float:
    """Sum of all terms of `text`; a minus before the first goes for all of them."""
    if re.fullmatch(rf"\s*{_NUMBER}\s*", text):
        raise InputError(f'{key} is "{whole.strip()}" without a unit; write it as {examples}.')
    total, at = 0.0, 0
    while at < len(text):
        term = _TERM.match(text, at)
        if term is None or (at and term["number"][0] in "+-"):
            raise InputError(f'{key} is "{whole.strip()}", which is no {quantity}; write it as {examples}.')
        if term["unit"] not in units:
            known = ", ".join(unit for unit in units if unit.isalnum())
            raise InputError(f'{key} is "{whole.strip()}": "{term["unit"]}" is no unit of {quantity}; known: {known}.')
        size = abs(_number(term["number"], key)) * units[term["unit"]]
        total, at = total + size, term.end()
    if not text:
        raise InputError(f"{key} is empty; write it as {examples}.")
    total = -total if text.startswith("-") else total
    if not math.isfinite(total):
        raise InputError(f'{key} is "{whole.strip()}", which is not finite; write it as {examples}.')
    return round(total, 9)  # 12 in is 304.8 mm, without the dust of binary fractions


def _number(text: str, key: str) -> float:
    whole, fraction = 0.0, text.lstrip("+-")
    if "/" in fraction:
        first = re.match(r"(\d+)[ -]", fraction)
        if first:
            whole, fraction = float(first[1]), fraction[first.end() :]
        top, bottom = fraction.split("/")
        if float(bottom) == 0.0:
            raise InputError(f"{key} has a fraction over 0; write it as a number and a unit.")
        return whole + float(top) / float(bottom)
    return float(fraction)
