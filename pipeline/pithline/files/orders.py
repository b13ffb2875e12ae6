"""The order book: sets that are asked for, one row an order (design section 6)."""

from __future__ import annotations

import datetime
import math
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

from pithline.errors import InputError
from pithline.files.csv_rows import Field, cents, day, one_of, read_rows, whole, words
from pithline.files.manifest import PRIORITY_MAX
from pithline.files.read import tell
from pithline.keys.readers import nearest
from pithline.mill.products import Products

RIGHT_ANGLE = math.pi / 2 - 1e-9

ORDERS = {
    "product": Field(words, required=True),
    "quantity": Field(whole(1), required=True),
    "price": Field(cents),
    "due": Field(day),
    "priority": Field(whole(0, PRIORITY_MAX), default=0),
    "matched": Field(one_of("log"), default=""),
}


@dataclass(frozen=True, slots=True)
class OrderRow:
    """One order. `price` is that of one set, from the order or else the products file. [1/100 of the currency]"""

    product: str
    quantity: int
    price: int
    due: datetime.date | None
    priority: int
    matched: bool
    line: int


def read_orders(path: str | Path, products: Products) -> tuple[OrderRow, ...]:
    """Read and check an order book against the products that can be sawn.

    Raises
    ------
    InputError
        The first fault in file order, and how many more there are; an order for a product that the products file lacks, or whose
        limits no plate can keep, among them.
    """
    rows, faults = read_rows(path, ORDERS)
    known = {one.name: one for one in products.products}
    orders = []
    for row in rows:
        name, value = row.values["product"], row.values
        if name is None or value["quantity"] is None:
            continue
        if name not in known:
            faults.append(f'line {row.line}: no product "{name}"; {nearest(name, known, "products")}')
            continue
        product = known[name]
        if product.demand == 0:
            faults.append(
                f'line {row.line}: "{name}" has demand = 0 in the products file, so none may be sawn; raise or remove its demand.'
            )
        for limits in dict.fromkeys(products.limits_of(product, part) for part in product.parts):
            if limits.ring_angle_min >= RIGHT_ANGLE or limits.runout_max <= 0.0:
                asks = "a ring angle of 90°" if limits.ring_angle_min >= RIGHT_ANGLE else "no runout"
                faults.append(
                    f'line {row.line}: "{name}" cannot be sawn: its limits "{limits.name}" ask for {asks} over a whole plate; loosen them.'
                )
        price = round(Decimal(str(product.price)) * 100) if value["price"] is None else value["price"]
        orders.append(
            OrderRow(
                name,
                value["quantity"],
                int(price),
                value["due"],
                value["priority"],
                value["matched"] == "log",
                row.line,
            )
        )
    tell(path, faults)
    return tuple(orders)


def check_due(path: str | Path, orders: tuple[OrderRow, ...], start: datetime.date) -> None:
    """An order due before the season starts is a slip of the pen, or should be struck out."""
    for order in orders:
        if order.due is not None and order.due < start:
            raise InputError(
                f"{path}: line {order.line}: due {order.due} lies before the start {start}; mend the day or give --start."
            )
