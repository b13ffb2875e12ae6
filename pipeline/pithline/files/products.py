"""Products files: limits, parts, prices and demand (design section 6)."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from pithline.files.bundled import bundled, named
from pithline.files.tables import (
    Key,
    Named,
    Table,
    Tables,
    flag,
    length,
    nearest,
    number,
    one_of,
    read_toml,
    tell,
    text,
    whole,
)
from pithline.mill.products import Limits, Part, Product, Products

DEFAULT = "products/guitar.toml"
DEFAULT_LIMITS = "trade"

_POSITIVE = Key(length(at_least=None, above=0.0), required=True)
_ANGLE = Key(number(at_least=0.0, at_most=90.0, what="angle in degrees"), required=True)

PRODUCTS = Table(
    {
        "sizes": Key(one_of("green", "finished"), default="green"),
        "currency": Key(text),
        "loose_share": Key(number(at_least=0.0, at_most=1.0, what="share"), default=0.1),
        "allowance": Table(
            {
                "dry_to_percent": Key(number(at_least=0.0, at_most=30.0, what="percentage")),
                "surfacing": Key(length(), default=0.0),
            }
        ),
        "limits": Named(
            Table(
                {
                    "ring_angle_min_deg": _ANGLE,
                    "ring_angle_mean_deg": _ANGLE,
                    "runout_max_deg": _ANGLE,
                    "sapwood": Key(one_of("none", "any", "edge"), default="any"),
                    "sapwood_edge": Key(length(), default=0.0),
                    "slope_max_deg": Key(number(at_least=0.0, at_most=90.0, what="angle in degrees")),
                    "ring_angle_max_deg": Key(number(at_least=0.0, at_most=90.0, what="angle in degrees")),
                }
            ),
            required=True,
        ),
        "product": Tables(
            Table(
                {
                    "name": Key(text, required=True),
                    "price": Key(number(at_least=0.0, what="amount of money"), required=True),
                    "limits": Key(text, default=DEFAULT_LIMITS),
                    "demand": Key(whole(0)),
                    "part": Tables(
                        Table(
                            {
                                "name": Key(text, required=True),
                                "count": Key(whole(1), required=True),
                                "length": _POSITIVE,
                                "width": _POSITIVE,
                                "thickness": _POSITIVE,
                                "bookmatched": Key(flag),
                                "resaw": Key(one_of("green", "dried"), default="green"),
                                "limits": Key(text),
                                "loose_price": Key(number(at_least=0.0, what="amount of money"), default=0.0),
                            }
                        ),
                        required=True,
                    ),
                }
            ),
            required=True,
        ),
    }
)


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
    allowance = values.get("allowance", {})
    return Products(
        sizes=values["sizes"],
        limits=tuple(_limits_from(name, one) for name, one in values["limits"].items()),
        products=tuple(
            Product(
                name=one["name"],
                price=one["price"],
                limits=one["limits"],
                parts=tuple(Part(**part) for part in one["part"]),
                demand=one.get("demand"),
            )
            for one in values["product"]
        ),
        dry_to_percent=allowance.get("dry_to_percent"),
        surfacing=allowance.get("surfacing", 0.0),
        loose_share=values.get("loose_share", 0.1),
    )


def _limits_from(name: str, value: Mapping[str, Any]) -> Limits:
    return Limits(
        name=name,
        ring_angle_min=math.radians(value["ring_angle_min_deg"]),
        ring_angle_mean=math.radians(value["ring_angle_mean_deg"]),
        runout_max=math.radians(value["runout_max_deg"]),
        sapwood=value["sapwood"],
        sapwood_edge=value["sapwood_edge"],
        slope_max=_radians(value.get("slope_max_deg")),
        ring_angle_max=_radians(value.get("ring_angle_max_deg")),
    )


def _radians(degrees: float | None) -> float | None:
    return None if degrees is None else math.radians(degrees)


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
