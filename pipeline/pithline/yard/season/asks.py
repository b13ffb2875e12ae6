"""The plans a season asks of a log: what each is to make most of, and what comes back as a column."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from pithline.files.mills import mill_from
from pithline.files.orders import OrderRow
from pithline.files.products import products_from
from pithline.files.yard import Yard
from pithline.mill.products import Products
from pithline.yard.drying_times import drying_weeks
from pithline.yard.request import Inputs
from pithline.yard.season.model import NEVER, PlanColumn, Prices, whole_minutes
from pithline.yard.season.waiting import Waiting

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
    """The inputs of a log with the products of one ask alone, at its prices and demand; the hour's rate as it says."""
    prices, demand = dict(ask.prices), dict(ask.demand)
    rows = []
    for product in inputs.products_read["product"]:
        name = product["name"]
        if name in prices:
            row = {**product, "price": prices[name], "part": _no_loose(product["part"])}
            row.pop("demand", None)
            rows.append({**row, "demand": demand[name]} if name in demand else row)
    return _with(inputs, rows, ask.hour_rate)


def sold_by(inputs: Inputs, ask: Ask) -> Inputs:
    """The inputs of a log with every product that they have, those that an ask does not want at no price and no demand.

    Parts stay the same, so that a log that was looked at for all of them serves every ask.
    """
    prices, demand = dict(ask.prices), dict(ask.demand)
    rows = []
    for product in inputs.products_read["product"]:
        name = product["name"]
        row = {**product, "price": prices.get(name, 0.0), "part": _no_loose(product["part"])}
        row.pop("demand", None)
        if name not in prices:
            row["demand"] = 0
        elif name in demand:
            row["demand"] = demand[name]
        rows.append(row)
    return _with(inputs, rows, ask.hour_rate)


def _no_loose(parts: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Plates left over are not ordered, so they bring the season nothing."""
    return [{**part, "loose_price": 0.0} for part in parts]


def _with(inputs: Inputs, rows: list[dict[str, Any]], hour_rate: float | None) -> Inputs:
    products = {**inputs.products_read, "product": rows}
    mill = inputs.mill_read
    if hour_rate is not None:
        mill = {**mill, "mill": {**mill["mill"], "hour_rate": hour_rate}}
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


def column_of(plan: Mapping[str, Any], products: Products, yard: Yard, waiting: Waiting | None = None) -> PlanColumn:
    """What a plan gives the season: complete sets, weeks of drying, minutes rounded up, and until when it may be sawn."""
    sets = {name: int(n) for name, n in plan["sets"].items() if n}
    billets = {(product, part): size for product, part, size in plan["billets"]}
    drying = {name: drying_weeks(products, name, yard.drying, billets) for name in sets}
    last = NEVER if waiting is None else waiting.last_week(plan.get("trim", 0.0), yard.weeks)
    return PlanColumn(plan["name"], sets, drying, whole_minutes(plan["minutes"]), last)
