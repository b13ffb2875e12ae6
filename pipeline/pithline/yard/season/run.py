"""A season from its files to its answer: plans of every log, the master, more plans at its prices."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from pithline.errors import InputError
from pithline.files.cards import read_card
from pithline.files.manifest import read_manifest
from pithline.files.mills import mill_as_read
from pithline.files.orders import check_due, read_orders
from pithline.files.practice import practice_as_read
from pithline.files.priors import read_priors
from pithline.files.product_lists import put_together, read_lists
from pithline.files.products import products_from
from pithline.files.yard import read_yard
from pithline.yard.log_history import UNTOLD_MONTHS, metal_chance, months_since
from pithline.yard.season.accounts import Books, account, as_scripted
from pithline.yard.season.asks import Ask, first_asks, priced_ask
from pithline.yard.season.cluster import Workers
from pithline.yard.season.model import Season, SeasonChoice, SeasonTerms
from pithline.yard.season.plan_pool import Pool
from pithline.yard.season.question import WORK, SeasonInputs, SeasonQuestion, Tell
from pithline.yard.season.store import Store
from pithline.yard.season.waiting import Waiting


@dataclass(frozen=True, slots=True)
class SeasonAnswer:
    """A season worked out.

    Parameters
    ----------
    scripts : mapping of str to str
        Sawn log -> key of its cut script in the store.
    books : Books
        Of the plans as the master compared them, or as their scripts have them.
    compared : Books or None
        As the master compared them, where `books` are those of the scripts.
    beyond : float or None
        No choice of any plans of the logs' stated class and grid is worth more, 1/100; None where a log is not bounded.
    """

    read: SeasonInputs
    season: Season
    choice: SeasonChoice
    books: Books
    failed: dict[str, str]
    scripts: dict[str, str]
    first: Ask
    asked: int
    stopped: str
    beyond: float | None
    compared: Books | None = None

    def as_sawn(self, scripts: Mapping[str, Mapping[str, Any]]) -> SeasonAnswer:
        """The answer with sets, minutes and books of the cut scripts, in place of those of the plans that the master compared."""
        season = as_scripted(self.season, self.choice, scripts)
        return replace(self, season=season, books=account(season, self.choice), compared=self.books)


def read_season(question: SeasonQuestion) -> SeasonInputs:
    """Read and check everything a season needs but the scans."""
    products_read = put_together(read_lists(question.products))
    mill = mill_as_read(question.mill)
    yard, priors = read_yard(question.yard), read_priors(question.priors)
    orders = read_orders(question.orders, products_from(products_read))
    check_due(question.orders, orders, question.start)
    entries = read_manifest(question.manifest)
    ids: list[str] = []
    costs: list[int] = []
    lines: dict[str, int] = {}
    waiting: dict[str, Waiting] = {}
    for entry in entries:
        card = read_card(entry.card)
        if card.id in lines:
            raise InputError(
                f"{question.manifest}: line {entry.line}: {entry.card} is the log {card.id}, and so is line "
                f"{lines[card.id]}; give each its own id."
            )
        if card.id in (".", "..") or any(sign in card.id for sign in "/\\\0"):
            raise InputError(f'{entry.card}: the id "{card.id}" cannot name a folder; use letters, digits and dashes.')
        lines[card.id] = entry.line
        ids.append(card.id)
        metal = metal_chance(card, priors) * priors.money.blade
        cost = entry.cost if entry.cost is not None else round((card.cost or 0.0) * 100)
        costs.append(cost + round(metal * 100))
        months = months_since(card.felled, question.start)
        waiting[card.id] = Waiting(priors.end_checks, UNTOLD_MONTHS if months is None else months, bool(card.coated))
    rate = float(mill["mill"]["hour_rate"])
    terms = SeasonTerms(
        int(yard.hours_per_week * 60),
        yard.weeks,
        round(yard.overhead_per_log * 100),
        round(rate * 100),
        yard.order_share,
        yard.log_share,
    )
    settings = (products_read, mill, practice_as_read())
    return SeasonInputs(
        entries, tuple(ids), tuple(costs), orders, yard, terms, rate, settings, products_from(products_read), waiting
    )


def run_season(question: SeasonQuestion, tell: Tell, cluster: Workers) -> SeasonAnswer:
    """Work a season out; finished plans are kept in the season's folder and found again.

    `cluster` does the logs' jobs; it is not asked for anything where all plans are there already.
    """
    read = read_season(question)
    store = Store(Path(question.out) / WORK)
    store.sweep()
    asks = first_asks(read.orders, read.hour_rate, question.plans)
    pool = Pool(question, read, store, tell, cluster)
    pool.gather(read.ids, asks, "plans")
    season, choice = pool.choose()
    adds = pool.could_add(season, choice)
    stopped = "no more plans were asked for"
    for number in range(1, question.rounds + 1):
        ask = priced_ask(number, asks[0], choice.prices, read.hour_rate)
        least = max(LEAST_GAIN * choice.objective / len(read.ids), 1.0)
        worth = [name for name, add in adds.items() if add > least]
        if ask is None or not worth:
            stopped = "no plan of the stated class could add more at the master's prices"
            break
        pool.gather(worth, (asks[0], ask), "more")
        season, better = pool.choose()
        gained = better.objective - choice.objective
        choice = better
        adds = pool.could_add(season, choice)
        stopped = f"the limit of {question.rounds} round{'s' if question.rounds > 1 else ''} of more plans"
        if gained <= 0:
            stopped = "more plans at the master's prices brought nothing"
            break
    scripts: dict[str, str] | None = None
    while scripts is None:
        scripts = pool.scripts(season, choice, asks[0])
        if scripts is None:  # a plan did not hold; the others are chosen from anew
            season, choice = pool.choose()
            adds = pool.could_add(season, choice)
    beyond = choice.prices.bound + sum(adds.values())
    return SeasonAnswer(
        read,
        season,
        choice,
        account(season, choice),
        pool.failed,
        scripts,
        asks[0],
        pool.asked,
        stopped,
        max(beyond, choice.bound) if np.isfinite(beyond) else None,
    )


LEAST_GAIN = 0.01
"""A log that could add less than this share of what a log of the season brings on average is not asked again."""
