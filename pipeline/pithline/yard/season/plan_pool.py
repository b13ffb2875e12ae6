"""A season's plans as they come in, and what is asked of store, workers and master about them."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

from pithline.errors import InputError
from pithline.yard.season.asks import Ask, column_of
from pithline.yard.season.cluster import Workers
from pithline.yard.season.master import choose
from pithline.yard.season.model import NEVER, Order, PlanColumn, Season, SeasonChoice, YardLog, sets_sold
from pithline.yard.season.plan_bounds import most_a_plan_adds, proven_log
from pithline.yard.season.question import SeasonInputs, SeasonProgress, SeasonQuestion, Tell
from pithline.yard.season.store import Store
from pithline.yard.season.work import Job, Result, key_of, unpack


def answers(
    jobs: Sequence[Job],
    settings: Sequence[Mapping[str, Any]],
    store: Store,
    cluster: Workers,
    tell: Callable[[int], None],
) -> Iterator[tuple[Job, str, Result]]:
    """Every job with its key and answer: out of the store, or newly made and kept there. `tell` hears how many are done.

    A job whose files cannot be read has that as its answer, and no key.

    Parameters
    ----------
    jobs : sequence of Job
        What is to be worked out.
    settings : sequence of mapping
        What answers depend on beside the job; part of its key.
    store : Store
        Answers kept from earlier.
    cluster : Workers
        Makes the others.
    tell : callable
        Hears how many are done.
    """
    missing, keys, done = [], {}, 0
    for job in jobs:
        try:
            keys[job.log] = key_of(job, settings)
        except InputError as error:
            done += 1
            yield job, "", Result(None, str(error))
            continue
        data = store.get(keys[job.log])
        if data is None:
            missing.append(job)
        else:
            done += 1
            yield job, keys[job.log], Result(data)
    tell(done)
    for job, result in cluster.results(missing) if missing else ():
        if result.data is not None:
            store.put(keys[job.log], result.data)
        done += 1
        yield job, keys[job.log], result
        tell(done)


class Pool:
    """Columns as they come in; talks to the store and the cluster."""

    def __init__(
        self, question: SeasonQuestion, read: SeasonInputs, store: Store, tell: Tell, cluster: Workers
    ) -> None:
        self.question, self.read, self.store, self.tell, self.cluster = question, read, store, tell, cluster
        self.columns: dict[str, dict[str, PlanColumn]] = {name: {} for name in read.ids}
        self.plans: dict[tuple[str, str], dict[str, Any]] = {}
        self.found: dict[str, list[dict[str, Any]]] = {name: [] for name in read.ids}
        self.failed: dict[str, str] = {}
        self.asked = 0
        self._cards = {name: str(entry.card.resolve()) for name, entry in zip(read.ids, read.entries, strict=True)}

    def job(self, log: str, asks: tuple[Ask, ...], what: str, plan: str = "") -> Job:
        """A job of one log."""
        places = tuple(self.found[log][0]["places"]) if what == "more" else None
        files = (self._cards[log], self.question.mill, self.question.products)
        trims = self.read.waiting[log].trims(self.read.yard.weeks) if what != "script" else (0.0,)
        return Job(log, *files, asks, what, plan, places=places, trims=trims)

    def gather(self, logs: Sequence[str], asks: tuple[Ask, ...], what: str) -> None:
        """Plans of every log for the asks, from the store or newly made."""
        self.asked += (len(asks) - (what == "more")) * len(logs)
        for job, _, result in self._answers([self.job(name, asks, what) for name in logs], "planning"):
            if result.data is not None:
                self._keep(job.log, unpack(result.data))
            elif what == "plans":
                self.failed[job.log] = result.why

    def _answers(self, jobs: Sequence[Job], what: str) -> Iterator[tuple[Job, str, Result]]:
        def tell(done: int) -> None:
            self.tell(SeasonProgress(what, done, len(jobs), len(self.failed)))

        return answers(jobs, self.read.settings, self.store, self.cluster, tell)

    def _keep(self, name: str, found: dict[str, Any]) -> None:
        self.found[name].append(found)
        own = self.columns[name]
        for plan in found["plans"]:
            column = column_of(plan, self.read.products, self.read.yard, self.read.waiting[name])
            if column.sets and not any((c.sets, c.minutes) == (column.sets, column.minutes) for c in own.values()):
                own[column.name] = column
                self.plans[name, column.name] = plan

    def season(self) -> Season:
        """The season with all columns so far."""
        read, start = self.read, self.question.start
        logs = []
        for name, entry, cost in zip(read.ids, read.entries, read.costs, strict=True):
            first = 0
            if entry.not_before is not None:
                first = max(0, -(-(entry.not_before - start).days // 7))
            logs.append(YardLog(name, cost, tuple(self.columns[name].values()), entry.priority, first))
        orders = tuple(
            Order(
                one.product,
                one.quantity,
                one.price,
                NEVER if one.due is None else (one.due - start).days // 7,
                one.priority,
                one.matched,
            )
            for one in read.orders
        )
        return Season(tuple(logs), orders, read.terms)

    def choose(self) -> tuple[Season, SeasonChoice]:
        """The season with all columns so far, and the master's choice of them."""
        total, failed = len(self.read.ids), len(self.failed)
        season = self.season()

        def say(objective: float, bound: float) -> None:
            self.tell(SeasonProgress("choosing", total, total, failed, round(objective), bound))

        return season, choose(season, self.question.effort, say)

    def could_add(self, season: Season, choice: SeasonChoice) -> dict[str, float]:
        """What more plans of each log could add at the master's prices, at most, 1/100."""
        ordered: dict[str, int] = {}
        for order in season.orders:
            ordered[order.product] = ordered.get(order.product, 0) + order.quantity
        return {
            log.id: most_a_plan_adds(log, proven_log(self.found[log.id]), choice.prices, season.terms, ordered)
            for log in season.logs
        }

    def scripts(self, season: Season, choice: SeasonChoice, first: Ask) -> dict[str, str] | None:
        """Keys of the chosen logs' cut scripts, each replayed; None where one did not hold, whose plan is then struck out."""
        column, sold = {one.log: one.column for one in choice.sawn}, sets_sold(season, choice)
        plans = {
            name: json.dumps(self.plans[name, own] | {"sold": sold[name]}, sort_keys=True)
            for name, own in column.items()
        }
        jobs = [self.job(name, (first,), "script", plan) for name, plan in plans.items()]
        keys, held = {}, True
        for job, key, result in self._answers(jobs, "writing scripts"):
            keys[job.log] = key
            if result.data is None:
                held = False
                del self.columns[job.log][column[job.log]]
                if not self.columns[job.log]:
                    self.failed[job.log] = result.why
        return keys if held else None
