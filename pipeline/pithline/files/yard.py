"""The yard file: hours, drying, money of a season. Each field declares the key that fills it (`pithline.keys.declared`)."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from pithline.files.bundled import bundled
from pithline.files.read import read_toml
from pithline.keys.declared import freeze, key, known_keys, table
from pithline.keys.readers import number, text, whole
from pithline.trade.drying import Drying

DEFAULT = "yard.toml"
HOURS_IN_A_WEEK = 168.0

_SHARE = number(at_least=0.0, at_most=1.0, what="share")


@dataclass(frozen=True, slots=True)
class Yard:
    """What a yard can do in a season, and what it costs."""

    hours_per_week: float = field(
        metadata=key(
            "yard.hours_per_week",
            number(above=0.0, at_most=HOURS_IN_A_WEEK, what="number of hours"),
            "what the mill saws in a week, setting up included",
        )
    )
    weeks: int = field(metadata=key("yard.weeks", whole(1), "how far ahead the season looks"))
    currency: str = field(metadata=key("yard.currency", text, "a name, only printed"))
    drying: Drying = field(metadata=table("drying", Drying))
    overhead_per_log: float = field(
        default=0.0,
        metadata=key(
            "yard.overhead_per_log",
            number(at_least=0.0, what="amount of money"),
            "what each sawn log costs beside its price",
        ),
    )
    order_share: float = field(
        default=0.0, metadata=key("priority.order_share", _SHARE, "each step of an order's priority, of its price")
    )
    log_share: float = field(
        default=0.0, metadata=key("priority.log_share", _SHARE, "each step of a log's priority, of its cost")
    )


YARD = known_keys(Yard)
"""Tables and keys of the file."""


def read_yard(path: str | Path | None = None) -> Yard:
    """Read, check and freeze a yard file; the bundled one where `path` is None."""
    return freeze(Yard, read_toml(bundled(DEFAULT) if path is None else path, YARD))
