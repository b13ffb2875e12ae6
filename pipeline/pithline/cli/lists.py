"""pithline lists [NAME]: the product lists that come with pithline, their sets, sizes and prices."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from pithline.cli.console import Console

if TYPE_CHECKING:
    from pithline.files.product_lists import ProductList


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The command's own arguments."""
    parser.add_argument(
        "name", metavar="NAME", nargs="*", help="lists to show, bundled ones by name or files [default: all bundled]"
    )
    parser.add_argument("--json", action="store_true", help="print what is shown as JSON, for machines")


def run(args: argparse.Namespace, console: Console) -> int:
    """Show the lists."""
    from pithline.files.bundled import bundled
    from pithline.files.product_lists import ALL, read_lists
    from pithline.files.products import DEFAULT

    lists = read_lists(args.name or [ALL])
    if args.json:
        console.json([{"list": one.name, **one.read} for one in lists])
        return 0
    limits: dict[str, None] = {}
    for one in lists:
        _show(console, one)
        limits |= dict.fromkeys(_limits(name, one.read["limits"][name]) for name in _used(one))
    console.show("\n".join(["Limits of plates:", *limits]))
    console.show(
        "Sizes are as sawn, green, unless a list says otherwise. Prices are invented: set your own.\n"
        'Plan with a list by its name (--products ukulele); given several times they compete, and "all" is every one. '
        f"To change one, copy its file from {bundled(DEFAULT).parent}."
    )
    return 0


def _show(console: Console, one: ProductList) -> None:
    """A table of one list: its sets, and the parts of each."""
    from rich.box import SIMPLE_HEAD
    from rich.table import Table

    table = Table(title=one.name, title_justify="left", box=SIMPLE_HEAD)
    for name, right in (
        ("set", False),
        ("price", True),
        ("demand", True),
        ("part", False),
        ("mm", False),
        ("limits", False),
    ):
        table.add_column(name, justify="right" if right else "left", no_wrap=name == "mm")
    for product in one.read["product"]:
        first = (product["name"], f"{product['price']:g}", str(product.get("demand", "any")))
        for part in product["part"]:
            limits = part.get("limits", product["limits"])
            table.add_row(*first, f"{part['count']} {part['name']}", _size(part), limits)
            first = ("", "", "")
    console.show(table)


def _used(one: ProductList) -> dict[str, None]:
    """Names of the limits that a list holds its parts to."""
    return {part.get("limits", product["limits"]): None for product in one.read["product"] for part in product["part"]}


def _size(part: dict[str, Any]) -> str:
    return " × ".join(f"{part[side]:g}" for side in ("length", "width", "thickness"))


def _limits(name: str, limits: dict[str, Any]) -> str:
    """What plates are held to."""
    text = f"  {name}: ring angle {limits['ring_angle_min_deg']:g}° at least, mean {limits['ring_angle_mean_deg']:g}°"
    if "ring_angle_max_deg" in limits:
        text += f", {limits['ring_angle_max_deg']:g}° at most"
    text += f"; runout {limits['runout_max_deg']:g}°"
    if "slope_max_deg" in limits:
        text += f", slope {limits['slope_max_deg']:g}°"
    edge = f" {limits['sapwood_edge']:g} mm" if limits["sapwood"] == "edge" else ""
    return f"{text}; sapwood {limits['sapwood']}{edge}"
