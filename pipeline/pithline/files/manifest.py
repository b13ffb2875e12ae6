"""The manifest: the logs of a yard, one row a card (design section 6)."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from pathlib import Path

from pithline.files.csv_rows import Field, cents, day, read_rows, whole, words
from pithline.files.read import tell

PRIORITY_MAX = 9

MANIFEST = {
    "card": Field(words, required=True),
    "cost": Field(cents),
    "priority": Field(whole(0, PRIORITY_MAX), default=0),
    "not_before": Field(day),
}


@dataclass(frozen=True, slots=True)
class Entry:
    """One log of the manifest. `cost` is None where the card's own holds. [1/100 of the currency]"""

    card: Path
    cost: int | None
    priority: int
    not_before: datetime.date | None
    line: int


def read_manifest(path: str | Path) -> tuple[Entry, ...]:
    """Read and check a manifest; cards are named relative to its folder.

    Raises
    ------
    InputError
        The first fault in file order, and how many more there are.
    """
    rows, faults = read_rows(path, MANIFEST)
    folder = Path(path).parent
    entries: list[Entry] = []
    seen: dict[Path, int] = {}
    for row in rows:
        name = row.values["card"]
        if name is None:
            continue
        card = folder / name
        real = card.resolve()
        if real in seen:
            faults.append(f'line {row.line}: the card "{name}" stands in line {seen[real]} already; keep one of them.')
        elif not card.is_file():
            faults.append(f'line {row.line}: there is no card "{name}" in {folder}; check the name.')
        seen.setdefault(real, row.line)
        entries.append(Entry(card, row.values["cost"], row.values["priority"], row.values["not_before"], row.line))
    tell(path, faults)
    return tuple(entries)
