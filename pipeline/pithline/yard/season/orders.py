"""The order book in arrays, and where each order stands among the rows of its product's running stock."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pithline.yard.season.model import Season, counted_price
from pithline.yard.season.options import Ints, SawingOptions

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Asked:
    """The orders of a season, O of them, over K products whose classes of due weeks make R rows.

    Parameters
    ----------
    product, due, price, quantity : (O,) arrays
        Product and class by number; counted price of a set [1/100]; sets asked for.
    free, matched : arrays
        The numbers of orders that may mix logs, and of those that may not.
    offset : (K + 1,) array
        Of each product its first row; R at the end.
    later : array
        Rows that have an earlier one of their product before them.
    """

    product: Ints
    due: Ints
    price: Ints
    quantity: Ints
    free: Ints
    matched: Ints
    offset: Ints
    later: Ints

    @property
    def row(self) -> Ints:
        """Of each order its row."""
        return self.offset[self.product] + self.due

    def flow(self, stock: int, free: int) -> tuple[Ints, Ints, Array]:
        """Rows, variables and factors of what leaves the running stock.

        `stock` is the number of the first variable of the sets held (R), `free` that of the sets which free orders take.
        """
        rows = np.arange(self.offset[-1])
        return (
            np.concatenate([self.row[self.free], rows, self.later]),
            np.concatenate([free + np.arange(len(self.free)), stock + rows, stock + self.later - 1]),
            np.concatenate([-np.ones(len(self.free)), -np.ones(len(rows)), np.ones(len(self.later))]),
        )


def asked(season: Season, options: SawingOptions) -> Asked:
    """The orders of a season, by the products and due weeks of its options."""
    orders = season.orders
    product = np.array([options.products.index(order.product) for order in orders], np.int64)
    due = [np.searchsorted(options.due[k], order.due) for k, order in zip(product, orders, strict=True)]
    offset = np.concatenate([[0], np.cumsum([len(one) for one in options.due])]).astype(np.int64)
    matched = np.array([order.matched for order in orders], bool)
    return Asked(
        product,
        np.array(due, np.int64),
        np.array([counted_price(order, season.terms) for order in orders], np.int64),
        np.array([order.quantity for order in orders], np.int64),
        np.flatnonzero(~matched),
        np.flatnonzero(matched),
        offset,
        np.setdiff1d(np.arange(offset[-1]), offset),
    )
