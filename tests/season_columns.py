"""Invented seasons: columns, orders and terms drawn at random, for the master alone."""

from __future__ import annotations

import numpy as np

from pithline.yard.season.model import NEVER, Order, PlanColumn, Season, SeasonTerms, YardLog

PRODUCTS = {
    "dreadnought guitar": (18000, 2.2),
    "small guitar": (15000, 2.6),
    "tenor ukulele": (6000, 6.0),
    "guitar neck": (4500, 5.0),
    "fingerboard": (1400, 9.0),
    "bridge": (500, 12.0),
}
"""Price of a set (1/100) and about how many a middling log gives."""


def random_season(
    seed: int,
    logs: int,
    plans: int,
    orders: int,
    weeks: int = 30,
    hours: float = 30.0,
    matched: float = 0.15,
    drying: tuple[int, int] = (3, 9),
    quantity: int = 12,
    cost: int = 30000,
) -> Season:
    """A season with plans that trade products against each other, and orders for about what the logs could give."""
    rng = np.random.default_rng([7, seed])
    names = list(PRODUCTS)
    dry = {name: int(rng.integers(*drying)) for name in names}
    made = tuple(_log(rng, n, plans, names, dry, weeks, cost) for n in range(logs))
    book = []
    for _ in range(orders):
        name = names[int(rng.choice(len(names), p=[0.25, 0.25, 0.2, 0.1, 0.1, 0.1]))]
        price = int(PRODUCTS[name][0] * rng.uniform(0.8, 1.3))
        due = NEVER if rng.random() < 0.15 else int(rng.integers(min(drying[1], weeks - 1), weeks + 4))
        whole = rng.random() < matched
        most = min(quantity, 6) if whole else quantity
        book.append(Order(name, int(rng.integers(1, most + 1)), price, due, int(rng.integers(0, 3)), whole))
    return Season(made, tuple(book), SeasonTerms(int(hours * 60), weeks, 2500, 6000, 0.1, 0.05))


def _log(
    rng: np.random.Generator, number: int, plans: int, names: list[str], dry: dict[str, int], weeks: int, cost: int
) -> YardLog:
    size = rng.uniform(0.3, 2.0)
    columns = []
    for p in range(plans):
        mix = rng.dirichlet(np.full(len(names), 0.5))
        sets = {
            name: int(size * share * PRODUCTS[name][1] * 2.2 + rng.random())
            for name, share in zip(names, mix, strict=True)
        }
        sets = {name: n for name, n in sets.items() if n}
        columns.append(
            PlanColumn(f"p{p}", sets, {name: dry[name] for name in sets}, int(rng.uniform(90, 360) * size**0.5))
        )
    first = int(rng.integers(0, max(weeks // 3, 1))) if rng.random() < 0.2 else 0
    return YardLog(f"log-{number:05d}", int(size * cost), tuple(columns), int(rng.integers(0, 2)), first)
