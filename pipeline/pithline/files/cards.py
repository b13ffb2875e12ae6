"""The log card's file: read, checked and frozen. Its keys are declared in `pithline.logmodel.card`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from pithline.errors import InputError
from pithline.files.read import read_toml, tell
from pithline.keys.declared import Tables, freeze, known_keys
from pithline.logmodel.card import DEFECT_KEYS, Card, Defect, Figure

CARD = known_keys(Card)
"""Tables and keys of the file."""
DEFECT = Tables(known_keys(Defect))
"""[[defect]]: on the card, and found once the log is open."""
FIGURE = Tables(known_keys(Figure))
"""[[figure]]: on the card, and found once the log is open."""


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
    faults = defect_faults(values.get("defect", [])) + figure_faults(values.get("figure", []))
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


def figure_faults(figures: Sequence[Mapping[str, Any]]) -> list[str]:
    """What is wrong with zones of figure as read: each must have a length."""
    return [
        f"[figure {at}] goes from {one['from']:g} mm to {one['to']:g} mm; write the station nearer the butt end under from."
        for at, one in enumerate(figures, start=1)
        if "from" in one and "to" in one and one["from"] >= one["to"]
    ]


def card_from(values: Mapping[str, Any]) -> Card:
    """The frozen card of tables as read, whether from the card itself or from a script's `inputs`."""
    return freeze(Card, values)


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
