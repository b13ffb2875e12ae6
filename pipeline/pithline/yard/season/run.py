"""A season from its files to its answer: plans of every log, the master, more plans at its prices."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from pithline.errors import InputError
from pithline.files.cards import read_card
from pithline.files.manifest import Entry, read_manifest
from pithline.files.mills import mill_as_read
from pithline.files.orders import OrderRow, check_due, read_orders
from pithline.files.practice import practice_as_read
from pithline.files.products import products_as_read, products_from
from pithline.files.yard import Yard, read_yard
from pithline.yard.season.accounts import Books, account
from pithline.yard.season.cluster import Workers
from pithline.yard.season.master import Effort, choose
from pithline.yard.season.pool import Ask, column_of, first_asks, priced_ask
from pithline.yard.season.season import NEVER, Choice, Column, Order, Season, Terms, YardLog
from pithline.yard.season.store import Store
from pithline.yard.season.work import Job, key_of, unpack

WORK = "work"
"""Folder of finished work within the season's own."""


@dataclass(frozen=True, slots=True)
class State:
    """How far a season is, for whoever watches. Money in 1/100."""

    what: str
    done: int
    logs: int
    failed: int
    profit: int | None = None
    bound: float | None = None


Tell = Callable[[State], None]


@dataclass(frozen=True, slots=True)
class Question:
    """A season as asked: paths as typed."""

    manifest: str
    orders: str
    out: str
    start: datetime.date
    mill: str | None = None
    products: str | None = None
    yard: str | None = None
    plans: int = 2
    rounds: int = 1
    effort: Effort = field(default_factory=Effort)


@dataclass(frozen=True, slots=True)
class Read:
    """The season's files as read."""

    entries: tuple[Entry, ...]
    ids: tuple[str, ...]
    costs: tuple[int, ...]
    orders: tuple[OrderRow, ...]
    yard: Yard
    terms: Terms
    hour_rate: float
    settings: tuple[dict[str, Any], ...]


@dataclass(frozen=True, slots=True)
class Answer:
    """A season worked out."""

    read: Read
    season: Season
    choice: Choice
    books: Books
    failed: dict[str, str]
    scripts: dict[tuple[str, str], str]  # (log, column) -> key in the store
    asks: dict[str, Ask]
    asked: int
    stopped: str


def read_season(question: Question) -> Read:
    """Read and check everything a season needs but the scans."""
    products_read = products_as_read(question.products)
    mill = mill_as_read(question.mill)
    yard = read_yard(question.yard)
    orders = read_orders(question.orders, products_from(products_read))
    check_due(question.orders, orders, question.start)
    entries = read_manifest(question.manifest)
    ids, costs, lines = [], [], {}
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
        costs.append(entry.cost if entry.cost is not None else round((card.cost or 0.0) * 100))
    rate = float(mill["mill"]["hour_rate"])
    terms = Terms(
        int(yard.hours_per_week * 60),
        yard.weeks,
        round(yard.overhead_per_log * 100),
        round(rate * 100),
        yard.order_share,
        yard.log_share,
    )
    settings = (products_read, mill, practice_as_read())
    return Read(entries, tuple(ids), tuple(costs), orders, yard, terms, rate, settings)


def run_season(question: Question, tell: Tell, cluster: Workers) -> Answer:
    """Work a season out; finished plans are kept in the season's folder and found again.

    `cluster` does the logs' jobs; it is not asked for anything where all plans are there already.
    """
    read = read_season(question)
    store = Store(Path(question.out) / WORK)
    store.sweep()
    asks = list(first_asks(read.orders, read.hour_rate, question.plans))
    pool = _Pool(question, read, store, tell, cluster)
    pool.gather({name: tuple(asks) for name in read.ids})
    season = pool.season(question)
    choice = pool.choose(season, question)
    stopped = "no more plans were asked for"
    for number in range(1, question.rounds + 1):
        ask = priced_ask(number, asks[0], choice.prices, read.hour_rate)
        helping = [] if ask is None else _could_help(season, choice, pool.failed)
        if ask is None or not helping:
            stopped = "at the master's prices no log could help"
            break
        asks.append(ask)
        pool.gather(dict.fromkeys(helping, (ask,)))
        season = pool.season(question)
        better = pool.choose(season, question)
        gained = better.objective - choice.objective
        choice = better if gained >= 0 else choice
        stopped = f"the limit of {question.rounds} round{'s' if question.rounds > 1 else ''} of more plans"
        if gained <= 0:
            stopped = "more plans at the master's prices brought nothing"
            break
    return Answer(
        read,
        season,
        choice,
        account(season, choice),
        pool.failed,
        pool.keys,
        {ask.name: ask for ask in asks},
        pool.asked,
        stopped,
    )


def _could_help(season: Season, choice: Choice, failed: dict[str, str]) -> list[str]:
    """Logs worth another plan while orders are short: first those left, then those that earn least; a quarter of the yard."""
    short = any(
        sum(filled.values()) < order.quantity for order, filled in zip(season.orders, choice.filled, strict=True)
    )
    if not short:
        return []
    sawn = {one.log for one in choice.sawn}
    logs = [log.id for log in season.logs if log.id not in failed]
    logs.sort(key=lambda name: (name in sawn, choice.prices.logs.get(name, 0.0), name))
    return sorted(logs[: max(4, len(logs) // 4)])


class _Pool:
    """Columns as they come in; talks to the store and the cluster."""

    def __init__(self, question: Question, read: Read, store: Store, tell: Tell, cluster: Workers) -> None:
        self.question, self.read, self.store, self.tell, self.cluster = question, read, store, tell, cluster
        self.columns: dict[str, dict[str, Column]] = {name: {} for name in read.ids}
        self.failed: dict[str, str] = {}
        self.keys: dict[tuple[str, str], str] = {}
        self.asked = 0

    def gather(self, wanted: dict[str, tuple[Ask, ...]]) -> None:
        """Every wanted plan, from the store or newly made."""
        cards = dict(zip(self.read.ids, self.read.entries, strict=True))
        jobs, keys = [], {}
        for name, asks in wanted.items():
            missing = []
            job = Job(name, str(cards[name].card.resolve()), self.question.mill, self.question.products, asks)
            self.asked += len(asks)
            for ask in asks:
                try:
                    key = key_of(job, ask, self.read.settings)
                except InputError as error:
                    self.failed[name] = str(error)
                    break
                keys[name, ask.name] = key
                data = self.store.get(key)
                if data is None:
                    missing.append(ask)
                else:
                    self._keep(name, ask, key, data)
            else:
                if missing:
                    jobs.append(replace(job, asks=tuple(missing)))
        total = len(self.read.ids)
        done = total - len(jobs)
        self.tell(State("planning", done, total, len(self.failed)))
        if not jobs:
            return
        for job, answers in self.cluster.results(jobs):
            by_name = {ask.name: ask for ask in job.asks}
            for answer in answers:
                if answer.script is not None:
                    key = keys[job.log, answer.ask]
                    self.store.put(key, answer.script)
                    self._keep(job.log, by_name[answer.ask], key, answer.script)
            if not self.columns[job.log]:
                self.failed[job.log] = answers[0].why
            done += 1
            self.tell(State("planning", done, total, len(self.failed)))

    def _keep(self, name: str, ask: Ask, key: str, data: bytes) -> None:
        column = column_of(ask, unpack(data), self.read.yard)
        same = [one for one in self.columns[name].values() if (one.sets, one.minutes) == (column.sets, column.minutes)]
        if column.sets and not same:
            self.columns[name][ask.name] = column
            self.keys[name, ask.name] = key
        elif not column.sets:
            self.columns[name].setdefault(ask.name, column)

    def season(self, question: Question) -> Season:
        """The season with all columns so far."""
        read = self.read
        logs = []
        for name, entry, cost in zip(read.ids, read.entries, read.costs, strict=True):
            first = 0
            if entry.not_before is not None:
                first = max(0, -(-(entry.not_before - question.start).days // 7))
            columns = tuple(one for one in self.columns[name].values() if one.sets)
            logs.append(YardLog(name, cost, columns, entry.priority, first))
        orders = tuple(
            Order(
                one.product,
                one.quantity,
                one.price,
                NEVER if one.due is None else (one.due - question.start).days // 7,
                one.priority,
                one.matched,
            )
            for one in read.orders
        )
        return Season(tuple(logs), orders, read.terms)

    def choose(self, season: Season, question: Question) -> Choice:
        """The master on all columns so far."""
        total, failed = len(self.read.ids), len(self.failed)

        def say(objective: float, bound: float) -> None:
            self.tell(State("choosing", total, total, failed, round(objective), bound))

        return choose(season, question.effort, say)


__all__ = ["Answer", "Question", "Read", "State", "read_season", "run_season"]
