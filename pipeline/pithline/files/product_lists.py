"""Several product lists in one plan: read each, and put them together so that all compete for the log."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pithline.errors import InputError
from pithline.files.bundled import bundled, bundled_names, named
from pithline.files.products import DEFAULT, products_as_read

ALL = "all"
"""What names every bundled list."""
SHARED = ("sizes", "currency", "loose_share", "allowance")
"""What lists that compete in one plan must agree on."""


@dataclass(frozen=True, slots=True)
class ProductList:
    """One products file: its name, and its tables as read."""

    name: str
    read: Mapping[str, Any]


def read_lists(names: Sequence[str | Path] = ()) -> tuple[ProductList, ...]:
    """The product lists of these names.

    Parameters
    ----------
    names : sequence of str or Path
        Files, bundled lists by name, or "all" for every bundled one; none for the bundled default.

    Raises
    ------
    InputError
        Where one cannot be used.
    """
    paths: list[Path] = []
    for name in names or (bundled(DEFAULT),):
        if str(name) == ALL and not Path(name).exists():
            paths += [bundled(f"products/{one}.toml") for one in bundled_names("products")]
        else:
            paths.append(named(name, "products"))
    return tuple(ProductList(path.stem, products_as_read(path)) for path in dict.fromkeys(paths))


def put_together(lists: Sequence[ProductList]) -> dict[str, Any]:
    """The tables of all lists as one.

    A product that stands alike in several counts once, with the greatest of their demands; one of the same name and other parts, price
    or limits is named after its list. Limits are named so too.

    Raises
    ------
    InputError
        Where lists state sizes, currency or allowance differently.
    """
    first = lists[0]
    if len(lists) == 1:
        return dict(first.read)
    for one in lists[1:]:
        for key in SHARED:
            if one.read.get(key) != first.read.get(key):
                raise InputError(
                    f"the product lists {first.name} and {one.name} differ in {key}, so they cannot compete in one plan; make both alike."
                )
    limits: dict[str, Any] = {}
    products: dict[str, Any] = {}
    for one in lists:
        names = {name: _free(name, one.name, limits, table) for name, table in one.read["limits"].items()}
        limits |= {names[name]: table for name, table in one.read["limits"].items()}
        for product in one.read["product"]:
            own = _with_limits(product, names)
            known = products.get(own["name"])
            if known is not None and _but_demand(known) == _but_demand(own):
                products[own["name"]] = _greater_demand(known, own)
                continue
            name = _free(own["name"], one.name, products, own)
            products[name] = {**own, "name": name} if name != own["name"] else own
    shared = {key: first.read[key] for key in SHARED if key in first.read}
    return {**shared, "limits": limits, "product": list(products.values())}


def _free(name: str, of: str, taken: Mapping[str, Any], table: Mapping[str, Any]) -> str:
    """The name, with its list's behind it where another table has it."""
    return name if taken.get(name, table) == table else f"{name} ({of})"


def _but_demand(product: Mapping[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in product.items() if key != "demand"}


def _greater_demand(one: Mapping[str, Any], other: Mapping[str, Any]) -> dict[str, Any]:
    """The product with the greater of two demands; without one any number is wanted."""
    if "demand" in one and "demand" in other:
        return {**one, "demand": max(one["demand"], other["demand"])}
    return _but_demand(one)


def _with_limits(product: Mapping[str, Any], names: Mapping[str, str]) -> dict[str, Any]:
    parts = [{**part, "limits": names[part["limits"]]} if "limits" in part else part for part in product["part"]]
    return {**product, "limits": names[product["limits"]], "part": parts}
