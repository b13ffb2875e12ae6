"""The yard file: hours, drying, money of a season."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pithline.files.bundled import bundled
from pithline.files.tables import Key, Table, number, read_toml, text, whole
from pithline.trade.drying import Drying

DEFAULT = "yard.toml"
HOURS_IN_A_WEEK = 168.0

_RATE = Key(number(at_least=0.0, what="number of weeks"), required=True)

YARD = Table(
    {
        "yard": Table(
            {
                "hours_per_week": Key(
                    number(above=0.0, at_most=HOURS_IN_A_WEEK, what="number of hours"), required=True
                ),
                "weeks": Key(whole(1), required=True),
                "currency": Key(text, required=True),
                "overhead_per_log": Key(number(at_least=0.0, what="amount of money"), default=0.0),
            },
            required=True,
        ),
        "drying": Table(
            {
                "inch_weeks": _RATE,
                "power": Key(number(at_least=1.0, at_most=2.0, what="number"), required=True),
                "indoor_weeks": Key(number(at_least=0.0, what="number of weeks"), default=0.0),
            },
            required=True,
        ),
        "priority": Table(
            {
                "order_share": Key(number(at_least=0.0, at_most=1.0, what="share"), default=0.0),
                "log_share": Key(number(at_least=0.0, at_most=1.0, what="share"), default=0.0),
            }
        ),
    }
)


@dataclass(frozen=True, slots=True)
class Yard:
    """What a yard can do in a season, and what it costs."""

    hours_per_week: float
    weeks: int
    currency: str
    overhead_per_log: float
    drying: Drying
    order_share: float = 0.0
    log_share: float = 0.0


def read_yard(path: str | Path | None = None) -> Yard:
    """Read, check and freeze a yard file; the bundled one where `path` is None."""
    values: dict[str, Any] = read_toml(bundled(DEFAULT) if path is None else path, YARD)
    drying = values["drying"]
    own = Drying(drying["inch_weeks"], drying["power"], drying["indoor_weeks"])
    return Yard(**values["yard"], drying=own, **values.get("priority", {}))
