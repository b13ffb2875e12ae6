"""The log card: what the sawyer states about one log (design section 6)."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from pithline.errors import InputError
from pithline.files.tables import (
    Key,
    Read,
    Table,
    Tables,
    date,
    flag,
    length,
    list_of,
    number,
    one_of,
    read_toml,
    tell,
    text,
)
from pithline.logmodel.card import ArmsMark, Card, Defect, PithMark, ScanPoint, TapeMark
from pithline.logmodel.species import species_of
from pithline.units import SCAN_UNITS

AXES = ("+x", "-x", "+y", "-y", "+z", "-z")
SPIRAL_MOST_DEG = 45.0
"""A spiral beyond this is a slip of the pen; published spirals stay far below it (common practice, no source)."""


def _xyz(value: object, key: str) -> dict[str, Any]:
    example = f"{key} = {{ xyz = [0.12, 0.03, 0.81] }}"
    if not isinstance(value, dict) or set(value) != {"xyz"}:
        raise InputError(f"{key} must be a point in scan coordinates, such as {example}.")
    found = list_of(number(what="number in scan coordinates"), 3)(value["xyz"], f"{key} xyz")
    if len(found) != 3:
        raise InputError(f"{key} xyz has {len(found)} values; a point has three, such as {example}.")
    return {"xyz": found}


def _species(value: object, key: str) -> str:
    name = text(value, key)
    species_of(name)
    return name


def pith_mark(value: object, key: str) -> dict[str, Any]:
    """Reader of a pith mark in one of its three forms."""
    forms = "{ xyz = [..] }, { from_left = .., from_top = .. } or { up = .., right = .., down = .., left = .. }"
    if not isinstance(value, dict) or not value:
        raise InputError(f"{key} must be a mark: {forms}.")
    if "xyz" in value:
        return _xyz(value, key)
    tape, arms = ("from_left", "from_top"), ("up", "right", "down", "left")
    read = length(above=0.0, at_least=None)
    if set(value) <= set(tape):
        missing = [name for name in tape if name not in value]
        if missing:
            raise InputError(f"{key} lacks {missing[0]}; a mark by tape has both from_left and from_top.")
    elif set(value) <= set(arms):
        if len(value) < 2:
            raise InputError(f"{key} has one arm only; measure two or more of up, right, down and left.")
    else:
        odd = next(name for name in value if name not in (*tape, *arms) or name in tape)
        raise InputError(f'{key} cannot have "{odd}" here; a mark is {forms}.')
    return {name: read(one, f"{key} {name}") for name, one in value.items()}


def _reference(value: object, key: str) -> dict[str, float]:
    if not isinstance(value, dict) or set(value) != {"length", "in_scan"}:
        raise InputError(f'{key} must have both parts, such as {key} = {{ length = "1 m", in_scan = 0.412 }}.')
    return {
        "length": length(at_least=None, above=0.0)(value["length"], f"{key} length"),
        "in_scan": number(above=0.0)(value["in_scan"], f"{key} in_scan"),
    }


def _optional(read: Read) -> Key:
    return Key(read)


_POSITIVE = length(at_least=None, above=0.0)
_ZERO_OR_MORE = length()

DEFECT = Tables(
    Table(
        {
            "kind": Key(one_of("knot", "check", "metal", "rot"), required=True),
            "x": _optional(_ZERO_OR_MORE),
            "end": _optional(one_of("butt", "top")),
            "clock_deg": _optional(number(at_least=-360.0, at_most=360.0, what="angle in degrees")),
            "diameter": _optional(_POSITIVE),
            "length": _optional(_POSITIVE),
            "depth": _optional(_POSITIVE),
            "margin": Key(_ZERO_OR_MORE, default=0.0),
        }
    )
)
"""[[defect]]: on the card, and found once the log is open."""

CARD = Table(
    {
        "log": Table(
            {
                "id": Key(text, required=True),
                "species": Key(_species, required=True),
                "scan": _optional(text),
                "scan_units": Key(one_of(*SCAN_UNITS, "tape"), default="m"),
                "up": _optional(one_of(*AXES)),
                "butt": _optional(one_of("min", "max")),
                "felled": _optional(date),
                "cost": _optional(number(at_least=0.0, what="amount of money")),
                "grown": _optional(one_of("forest", "yard", "fence line")),
                "reference": _optional(_reference),
            },
            required=True,
        ),
        "ends": Table(
            {
                "trim_butt": Key(_ZERO_OR_MORE, default=0.0),
                "trim_top": Key(_ZERO_OR_MORE, default=0.0),
                "twelve_butt": _optional(_xyz),
                "twelve_top": _optional(_xyz),
                "coated": _optional(flag),
                "stain": _optional(flag),
            }
        ),
        "bark": Table({"thickness": _optional(_ZERO_OR_MORE)}),
        "sapwood": Table({"thickness": _optional(_ZERO_OR_MORE)}),
        "grain": Table(
            {"spiral_deg": Key(number(at_least=-SPIRAL_MOST_DEG, at_most=SPIRAL_MOST_DEG, what="angle in degrees"))}
        ),
        "tape": Table(
            {
                **{name: _optional(_POSITIVE) for name in ("length", "girth_butt", "girth_top")},
                "sweep": _optional(_ZERO_OR_MORE),
                "sweep_clock_deg": _optional(number(at_least=-360.0, at_most=360.0, what="angle in degrees")),
            }
        ),
        "pith": Table(
            {
                "radius": _optional(_ZERO_OR_MORE),
                "butt": _optional(pith_mark),
                "top": _optional(pith_mark),
                "error": _optional(_ZERO_OR_MORE),
            }
        ),
        "defect": DEFECT,
    }
)

DEFECT_KEYS: Mapping[str, tuple[str, ...]] = {
    "knot": ("x", "clock_deg", "diameter"),
    "check": ("end", "clock_deg", "length", "depth"),
    "metal": ("x", "clock_deg", "diameter"),
    "rot": ("end", "diameter", "length"),
}
"""What each kind of defect is told by (design section 4), besides its margin."""


def read_card(path: str | Path) -> Card:
    """Read, check and freeze a log card.

    Raises
    ------
    InputError
        The first fault in file order, and how many more there are.
    """
    return card_from(card_as_read(path))


def card_as_read(path: str | Path) -> dict[str, Any]:
    """The card's tables as read: lengths in mm, angles in degrees, scan coordinates untouched."""
    values = read_toml(path, CARD)
    faults = defect_faults(values.get("defect", []))
    ends = values.get("ends", {})
    if ("twelve_butt" in ends) != ("twelve_top" in ends):
        lone, other = ("twelve_butt", "twelve_top") if "twelve_butt" in ends else ("twelve_top", "twelve_butt")
        faults.append(f"[ends] has {lone} but not {other}; the 12 o'clock line needs a point on each end.")
    tape = values.get("tape", {})
    if "sweep_clock_deg" in tape and "sweep" not in tape:
        faults.append("[tape] has sweep_clock_deg but no sweep; add how far the string stands off.")
    log = values["log"]
    if log.get("scan_units") == "tape" and "reference" not in log and "length" not in values.get("tape", {}):
        faults.append('[log] scan_units is "tape", so [tape] needs length; measure the log from end to end and add it.')
    tell(path, faults)
    return values


def defect_faults(defects: Sequence[Mapping[str, Any]]) -> list[str]:
    """What is wrong with defects as read: each kind is told by keys of its own."""
    faults: list[str] = []
    for at, defect in enumerate(defects):
        kind = defect["kind"]
        needed = DEFECT_KEYS[kind]
        place = f"[defect {at + 1}]"
        faults += [f"{place} a {kind} needs {name}; add it." for name in needed if name not in defect]
        odd = [name for name in defect if name not in (*needed, "kind", "margin")]
        faults += [f"{place} a {kind} has no {name}; it is told by {', '.join(needed)}." for name in odd]
    return faults


def card_from(values: Mapping[str, Any]) -> Card:
    """The frozen card of tables as read, whether from the card itself or from a script's `inputs`."""
    log, ends, pith = values["log"], values.get("ends", {}), values.get("pith", {})
    tape, reference = values.get("tape", {}), log.get("reference") or {}
    return Card(
        id=log["id"],
        species=log["species"],
        scan=log.get("scan"),
        scan_units=log.get("scan_units", "m"),
        up=log.get("up"),
        butt=log.get("butt"),
        felled=log.get("felled"),
        cost=log.get("cost"),
        reference_length=reference.get("length"),
        reference_in_scan=reference.get("in_scan"),
        trim_butt=ends.get("trim_butt", 0.0),
        trim_top=ends.get("trim_top", 0.0),
        twelve_butt=_point_from(ends.get("twelve_butt")),
        twelve_top=_point_from(ends.get("twelve_top")),
        bark_thickness=values.get("bark", {}).get("thickness"),
        sapwood_thickness=values.get("sapwood", {}).get("thickness"),
        spiral=math.radians(values.get("grain", {}).get("spiral_deg", 0.0)),
        tape_length=tape.get("length"),
        tape_girth_butt=tape.get("girth_butt"),
        tape_girth_top=tape.get("girth_top"),
        pith_radius=pith.get("radius"),
        pith_butt=mark_from(pith.get("butt")),
        pith_top=mark_from(pith.get("top")),
        pith_error=pith.get("error"),
        defects=tuple(_defect_from(one) for one in values.get("defect", [])),
    )


def scan_path(card_path: str | Path, card: Card) -> Path:
    """The scan a card names, found from the card's own folder.

    Raises
    ------
    InputError
        If the card names none, or there is no such file.
    """
    if card.scan is None:
        raise InputError(f'{card_path}: [log] names no scan; add scan = "FILE", its path from the card.')
    path = Path(card_path).parent / card.scan
    try:
        there = path.is_file()
    except OSError:  # a name no file can have
        there = False
    if not there:
        raise InputError(f'{card_path}: [log] scan is "{card.scan}", and there is no file {path}; mend the path.')
    return path


def _point_from(value: Mapping[str, Any] | None) -> ScanPoint | None:
    if value is None:
        return None
    x, y, z = value["xyz"]
    return ScanPoint((float(x), float(y), float(z)))


def mark_from(value: Mapping[str, Any] | None) -> PithMark | None:
    """The frozen mark of one as read."""
    if value is None or "xyz" in value:
        return _point_from(value)
    return TapeMark(**value) if "from_left" in value else ArmsMark(**value)


def _defect_from(value: Mapping[str, Any]) -> Defect:
    clock = value.get("clock_deg")
    return Defect(
        kind=value["kind"],
        x=value.get("x"),
        end=value.get("end"),
        clock=None if clock is None else math.radians(clock),
        diameter=value.get("diameter"),
        length=value.get("length"),
        depth=value.get("depth"),
        margin=value.get("margin", 0.0),
    )
