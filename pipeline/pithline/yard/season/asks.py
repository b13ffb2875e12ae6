"""The plans a season asks of a log: what each is to make most of, and what comes back as a column."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from pithline.files.mills import mill_from
from pithline.files.orders import OrderRow
from pithline.files.products import products_from
from pithline.files.yard import Yard
from pithline.mill.products import Products
from pithline.plan.api import Ledger, SawnPart
from pithline.yard.request import Inputs
from pithline.yard.season.model import PlanColumn, Prices

FEW_SETTINGS = 3.0
"""The ask for few settings charges an hour at the mill this many times its rate."""


@dataclass(frozen=True, slots=True)
class Ask:
    """What one plan of a log is to make most of.

    Parameters
    ----------
    name : str
        Tells the asks of a season apart.
    prices : tuple of (product, price)
        Products that may be sawn and what a set of each counts; the others are left out.
    demand : tuple of (product, sets)
        Sets beyond these count nothing.
    hour_rate : float or None
        What an hour at the mill counts; None: as the mill's file says.
    """

    name: str
    prices: tuple[tuple[str, float], ...]
    demand: tuple[tuple[str, int], ...]
    hour_rate: float | None = None


def asked(inputs: Inputs, ask: Ask) -> Inputs:
    """The inputs of a log as one ask changes them: products, prices, demand, the hour's rate."""
    prices, demand = dict(ask.prices), dict(ask.demand)
    rows = []
    for product in inputs.products_read["product"]:
        name = product["name"]
        if name in prices:
            row = {**product, "price": prices[name]}
            row.pop("demand", None)
            rows.append({**row, "demand": demand[name]} if name in demand else row)
    products = {**inputs.products_read, "product": rows}
    mill = inputs.mill_read
    if ask.hour_rate is not None:
        mill = {**mill, "mill": {**mill["mill"], "hour_rate": ask.hour_rate}}
    return replace(
        inputs,
        machines=mill_from(mill),
        products=products_from(products),
        mill_read=mill,
        products_read=products,
    )


def first_asks(orders: Sequence[OrderRow], hour_rate: float, plans: int) -> tuple[Ask, ...]:
    """The asks put to every log, the most telling first.

    All that is ordered at its mean price; then each product by itself, the dearest orders first; last with settings held dear.
    `plans` is how many of these are asked.
    """
    money: dict[str, float] = {}
    count: dict[str, int] = {}
    for order in orders:
        money[order.product] = money.get(order.product, 0.0) + order.quantity * order.price / 100.0
        count[order.product] = count.get(order.product, 0) + order.quantity
    names = sorted(money, key=lambda name: (-money[name], name))
    prices = tuple((name, round(money[name] / count[name], 2)) for name in names)
    demand = tuple((name, count[name]) for name in names)
    asks = [Ask("all orders", prices, demand)]
    if len(names) > 1:
        asks += [
            Ask(f"{name} alone", (price,), (most,)) for name, price, most in zip(names, prices, demand, strict=True)
        ]
    asks.append(Ask("all orders, in few settings", prices, demand, hour_rate * FEW_SETTINGS))
    return tuple(asks[:plans])


def priced_ask(number: int, first: Ask, prices: Prices, hour_rate: float) -> Ask | None:
    """An ask at the master's prices; None where nothing is worth a set more."""
    worth = tuple((name, round(prices.sets.get(name, 0.0) / 100.0, 2)) for name, _ in first.prices)
    worth = tuple(one for one in worth if one[1] > 0.0)
    if not worth:
        return None
    kept = {name for name, _ in worth}
    demand = tuple(one for one in first.demand if one[0] in kept)
    return Ask(f"what orders lack, round {number}", worth, demand, hour_rate + 0.6 * prices.minute)


def column_of(plan: Mapping[str, Any], products: Products, yard: Yard) -> PlanColumn:
    """What a plan gives the season: complete sets, weeks of drying, minutes rounded up."""
    sets = {name: int(n) for name, n in plan["sets"].items() if n}
    billets = {(product, part): size for product, part, size in plan["billets"]}
    drying = {name: drying_weeks(products, name, yard, billets) for name in sets}
    return PlanColumn(plan["name"], sets, drying, math.ceil(plan["minutes"] - 1e-6))


def drying_weeks(products: Products, name: str, yard: Yard, billets: Mapping[tuple[str, str], float]) -> int:
    """Whole weeks from the saw until a set can be delivered: its slowest part, green plates by their own thickness, parts resawn
    dried by their billet's.
    """
    product = next(one for one in products.products if one.name == name)
    weeks = [yard.least_weeks]
    for part in product.parts:
        if part.resaw == "dried":
            weeks.append(yard.dried_weeks_per_mm * billets.get((name, part.name), part.thickness))
        else:
            weeks.append(yard.green_weeks_per_mm * part.thickness)
    return math.ceil(max(weeks) - 1e-9)


def billet_thickness(ledger: Ledger, parts: Sequence[SawnPart]) -> dict[tuple[str, str], float]:
    """The thickest billet of each (product, part), as far as its plates reach across it. [mm]"""
    parent = {side: cut.piece for cut in ledger.cuts for side in cut.sides}
    reach: dict[tuple[str, str, str], list[float]] = {}
    for plate in ledger.plates:
        billet = plate.id
        while billet in parent and ledger.pieces[billet].kind != "billet":
            billet = parent[billet]
        edge, corner = plate.edges[2], plate.corner
        size = math.sqrt(sum(v * v for v in edge))
        at = sum(a * b for a, b in zip(corner, edge, strict=True)) / size
        reach.setdefault((*parts[plate.part].key, billet), []).extend((at, at + size))
    out: dict[tuple[str, str], float] = {}
    for (product, part, _), ends in reach.items():
        out[product, part] = max(out.get((product, part), 0.0), max(ends) - min(ends))
    return out
