"""What a lot of logs is appraised by, and the cards of the lot, read and checked before anything long begins."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from pithline.errors import InputError
from pithline.files.cards import card_as_read, card_from, scan_path
from pithline.files.mills import mill_as_read, mill_from
from pithline.files.practice import read_practice
from pithline.files.priors import Priors, priors_as_read
from pithline.files.product_lists import ProductList, put_together, read_lists
from pithline.files.products import products_from
from pithline.files.yard import read_yard
from pithline.keys.declared import freeze
from pithline.logmodel.card import Card
from pithline.logmodel.species import species_of
from pithline.mill.machine import Machines
from pithline.mill.practice_sizes import Practice
from pithline.mill.products import Products
from pithline.plan.api import COARSE, Effort, Objective
from pithline.trade.drying import AIR_DRYING, Drying
from pithline.yard.appraisal.tape_log import needs
from pithline.yard.request import Inputs, Request


@dataclass(frozen=True, slots=True)
class Trade:
    """What logs are sawn with and into: machines, products, practice, and the files' tables as read."""

    machines: Machines
    products: Products
    practice: Practice
    mill_read: Mapping[str, Any]
    products_read: Mapping[str, Any]
    lists: tuple[ProductList, ...] = ()


@dataclass(frozen=True, slots=True)
class AppraisalTerms:
    """What all logs of a lot are appraised by; `drying` is how long plates dry, by thickness."""

    trade: Trade
    priors: Priors
    margin: float
    seed: int
    today: date
    objective: Objective = Objective.SETS
    effort: Effort = COARSE
    drying: Drying = AIR_DRYING

    @property
    def request(self) -> Request:
        """What is asked of the plan of each log: what `pithline plan --effort coarse` asks."""
        return Request(self.objective, self.effort)

    def inputs(self, card: Card, read: Mapping[str, Any]) -> Inputs:
        """Everything that a plan of one log reads, without its scan."""
        trade = self.trade
        wanted = trade.machines, trade.products, trade.practice
        return Inputs(card, *wanted, read, trade.mill_read, trade.products_read, "", "", trade.lists)


@dataclass(frozen=True, slots=True)
class Lot:
    """One card, read and checked."""

    path: str
    card: Card
    read: dict[str, Any]


@dataclass(frozen=True, slots=True)
class AppraisalFiles:
    """Files of an appraisal as named, None for the bundled ones."""

    mill: str | Path | None = None
    products: Sequence[str | Path] = ()
    priors: str | Path | None = None
    yard: str | Path | None = None


def read_trade(mill: str | Path | None, products: Sequence[str | Path]) -> Trade:
    """Read mill, product lists and the practice sizes."""
    lists = read_lists(products)
    mill_read, products_read = mill_as_read(mill), put_together(lists)
    wanted = mill_from(mill_read), products_from(products_read), read_practice(None)
    return Trade(*wanted, mill_read, products_read, lists)


def read_terms(
    files: AppraisalFiles, margin: float, seed: int, today: date, objective: Objective = Objective.SETS
) -> AppraisalTerms:
    """Read mill, products, priors and yard.

    Parameters
    ----------
    files : AppraisalFiles
        Names of the files; those not named are bundled.
    margin : float
        Share of the outlay that is to be earned.
    seed : int
        Of all draws.
    today : date
        From which the log waits.
    objective : Objective
        What plans make most of.

    Raises
    ------
    InputError
        Also where two files name two currencies.
    """
    trade, priors_read = read_trade(files.mill, files.products), priors_as_read(files.priors)
    theirs, ours = trade.products_read.get("currency"), priors_read["money"]["currency"]
    if theirs is not None and theirs != ours:
        named = " and ".join(str(one) for one in files.products) or "the bundled products"
        raise InputError(
            f'{named}: prices are in "{theirs}", but costs in {files.priors or "the bundled priors.toml"} are in "{ours}"; '
            "put both in one currency."
        )
    drying = read_yard(files.yard).drying
    return AppraisalTerms(trade, freeze(Priors, priors_read), margin, seed, today, objective, drying=drying)


def read_lot(paths: Sequence[str]) -> list[Lot]:
    """Read every card before anything long begins.

    Raises
    ------
    InputError
        The first card at fault, two cards of one id, or a card with neither scan nor tape.
    """
    lot: list[Lot] = []
    seen: dict[str, str] = {}
    for path in paths:
        read = card_as_read(path)
        card = card_from(read)
        if card.id in seen:
            raise InputError(f'{path}: [log] id "{card.id}" is also that of {seen[card.id]}; give each log its own.')
        seen[card.id] = path
        species_of(card.species)
        if card.scan is None:
            try:
                needs(card)
            except InputError as error:
                raise InputError(f"{path}: {error}") from None
        else:
            scan_path(path, card)
        lot.append(Lot(path, card, read))
    return lot
