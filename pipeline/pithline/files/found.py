"""What was found once a log was open, or done otherwise than planned: the file that `pithline replan` reads."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from pithline.errors import InputError
from pithline.files.cards import DEFECT, FIGURE, defect_faults, figure_faults
from pithline.files.read import read_toml, tell
from pithline.keys.declared import Key, Table, Tables
from pithline.keys.readers import flag, length, text
from pithline.logmodel.card_values import pith_mark

_ANY = length(at_least=-10_000.0)
_POSITIVE = length(at_least=None, above=0.0)


def _name(value: object, key: str) -> str:
    """An id or a crayon mark; a cut's number on the sheet may be written bare."""
    if isinstance(value, int) and not isinstance(value, bool):
        return str(value)
    try:
        name: str = text(value, key)
    except InputError:
        raise InputError(
            f'{key} must be an id, a crayon mark or a number of the sheet, such as {key} = "S3".'
        ) from None
    return name


_THICK = Table({"thickness": Key(_POSITIVE, required=True)})
FOUND = Table(
    {
        "defect": DEFECT,
        "figure": FIGURE,
        "pith": Table(
            {
                "butt": Key(pith_mark),
                "top": Key(pith_mark),
                "seen": Tables(
                    Table(
                        {
                            "x": Key(length(), required=True),
                            "up": Key(_ANY, required=True),
                            "right": Key(_ANY, required=True),
                        }
                    )
                ),
            }
        ),
        "cut": Tables(Table({"id": Key(_name, required=True), "blade_height": Key(_ANY), "from_mark": Key(_ANY)})),
        "piece": Tables(Table({"id": Key(_name, required=True), "spoilt": Key(flag), "thickness": Key(_POSITIVE)})),
        "bark": _THICK,
        "sapwood": _THICK,
    }
)
"""Tables and keys of the file."""


def found_as_read(path: str | Path) -> dict[str, Any]:
    """The file's tables as read: lengths in mm, angles in degrees.

    Raises
    ------
    InputError
        The first fault in file order, and how many more there are.
    """
    values = read_toml(path, FOUND)
    faults = defect_faults(values.get("defect", [])) + figure_faults(values.get("figure", []))
    for what, keys in (("cut", ("blade_height", "from_mark")), ("piece", ("spoilt", "thickness"))):
        seen: set[str] = set()
        for at, one in enumerate(values.get(what, []), start=1):
            place, stated = f"[{what} {at}]", [key for key in keys if key in one]
            if len(stated) != 1:
                faults.append(f"{place} needs one of {keys[0]} and {keys[1]}, and not both; mend it.")
            elif one.get("spoilt") is False:
                faults.append(f"{place} says spoilt = false; leave the table out where a {what} is sound.")
            if one["id"] in seen:
                faults.append(f"{place} names {one['id']} a second time; say all of it in one table.")
            seen.add(one["id"])
    seen_at = [one["x"] for one in values.get("pith", {}).get("seen", [])]
    faults += [f"[pith.seen] has x = {x:g} mm twice; keep one." for x in sorted(set(seen_at)) if seen_at.count(x) > 1]
    tell(path, faults)
    return values
