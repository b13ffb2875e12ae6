"""Logs that hide something, for `replan_finds.py`: how each is planned, what shows once it is open, and when."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from truth.hidden import wandering
from truth.logs import TrueDefect, TrueLog, true_log
from truth.scans import Scan, marked_off, simulate_scan


@dataclass(frozen=True)
class Case:
    """A log, how it is planned, what it hides, and where it is opened."""

    kind: str
    seed: int
    plan: str
    finds: tuple[str, ...]
    moments: tuple[str, ...]
    bow: float = 0.0

    @property
    def name(self) -> str:
        """Kind and seed."""
        return f"{self.kind}-{self.seed}"


CASES = (
    Case("round", 9601, "", ("pith",), ("first", "second", "bolts"), bow=14.0),
    Case("oval", 9602, "--products steel-string-guitar --objective value", ("pith",), ("second", "halves"), bow=12.0),
    Case("eccentric", 9603, "--mill wide-slabbing", ("knot", "cut"), ("first", "halves")),
    Case("fluted", 9604, "--products ukulele --objective sets", ("knot", "spoilt"), ("second", "shop")),
    Case("flared", 9605, "--products necks --products electric", ("rot",), ("first", "bolts")),
    Case("tapered", 9606, "--products all --objective value", ("bark", "thickness"), ("second", "halves")),
    Case("swept", 9607, "", ("pith", "knot"), ("bucked", "halves"), bow=10.0),
    Case("crooked", 9608, "--products classical-guitar", ("spoilt",), ("bucked", "bolts")),
    Case(
        "slim", 9609, "--products ukulele --products mandolin --objective value", ("pith",), ("first", "bolts"), bow=8.0
    ),
    Case("big", 9610, "--mill wide-slabbing --objective sets", ("metal",), ("second", "bolts")),
    Case("stubs", 9611, "--products banjo --objective value", ("check", "cut"), ("second", "shop")),
    Case("crooked", 9615, "--products small-parts --objective sets", ("ends",), ("bucked", "halves")),
    Case("swept", 9613, "--products sapwood-feature", ("sapwood",), ("first", "bolts")),
    Case(
        "round",
        9614,
        "--products dulcimer --products guitar --objective value",
        ("nothing",),
        ("first", "halves", "shop"),
    ),
)


def hidden(case: Case) -> TrueLog:
    """The true log with all that the case hides in it."""
    log, rng = true_log(case.kind, case.seed), np.random.default_rng([case.seed, 3])
    way = rng.uniform(0.0, 2.0 * np.pi)
    if case.bow:
        log = wandering(log, (case.bow * np.cos(way), case.bow * np.sin(way)))
    clock = float(rng.uniform(0.0, 2.0 * np.pi))
    x = float(log.length * rng.uniform(0.3, 0.7))
    found: list[TrueDefect] = []
    if "knot" in case.finds:
        found.append(TrueDefect("knot", x, None, clock, 70.0, margin=8.0))
    if "metal" in case.finds:
        found.append(TrueDefect("metal", x, None, clock, 60.0, margin=10.0))
    if "rot" in case.finds:
        found.append(TrueDefect("rot", None, "butt", None, 90.0, 400.0, margin=5.0))
    if "check" in case.finds:
        found.append(TrueDefect("check", None, "top", clock, None, 200.0, 80.0, margin=3.0))
    sapwood = 40.0 if "sapwood" in case.finds else log.sapwood
    return replace(log, defects=(*log.defects, *found), sapwood=sapwood)


def scanned(case: Case) -> tuple[TrueLog, Scan]:
    """The true log and its scan, marks a little off; far off where a case finds them so."""
    log = hidden(case)
    error = 7.0 if "ends" in case.finds else 2.0
    return log, marked_off(log, simulate_scan(log, case.seed), np.random.default_rng(case.seed), error)[0]
