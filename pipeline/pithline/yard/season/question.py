"""A season as asked and as read, and how far it is."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from pithline.files.manifest import Entry
from pithline.files.orders import OrderRow
from pithline.files.yard import Yard
from pithline.mill.products import Products
from pithline.plan.api import FULL
from pithline.plan.api import Effort as PlanEffort
from pithline.yard.season.master import MasterEffort
from pithline.yard.season.model import SeasonTerms
from pithline.yard.season.waiting import Waiting

WORK = "work"
"""Folder of finished work within the season's own."""


@dataclass(frozen=True, slots=True)
class SeasonProgress:
    """How far a season is, for whoever watches. Money in 1/100."""

    what: str
    done: int
    logs: int
    failed: int
    profit: int | None = None
    bound: float | None = None


Tell = Callable[[SeasonProgress], None]


@dataclass(frozen=True, slots=True)
class SeasonQuestion:
    """A season as asked: paths as typed."""

    manifest: str
    orders: str
    out: str
    start: datetime.date
    mill: str | None = None
    products: tuple[str, ...] = ()
    yard: str | None = None
    priors: str | None = None
    plans: int = 4
    rounds: int = 1
    effort: MasterEffort = field(default_factory=MasterEffort)
    finish: PlanEffort = FULL  # of the search that finishes a chosen log


@dataclass(frozen=True, slots=True)
class SeasonInputs:
    """The season's files as read."""

    entries: tuple[Entry, ...]
    ids: tuple[str, ...]
    costs: tuple[int, ...]
    orders: tuple[OrderRow, ...]
    yard: Yard
    terms: SeasonTerms
    hour_rate: float
    settings: tuple[dict[str, Any], ...]
    products: Products
    waiting: Mapping[str, Waiting]
