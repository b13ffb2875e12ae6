"""Writes the tables in the docs that follow from code and data, keys of files and woods: `python docs/key_tables.py`."""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Callable, Mapping
from pathlib import Path

from pithline.files.bundled import bundled, bundled_names
from pithline.files.priors import Priors
from pithline.files.products import read_products
from pithline.files.yard import Yard
from pithline.keys.declared import key_table
from pithline.logmodel.card import Card
from pithline.logmodel.species import SPECIES
from pithline.mill.machine import Machines
from pithline.mill.practice_sizes import Practice
from pithline.mill.products import Products

DOCS = Path(__file__).resolve().parent
PAGES = ("products.md", "formats.md", "trade.md", "appraisal.md", "season.md")


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


FINISHED = re.compile(r"\[\[product\.part\]\]\s+# finished ([^:]+) mm: (.+)")
"""A part's finished size and its source, as bundled lists have them beside the part."""


def lists_table() -> str:
    """Every part of every bundled list: how many, its finished and its green size, limits, source."""
    lines = [
        "| List | Set | Part | Finished, mm | Green, mm | Limits | Source of the finished size |",
        "|---|---|---|---|---|---|---|",
    ]
    for name in bundled_names("products"):
        text = bundled(f"products/{name}.toml").read_text(encoding="utf-8")
        stated = iter(FINISHED.findall(text))
        shown = name
        for product in tomllib.loads(text)["product"]:
            set_name = product["name"]
            for part in product["part"]:
                finished, source = next(stated)
                green = " × ".join(part[side].removesuffix(" mm") for side in ("length", "width", "thickness"))
                limits = part.get("limits", product["limits"])
                lines.append(
                    f"| {shown} | {set_name} | {part['count']} {part['name']} | {finished.replace(' x ', ' × ')} | {green} | {limits} "
                    f"| {source} |"
                )
                shown = set_name = ""
    return "\n".join(lines) + "\n"


def limits_table() -> str:
    """Every limit list that bundled product lists hold a part to."""
    lines = [
        "| Limits | Ring angle: least, mean | most | Runout | Slope in the face | Sapwood |",
        "|---|---|---|---|---|---|",
    ]
    rows: dict[str, None] = {}
    for name in bundled_names("products"):
        for limits in read_products(name).limits:
            most = "" if limits.ring_angle_max is None else f"{math.degrees(limits.ring_angle_max):.0f}°"
            slope = "" if limits.slope_max is None else f"{math.degrees(limits.slope_max):.0f}°"
            edge = f", {limits.sapwood_edge:.0f} mm in at most" if limits.sapwood == "edge" else ""
            rows[
                f"| {limits.name} | {math.degrees(limits.ring_angle_min):.0f}°, {math.degrees(limits.ring_angle_mean):.0f}° | {most} "
                f"| {math.degrees(limits.runout_max):.1f}° | {slope} | {limits.sapwood}{edge} |"
            ] = None
    return "\n".join([*lines, *rows]) + "\n"


TABLES: Mapping[str, Callable[[], str]] = {
    "keys: card": lambda: key_table(Card),
    "keys: mill": lambda: key_table(Machines),
    "keys: products": lambda: key_table(Products),
    "keys: practice": lambda: key_table(Practice),
    "keys: priors": lambda: key_table(Priors),
    "keys: yard": lambda: key_table(Yard),
    "woods": species_table,
    "lists": lists_table,
    "limits": limits_table,
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
