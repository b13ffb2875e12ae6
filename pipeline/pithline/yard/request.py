"""What is asked of a plan, and everything that is read for it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pithline.files.cards import card_as_read, card_from, scan_path
from pithline.files.mills import mill_as_read, mill_from
from pithline.files.practice import read_practice
from pithline.files.products import products_as_read, products_from
from pithline.files.read import sha256_of
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
    """

    objective: Objective = Objective.VOLUME
    effort: Effort = FULL
    seed: int = 1
    samples: int = 16
    pick: int | None = None
    bucking: bool = True
    locks: Locks = NO_LOCKS
    keep: Mapping[str, Any] | None = None


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
    card_file, scan_file : Path, optional
        Where they lie; none where a script brought them.
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
    card_file: Path | None = None
    scan_file: Path | None = None


def read_inputs(card_path: str | Path, mill: str | Path | None = None, products: str | Path | None = None) -> Inputs:
    """Read and check the card of a log, mill and products, and find its scan.

    Parameters
    ----------
    card_path : str or Path
        The log card, a TOML file beside its scan.
    mill, products : str or Path, optional
        Their files; the bundled ones where left out.

    Raises
    ------
    InputError
        Where a file cannot be read, or holds what cannot be used.
    """
    card_read = card_as_read(card_path)
    card = card_from(card_read)
    mill_read, products_read = mill_as_read(mill), products_as_read(products)
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
        Path(card_path),
        scan,
    )
