"""What is asked of a plan, and everything that is read for it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pithline.files.cards import card_as_read, card_from, scan_path
from pithline.files.mills import mill_as_read, mill_from
from pithline.files.practice import read_practice
from pithline.files.product_lists import ProductList, put_together, read_lists
from pithline.files.products import products_from
from pithline.files.tables import sha256_of
from pithline.logmodel.card import Card
from pithline.mill.machine import Machines
from pithline.mill.practice_sizes import Practice
from pithline.mill.products import Products
from pithline.plan.api import FULL, NO_LOCKS, Effort, Locks, Objective


@dataclass(frozen=True, slots=True)
class Request:
    """What is asked of a plan.

    Attributes
    ----------
    objective : Objective
        What is made most of.
    effort : Effort
        How finely it is searched.
    seed : int
        Of the master and of sampled logs.
    samples : int
        Logs that the plan is graded on.
    pick : int, optional
        Which log, where the scan shows several.
    bucking : bool
        Whether the log may be crosscut first.
    locks : Locks
        What the sawyer has decided already.
    keep : mapping, optional
        An earlier script of the same scan, to be held against what is found.
    rung : "paying", "best" or int
        Which plan of the ladder is the plan: the last that pays, the best, or that with this number, from 1.
    """

    objective: Objective = Objective.SETS
    effort: Effort = FULL
    seed: int = 1
    samples: int = 16
    pick: int | None = None
    bucking: bool = True
    locks: Locks = NO_LOCKS
    keep: Mapping[str, Any] | None = None
    rung: str | int = "paying"


@dataclass(frozen=True, slots=True)
class Inputs:
    """Everything read for one log. The `*_read` dicts stand in the script as read; `lists` are those that make up the products."""

    card: Card
    machines: Machines
    products: Products
    practice: Practice
    card_read: Mapping[str, Any]
    mill_read: Mapping[str, Any]
    products_read: Mapping[str, Any]
    card_sha256: str
    scan_sha256: str
    lists: tuple[ProductList, ...] = ()


def read_inputs(
    card_path: str | Path, mill: str | None = None, products: Sequence[str | Path] = ()
) -> tuple[Inputs, Path]:
    """Read and check card, mill and product lists; also the scan's path.

    Parameters
    ----------
    card_path : str or Path
        The log card.
    mill : str, optional
        A mill file, or a bundled mill by name.
    products : sequence of str or Path
        Product lists, as `files.product_lists.read_lists` takes them.
    """
    card_read = card_as_read(card_path)
    card = card_from(card_read)
    lists = read_lists(products)
    mill_read, products_read = mill_as_read(mill), put_together(lists)
    scan = scan_path(card_path, card)
    inputs = Inputs(
        card,
        mill_from(mill_read),
        products_from(products_read),
        read_practice(None),
        card_read,
        mill_read,
        products_read,
        sha256_of(card_path),
        sha256_of(scan),
        lists,
    )
    return inputs, scan
