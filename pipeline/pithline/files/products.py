"""Products files: limits, parts, prices and demand. Their keys are declared in `pithline.mill.products`."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from pithline.files.bundled import bundled, named
from pithline.files.read import read_toml, tell
from pithline.keys.declared import freeze, known_keys
from pithline.keys.readers import nearest
from pithline.mill.products import Products

DEFAULT = "products/guitar.toml"

PRODUCTS = known_keys(Products)
"""Tables and keys of the file."""


def read_products(path: str | Path | None = None) -> Products:
    """Read, check and freeze a products file; the bundled guitar sets where `path` is None."""
    return products_from(products_as_read(path))


def products_as_read(path: str | Path | None = None) -> dict[str, Any]:
    """The products file's tables as read: lengths in mm, angles in degrees; defaults filled in."""
    path = bundled(DEFAULT) if path is None else named(path, "products")
    values = read_toml(path, PRODUCTS)
    for product in values["product"]:
        for part in product["part"]:
            part.setdefault("bookmatched", part["count"] % 2 == 0)
    tell(path, _faults(values))
    return values


def products_from(values: Mapping[str, Any]) -> Products:
    """The frozen products of tables as read, whether from the products file or from a script's `inputs`."""
    return freeze(Products, values)


def _faults(values: Mapping[str, Any]) -> list[str]:
    faults: list[str] = []
    if values["sizes"] == "finished" and "dry_to_percent" not in values.get("allowance", {}):
        faults.append('[allowance] needs dry_to_percent where sizes = "finished"; add the moisture content dried to.')
    if values["sizes"] == "green" and "allowance" in values:
        faults.append('[allowance] goes with sizes = "finished" only; green sizes are sawn as they stand.')
    for name, limits in values["limits"].items():
        if limits["ring_angle_mean_deg"] < limits["ring_angle_min_deg"]:
            faults.append(f"[limits.{name}] ring_angle_mean_deg is less than ring_angle_min_deg; a mean cannot be.")
        if limits["ring_angle_mean_deg"] > limits.get("ring_angle_max_deg", 90.0):
            faults.append(f"[limits.{name}] ring_angle_max_deg is less than ring_angle_mean_deg; nothing could pass.")
        if limits["sapwood"] == "edge" and not limits["sapwood_edge"] > 0.0:
            faults.append(f'[limits.{name}] needs sapwood_edge where sapwood = "edge"; add how far in it may reach.')
    if not values["product"]:
        faults.append("[[product]] stands nowhere; add at least one product with its parts.")
    faults += _twice("[[product]]", [one["name"] for one in values["product"]])
    for product in values["product"]:
        faults += _product_faults(product, list(values["limits"]))
    return faults


def _product_faults(product: Mapping[str, Any], limits: list[str]) -> list[str]:
    place = f'[[product]] "{product["name"]}"'
    faults: list[str] = []
    if product["limits"] not in limits:
        faults.append(f'{place} asks for limits "{product["limits"]}"; {nearest(product["limits"], limits, "limits")}')
    if not product["part"]:
        faults.append(f"{place} has no part; add [[product.part]] below it.")
    faults += _twice(place, [part["name"] for part in product["part"]])
    for part in product["part"]:
        name = f'{place} part "{part["name"]}"'
        if part.get("limits", limits[0]) not in limits:
            faults.append(f'{name} asks for limits "{part["limits"]}"; {nearest(part["limits"], limits, "limits")}')
        if part["bookmatched"] and part["count"] % 2:
            faults.append(f"{name} is bookmatched, but its count is {part['count']}; pairs need an even count.")
        if not part["length"] >= part["width"] >= part["thickness"]:
            faults.append(f"{name} must have length ≥ width ≥ thickness, for the grain runs along its length.")
    return faults


def _twice(place: str, names: list[str]) -> list[str]:
    often = [(name, n) for name, n in Counter(names).items() if n > 1]
    return [f'{place} uses the name "{name}" {n} times; give each its own.' for name, n in often]
