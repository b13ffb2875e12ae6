"""A stand-in for the planner's work: quick invented scripts, drawn from the log's name, that a season can count on.

Run as a program it works a season out: `python season_work.py MANIFEST ORDERS OUT here|local|ADDRESS`, and prints its answer
as JSON.
"""

from __future__ import annotations

import contextlib
import datetime
import json
import os
import sys
import time
import zlib
from pathlib import Path

import numpy as np

from pithline.files.mills import mill_as_read
from pithline.files.products import products_as_read
from pithline.yard.season import cluster
from pithline.yard.season.question import SeasonQuestion
from pithline.yard.season.run import run_season
from pithline.yard.season.work import Job, Result, pack

CARD = '[log]\nid = "{0}"\nspecies = "black walnut"\nscan = "{0}.ply"\n'
START = datetime.date(2026, 11, 30)
ORDERS = (
    "product,quantity,price,due,priority,matched\nsmall guitar,9,,2027-02-15,,\ndreadnought guitar,5,210,2027-04-30,1,\n"
    "small guitar,2,170,,,log\ntenor ukulele,12,,2027-03-01,,\nbridge,40,6.25,,,\n"
)


def invented_work(job: Job) -> Result:
    """Plans drawn from names alone; a log named "bad…" fails, one named "deadly…" takes its worker with it.

    A log named "torn…" has plans whose scripts do not hold, but for those of its last ask.
    """
    time.sleep(float(os.environ.get("SEASON_SECONDS", "0")))
    if job.log.startswith("deadly"):
        os._exit(1)
    if job.log.startswith("bad"):
        return Result(None, f"{job.log}: no log is in the scan; scan it again.")
    if job.what == "script":
        plan = json.loads(job.plan)
        if job.log.startswith("torn") and plan["ask"] != "bridge alone":
            return Result(None, f"{job.log}: the plan does not hold on replay.")
        return Result(pack(invented_script(plan)))
    plans = [invented_plan(job.log, ask.name, dict(ask.prices)) for ask in job.asks[job.what == "more" :]]
    kept = [plan for plan in plans if plan["sets"]]
    parts = [[product, 2] for product, _ in job.asks[0].prices]
    # no plan of these logs is worth more than what twice its sets would bring; of one named "sure…" none brings anything
    facts = [
        {
            "worth": [p / 2 for _, p in job.asks[0].prices],
            "minute": 1.0,
            "most": 2 * max(map(worth_of(job), plans)) * (not job.log.startswith("sure")),
        }
    ]
    return Result(pack({"plans": kept, "facts": facts, "parts": parts, "places": []}))


def worth_of(job: Job):
    """What a plan's sets bring at mean prices."""
    prices = dict(job.asks[0].prices)
    return lambda plan: sum(prices[name] * n for name, n in plan["sets"].items())


def invented_plan(log: str, ask: str, prices: dict[str, float]) -> dict:
    """What the season reads of a plan."""
    rng = np.random.default_rng(zlib.crc32(f"{log} {ask}".encode()))
    sets = {name: int(rng.integers(0, 5)) for name in sorted(prices)}
    sets = {name: n for name, n in sets.items() if n}
    minutes = float(rng.uniform(60, 300))
    return {
        "ask": ask,
        "name": ask,
        "sets": sets,
        "minutes": minutes,
        "billets": [],
        "trim": 100.0,
    }  # ages in no season


def invented_script(plan: dict) -> dict:
    """What the season reads of a script."""
    return {
        "inputs": {"products": products_as_read(), "mill": mill_as_read()},
        "operations": [],
        "pieces": [],
        "plates": [],
        "totals": {"sets": plan["sets"], "minutes": plan["minutes"]},
    }


def make_yard(folder: Path, names: list[str], cost: int = 60) -> tuple[Path, Path]:
    """Cards without real scans, a manifest and an order book."""
    for name in names:
        (folder / f"{name}.toml").write_text(CARD.format(name), encoding="utf-8")
        (folder / f"{name}.ply").write_text(f"the scan of {name}", encoding="utf-8")
    manifest, orders = folder / "manifest.csv", folder / "orders.csv"
    manifest.write_text("card,cost\n" + "".join(f"{name}.toml,{cost}\n" for name in names), encoding="utf-8")
    orders.write_text(ORDERS, encoding="utf-8")
    return manifest, orders


def question(manifest: Path, orders: Path, out: Path, **changes) -> SeasonQuestion:
    """A season's question about the invented yard."""
    return SeasonQuestion(str(manifest), str(orders), str(out), START, **changes)


def answer_of(found) -> dict:
    """What must be the same however often a season was interrupted."""
    return {
        "sawn": [[one.log, one.column, one.week] for one in found.choice.sawn],
        "filled": [dict(sorted(one.items())) for one in found.choice.filled],
        "profit": found.books.profit,
        "bound": found.choice.bound,
        "failed": found.failed,
    }


class Here:
    """Jobs done in this process, one after another."""

    def results(self, jobs):
        for job in jobs:
            yield job, invented_work(job)


if __name__ == "__main__":
    manifest, orders, out, where = sys.argv[1:]
    cluster.DEATHS = int(os.environ.get("SEASON_DEATHS", cluster.DEATHS))
    from season_work import Here as Near  # by the name that workers know the module by
    from season_work import invented_work as by_name

    near = where == "here"
    workers = Near() if near else cluster.Cluster(None if where == "local" else where, 2, by_name)
    with contextlib.nullcontext(workers) if near else workers as hands:
        asked = question(Path(manifest), Path(orders), Path(out))
        print(json.dumps(answer_of(run_season(asked, lambda state: None, hands))))
