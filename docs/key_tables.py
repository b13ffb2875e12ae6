"""Writes the tables in the docs that follow from code and data, keys of files and woods: `python docs/key_tables.py`."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from pathlib import Path

from pithline.files.priors import Priors
from pithline.files.yard import Yard
from pithline.keys.declared import key_table
from pithline.logmodel.card import Card
from pithline.logmodel.species import SPECIES
from pithline.mill.machine import Machines
from pithline.mill.practice_sizes import Practice
from pithline.mill.products import Products

DOCS = Path(__file__).resolve().parent
PAGES = ("formats.md", "trade.md", "appraisal.md", "season.md")


def species_table() -> str:
    """Every wood with its values, and a letter for how well each is known."""
    letter = {"published": "V", "second-hand": "V2", "memory": "M", "practice": "CP"}
    lines = [
        "| Wood | Radial, % | Tangential, % | Inside over outside bark | Sapwood to, mm | Green, kg/m³ |",
        "|---|---|---|---|---|---|",
    ]
    for one in SPECIES.values():
        known = {name: letter[source.standing] for name, source in one.sources.items()}
        lines.append(
            f"| {one.name} (*{one.latin}*) | {100.0 * one.shrink_radial:.1f} {known['shrink_radial']} "
            f"| {100.0 * one.shrink_tangential:.1f} {known['shrink_tangential']} "
            f"| {one.bark_ratio:.2f} ± {one.bark_ratio_error:.2f} {known['bark_ratio']} "
            f"| {one.sapwood_most:.0f} {known['sapwood_most']} | {one.green_density:.0f} {known['green_density']} |"
        )
    return "\n".join(lines) + "\n"


TABLES: Mapping[str, Callable[[], str]] = {
    "keys: card": lambda: key_table(Card),
    "keys: mill": lambda: key_table(Machines),
    "keys: products": lambda: key_table(Products),
    "keys: practice": lambda: key_table(Practice),
    "keys: priors": lambda: key_table(Priors),
    "keys: yard": lambda: key_table(Yard),
    "woods": species_table,
}
"""Name of a table in a page -> what writes it."""


def with_tables(page: str) -> str:
    """The page with each table between `<!-- NAME -->` and `<!-- end -->` written anew."""

    def written(found: re.Match[str]) -> str:
        return f"<!-- {found[1]} -->\n\n{TABLES[found[1]]()}\n<!-- end -->"

    return re.sub(r"<!-- ([\w: ]+) -->.*?<!-- end -->", written, page, flags=re.DOTALL)


if __name__ == "__main__":
    for name in PAGES:
        path = DOCS / name
        path.write_text(with_tables(path.read_text(encoding="utf-8")), encoding="utf-8")
