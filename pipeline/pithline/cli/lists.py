"""pithline lists [NAME]: the product lists that come with pithline, their sets, sizes and prices."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from pithline.cli.console import Console

if TYPE_CHECKING:
    from pithline.files.product_lists import ProductList


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The command's own arguments."""
    parser.add_argument("name", metavar="NAME", nargs="*", help="lists to show, bundled ones by name or files [default: all bundled]")
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
    for one in lists:
        _show(console, one)
    folder = bundled(DEFAULT).parent
    console.show(
        "Sizes are as sawn, green, unless a list says otherwise; limits are least and mean ring angle and greatest runout. Prices are "
        "invented: set your own.\nPlan with a list by its name (--products ukulele); given several times they compete, and \"all\" is every "
        f"one. To change one, copy its file from {folder}."
    )
    return 0


def _show(console: Console, one: ProductList) -> None:
    """A table of one list: its sets, and the parts of each."""
    from rich.box import SIMPLE_HEAD
    from rich.table import Table

    table = Table(title=one.name, title_justify="left", box=SIMPLE_HEAD)
    for name, right in (("set", False), ("price", True), ("demand", True), ("parts", False), ("green size, mm", False), ("limits", False)):
        table.add_column(name, justify="right" if right else "left")
    for product in one.read["product"]:
        first = (product["name"], f"{product['price']:g}", str(product.get("demand", "any")))
        for part in product["part"]:
            limits = part.get("limits", product["limits"])
            table.add_row(*first, f"{part['count']} × {part['name']}", _size(part), _limits(limits, one.read["limits"][limits]))
            first = ("", "", "")
    console.show(table)


def _size(part: dict[str, Any]) -> str:
    return " × ".join(f"{part[side]:g}" for side in ("length", "width", "thickness"))


def _limits(name: str, limits: dict[str, Any]) -> str:
    """What plates are held to, in short: least ring angle, its mean, runout; slope, and sapwood."""
    rings = f"{limits['ring_angle_min_deg']:g}/{limits['ring_angle_mean_deg']:g}"
    most = f" to {limits['ring_angle_max_deg']:g}" if "ring_angle_max_deg" in limits else ""
    sapwood = f"sapwood {limits['sapwood']}" + (f" {limits['sapwood_edge']:g} mm" if limits["sapwood"] == "edge" else "")
    return f"{name}: {rings}{most}/{limits['runout_max_deg']:g}°, {sapwood}"
