"""The chosen logs' scripts: as the season counted on them, or searched fully."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from pithline.yard.season.asks import Ask
from pithline.yard.season.cluster import Workers
from pithline.yard.season.model import whole_minutes
from pithline.yard.season.plan_pool import answers
from pithline.yard.season.question import WORK, SeasonProgress, SeasonQuestion, Tell
from pithline.yard.season.run import SeasonAnswer
from pithline.yard.season.store import Store
from pithline.yard.season.work import Job, pack, unpack


def coarse_scripts(question: SeasonQuestion, answer: SeasonAnswer) -> dict[str, dict[str, Any]]:
    """The script of each sawn log, out of the store."""
    store = Store(Path(question.out) / WORK)
    out = {}
    for name, key in answer.scripts.items():
        data = store.get(key)
        assert data is not None, "the store was emptied while the season ran"
        out[name] = unpack(data)
    return out


def finish(
    question: SeasonQuestion, answer: SeasonAnswer, coarse: Mapping[str, dict[str, Any]], tell: Tell, cluster: Workers
) -> tuple[dict[str, dict[str, Any]], dict[str, str]]:
    """(scripts, how they differ): the full plan where it holds all that was promised in no more time, else the coarse one.

    Parameters
    ----------
    question : SeasonQuestion
        What was asked, and the effort to finish with.
    answer : SeasonAnswer
        The logs chosen, each with its plan.
    coarse : mapping of str to dict
        The season's own script of each chosen log.
    tell : callable
        Hears how far it is.
    cluster : Workers
        Does the work.
    """
    store = Store(Path(question.out) / WORK)
    cards = dict(zip(answer.read.ids, answer.read.entries, strict=True))
    full: dict[str, dict[str, Any] | str] = {}
    jobs = []
    short = {
        order.product: order.quantity - sum(filled.values())
        for order, filled in zip(answer.season.orders, answer.choice.filled, strict=True)
    }
    for name, script in coarse.items():
        promised = {product: n for product, n in script["totals"]["sets"].items() if n}
        prices = tuple(one for one in answer.first.prices if one[0] in promised)
        demand = tuple((product, n + short.get(product, 0)) for product, n in promised.items())
        card = str(cards[name].card.resolve())
        asks = (answer.first, Ask("finish", prices, demand))
        keep = pack(script)
        jobs.append(Job(name, card, question.mill, question.products, asks, "full", keep=keep, effort=question.finish))

    def tell_done(done: int) -> None:
        tell(SeasonProgress("finishing", done, len(jobs), 0))

    for job, _, result in answers(jobs, answer.read.settings, store, cluster, tell_done):
        full[job.log] = result.why if result.data is None else unpack(result.data)
    scripts, notes = {}, {}
    for name in coarse:
        scripts[name], notes[name] = settle(coarse[name], full[name])
    return scripts, notes


def settle(coarse: dict[str, Any], full: dict[str, Any] | str) -> tuple[dict[str, Any], str]:
    """The script to saw by, and in words how the full plan differs from what the season counts on."""
    if isinstance(full, str):
        return coarse, f"the season's own plan is kept, for the full search failed: {full}"
    promised, found = coarse["totals"]["sets"], full["totals"]["sets"]
    short = [f"{n - found.get(name, 0)} {name}" for name, n in promised.items() if found.get(name, 0) < n]
    later = whole_minutes(full["totals"]["minutes"]) - whole_minutes(coarse["totals"]["minutes"])
    if short:
        return coarse, f"the season's own plan is kept, for the full search lacks {', '.join(short)}"
    if later > 0:
        return coarse, f"the season's own plan is kept, for the full search takes {later} minutes more"
    more = [f"{found[name] - n} {name}" for name, n in promised.items() if found[name] > n]
    words = "the full search holds all that was promised"
    words += f", and {', '.join(more)} more" if more else ""
    return full, words + (f", in {-later} minutes less" if later < 0 else "")
