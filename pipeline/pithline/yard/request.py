"""What is asked of a plan, and everything that is read for it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pithline.files.cards import card_as_read, card_from, scan_path
from pithline.files.mills import mill_as_read, mill_from
from pithline.files.practice import read_practice
from pithline.files.priors import read_priors
from pithline.files.product_lists import ProductList, put_together, read_lists
from pithline.files.products import products_from
from pithline.files.read import sha256_of
from pithline.logmodel.card import Card
from pithline.mill.machine import Machines
from pithline.mill.practice_sizes import Practice
from pithline.mill.products import Products
from pithline.plan.api import FULL, NO_LOCKS, Effort, Locks, Objective
from pithline.yard.log_history import metal_chance


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
    """Everything read for one log.

    Attributes
    ----------
    card, machines, products, practice
        What the files mean.
    card_read, mill_read, products_read : mapping
        Card, mill and products as read; they stand in the script.
    card_sha256, scan_sha256 : str
        By which the script knows its sources.
    lists : tuple of ProductList
        Those that make up the products.
    card_file, scan_file : Path, optional
        Where they lie; none where a script brought them.
    metal_chance : float
        That the log holds metal, by the bundled priors.
    """

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
    card_file: Path | None = None
    scan_file: Path | None = None
    metal_chance: float = 0.0


def read_inputs(card_path: str | Path, mill: str | Path | None = None, products: Sequence[str | Path] = ()) -> Inputs:
    """Read and check the card of a log, mill and product lists, and find its scan.

    Parameters
    ----------
    card_path : str or Path
        The log card, a TOML file beside its scan.
    mill : str or Path, optional
        A mill file, or a bundled mill by name; the bundled portable mill where left out.
    products : sequence of str or Path
        Product lists, as `files.product_lists.read_lists` takes them.

    Raises
    ------
    InputError
        Where a file cannot be read, or holds what cannot be used.
    """
    card_read = card_as_read(card_path)
    card = card_from(card_read)
    lists = read_lists(products)
    mill_read, products_read = mill_as_read(mill), put_together(lists)
    scan = scan_path(card_path, card)
    return Inputs(
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
        Path(card_path),
        scan,
        metal_chance(card, read_priors()),
    )
